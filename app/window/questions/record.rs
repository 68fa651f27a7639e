//! What else is written down of a cast: what did not print off, and why a casting was put off.

use super::position::cast_mut;
use super::ruler::MARKS;
use super::{Kind, Question, item};
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::{Lang, Text, Visit};

/// Key of the question that puts the casting off.
pub const PUT_OFF: &str = "visit.deferred";

fn word([en, de]: [&str; 2], lang: Lang) -> String {
    Text::new(en, de).get(lang).to_owned()
}

/// Marks that can't be seen inside the shell.
pub(super) struct MarksMissing;

impl Question for MarksMissing {
    fn is_optional(&self) -> bool {
        true
    }

    fn key(&self) -> String {
        "inspection.marks_missing".into()
    }

    fn label(&self, lang: Lang) -> String {
        word(
            [
                "Marks that did not print off",
                "Markierungen, die nicht abgedruckt sind",
            ],
            lang,
        )
    }

    fn kind(&self) -> Kind {
        Kind::AnyOf
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let missing = self.choices(visit, side, lang).into_iter();
        let names = missing.filter(|c| c.chosen).map(|c| c.text.to_string());
        names.collect::<Vec<_>>().join(", ")
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let missing = visit.cast(side).map(|c| &c.inspection.marks_missing);
        let chosen = |name: &str| missing.is_some_and(|all| all.iter().any(|m| m == name));
        MARKS
            .iter()
            .map(|mark| item(&word(mark.label, lang), chosen(mark.name)))
            .collect()
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        let Some(mark) = MARKS.get(index) else { return };
        let missing = &mut cast_mut(visit, side).inspection.marks_missing;
        match missing.iter().position(|m| m == mark.name) {
            Some(at) => drop(missing.remove(at)),
            None => missing.push(mark.name.to_owned()),
        }
    }
}

/// The casting is done another day; everything entered is kept for it.
pub(super) struct PutOff;

/// Why the casting was put off, in the language of the screen where it is one of the words offered.
pub fn put_off_words(why: &str, lang: Lang) -> String {
    let known = PutOff::reasons().into_iter().find(|text| text.en == why);
    known.map_or_else(|| why.to_owned(), |text| text.get(lang).to_owned())
}

impl PutOff {
    fn reasons() -> [Text; 5] {
        [
            Text::new("the skin is not sound", "Haut nicht in Ordnung"),
            Text::new("too swollen", "zu stark geschwollen"),
            Text::new("can't stay in position", "kann die Lage nicht halten"),
            Text::new(
                "plaster or water not right",
                "Gips oder Wasser nicht in Ordnung",
            ),
            Text::new(
                "the patient does not want it today",
                "Patient möchte heute nicht",
            ),
        ]
    }
}

impl Question for PutOff {
    fn is_optional(&self) -> bool {
        true
    }

    fn key(&self) -> String {
        PUT_OFF.into()
    }

    fn label(&self, lang: Lang) -> String {
        word(["Casting put off", "Gipsen verschoben"], lang)
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, visit: &Visit, _side: Side, lang: Lang) -> String {
        let why = visit.deferred.as_deref();
        why.map_or_else(String::new, |why| put_off_words(why, lang))
    }

    fn choices(&self, visit: &Visit, _side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let why = visit.deferred.as_deref();
        Self::reasons()
            .iter()
            .map(|text| {
                let chosen = why == Some(text.en.as_str());
                item(text.get(lang), chosen)
            })
            .collect()
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        let chosen = self.choices(visit, side, Lang::En);
        visit.deferred = match (chosen.get(index), Self::reasons().get(index)) {
            (Some(now), Some(text)) if !now.chosen => Some(text.en.clone()),
            _ => None,
        };
    }
}
