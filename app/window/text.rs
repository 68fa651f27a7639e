//! Small conversions that every screen needs.

use plinthside_visit::{Lang, Phrases};
use serde::Serialize;
use slint::{ModelRc, VecModel};
use std::sync::LazyLock;

/// German of the sentences that are made in English; the papers' words count here too. A test reads
/// both tables, an empty one can only follow from a broken build.
static GERMAN: LazyLock<Phrases> = LazyLock::new(|| {
    let tables = [plinthside_paper::GERMAN, include_str!("../words/de.toml")];
    Phrases::parse(&tables).unwrap_or_default()
});

/// An error or a warning in the language of the screen, marks by their names. Whatever stands in no table is left as it
/// is: what someone typed, a name, a sentence that was said already.
pub fn said(english: &str, lang: Lang) -> String {
    match lang {
        Lang::En => plinthside_paper::name_marks(english),
        Lang::De => GERMAN.say(english),
    }
}

/// An error as a whole sentence: with a capital and a full stop. For those that don't begin with
/// the name of a file.
pub fn sentence(english: &str, lang: Lang) -> String {
    let mut letters = said(english, lang);
    if let Some(first) = letters.chars().next() {
        letters.replace_range(..first.len_utf8(), &first.to_uppercase().to_string());
    }
    if !letters.ends_with('.') {
        letters.push('.');
    }
    letters
}

/// A list for the screen.
pub fn models<T: Clone + 'static>(rows: Vec<T>) -> ModelRc<T> {
    ModelRc::new(VecModel::from(rows))
}

/// The name a value is stored under.
pub fn token<T: Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(s)) => s,
        _ => String::new(),
    }
}

#[cfg(test)]
#[path = "text_tests.rs"]
mod tests;
