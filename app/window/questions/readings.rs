//! The examination: every core reading of the catalogue.

use super::dimensions::dimensions;
use super::follow::{draft, draft_mut};
use super::{Kind, Question, Scale, item};
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::examination::{ReadingKind, reading_kinds};
use plinthside_visit::{Entry, Lang, Reading, Text, Visit};

/// The core readings, in the catalogue's order.
pub fn examination() -> Vec<Box<dyn Question>> {
    let asked = |kind: &&ReadingKind| kind.unit.is_some() || !kind.words.is_empty();
    let (core, more): (Vec<_>, Vec<_>) = reading_kinds().iter().filter(asked).partition(|k| k.core);
    let readings = |kinds: Vec<&'static ReadingKind>| {
        kinds
            .into_iter()
            .map(|kind| OfKind::boxed(kind, Taken::AtTheVisit))
    };
    // Tests read the shipped table; without it the readings are still asked.
    let [compared, others] = dimensions().unwrap_or_default();
    readings(core)
        .chain(compared)
        .chain(others)
        .chain(readings(more))
        .collect()
}

/// The numbers among the readings of this visit, to be taken again at a review.
pub fn again(visit: &Visit, side: Side) -> Vec<Box<dyn Question>> {
    reading_kinds()
        .iter()
        .filter(|kind| {
            kind.unit.is_some()
                && visit
                    .reading(&kind.key, side)
                    .is_some_and(|r| r.mean().is_some())
        })
        .map(|kind| OfKind::boxed(kind, Taken::Again))
        .collect()
}

/// When a reading is taken.
#[derive(Clone, Copy)]
enum Taken {
    AtTheVisit,
    /// At the review that is being entered.
    Again,
}

struct OfKind(&'static ReadingKind, Taken);

/// The grades of the Medical Research Council scale, in words from memory (unverified).
const GRADES: [(&str, &str); 6] = [
    ("no contraction", "keine Kontraktion"),
    ("a flicker, no movement", "Zucken, keine Bewegung"),
    ("moves with gravity taken away", "bewegt ohne Schwerkraft"),
    ("moves against gravity", "bewegt gegen die Schwerkraft"),
    (
        "moves against some resistance",
        "bewegt gegen leichten Widerstand",
    ),
    ("full strength", "volle Kraft"),
];

/// What hand and eye find in one look at the foot, with the word that nothing is amiss.
const WELL: [(&str, &str); 4] = [
    ("dorsalis_pedis_pulse", "present"),
    ("tibialis_posterior_pulse", "present"),
    ("swelling", "none"),
    ("skin", "intact"),
];

impl OfKind {
    fn boxed(kind: &'static ReadingKind, taken: Taken) -> Box<dyn Question> {
        Box::new(Self(kind, taken))
    }

    /// Grades are chosen, not dialled.
    fn is_graded(&self) -> bool {
        self.0.unit.as_deref() == Some("MRC")
    }

    fn find<'a>(&self, visit: &'a Visit, side: Side) -> Option<&'a Reading> {
        match self.1 {
            Taken::AtTheVisit => visit.reading(&self.0.key, side),
            Taken::Again => draft(visit, side)?
                .readings
                .iter()
                .rfind(|r| r.kind == self.0.key),
        }
    }

    /// The reading of this kind, made if it was not there; touching a copy confirms it.
    fn find_mut<'a>(&self, visit: &'a mut Visit, side: Side) -> &'a mut Reading {
        let method = visit.reading(&self.0.key, side).map(|r| r.method.clone());
        let new = Reading {
            kind: self.0.key.clone(),
            side: self.0.sided.then_some(side),
            by: visit.clinician.clone(),
            at: Some(crate::clock::now()),
            // Taken again, a reading is compared: by the same method unless said otherwise.
            method: method.unwrap_or_default(),
            ..Reading::default()
        };
        let readings = match self.1 {
            Taken::AtTheVisit => &mut visit.readings,
            Taken::Again => &mut draft_mut(visit, side).readings,
        };
        let wanted = |r: &Reading| r.kind == self.0.key && r.side.is_none_or(|s| s == side);
        let index = readings.iter().rposition(wanted).unwrap_or_else(|| {
            let id = format!("r{}", readings.len() + 1);
            readings.push(Reading { id, ..new });
            readings.len() - 1
        });
        let reading = &mut readings[index];
        reading.copy_confirmed |= reading.copied_from.is_some();
        reading
    }
}

impl Question for OfKind {
    fn key(&self) -> String {
        self.0.key.clone()
    }

    fn group(&self) -> String {
        self.0.group.clone()
    }

    fn label(&self, lang: Lang) -> String {
        self.0.label.get(lang).to_owned()
    }

    fn note(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let mut parts: Vec<String> = Vec::new();
        if let (Taken::Again, Some(before)) = (self.1, visit.reading(&self.0.key, side))
            && let Some(mean) = before.mean()
        {
            let text = Text::new("at the visit", "beim Besuch");
            parts.push(format!("{} {}", text.get(lang), self.0.printed(mean, lang)));
        }
        if let Some(reference) = &self.0.reference {
            parts.push(reference.get(lang).to_owned());
        }
        if let (Some(plus), Some(minus)) = (&self.0.plus, &self.0.minus) {
            parts.push(format!("+ {}, − {}", plus.get(lang), minus.get(lang)));
        }
        parts.join(" · ")
    }

    fn kind(&self) -> Kind {
        let kind: &'static ReadingKind = self.0;
        match kind.unit.as_deref() {
            Some(_) if self.is_graded() => Kind::OneOf,
            Some(unit) => Kind::Number(Scale::over(self.0.limits, unit, true)),
            None if self.0.many => Kind::AnyOf,
            None => Kind::OneOf,
        }
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let Some(reading) = self.find(visit, side) else {
            return String::new();
        };
        if let Some(mean) = reading.mean() {
            return self.0.printed(mean, lang);
        }
        let words = self
            .0
            .words
            .iter()
            .filter(|w| reading.choices.contains(&w.word));
        words
            .map(|w| w.label.get(lang))
            .collect::<Vec<_>>()
            .join(", ")
    }

    fn copied(&self, visit: &Visit, side: Side) -> bool {
        self.find(visit, side)
            .is_some_and(Reading::is_unconfirmed_copy)
    }

    fn confirm(&self, visit: &mut Visit, side: Side) {
        if self.copied(visit, side) {
            self.find_mut(visit, side);
        }
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        if self.is_graded() {
            let now = self.find(visit, side).and_then(Reading::mean);
            let grades = GRADES.iter().enumerate();
            return grades
                .map(|(grade, (en, de))| ui::ChoiceItem {
                    text: grade.to_string().into(),
                    note: Text::new(*en, *de).get(lang).into(),
                    chosen: now == Some(grade as f64),
                })
                .collect();
        }
        let chosen = self
            .find(visit, side)
            .map(|r| r.choices.as_slice())
            .unwrap_or_default();
        self.0
            .words
            .iter()
            .map(|w| item(w.label.get(lang), chosen.contains(&w.word)))
            .collect()
    }

    fn well(&self) -> Option<usize> {
        let (_, well) = WELL.iter().find(|(key, _)| *key == self.0.key)?;
        self.0.words.iter().position(|w| w.word == *well)
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        if self.is_graded() {
            let again = self.find(visit, side).and_then(Reading::mean) == Some(index as f64);
            let grade = (!again).then(|| Entry::number(index as f64));
            self.find_mut(visit, side).repeats = grade.into_iter().collect();
            return;
        }
        let Some(word) = self.0.words.get(index).map(|w| w.word.clone()) else {
            return;
        };
        let many = self.0.many;
        let choices = &mut self.find_mut(visit, side).choices;
        if choices.contains(&word) {
            choices.retain(|c| *c != word);
        } else {
            if !many {
                choices.clear();
            }
            choices.push(word);
        }
    }

    fn numbers(&self, visit: &Visit, side: Side) -> Vec<Entry> {
        self.find(visit, side)
            .map(|r| r.repeats.clone())
            .unwrap_or_default()
    }

    fn write(&self, visit: &mut Visit, side: Side, numbers: Vec<Entry>) {
        self.find_mut(visit, side).repeats = numbers;
    }

    fn printed(&self, value: f64, lang: Lang) -> String {
        self.0.printed(value, lang)
    }

    fn source(&self, lang: Lang) -> String {
        self.0
            .limits_source
            .as_ref()
            .map_or_else(String::new, |s| s.line(lang))
    }
}
