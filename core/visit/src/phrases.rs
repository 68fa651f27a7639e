//! German for sentences that are made in English: errors, warnings, phrases of papers. A table
//! holds both wordings; `{}` stands for a place, and what stands there is said in German too.

use crate::data::{DataError, DataFile};
use std::collections::BTreeMap;

/// A phrase with less literal text than this would fit anything.
const LEAST_LITERAL: usize = 11;
/// No sentence is longer; what a file brought along may be.
const LONGEST: usize = 4000;
/// A sentence is told of no more things, each with its colon.
const MOST_ABOUT: usize = 8;

/// A table of phrases.
#[derive(Debug, Clone, Default)]
pub struct Phrases {
    table: BTreeMap<String, String>,
    /// Phrases with places; the longest literal text first, so that the closest one is found.
    patterns: Vec<Pattern>,
}

#[derive(Debug, Clone)]
struct Pattern {
    /// The English, split at its places.
    parts: Vec<String>,
    german: String,
}

impl Pattern {
    fn literal(&self) -> usize {
        self.parts.iter().map(String::len).sum()
    }
}

impl Phrases {
    /// Reads tables of `"English" = "German"`; a later one may word a phrase anew.
    ///
    /// # Errors
    /// A table is no such list; its line is named.
    pub fn parse(tables: &[&str]) -> Result<Self, DataError> {
        let name = "phrases";
        let mut table = BTreeMap::new();
        for text in tables {
            table.extend(DataFile { name, text }.parse::<BTreeMap<_, _>>()?);
        }
        let pattern = |(en, german): (&String, &String)| Pattern {
            parts: en.split("{}").map(str::to_owned).collect(),
            german: german.clone(),
        };
        let mut patterns: Vec<Pattern> = table.iter().map(pattern).collect();
        patterns.retain(|p| p.parts.len() > 1 && p.literal() >= LEAST_LITERAL);
        patterns.sort_by_key(|p| std::cmp::Reverse(p.literal()));
        Ok(Self { table, patterns })
    }

    /// Every phrase with its German.
    #[must_use]
    pub fn table(&self) -> &BTreeMap<String, String> {
        &self.table
    }

    /// A sentence in German. One that stands in no table is left as it is: what someone typed, a
    /// name.
    #[must_use]
    pub fn say(&self, english: &str) -> String {
        let known = (english.len() <= LONGEST).then(|| self.known(english));
        known.flatten().unwrap_or_else(|| english.to_owned())
    }

    fn known(&self, english: &str) -> Option<String> {
        self.phrase(english).or_else(|| self.told_of(english))
    }

    fn phrase(&self, english: &str) -> Option<String> {
        let exact = self.table.get(english).cloned();
        exact.or_else(|| self.filled(english))
    }

    /// A phrase with places.
    fn filled(&self, english: &str) -> Option<String> {
        let (places, german) = self
            .patterns
            .iter()
            .find_map(|p| Some((places(english, &p.parts)?, &p.german)))?;
        let said: Vec<String> = places.into_iter().map(|place| self.place(place)).collect();
        Some(fill(german, said.iter().map(String::as_str)))
    }

    /// A sentence with what it is about before it: `IMG_0412.jpg: …`.
    fn told_of(&self, english: &str) -> Option<String> {
        let mut colons = english.match_indices(": ").take(MOST_ABOUT);
        colons.find_map(|(at, colon)| {
            let (about, sentence) = (&english[..at], &english[at + colon.len()..]);
            let long = sentence.len() >= LEAST_LITERAL;
            let said = long.then(|| self.phrase(sentence)).flatten()?;
            Some(format!("{about}: {said}"))
        })
    }

    /// What stands in a place: a phrase, or a list of them; numbers take the decimal comma.
    fn place(&self, text: &str) -> String {
        let phrases: Option<Vec<String>> = text.split("; ").map(|part| self.known(part)).collect();
        let item = |item: &str| match self.known(item) {
            Some(said) => said,
            None if item.parse::<f64>().is_ok() => item.replace('.', ","),
            None => item.to_owned(),
        };
        match phrases.map(|phrases| phrases.join("; ")) {
            Some(said) => said,
            None => self.known(text).unwrap_or_else(|| {
                let items: Vec<String> = text.split(", ").map(item).collect();
                items.join(", ")
            }),
        }
    }
}

/// A phrase with its places filled, in order.
#[must_use]
pub fn fill<'a>(phrase: &str, mut values: impl Iterator<Item = &'a str>) -> String {
    let mut parts = phrase.split("{}");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        out += values.next().unwrap_or("{}");
        out += part;
    }
    out
}

/// What stands in the places of a phrase, or nothing if the text is another phrase. A place may be
/// empty only behind literal text.
fn places<'a>(text: &'a str, parts: &[String]) -> Option<Vec<&'a str>> {
    let (first, rest) = parts.split_first()?;
    let mut text = text.strip_prefix(first.as_str())?;
    let mut found = Vec::new();
    for (i, part) in rest.iter().enumerate() {
        let end = if i + 1 == rest.len() {
            text.strip_suffix(part.as_str())?.len()
        } else {
            text.find(part.as_str())?
        };
        found.push(&text[..end]);
        text = &text[end + part.len()..];
    }
    let begins = !first.is_empty() || found.first().is_some_and(|place| !place.is_empty());
    (begins && text.is_empty()).then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn phrases() -> Phrases {
        let first = r#"
            "left" = "links"
            "heel upper" = "Ferse oben"
            "{} at {}" = "{} bei {}"
            "the printer refused ({})" = "Der Drucker hat abgelehnt ({})"
            "{}; nothing was queued" = "{}; nichts wurde eingereiht"
            "the printer is stopped: look at it" = "der Drucker steht: bitte nachsehen"
            "the mat is bowed by {} mm" = "Die Matte ist um {} mm gewölbt"
            "{} is not measured" = "{} ist nicht gemessen"
            "the cast needs {}" = "der Abdruck braucht {}"
            "two marks are needed{}; mark them" = "Zwei Markierungen fehlen{}; bitte setzen"
        "#;
        let second = r#"
            "the cast needs {} again" = "der Abdruck braucht noch einmal {}"
            "left" = "linker"
        "#;
        Phrases::parse(&[first, second]).expect("tables")
    }

    #[test]
    fn sentences_within_sentences_are_said_too() {
        let phrases = phrases();
        for (english, german) in [
            (
                "the printer refused (the printer is stopped: look at it); nothing was queued",
                "Der Drucker hat abgelehnt (der Drucker steht: bitte nachsehen); nichts wurde eingereiht",
            ),
            (
                "b.jpg: the mat is bowed by 2.5 mm",
                "b.jpg: Die Matte ist um 2,5 mm gewölbt",
            ),
            (
                "photos: b.jpg: the mat is bowed by 2 mm",
                "photos: b.jpg: Die Matte ist um 2 mm gewölbt",
            ),
            (
                "heel upper, left, 3.5 is not measured",
                "Ferse oben, linker, 3,5 ist nicht gemessen",
            ),
            (
                "the printer refused (the cast needs marks; the cast needs left)",
                "Der Drucker hat abgelehnt (der Abdruck braucht marks; der Abdruck braucht linker)",
            ),
            (
                "two marks are needed; mark them",
                "Zwei Markierungen fehlen; bitte setzen",
            ),
        ] {
            assert_eq!(phrases.say(english), german);
            assert_eq!(phrases.say(german), german, "said twice");
        }
    }

    #[test]
    fn the_closest_phrase_is_taken_and_a_later_table_counts() {
        let phrases = phrases();
        assert_eq!(
            phrases.say("the cast needs marks"),
            "der Abdruck braucht marks"
        );
        assert_eq!(
            phrases.say("the cast needs marks again"),
            "der Abdruck braucht noch einmal marks"
        );
        assert_eq!(phrases.say("left"), "linker");
    }

    #[test]
    fn what_was_typed_stays() {
        let phrases = phrases();
        for typed in [
            "tea at noon",
            "left by the door",
            "left: left",
            " is not measured",
            "the printer refused",
            "2.5",
            "",
            &": ; , the cast needs ".repeat(20_000),
        ] {
            assert_eq!(phrases.say(typed), typed);
        }
    }

    #[test]
    fn a_table_that_is_none_is_refused_with_its_line() {
        let refused = Phrases::parse(&["\"a\" = \"b\"\n\"c\" = 3\n"]);
        assert_eq!(refused.map_err(|e| e.line).err(), Some(2));
    }
}
