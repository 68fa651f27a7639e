//! Keep or recast: each limit with its source, and the clinic's own value in its place.

use super::entries::Questions;
use crate::window::questions::{Kind, Question, Scale};
use plinthside_visit::verdict::{Limit, OwnLimit, Range, Tolerances};
use plinthside_visit::{Clinic, Entry, Lang, Text, format};
use std::rc::Rc;

/// One end of one range.
#[derive(Debug, Clone, Copy, PartialEq)]
struct End {
    keep: bool,
    high: bool,
}

const ENDS: [End; 4] = [
    End {
        keep: true,
        high: false,
    },
    End {
        keep: true,
        high: true,
    },
    End {
        keep: false,
        high: false,
    },
    End {
        keep: false,
        high: true,
    },
];

impl End {
    fn range(self, keep: Option<Range>, correct: Option<Range>) -> Option<Range> {
        if self.keep { keep } else { correct }
    }

    fn of(self, range: Option<Range>) -> Option<f64> {
        let range = range?;
        if self.high { range.high } else { range.low }
    }
}

/// The row as it is judged now: the clinic's own ranges, even those that can't be used.
pub fn now(clinic: &Clinic, shipped: &Limit) -> (Option<Range>, Option<Range>) {
    match clinic.limits.get(&shipped.check.name()) {
        Some(own) => (own.keep, own.correct),
        None => (shipped.keep, shipped.correct),
    }
}

/// Why the clinic's own ranges can't be used, if they can't.
pub fn problem(clinic: &Clinic, shipped: &Limit, lang: Lang) -> String {
    let own = clinic.limits.get(&shipped.check.name());
    let Some(Err(_)) = own.map(|own| own.in_place_of(shipped)) else {
        return String::new();
    };
    Text::new(
        "What the lab can correct must reach at least as far as what is kept, and the lower end lie below the upper. Until then the shipped limits are in force.",
        "Was die Werkstatt korrigieren kann, muss mindestens so weit reichen wie „behalten“, und das untere Ende unter dem oberen liegen. Bis dahin gelten die mitgelieferten Grenzen.",
    )
    .get(lang)
    .to_owned()
}

/// The limits in words: “keep −3 to 3 mm, lab can correct −6 to 6 mm”.
pub fn words(clinic: &Clinic, shipped: &Limit, lang: Lang) -> String {
    let (keep, correct) = now(clinic, shipped);
    let range = |range: Range| {
        let end = |value| format::quantity(value, &shipped.unit, lang);
        match (range.low, range.high, lang) {
            (Some(low), Some(high), Lang::En) => format!("{} to {}", end(low), end(high)),
            (Some(low), Some(high), Lang::De) => format!("{} bis {}", end(low), end(high)),
            (Some(low), None, Lang::En) => format!("from {}", end(low)),
            (Some(low), None, Lang::De) => format!("ab {}", end(low)),
            (None, Some(high), Lang::En) => format!("up to {}", end(high)),
            (None, Some(high), Lang::De) => format!("bis {}", end(high)),
            (None, None, _) => String::new(),
        }
    };
    let parts = [
        (keep, Text::new("keep", "behalten")),
        (
            correct,
            Text::new("lab can correct", "Werkstatt kann korrigieren"),
        ),
    ];
    let said: Vec<String> = parts
        .into_iter()
        .filter_map(|(r, word)| Some(format!("{} {}", word.get(lang), range(r?))))
        .collect();
    if said.is_empty() {
        return Text::new("reported, not judged", "nur zur Kenntnis")
            .get(lang)
            .to_owned();
    }
    said.join(" · ")
}

/// The ends of one row that can be set: those the shipped row has.
pub fn questions(shipped: &Rc<Tolerances>, index: usize) -> Questions {
    let Some(limit) = shipped.limit.get(index) else {
        return Vec::new();
    };
    ENDS.into_iter()
        .filter(|end| end.of(end.range(limit.keep, limit.correct)).is_some())
        .map(|end| {
            let shipped = Rc::clone(shipped);
            Box::new(OfLimit {
                end,
                index,
                shipped,
            }) as Box<dyn Question<Clinic, usize>>
        })
        .collect()
}

struct OfLimit {
    end: End,
    index: usize,
    shipped: Rc<Tolerances>,
}

impl OfLimit {
    fn limit(&self) -> &Limit {
        &self.shipped.limit[self.index]
    }
}

impl Question<Clinic, usize> for OfLimit {
    fn key(&self) -> String {
        let End { keep, high } = self.end;
        let range = if keep { "keep" } else { "correct" };
        format!(
            "{}.{range}.{}",
            self.limit().check.name(),
            if high { "high" } else { "low" }
        )
    }

    fn label(&self, lang: Lang) -> String {
        let text = match (self.end.keep, self.end.high) {
            (true, false) => Text::new("Keep, from", "Behalten ab"),
            (true, true) => Text::new("Keep, up to", "Behalten bis"),
            (false, false) => Text::new("Lab can correct, from", "Werkstatt korrigiert ab"),
            (false, true) => Text::new("Lab can correct, up to", "Werkstatt korrigiert bis"),
        };
        text.get(lang).to_owned()
    }

    fn title(&self, lang: Lang) -> String {
        format!("{}: {}", self.limit().label.get(lang), self.label(lang))
    }

    fn note(&self, _clinic: &Clinic, _at: usize, lang: Lang) -> String {
        let limit = self.limit();
        let shipped = self.end.of(self.end.range(limit.keep, limit.correct));
        let value = shipped.map_or_else(String::new, |v| format::quantity(v, &limit.unit, lang));
        let word = Text::new("shipped", "mitgeliefert");
        format!("{} {value} · {}", word.get(lang), limit.source.line(lang))
    }

    fn kind(&self) -> Kind {
        let unit = if self.limit().unit == "deg" {
            "deg"
        } else {
            "mm"
        };
        let limit = self.limit();
        let ends: Vec<f64> = limit.ends();
        let least = ends.iter().copied().fold(0.0, f64::min);
        let most = ends.iter().copied().fold(0.0, f64::max);
        Kind::Number(Scale {
            low: if least < 0.0 { 2.0 * least } else { 0.0 },
            high: if most > 0.0 { 2.0 * most } else { 0.0 },
            step: 0.5,
            unit,
            repeats: false,
        })
    }

    fn shown(&self, clinic: &Clinic, at: usize, lang: Lang) -> String {
        let value = self.numbers(clinic, at).first().and_then(|e| e.value);
        value.map_or_else(String::new, |v| {
            format::quantity(v, &self.limit().unit, lang)
        })
    }

    fn numbers(&self, clinic: &Clinic, _at: usize) -> Vec<Entry> {
        let (keep, correct) = now(clinic, self.limit());
        let value = self.end.of(self.end.range(keep, correct));
        value.map(Entry::number).into_iter().collect()
    }

    fn write(&self, clinic: &mut Clinic, _at: usize, numbers: Vec<Entry>) {
        let Some(value) = numbers.last().and_then(|e| e.value) else {
            return;
        };
        let limit = self.limit();
        let (mut keep, mut correct) = now(clinic, limit);
        let range = if self.end.keep {
            &mut keep
        } else {
            &mut correct
        };
        let range = range.get_or_insert_default();
        let end = if self.end.high {
            &mut range.high
        } else {
            &mut range.low
        };
        *end = Some(value);
        let name = limit.check.name();
        let extra = clinic.limits.remove(&name).unwrap_or_default().extra;
        // The shipped numbers set by hand are the shipped limits again.
        if (keep, correct) != (limit.keep, limit.correct) {
            clinic.limits.insert(
                name,
                OwnLimit {
                    keep,
                    correct,
                    extra,
                },
            );
        }
    }
}
