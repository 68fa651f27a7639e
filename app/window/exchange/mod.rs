//! With the clinic's other devices: targets, who is in, what the last synchronisation brought. The
//! thread that synchronises is [`carrier`]; it runs while the store is open.

mod carrier;
mod connect;
mod disputed;
mod intents;
mod packages;
mod view;
mod words;

pub use carrier::Carrier;
pub use connect::{accept_drops, connect, show};
pub use packages::{Opening, Packages, Unpacked};

use super::session::Session;
use super::text::sentence;
use crate::clock;
use crate::error::AppError;
use crate::records::receipts::{self, Answered};
use carrier::{Done, Told};
use plinthside_exchange::{Invitation, TargetSpec, Targets, visit_state};
use plinthside_ui::{self as ui, ExchangePage as Page, Tone};
use plinthside_visit::{Lang, Text};
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::time::Duration;
use words::remark;

/// Between two looks at the targets.
const EVERY: Duration = Duration::from_mins(1);

/// What the screen of other devices stands on.
pub struct Exchange {
    /// Between two looks at the targets.
    pub every: Duration,
    page: Page,
    /// The target in hand; none while one is added.
    target: Option<TargetSpec>,
    /// The target where a code is shown or looked for, by its place in the list.
    meeting: usize,
    invitation: Option<Invitation>,
    /// The device about to be struck off: identifier and name.
    striking: Option<(String, String)>,
    /// Which of two settings is in hand, by the place of their dispute in the list.
    choices: BTreeMap<usize, usize>,
    /// What came of each target last, by name.
    outcomes: BTreeMap<String, Outcome>,
    /// The target that is being synchronised with, and how far it is.
    under: Option<(String, Option<plinthside_exchange::Progress>)>,
    said: String,
    problem: String,
}

impl Default for Exchange {
    fn default() -> Self {
        Self {
            every: EVERY,
            page: Page::Home,
            target: None,
            meeting: 0,
            invitation: None,
            striking: None,
            choices: BTreeMap::new(),
            outcomes: BTreeMap::new(),
            under: None,
            said: String::new(),
            problem: String::new(),
        }
    }
}

/// What came of a target last, and when.
struct Outcome {
    at: String,
    what: Came,
}

enum Came {
    /// It is not there.
    Away,
    /// Synchronised.
    Done(Box<Done>),
    /// It refused, in words.
    Refused(String),
}

impl Outcome {
    fn of(what: Came) -> Self {
        let at = chrono::Local::now().format("%H:%M").to_string();
        Self { at, what }
    }

    /// How a target stands, in a line.
    fn line(&self, lang: Lang) -> (String, Tone) {
        let at = &self.at;
        match &self.what {
            Came::Away => {
                let text = Text::new(
                    format!("not there at {at}; everything is kept here and goes when it answers"),
                    format!(
                        "um {at} nicht da; alles bleibt hier und wird gesendet, wenn es antwortet"
                    ),
                );
                (text.get(lang).to_owned(), Tone::Plain)
            }
            Came::Done(done) => {
                let first = words::report(&done.report, lang).into_iter().next();
                let first = first.map_or_else(String::new, |line| line.text.to_string());
                let what = first
                    .strip_prefix(&format!("{}: ", done.report.target))
                    .unwrap_or(&first);
                let tone = match done.report.problems.is_empty() {
                    true => Tone::Plain,
                    false => Tone::Caution,
                };
                (format!("{at}: {what}"), tone)
            }
            Came::Refused(_) => {
                let text = Text::new(
                    format!("not synchronised at {at}: see below"),
                    format!("um {at} nicht abgeglichen: siehe unten"),
                );
                (text.get(lang).to_owned(), Tone::Caution)
            }
        }
    }
}

impl Exchange {
    fn say(&mut self, text: Text, lang: Lang) {
        self.hush();
        text.get(lang).clone_into(&mut self.said);
    }

    fn hush(&mut self) {
        self.said.clear();
        self.problem.clear();
    }

    /// What is being done, for the status line and the screen.
    pub fn progress(&self, lang: Lang) -> ui::SyncProgress {
        let Some((target, progress)) = &self.under else {
            return ui::SyncProgress::default();
        };
        let number = |n: u64| i32::try_from(n).unwrap_or(i32::MAX);
        ui::SyncProgress {
            running: true,
            text: words::progress(target, *progress, lang).into(),
            done: progress.map_or(0, |p| number(p.done)),
            of: progress.map_or(0, |p| number(p.total)),
        }
    }

    /// What the status line says of it: numbers while it runs, where to look if it went wrong.
    pub fn status(&self, lang: Lang) -> Vec<ui::Remark> {
        if let Some((_, progress)) = self.under {
            let begins = Text::new("synchronising", "Abgleich läuft");
            let text = begins.get(lang);
            let of = Text::new("of", "von");
            let text = match progress {
                Some(p) if p.total > 0 => {
                    format!("{text} {} {} {}", p.done, of.get(lang), p.total)
                }
                _ => text.to_owned(),
            };
            return vec![remark(text, Tone::Chosen)];
        }
        let wrong = self.outcomes.values().any(|outcome| match &outcome.what {
            Came::Refused(_) => true,
            Came::Done(done) => !done.report.problems.is_empty() || !done.unread.is_empty(),
            Came::Away => false,
        });
        let text = Text::new("see Other devices", "siehe Andere Geräte");
        wrong
            .then(|| remark(text.get(lang), Tone::Caution))
            .into_iter()
            .collect()
    }

    /// Whether something came of a target already.
    #[cfg(test)]
    pub fn has_met(&self, target: &str) -> bool {
        self.outcomes.contains_key(target)
    }

    /// Forgets everything but how often targets are looked at.
    pub fn close(&mut self) {
        *self = Self {
            every: self.every,
            ..Self::default()
        };
    }
}

impl Session {
    /// Takes what the thread tells; `true` if more than the progress is new.
    fn exchange_take(&mut self, told: Told) -> bool {
        let lang = self.look.lang;
        match told {
            Told::Under { target, progress } => {
                self.exchange.under = Some((target, progress));
                return false;
            }
            Told::Away(target) => {
                self.exchange
                    .outcomes
                    .insert(target, Outcome::of(Came::Away));
            }
            Told::Failed(problem) => self.exchange.problem = problem,
            Told::Ended { target, done } => {
                self.exchange.under = None;
                let what = match done {
                    Ok(done) => {
                        self.take_in(&done);
                        Came::Done(done)
                    }
                    Err(problem) => Came::Refused(problem),
                };
                self.exchange.outcomes.insert(target, Outcome::of(what));
            }
            Told::Invited(invited) => match invited {
                Ok(invitation) => self.exchange.invitation = Some(invitation),
                Err(problem) => self.exchange.problem = problem,
            },
            Told::Joined(joined) => match joined {
                Ok(by) => {
                    let text = Text::new(
                        format!(
                            "{by} showed the code. As soon as both have synchronised there, this device is in; it looks by itself."
                        ),
                        format!(
                            "{by} hat den Code gezeigt. Sobald beide dort abgeglichen haben, ist dieses Gerät dabei; es sieht von selbst nach."
                        ),
                    );
                    self.exchange.say(text, lang);
                    self.exchange.page = Page::Devices;
                }
                Err(problem) => self.exchange.problem = problem,
            },
        }
        true
    }

    /// What arrived becomes part of what is shown: settings, list, the open visit, labs' answers.
    fn take_in(&mut self, done: &Done) {
        let report = &done.report;
        if !report.admitted.is_empty() {
            let names = report.admitted.join(", ");
            let text = Text::new(
                format!("{names} has joined."),
                format!("{names} ist beigetreten."),
            );
            self.exchange.say(text, self.look.lang);
            self.exchange.invitation = None;
            if self.exchange.page == Page::Invite {
                self.exchange.page = Page::Devices;
            }
        }
        if report.records_received + report.erasures_received + report.photos_received > 0 {
            let by = self.person.clone();
            self.try_records(|records| records.settle_settings(&by));
            self.find_person();
            self.take_changes();
            self.refresh_list();
        }
        let mut new = false;
        for answered in &done.answers {
            new |= self.take_answer(answered);
        }
        if new {
            self.refresh_list();
        }
        if self.screen == ui::Screen::History {
            self.tell_history(false);
        }
    }

    /// Shows what arrived about the open visit; what is in hand on the screen stays in hand.
    fn take_changes(&mut self) {
        self.save();
        let Some(open) = &self.open else { return };
        let (id, side) = (open.case.visit.id.clone(), open.case.side);
        match self.records().map(|records| records.visit(&id)) {
            Some(Ok(visit)) => {
                if let Some(open) = &mut self.open
                    && open.case.visit != visit.value
                {
                    open.take_up(visit, side);
                    self.find_versions();
                }
            }
            Some(Err(problem)) => {
                // Erased on another device, for one.
                self.trouble = problem.to_string();
                self.open = None;
                self.screen = ui::Screen::Cases;
            }
            None => {}
        }
    }

    /// Writes a lab's answer into its visit; one that is in unfinished work waits.
    fn take_answer(&mut self, answered: &Answered) -> bool {
        let (by, now) = (self.person.clone(), clock::now());
        if let Some(open) = &mut self.open
            && open.case.visit.id == answered.visit
        {
            let (order, receipt) = (&answered.order, answered.receipt.clone());
            let taken = open.case.visit.take_receipt(order, receipt, now);
            if let Err(problem) = &taken {
                self.exchange.problem = problem.to_string();
            }
            self.save();
            return taken.is_ok();
        }
        self.try_records(|records| receipts::take(records.store(), answered, &by, now))
            .is_some()
    }

    /// Where the open visit lies beside this device, target by target.
    pub fn where_it_lies(&mut self) -> Vec<ui::Remark> {
        let Some(id) = self.open.as_ref().map(|open| open.case.visit.id.clone()) else {
            return Vec::new();
        };
        let lang = self.look.lang;
        let states = self.try_records(|records| {
            let store = records.store();
            let published = store.whole(&id)?.map(|whole| whole.heads);
            let entered = published
                .is_some_and(|heads| store.document(&id).is_ok_and(|now| now.heads() != heads));
            let here = Mutex::new(store);
            let targets = Targets(&here).list()?;
            let state = |spec: &TargetSpec| visit_state(&here, &spec.url, &id);
            let states = targets
                .iter()
                .map(|spec| Ok((spec.name.clone(), state(spec)?)))
                .collect::<Result<Vec<_>, AppError>>()?;
            Ok((states, entered))
        });
        let (states, entered) = states.unwrap_or_default();
        let later = Text::new(
            " What was entered since it was opened goes after it is put away.",
            " Was seit dem Öffnen eingetragen wurde, geht nach dem Weglegen.",
        );
        let states = states.into_iter().map(|(target, state)| {
            let (done, later) = match entered {
                true => (false, later.get(lang)),
                false => (state.done, ""),
            };
            // What failed says itself what to do next.
            let failed = state.failed.map(|why| format!(" {}", sentence(&why, lang)));
            let (failed, tone) = match (failed, done) {
                (Some(why), _) => (why, Tone::Caution),
                (None, true) => (String::new(), Tone::Good),
                (None, false) => (String::new(), Tone::Plain),
            };
            let words = state.words.get(lang);
            remark(format!("{target}: {words}{later}{failed}"), tone)
        });
        states.collect()
    }
}

#[cfg(test)]
mod keeping_tests;
#[cfg(test)]
mod package_tests;
#[cfg(test)]
mod tests;
