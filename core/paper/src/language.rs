//! The papers' words in one language. English stands in the source and the templates; the table
//! `words/de.toml` holds its German.

use crate::marks::name_marks;
use chrono::{Datelike, NaiveDate};
use plinthside_visit::phrases::fill;
use plinthside_visit::{Entry, Lang, Phrases};
use serde_json::{Value, json};
use std::sync::LazyLock;

/// The table of the papers' German.
pub const GERMAN: &str = include_str!("../words/de.toml");

/// A test reads the table, an empty one can only follow from a broken build.
static PHRASES: LazyLock<Phrases> = LazyLock::new(|| Phrases::parse(&[GERMAN]).unwrap_or_default());

/// Months in letters, as short as they can't be misread.
const MONTHS_DE: [&str; 12] = [
    "Jan.", "Feb.", "März", "April", "Mai", "Juni", "Juli", "Aug.", "Sept.", "Okt.", "Nov.", "Dez.",
];

/// The words of one language.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Words(pub(crate) Lang);

impl Words {
    /// A phrase, marks by their names. One that stands in no table is left as it is: what someone
    /// typed, a name.
    pub(crate) fn say(self, english: &str) -> String {
        match self.0 {
            Lang::En => name_marks(english),
            Lang::De => PHRASES.say(english),
        }
    }

    /// A phrase with its places filled, in order.
    pub(crate) fn with(self, english: &str, values: &[&str]) -> String {
        fill(&self.say(english), values.iter().copied())
    }

    /// A date that can't be misread: day, month in letters, year.
    pub(crate) fn date(self, date: NaiveDate) -> String {
        match self.0 {
            Lang::En => date.format("%-d %b %Y").to_string(),
            Lang::De => {
                let month = MONTHS_DE[date.month0() as usize];
                format!("{}. {month} {}", date.day(), date.year())
            }
        }
    }

    /// A typed number with its unit: `4 mm`, `2.5 mm`; text that could not be read stands as typed.
    pub(crate) fn entry(self, entry: &Entry, unit: &str) -> String {
        match entry.usable().or(entry.value) {
            Some(v) => {
                let rounded = (v * 10.0).round() / 10.0;
                let decimals = usize::from(rounded.fract() != 0.0);
                let number = plinthside_visit::format::number(rounded, decimals, self.0);
                let shown = format!("{number}{unit}");
                if entry.usable().is_some() {
                    shown
                } else {
                    self.with("{} (questioned)", &[&shown])
                }
            }
            None => self.with("“{}” (as typed)", &[entry.typed.trim()]),
        }
    }

    /// What every template gets: its language and, where it is not English, the table.
    pub(crate) fn onto(self, mut data: Value) -> Value {
        let (lang, table) = match self.0 {
            Lang::En => ("en", json!({})),
            Lang::De => ("de", json!(PHRASES.table())),
        };
        data["lang"] = lang.into();
        data["t"] = table;
        data
    }
}

#[cfg(test)]
#[path = "language_tests.rs"]
mod tests;
