//! The steps of a visit for one foot, from the first question to the review: how far each has
//! come, what is still open, what needs attention. Nothing is stored: all is read off the visit.

mod work;

use crate::knowledge::Knowledge;
use crate::rules::{Case, Checks, check};
use crate::words::{Text, words};

words! {
    /// A step of the work.
    Step {
        Ask = "ask", "Ask and look", "Befragen und ansehen";
        Examine = "examine", "Examine", "Untersuchen";
        Position = "position", "Position", "Lagern";
        Mark = "mark", "Mark", "Markieren";
        Cast = "cast", "Cast", "Abformen";
        Check = "check", "Check the cast", "Abdruck prüfen";
        Prescribe = "prescribe", "Prescribe", "Verordnen";
        Pack = "pack", "Label and pack", "Etikettieren und verpacken";
        HandOver = "hand_over", "Hand over", "Übergeben";
        FollowUp = "follow_up", "Receive, fit, review", "Eingang, Anprobe, Kontrolle";
    }
}

/// How far a step has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// Nothing yet.
    Empty,
    /// Something, not all.
    Started,
    /// All of it.
    Complete,
    /// Something must be looked at, whatever else is done.
    NeedsAttention,
}

/// One step with its state.
#[derive(Debug, Clone, PartialEq)]
pub struct StepState {
    /// Which.
    pub step: Step,
    /// How far it has come.
    pub progress: Progress,
    /// Things done …
    pub done: usize,
    /// … of how many.
    pub of: usize,
    /// What is still to do, by name.
    pub open: Vec<Text>,
    /// What needs attention, each a sentence.
    pub attention: Vec<Text>,
}

/// Collects a step: things done or open, and what needs attention.
#[derive(Default)]
struct Tally {
    done: usize,
    open: Vec<Text>,
    attention: Vec<Text>,
}

impl Tally {
    fn thing(&mut self, done: bool, en: &str, de: &str) {
        self.named(done, Text::new(en, de));
    }

    fn named(&mut self, done: bool, name: Text) {
        if done {
            self.done += 1;
        } else {
            self.open.push(name);
        }
    }

    fn attend(&mut self, text: Text) {
        if !self.attention.contains(&text) {
            self.attention.push(text);
        }
    }

    fn state(self, step: Step) -> StepState {
        let progress = match (self.attention.is_empty(), self.done, self.open.len()) {
            (false, ..) => Progress::NeedsAttention,
            (true, 0, _) => Progress::Empty,
            (true, _, 0) => Progress::Complete,
            (true, ..) => Progress::Started,
        };
        StepState {
            step,
            progress,
            done: self.done,
            of: self.done + self.open.len(),
            open: self.open,
            attention: self.attention,
        }
    }
}

/// Every step of one foot, in the order of the work. A measurement stored with the cast counts
/// where none is given.
#[must_use]
pub fn steps(case: &Case<'_>, known: &Knowledge) -> Vec<StepState> {
    let stored = case
        .cast
        .and_then(|c| c.measurement.as_ref())
        .and_then(|m| m.read().ok().flatten());
    let case = Case {
        results: case.results.or(stored.as_ref()),
        ..*case
    };
    let checks: Checks = check(&known.rules, &case);
    type Make = fn(&Case<'_>, &Knowledge, &Checks) -> Tally;
    let all: [(Step, Make); 10] = [
        (Step::Ask, work::ask),
        (Step::Examine, work::examine),
        (Step::Position, work::position),
        (Step::Mark, work::mark),
        (Step::Cast, work::cast),
        (Step::Check, work::check_cast),
        (Step::Prescribe, work::prescribe),
        (Step::Pack, work::pack),
        (Step::HandOver, work::hand_over),
        (Step::FollowUp, work::follow_up),
    ];
    all.into_iter()
        .map(|(step, make)| make(&case, known, &checks).state(step))
        .collect()
}
