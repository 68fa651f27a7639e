//! The papers' words in one language. English stands in the source and the templates; the table
//! `words/de.toml` holds its German.

use chrono::{Datelike, NaiveDate};
use plinthside_visit::{Entry, Lang};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::sync::LazyLock;

const GERMAN: &str = include_str!("../words/de.toml");

/// English to German; a test reads the table, an empty one can only follow from a broken build.
static TABLE: LazyLock<BTreeMap<String, String>> =
    LazyLock::new(|| toml::from_str(GERMAN).unwrap_or_default());

/// Phrases with places, split at them: English parts, German.
static PATTERNS: LazyLock<Vec<(Vec<&'static str>, &'static str)>> = LazyLock::new(|| {
    let with_place = TABLE.iter().filter(|(en, _)| {
        // A phrase that is little more than its places would fit anything.
        en.contains("{}") && en.replace("{}", "").len() > 24
    });
    with_place
        .map(|(en, de)| (en.split("{}").collect(), de.as_str()))
        .collect()
});

/// Months in letters, as short as they can't be misread.
const MONTHS_DE: [&str; 12] = [
    "Jan.", "Feb.", "März", "April", "Mai", "Juni", "Juli", "Aug.", "Sept.", "Okt.", "Nov.", "Dez.",
];

/// The words of one language.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Words(pub(crate) Lang);

impl Words {
    /// A phrase. One that stands in no table is left as it is: what someone typed, a name.
    pub(crate) fn say(self, english: &str) -> String {
        if self.0 == Lang::En {
            return english.to_owned();
        }
        if let Some(german) = TABLE.get(english) {
            return german.clone();
        }
        let found = PATTERNS
            .iter()
            .find_map(|(parts, german)| Some((captured(english, parts)?, german)));
        match found {
            Some((captured, german)) => {
                // A list of marks is said mark by mark.
                let say = |c: &&str| {
                    let items: Vec<String> = c.split(", ").map(|item| self.say(item)).collect();
                    items.join(", ")
                };
                let said: Vec<String> = captured.iter().map(say).collect();
                fill(german, said.iter().map(String::as_str))
            }
            None => english.to_owned(),
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
            Lang::De => ("de", json!(*TABLE)),
        };
        data["lang"] = lang.into();
        data["t"] = table;
        data
    }
}

fn fill<'a>(phrase: &str, values: impl Iterator<Item = &'a str>) -> String {
    let mut parts = phrase.split("{}");
    let mut out = parts.next().unwrap_or_default().to_owned();
    let mut values = values;
    for part in parts {
        out += values.next().unwrap_or("{}");
        out += part;
    }
    out
}

/// What stands in the places of a phrase, or nothing if the text is another phrase.
fn captured<'a>(text: &'a str, parts: &[&str]) -> Option<Vec<&'a str>> {
    let (first, rest) = parts.split_first()?;
    let mut text = text.strip_prefix(first)?;
    let mut found = Vec::new();
    for (i, part) in rest.iter().enumerate() {
        let last = i + 1 == rest.len();
        let at = if last {
            text.len()
                .checked_sub(part.len())
                .filter(|_| text.ends_with(part))?
        } else {
            text.find(part)?
        };
        found.push(&text[..at]);
        text = &text[at + part.len()..];
    }
    text.is_empty().then_some(found)
}

#[cfg(test)]
#[path = "language_tests.rs"]
mod tests;
