//! The catalogue of readings: names, units, sign words, planes, plausible limits.

use crate::data::{DataError, DataFile};
use crate::source::Source;
use crate::verdict::Range;
use crate::words::{Lang, Text, words};
use serde::Deserialize;
use std::sync::LazyLock;

const SHIPPED: &str = include_str!("../../data/readings.toml");

/// One kind of reading.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReadingKind {
    /// Key, with its unit.
    pub key: String,
    /// Name on screen and paper.
    pub label: Text,
    /// Readings taken together share a group.
    pub group: String,
    /// One of the core readings; the rest stands behind "more".
    #[serde(default)]
    pub core: bool,
    /// Taken on a side.
    #[serde(default = "yes")]
    pub sided: bool,
    /// Unit of a number.
    #[serde(default)]
    pub unit: Option<String>,
    /// Word for a positive number.
    #[serde(default)]
    pub plus: Option<Text>,
    /// Word for a negative number.
    #[serde(default)]
    pub minus: Option<Text>,
    /// Hard limits: outside them the typed value is asked about.
    #[serde(default)]
    pub limits: Option<Range>,
    /// Where the limits come from.
    #[serde(default)]
    pub limits_source: Option<Source>,
    /// Plane of an angle.
    #[serde(default)]
    pub plane: Option<Plane>,
    /// What the number refers to.
    #[serde(default)]
    pub reference: Option<Text>,
    /// Methods to choose from, the usual one first.
    #[serde(default)]
    pub methods: Vec<Method>,
    /// Words to choose from.
    #[serde(default)]
    pub words: Vec<Word>,
    /// Several words may be chosen.
    #[serde(default)]
    pub many: bool,
    /// Free text.
    #[serde(default)]
    pub text: bool,
}

/// A word that can be chosen.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Word {
    /// The word as stored.
    pub word: String,
    /// As printed.
    pub label: Text,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Catalogue {
    #[allow(dead_code)] // read to be checked by the schema
    schema: u32,
    reading: Vec<ReadingKind>,
}

fn yes() -> bool {
    true
}

static KINDS: LazyLock<Result<Vec<ReadingKind>, DataError>> = LazyLock::new(|| {
    let file = DataFile {
        name: "readings.toml",
        text: SHIPPED,
    };
    file.parse::<Catalogue>().map(|c| c.reading)
});

/// Every kind of reading, in the order of the examination.
#[must_use]
pub fn reading_kinds() -> &'static [ReadingKind] {
    // A test reads the shipped file; an empty list can only follow from a broken build.
    KINDS.as_deref().unwrap_or_default()
}

/// One kind by its key.
#[must_use]
pub fn reading_kind(key: &str) -> Option<&'static ReadingKind> {
    reading_kinds().iter().find(|kind| kind.key == key)
}

words! {
    /// How a reading is taken.
    Method {
        Goniometer = "goniometer", "goniometer", "Goniometer";
        Inclinometer = "inclinometer", "inclinometer", "Inklinometer";
        ByEye = "by_eye", "by eye", "nach Augenmaß";
        Manual = "manual", "by hand", "von Hand";
        Standing = "standing", "standing", "im Stand";
        Monofilament = "monofilament", "monofilament", "Monofilament";
        Touch = "touch", "touch", "Berührung";
        Tape = "tape", "tape", "Maßband";
        Calliper = "calliper", "calliper", "Messschieber";
        Ruler = "ruler", "ruler", "Lineal";
        Card = "card", "card", "Karte";
        Photograph = "photograph", "photograph", "Foto";
        Footprint = "footprint", "footprint", "Fußabdruck";
        NinePoints = "nine_points", "nine points", "neun Punkte";
        Blocks = "blocks", "blocks", "Brettchen";
        ComputedTomography = "computed_tomography", "computed tomography", "Computertomografie";
        Asked = "asked", "asked", "erfragt";
    }
    /// The plane an angle lies in.
    Plane {
        Sagittal = "sagittal", "sagittal plane", "Sagittalebene";
        Frontal = "frontal", "frontal plane", "Frontalebene";
        Transverse = "transverse", "transverse plane", "Transversalebene";
    }
}

impl ReadingKind {
    /// A number of this kind as printed: its sign always as a word.
    #[must_use]
    pub fn printed(&self, value: f64, lang: Lang) -> String {
        let word = match (&self.plus, &self.minus) {
            (Some(plus), _) if value > 0.0 => Some(plus),
            (_, Some(minus)) if value < 0.0 => Some(minus),
            _ => None,
        };
        match word {
            Some(word) => format!("{} {}", self.size(value.abs(), lang), word.get(lang)),
            None => self.size(value, lang),
        }
    }

    /// A number of this kind with its unit and without a direction: a difference, a distance.
    #[must_use]
    pub fn size(&self, value: f64, lang: Lang) -> String {
        let unit = self.unit.as_deref().unwrap_or_default();
        let decimals = match unit {
            "1" if self.limits.is_some_and(|l| l.high.is_some_and(|h| h < 1.0)) => 3,
            _ => usize::from((value - value.round()).abs() > 0.05),
        };
        let shown_unit = match unit {
            "1" | "score" => String::new(),
            unit => crate::format::unit(unit),
        };
        format!(
            "{}{shown_unit}",
            crate::format::number(value, decimals, lang)
        )
    }
}
