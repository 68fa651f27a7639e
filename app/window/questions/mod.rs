//! Lists of questions: the same screen asks for the person, the examination, the position and the
//! order. A question reads and writes one thing of a visit; [`Asking`] keeps which one is in hand
//! and what can be undone.

mod dimensions;
mod follow;
mod inspection;
mod line;
mod order;
mod person;
mod position;
mod readings;
mod record;
mod ruler;
mod scale;
mod together;

pub use follow::{draft, follow};
pub use inspection::inspection;
pub use order::{order, order_mut};
pub use person::{facts, person};
pub use position::{cast_mut, intended, position, record_mut};
pub use readings::examination;
pub use record::{PUT_OFF, put_off_words};
pub use ruler::{awaited, finished, ruler};
pub use scale::Scale;

use super::text::models;
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::{Entry, Lang, Text, Visit, format};

/// What a question is answered with.
pub enum Kind {
    /// A number on a scale.
    Number(Scale),
    /// One of the choices, or none when it is tapped again.
    OneOf,
    /// Any of the choices.
    AnyOf,
    /// Typed text.
    Text,
}

/// One thing to find out of a visit for one foot, or of whatever else is asked about.
pub trait Question<T = Visit, At = Side> {
    /// What rules and norms call it: key of a reading, path of a field, name of a fact.
    fn key(&self) -> String;
    /// What it is asked together with.
    fn group(&self) -> String {
        self.key()
    }
    /// Name in the list.
    fn label(&self, lang: Lang) -> String;
    /// Name above the answer.
    fn title(&self, lang: Lang) -> String {
        self.label(lang)
    }
    /// What belongs to it: posture, sign, method, why it is filled.
    fn note(&self, _visit: &T, _side: At, _lang: Lang) -> String {
        String::new()
    }
    /// How it is answered.
    fn kind(&self) -> Kind;
    /// Nobody misses it where it is not answered.
    fn is_optional(&self) -> bool {
        false
    }
    /// The answer as the list shows it; empty when there is none.
    fn shown(&self, visit: &T, side: At, lang: Lang) -> String;
    /// Copied from an earlier visit and not confirmed.
    fn copied(&self, _visit: &T, _side: At) -> bool {
        false
    }
    /// Says that a copied answer still holds.
    fn confirm(&self, _visit: &mut T, _side: At) {}
    /// The choices; of typed text, words that were typed before. None for a number.
    fn choices(&self, _visit: &T, _side: At, _lang: Lang) -> Vec<ui::ChoiceItem> {
        Vec::new()
    }
    /// The choice that says all is well, where one look finds that of several questions.
    fn well(&self) -> Option<usize> {
        None
    }
    /// Drawings on which the choices are places; none for a list.
    fn places(&self, _of: &T, _at: At) -> Vec<ui::PlacesView> {
        Vec::new()
    }
    /// Takes or leaves a choice.
    fn choose(&self, _visit: &mut T, _side: At, _index: usize) {}
    /// Takes typed text, or says what is wrong with it.
    fn type_in(&self, _visit: &mut T, _side: At, _text: &str) -> Option<Text> {
        None
    }
    /// The readings of a number.
    fn numbers(&self, _visit: &T, _side: At) -> Vec<Entry> {
        Vec::new()
    }
    /// Writes the readings of a number.
    fn write(&self, _visit: &mut T, _side: At, _numbers: Vec<Entry>) {}
    /// One number as printed.
    fn printed(&self, value: f64, lang: Lang) -> String {
        match self.kind() {
            Kind::Number(scale) => format::quantity(value, scale.unit, lang),
            _ => String::new(),
        }
    }
    /// Where the plausible limits come from.
    fn source(&self, _lang: Lang) -> String {
        String::new()
    }
}

/// A list of questions and the one in hand.
pub struct Asking<T = Visit, At = Side> {
    questions: Vec<Box<dyn Question<T, At>>>,
    chosen: usize,
    repeat: usize,
    undo: Vec<T>,
    /// What the last change left. What was changed elsewhere since is never taken back.
    left: Option<T>,
    /// Typed text that could not be taken, and why.
    refused: Option<(String, Text)>,
}

/// What a hand does to a list of questions.
pub enum Ask {
    /// Takes a question in hand.
    Question(usize),
    /// Turns the number by steps.
    Step(i32),
    /// Sets the number.
    Set(f64),
    /// Takes the reading once more.
    Again,
    /// Takes another repeat in hand.
    Repeat(usize),
    /// Takes or leaves a choice.
    Answer(usize),
    /// Types.
    Type(String),
    /// Takes the last change back.
    Undo,
    /// On to the next question; a copied answer is confirmed.
    Next,
    /// Confirms what was copied together with the question in hand, and goes on behind it.
    Together,
    /// Says that nothing is amiss in all that one look finds, and goes on behind it.
    AllWell,
}

/// So many changes can be taken back.
const UNDO_DEPTH: usize = 100;

impl<T: Clone + PartialEq, At: Copy> Asking<T, At> {
    /// A list, at its first unanswered question.
    pub fn new(questions: Vec<Box<dyn Question<T, At>>>, visit: &T, side: At) -> Self {
        let chosen = questions
            .iter()
            .position(|q| q.shown(visit, side, Lang::En).is_empty())
            .unwrap_or(0);
        Self {
            questions,
            chosen,
            repeat: 0,
            undo: Vec::new(),
            left: None,
            refused: None,
        }
    }

    fn now(&self) -> Option<&dyn Question<T, At>> {
        self.questions.get(self.chosen).map(AsRef::as_ref)
    }

    /// Key of the question in hand.
    pub fn key(&self) -> String {
        self.now().map_or_else(String::new, |q| q.key())
    }

    /// Which question is in hand.
    pub fn chosen(&self) -> usize {
        self.chosen
    }

    /// The question about a field or fact.
    pub fn index_of(&self, key: &str) -> Option<usize> {
        self.questions.iter().position(|q| q.key() == key)
    }

    /// How many questions are answered, and of how many; one that nobody misses counts only once it
    /// is answered.
    pub fn answered(&self, visit: &T, side: At) -> (usize, usize) {
        let is_answered = |q: &dyn Question<T, At>| !q.shown(visit, side, Lang::En).is_empty();
        let questions = self.questions.iter().map(AsRef::as_ref);
        let count = |answered, of, q| match is_answered(q) {
            true => (answered + 1, of + 1),
            false => (answered, of + usize::from(!q.is_optional())),
        };
        questions.fold((0, 0), |(answered, of), q| count(answered, of, q))
    }

    /// Takes a question in hand.
    pub fn choose_question(&mut self, index: usize, visit: &T, side: At) {
        if index < self.questions.len() {
            self.refused = None;
            self.chosen = index;
            self.repeat = self
                .now()
                .map_or(0, |q| q.numbers(visit, side).len().saturating_sub(1));
        }
    }

    /// Does what a hand wants; `true` where that leads on to another question.
    pub fn take(&mut self, ask: Ask, of: &mut T, at: At) -> bool {
        match ask {
            Ask::Question(index) => self.choose_question(index, of, at),
            Ask::Step(steps) => self.step(of, at, steps),
            Ask::Set(value) => self.set(of, at, value),
            Ask::Again => self.again(of, at),
            Ask::Repeat(index) => self.choose_repeat(index),
            Ask::Answer(index) => return self.choose(of, at, index),
            Ask::Type(text) => self.type_in(of, at, &text),
            Ask::Undo => self.undo(of, at),
            // Typed text that could not be taken stays in hand with what is wrong with it.
            Ask::Next if self.refused.is_some() => {}
            Ask::Next => {
                self.confirm(of, at);
                return true;
            }
            Ask::Together => {
                self.confirm_together(of, at);
                return true;
            }
            Ask::AllWell => {
                self.all_well(of, at);
                return true;
            }
        }
        false
    }

    /// Says that a copied answer in hand still holds.
    fn confirm(&mut self, of: &mut T, at: At) {
        if self.now().is_some_and(|q| q.copied(of, at)) {
            self.change(of, |question, of, _| question.confirm(of, at));
        }
    }

    /// On to the next question; `false` behind the last one.
    pub fn next(&mut self, visit: &T, side: At) -> bool {
        let more = self.chosen + 1 < self.questions.len();
        if more {
            self.choose_question(self.chosen + 1, visit, side);
        }
        more
    }

    /// Changes the repeat at hand by steps; the first step starts in the middle of what is plausible
    /// and near 0.
    pub fn step(&mut self, visit: &mut T, side: At, steps: i32) {
        let Some(Kind::Number(scale)) = self.now().map(|q| q.kind()) else {
            return;
        };
        let before = self.now().and_then(|q| {
            q.numbers(visit, side)
                .get(self.repeat)
                .and_then(|e| e.value)
        });
        let start = if scale.low <= 0.0 {
            0.0
        } else {
            f64::midpoint(scale.low, scale.high)
        };
        self.set(
            visit,
            side,
            before.unwrap_or(start) + f64::from(steps) * scale.step,
        );
    }

    /// Sets the repeat at hand.
    pub fn set(&mut self, visit: &mut T, side: At, value: f64) {
        let Some(Kind::Number(scale)) = self.now().map(|q| q.kind()) else {
            return;
        };
        if !value.is_finite() {
            return;
        }
        self.change(visit, |question, visit, repeat| {
            let mut numbers = question.numbers(visit, side);
            let entry = scale.entry(value);
            match numbers.get_mut(repeat) {
                Some(old) => *old = entry,
                None => numbers.push(entry),
            }
            question.write(visit, side, numbers);
        });
    }

    /// Takes the reading once more, starting from the last one.
    pub fn again(&mut self, visit: &mut T, side: At) {
        let Some(question) = self.now() else { return };
        let mut numbers = question.numbers(visit, side);
        let Some(last) = numbers.last().and_then(|e| e.value) else {
            return;
        };
        if let Kind::Number(scale) = question.kind()
            && scale.repeats
        {
            numbers.push(scale.entry(last));
            let repeat = numbers.len() - 1;
            self.change(visit, |question, visit, _| {
                question.write(visit, side, numbers);
            });
            self.repeat = repeat;
        }
    }

    /// Takes another repeat in hand.
    pub fn choose_repeat(&mut self, index: usize) {
        self.repeat = index;
    }

    /// Takes or leaves a choice; `true` for a first answer, which leads on to another question.
    fn choose(&mut self, visit: &mut T, side: At, index: usize) -> bool {
        let first = self.now().is_some_and(|q| {
            matches!(q.kind(), Kind::OneOf | Kind::Text)
                && q.shown(visit, side, Lang::En).is_empty()
        });
        self.change(visit, |question, visit, _| {
            question.choose(visit, side, index);
        });
        first
    }

    /// Takes typed text; what can't be taken stays on the screen with its problem.
    pub fn type_in(&mut self, visit: &mut T, side: At, text: &str) {
        let mut problem = None;
        self.change(visit, |question, visit, _| {
            problem = question.type_in(visit, side, text);
        });
        self.refused = problem.map(|problem| (text.to_owned(), problem));
    }

    fn change(&mut self, visit: &mut T, change: impl FnOnce(&dyn Question<T, At>, &mut T, usize)) {
        let before = visit.clone();
        if let Some(question) = self.questions.get(self.chosen) {
            change(question.as_ref(), visit, self.repeat);
        }
        self.changed(before, visit);
    }

    /// Something was changed from what was before: it can be taken back.
    pub fn changed(&mut self, before: T, visit: &T) {
        if *visit != before {
            if self.left.as_ref() != Some(&before) {
                self.undo.clear();
            }
            self.left = Some(visit.clone());
            self.undo.push(before);
            if self.undo.len() > UNDO_DEPTH {
                self.undo.remove(0);
            }
        }
    }

    /// Takes back the last change.
    pub fn undo(&mut self, visit: &mut T, side: At) {
        if !self.can_undo(visit) {
            return;
        }
        if let Some(before) = self.undo.pop() {
            *visit = before;
            self.left = Some(visit.clone());
            let repeats = self.now().map_or(0, |q| q.numbers(visit, side).len());
            self.repeat = self.repeat.min(repeats.saturating_sub(1));
        }
    }

    fn can_undo(&self, visit: &T) -> bool {
        !self.undo.is_empty() && self.left.as_ref() == Some(visit)
    }

    /// The list as the screen shows it.
    pub fn view(
        &self,
        visit: &T,
        side: At,
        cautions: Vec<ui::Remark>,
        lang: Lang,
    ) -> ui::QuestionList {
        let tiles = self.questions.iter().map(|q| ui::QuestionTile {
            label: q.label(lang).into(),
            value: q.shown(visit, side, lang).into(),
            copied: q.copied(visit, side),
        });
        ui::QuestionList {
            tiles: models(tiles.collect()),
            chosen: self.chosen as i32,
            question: self
                .now()
                .map_or_else(Default::default, |q| self.question(q, visit, side, lang)),
            cautions: models(cautions),
            can_undo: self.can_undo(visit),
        }
    }

    fn question(
        &self,
        q: &dyn Question<T, At>,
        visit: &T,
        side: At,
        lang: Lang,
    ) -> ui::QuestionView {
        let mut view = ui::QuestionView {
            title: q.title(lang).into(),
            note: q.note(visit, side, lang).into(),
            source: q.source(lang).into(),
            choices: models(q.choices(visit, side, lang)),
            copied: q.copied(visit, side),
            places: models(q.places(visit, side)),
            ..Default::default()
        };
        let with_it = self.with_it(visit, side, lang);
        view.together_count = with_it.len() as i32;
        view.together = with_it.join(" · ").into();
        let well = self.well_in_words(visit, side, lang);
        view.well_count = well.len() as i32;
        view.well = well.join(" · ").into();
        match q.kind() {
            Kind::OneOf => view.answer = ui::Answer::OneOf,
            Kind::AnyOf => view.answer = ui::Answer::AnyOf,
            Kind::Text => {
                view.answer = ui::Answer::Text;
                view.value_text = q.shown(visit, side, lang).into();
                if let Some((typed, problem)) = &self.refused {
                    view.value_text = typed.into();
                    view.problem = problem.get(lang).into();
                }
            }
            Kind::Number(scale) => {
                let numbers = q.numbers(visit, side);
                let shown = |e: &Entry| {
                    e.value.map_or_else(
                        || e.typed.clone(),
                        |v| format::quantity(v, scale.unit, lang),
                    )
                };
                let at = numbers.get(self.repeat);
                view.answer = ui::Answer::Number;
                view.value = at.and_then(|e| e.value).unwrap_or(0.0) as f32;
                view.value_text = at
                    .and_then(|e| e.value)
                    .map_or_else(String::new, |v| format::quantity(v, scale.unit, lang))
                    .into();
                view.mean = q.shown(visit, side, lang).into();
                (view.low, view.high, view.step) =
                    (scale.low as f32, scale.high as f32, scale.step as f32);
                view.unit = format::unit(scale.unit).trim().into();
                view.problem = at
                    .and_then(|e| e.problem.as_ref())
                    .map_or_else(String::new, |p| p.sentence(lang))
                    .into();
                view.repeats = models(numbers.iter().map(|e| shown(e).into()).collect());
                view.repeat_index = self.repeat as i32;
                view.repeatable = scale.repeats;
            }
        }
        view
    }
}

/// A choice as the screen shows it.
pub fn item(text: &str, chosen: bool) -> ui::ChoiceItem {
    ui::ChoiceItem {
        text: text.into(),
        note: Default::default(),
        chosen,
    }
}

#[cfg(test)]
mod tests;
