//! The points of the cast by ruler and calliper: the same marks, without a photograph. The shell
//! stands on a table with a board behind its heel.

use super::cast_mut;
use super::{Kind, Question, Scale};
use plinthside_measure::leg::Readings;
use plinthside_measure::marks::{MarkName, Side};
use plinthside_measure::ruler::{RulerBreadth, RulerEntry, RulerLine, RulerReading};
use plinthside_visit::{Entry, Lang, Text, Visit};

/// A number of one mark.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Number {
    /// Height over the table.
    Height,
    /// Distance forward of the board behind the heel.
    Forward,
    /// Offset from the middle line, to the side named.
    Lateral,
    Medial,
}

/// A mark with the limits of what a ruler plausibly shows, mm (common practice, no source).
pub(super) struct Mark {
    pub(super) name: &'static str,
    pub(super) label: [&'static str; 2],
    sideways: Number,
    height: [f64; 2],
    forward: [f64; 2],
    offset: [f64; 2],
}

pub(super) const MARKS: [Mark; 6] = [
    Mark {
        name: MarkName::HEEL_LOWER,
        label: ["Heel, lower", "Ferse, unten"],
        sideways: Number::Lateral,
        height: [0.0, 40.0],
        forward: [-10.0, 20.0],
        offset: [-20.0, 20.0],
    },
    Mark {
        name: MarkName::HEEL_UPPER,
        label: ["Heel, upper", "Ferse, oben"],
        sideways: Number::Lateral,
        height: [20.0, 120.0],
        forward: [-20.0, 30.0],
        offset: [-20.0, 20.0],
    },
    Mark {
        name: MarkName::MALLEOLUS_MEDIAL,
        label: ["Medial malleolus", "Innenknöchel"],
        sideways: Number::Medial,
        height: [30.0, 150.0],
        forward: [10.0, 100.0],
        offset: [10.0, 70.0],
    },
    Mark {
        name: MarkName::MALLEOLUS_LATERAL,
        label: ["Lateral malleolus", "Außenknöchel"],
        sideways: Number::Lateral,
        height: [30.0, 150.0],
        forward: [10.0, 100.0],
        offset: [10.0, 70.0],
    },
    Mark {
        name: MarkName::MTP_1,
        label: ["First MTP", "Großzehengrundgelenk"],
        sideways: Number::Medial,
        height: [0.0, 60.0],
        forward: [60.0, 260.0],
        offset: [10.0, 80.0],
    },
    Mark {
        name: MarkName::MTP_5,
        label: ["Fifth MTP", "Kleinzehengrundgelenk"],
        sideways: Number::Lateral,
        height: [0.0, 60.0],
        forward: [50.0, 240.0],
        offset: [10.0, 80.0],
    },
];

/// The pairs a calliper reaches, medial and lateral.
const PAIRS: [[&str; 2]; 2] = [
    [MarkName::MALLEOLUS_MEDIAL, MarkName::MALLEOLUS_LATERAL],
    [MarkName::MTP_1, MarkName::MTP_5],
];

/// The questions, mark by mark, then what a calliper may say instead of offsets.
pub fn ruler() -> Vec<Box<dyn Question>> {
    let marks = MARKS.iter().flat_map(|mark| {
        [Number::Height, Number::Forward, mark.sideways]
            .map(|number| Box::new(OfMark { mark, number }) as Box<dyn Question>)
    });
    let breadths = PAIRS
        .iter()
        .map(|pair| Box::new(Breadth(*pair)) as Box<dyn Question>);
    marks.chain(breadths).collect()
}

/// The lines that can be measured with: of a mark that is begun, the others are still awaited.
#[must_use]
pub fn finished(entry: &RulerEntry) -> RulerEntry {
    let marks = |name: &MarkName| {
        entry.0.iter().find_map(|line| match line {
            RulerLine::Mark(mark) if mark.mark == *name => Some(mark),
            _ => None,
        })
    };
    let stands =
        |mark: &RulerReading| !mark.height_mm.0.is_empty() && !mark.forward_mm.0.is_empty();
    let spanned = |b: &RulerBreadth| {
        let [medial, lateral] = [&b.medial, &b.lateral].map(marks);
        medial.is_some_and(stands) && lateral.is_some_and(stands)
    };
    let by_calliper = |mark: &MarkName| {
        entry.0.iter().any(|line| {
            matches!(line, RulerLine::Breadth(b) if (b.medial == *mark || b.lateral == *mark) && spanned(b))
        })
    };
    let whole = |line: &&RulerLine| match line {
        RulerLine::Mark(mark) => {
            let offsets = [&mark.lateral_mm, &mark.medial_mm].into_iter().flatten();
            let sideways = offsets.into_iter().any(|offset| !offset.0.is_empty());
            stands(mark) && (sideways || by_calliper(&mark.mark))
        }
        RulerLine::Breadth(breadth) => spanned(breadth),
    };
    RulerEntry(entry.0.iter().filter(whole).cloned().collect())
}

/// What keeps the entries from giving results, in words; empty once they do.
#[must_use]
pub fn awaited(entry: &RulerEntry, lang: Lang) -> String {
    let entry = finished(entry);
    let there = |name: &str| {
        entry
            .0
            .iter()
            .any(|line| matches!(line, RulerLine::Mark(mark) if mark.mark.as_str() == name))
    };
    let missing: Vec<&str> = MARKS
        .iter()
        .filter(|mark| !there(mark.name))
        .map(|mark| mark.label[usize::from(lang == Lang::De)])
        .collect();
    if missing.is_empty() {
        return String::new();
    }
    let missing = missing.join("; ");
    match lang {
        Lang::En => format!("Still to measure: {missing}."),
        Lang::De => format!("Noch zu messen: {missing}."),
    }
}

fn entry_of(visit: &Visit, side: Side) -> Option<&RulerEntry> {
    visit.cast(side).map(|cast| &cast.sources.ruler)
}

fn reading<'a>(visit: &'a Visit, side: Side, name: &str) -> Option<&'a RulerReading> {
    entry_of(visit, side)?.0.iter().find_map(|line| match line {
        RulerLine::Mark(mark) if mark.mark.as_str() == name => Some(mark),
        _ => None,
    })
}

struct OfMark {
    mark: &'static Mark,
    number: Number,
}

impl OfMark {
    fn scale(&self) -> Scale {
        let [low, high] = match self.number {
            Number::Height => self.mark.height,
            Number::Forward => self.mark.forward,
            Number::Lateral | Number::Medial => self.mark.offset,
        };
        Scale {
            low,
            high,
            step: 1.0,
            unit: "mm",
            repeats: true,
        }
    }

    fn of(&self, reading: &RulerReading) -> Readings {
        let readings = match self.number {
            Number::Height => Some(&reading.height_mm),
            Number::Forward => Some(&reading.forward_mm),
            Number::Lateral => reading.lateral_mm.as_ref(),
            Number::Medial => reading.medial_mm.as_ref(),
        };
        readings.cloned().unwrap_or_else(|| Readings(Vec::new()))
    }

    fn what(&self, lang: Lang) -> &'static str {
        let [en, de] = match self.number {
            Number::Height => ["height", "Höhe"],
            Number::Forward => ["from the board", "vom Brett"],
            Number::Lateral => ["to the lateral side", "nach lateral"],
            Number::Medial => ["to the medial side", "nach medial"],
        };
        if lang == Lang::De { de } else { en }
    }
}

fn mean_shown(numbers: &[Entry], q: &dyn Question, lang: Lang) -> String {
    let values: Vec<f64> = numbers.iter().filter_map(|e| e.value).collect();
    if values.is_empty() {
        return String::new();
    }
    q.printed(values.iter().sum::<f64>() / values.len() as f64, lang)
}

impl Question for OfMark {
    fn key(&self) -> String {
        format!("ruler.{}.{:?}", self.mark.name, self.number).to_lowercase()
    }

    fn label(&self, lang: Lang) -> String {
        let label = self.mark.label[usize::from(lang == Lang::De)];
        format!("{label}: {}", self.what(lang))
    }

    fn title(&self, lang: Lang) -> String {
        let [en, de] = match self.number {
            Number::Height => ["how high", "wie hoch"],
            Number::Forward => ["how far from the board", "wie weit vom Brett"],
            Number::Lateral => ["how far to the lateral side", "wie weit nach lateral"],
            Number::Medial => ["how far to the medial side", "wie weit nach medial"],
        };
        let mark = self.mark.label[usize::from(lang == Lang::De)];
        format!("{mark}: {}", if lang == Lang::De { de } else { en })
    }

    fn note(&self, _visit: &Visit, _side: Side, lang: Lang) -> String {
        let text = match self.number {
            Number::Height => Text::new(
                "over the table, the shell standing as it stands by itself",
                "über dem Tisch, die Schale steht, wie sie von selbst steht",
            ),
            Number::Forward => Text::new(
                "forward of a board set upright behind the heel; behind it is minus",
                "vor einem Brett, das senkrecht hinter der Ferse steht; dahinter ist minus",
            ),
            Number::Lateral | Number::Medial => Text::new(
                "from the middle line drawn on the table under the heel to between the second and third toe; or leave it to the calliper",
                "von der Mittellinie auf dem Tisch, von unter der Ferse zwischen zweite und dritte Zehe; oder dem Messschieber überlassen",
            ),
        };
        text.get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Number(self.scale())
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        mean_shown(&self.numbers(visit, side), self, lang)
    }

    fn numbers(&self, visit: &Visit, side: Side) -> Vec<Entry> {
        let readings = reading(visit, side, self.mark.name).map(|reading| self.of(reading));
        let readings = readings.map_or_else(Vec::new, |r| r.0);
        let scale = self.scale();
        readings.into_iter().map(|mm| scale.entry(mm)).collect()
    }

    fn write(&self, visit: &mut Visit, side: Side, numbers: Vec<Entry>) {
        let values = Readings(numbers.iter().filter_map(|e| e.value).collect());
        let lines = &mut cast_mut(visit, side).sources.ruler.0;
        let name = self.mark.name;
        // An offset stands in place of a calliper's breadth.
        if matches!(self.number, Number::Lateral | Number::Medial) {
            lines.retain(|line| {
                !matches!(line, RulerLine::Breadth(b) if b.medial.as_str() == name || b.lateral.as_str() == name)
            });
        }
        let is =
            |line: &RulerLine| matches!(line, RulerLine::Mark(mark) if mark.mark.as_str() == name);
        let at = lines.iter().position(is).unwrap_or_else(|| {
            let none = || Readings(Vec::new());
            lines.push(RulerLine::Mark(RulerReading {
                mark: name.into(),
                height_mm: none(),
                forward_mm: none(),
                lateral_mm: None,
                medial_mm: None,
                sd_mm: None,
                surface: Default::default(),
            }));
            lines.len() - 1
        });
        if let Some(RulerLine::Mark(reading)) = lines.get_mut(at) {
            match self.number {
                Number::Height => reading.height_mm = values,
                Number::Forward => reading.forward_mm = values,
                Number::Lateral => reading.lateral_mm = Some(values),
                Number::Medial => reading.medial_mm = Some(values),
            }
        }
    }
}

/// A calliper's breadth, which stands in place of both offsets.
struct Breadth([&'static str; 2]);

impl Breadth {
    fn scale() -> Scale {
        Scale {
            low: 30.0,
            high: 130.0,
            step: 1.0,
            unit: "mm",
            repeats: true,
        }
    }
}

impl Question for Breadth {
    fn key(&self) -> String {
        format!("ruler.breadth.{}", self.0[0])
    }

    fn label(&self, lang: Lang) -> String {
        let text = if self.0[0] == MarkName::MTP_1 {
            Text::new(
                "Calliper over both MTPs",
                "Messschieber über beide Grundgelenke",
            )
        } else {
            Text::new(
                "Calliper over both malleoli",
                "Messschieber über beide Knöchel",
            )
        };
        text.get(lang).to_owned()
    }

    fn note(&self, _visit: &Visit, _side: Side, lang: Lang) -> String {
        Text::new(
            "from mark to mark, inside the shell; in place of both offsets",
            "von Markierung zu Markierung, innen in der Schale; anstelle beider Abstände",
        )
        .get(lang)
        .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Number(Self::scale())
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        mean_shown(&self.numbers(visit, side), self, lang)
    }

    fn numbers(&self, visit: &Visit, side: Side) -> Vec<Entry> {
        let lines = entry_of(visit, side).map_or(&[][..], |entry| &entry.0);
        let breadth = lines.iter().find_map(|line| match line {
            RulerLine::Breadth(b) if b.medial.as_str() == self.0[0] => Some(&b.breadth_mm),
            _ => None,
        });
        let values = breadth.map_or(&[][..], |readings| &readings.0);
        values.iter().map(|mm| Self::scale().entry(*mm)).collect()
    }

    fn write(&self, visit: &mut Visit, side: Side, numbers: Vec<Entry>) {
        let [medial, lateral] = self.0;
        let lines = &mut cast_mut(visit, side).sources.ruler.0;
        lines.retain(|line| !matches!(line, RulerLine::Breadth(b) if b.medial.as_str() == medial));
        let values: Vec<f64> = numbers.iter().filter_map(|e| e.value).collect();
        if values.is_empty() {
            return;
        }
        for line in lines.iter_mut() {
            if let RulerLine::Mark(mark) = line
                && self.0.contains(&mark.mark.as_str())
            {
                (mark.lateral_mm, mark.medial_mm) = (None, None);
            }
        }
        lines.push(RulerLine::Breadth(RulerBreadth {
            medial: medial.into(),
            lateral: lateral.into(),
            breadth_mm: Readings(values),
            sd_mm: None,
        }));
    }
}
