//! Answers in words and numbers, read from the draft and written into it.

use super::{draft, draft_mut};
use crate::window::questions::{Kind, Question, Scale, item};
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::follow_up::{Draft, ReceiptAnswer};
use plinthside_visit::{Entry, Lang, Text, Visit};

/// What the lab answered.
pub struct Answer;

impl Question for Answer {
    fn key(&self) -> String {
        "follow.answer".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("The lab's answer", "Antwort der Werkstatt")
            .get(lang)
            .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let answer = draft(visit, side).and_then(|d| d.answer.as_ref());
        answer.map_or_else(String::new, |a| a.label(lang).to_owned())
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = draft(visit, side).and_then(|d| d.answer.as_ref());
        let all = ReceiptAnswer::ALL.iter();
        all.map(|a| item(a.label(lang), now == Some(a))).collect()
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        let chosen = ReceiptAnswer::ALL.get(index).cloned();
        let place = &mut draft_mut(visit, side).answer;
        *place = chosen.filter(|chosen| place.as_ref() != Some(chosen));
    }
}

struct AnyWord<W: 'static> {
    key: &'static str,
    label: Text,
    all: &'static [W],
    of: fn(&W, Lang) -> &str,
    access: fn(&mut Draft) -> &mut Vec<W>,
}

/// Any of a list of words.
pub fn any<W: Clone + PartialEq + 'static>(
    key: &'static str,
    label: Text,
    all: &'static [W],
    of: fn(&W, Lang) -> &str,
    access: fn(&mut Draft) -> &mut Vec<W>,
) -> Box<dyn Question> {
    Box::new(AnyWord {
        key,
        label,
        all,
        of,
        access,
    })
}

impl<W: Clone + PartialEq> AnyWord<W> {
    fn now(&self, visit: &Visit, side: Side) -> Vec<W> {
        draft(visit, side).map_or_else(Vec::new, |d| (self.access)(&mut d.clone()).clone())
    }
}

impl<W: Clone + PartialEq> Question for AnyWord<W> {
    fn key(&self) -> String {
        self.key.to_owned()
    }

    fn label(&self, lang: Lang) -> String {
        self.label.get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::AnyOf
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let now = self.now(visit, side);
        let words: Vec<&str> = now.iter().map(|w| (self.of)(w, lang)).collect();
        words.join(", ")
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = self.now(visit, side);
        let all = self.all.iter();
        all.map(|w| item((self.of)(w, lang), now.contains(w)))
            .collect()
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        let Some(word) = self.all.get(index) else {
            return;
        };
        let words = (self.access)(draft_mut(visit, side));
        match words.iter().position(|w| w == word) {
            Some(at) => drop(words.remove(at)),
            None => words.push(word.clone()),
        }
    }
}

/// Typed words; phrases that are often meant are taken in or left out by a tap.
struct Typed {
    key: &'static str,
    label: Text,
    phrases: Vec<Text>,
    access: fn(&mut Draft) -> &mut String,
}

/// A typed text with phrases beside it.
pub fn typed(
    key: &'static str,
    label: Text,
    phrases: impl Iterator<Item = Text>,
    access: fn(&mut Draft) -> &mut String,
) -> Box<dyn Question> {
    Box::new(Typed {
        key,
        label,
        phrases: phrases.collect(),
        access,
    })
}

/// Between two phrases of a typed text.
const BETWEEN: &str = "; ";

impl Question for Typed {
    fn key(&self) -> String {
        self.key.to_owned()
    }

    fn label(&self, lang: Lang) -> String {
        self.label.get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Text
    }

    fn shown(&self, visit: &Visit, side: Side, _lang: Lang) -> String {
        draft(visit, side).map_or_else(String::new, |d| (self.access)(&mut d.clone()).clone())
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = self.shown(visit, side, lang);
        let here = |phrase: &Text| now.split(BETWEEN).any(|p| p == phrase.en || p == phrase.de);
        let all = self.phrases.iter();
        all.map(|p| item(p.get(lang), here(p))).collect()
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        let Some(phrase) = self.phrases.get(index) else {
            return;
        };
        let text = (self.access)(draft_mut(visit, side));
        let mut parts: Vec<&str> = text.split(BETWEEN).filter(|p| !p.is_empty()).collect();
        let before = parts.len();
        parts.retain(|p| *p != phrase.en && *p != phrase.de);
        if parts.len() == before {
            parts.push(&phrase.en);
        }
        *text = parts.join(BETWEEN);
    }

    fn type_in(&self, visit: &mut Visit, side: Side, text: &str) -> Option<Text> {
        text.clone_into((self.access)(draft_mut(visit, side)));
        None
    }
}

struct Number {
    key: &'static str,
    label: Text,
    scale: Scale,
    access: fn(&mut Draft) -> &mut Option<Entry>,
}

/// A number from 0 up.
pub fn number(
    key: &'static str,
    [en, de]: [&str; 2],
    high: f64,
    unit: &'static str,
    access: fn(&mut Draft) -> &mut Option<Entry>,
) -> Box<dyn Question> {
    Box::new(Number {
        key,
        label: Text::new(en, de),
        scale: Scale {
            low: 0.0,
            high,
            step: 1.0,
            unit,
            repeats: false,
        },
        access,
    })
}

impl Question for Number {
    fn key(&self) -> String {
        self.key.to_owned()
    }

    /// What follows the colon or comma explains the scale and stands above the dial.
    fn label(&self, lang: Lang) -> String {
        let whole = self.label.get(lang);
        let end = whole.find([':', ',']).unwrap_or(whole.len());
        whole[..end].to_owned()
    }

    fn title(&self, lang: Lang) -> String {
        self.label.get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Number(self.scale)
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let entry = self.numbers(visit, side).pop().and_then(|e| e.value);
        entry.map_or_else(String::new, |v| self.printed(v, lang))
    }

    fn numbers(&self, visit: &Visit, side: Side) -> Vec<Entry> {
        let entry = draft(visit, side).and_then(|d| (self.access)(&mut d.clone()).clone());
        entry.into_iter().collect()
    }

    fn write(&self, visit: &mut Visit, side: Side, numbers: Vec<Entry>) {
        *(self.access)(draft_mut(visit, side)) = numbers.into_iter().next_back();
    }
}
