//! Search: words by their beginnings, with typing errors forgiven, and label codes by any group.
//!
//! A table of words (`word`) says which words exist; an automaton that accepts everything within
//! one or two edits (Schulz and Mihov 2002) walks them and yields the words that were meant;
//! FTS5 says which visits hold them.

use crate::cases::{CASE_COLUMNS, Case};
use crate::error::Result;
use crate::store::Store;
use fst::{Automaton, IntoStreamer, Set, Streamer};
use levenshtein_automata::{DFA, Distance, LevenshteinAutomatonBuilder, SINK_STATE};
use rusqlite::{OptionalExtension, params};
use serde::Serialize;
use std::collections::{BTreeSet, HashSet};
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// Similar words tried for one that was typed.
const MOST_SIMILAR: usize = 64;
/// New words kept aside before the word list is built again.
const MOST_NEW: usize = 2000;
/// Symbols of a label code (Crockford's base 32).
const SYMBOLS: &str = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// Why something was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Match {
    /// The text is (the beginning of a group of) a label code.
    Code,
    /// Every word typed begins a word of the visit.
    Words,
    /// Every word typed is close to one of the visit.
    Similar,
    /// A label code that differs in one symbol.
    SimilarCode,
}

/// A visit found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Found {
    /// The visit.
    #[serde(flatten)]
    pub case: Case,
    /// Why.
    pub because: Match,
}

/// Words as they are searched: without case, accents and punctuation.
pub(crate) fn words_of(text: &str) -> Vec<String> {
    let plain: String = text
        .nfkd()
        .filter(|c| !is_combining_mark(*c))
        .flat_map(char::to_lowercase)
        .flat_map(|c| if c == 'ß' { vec!['s', 's'] } else { vec![c] })
        .collect();
    plain
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty())
        .map(str::to_owned)
        .collect()
}

/// The symbols of a label code as typed: without separators, look-alikes read as what they mean.
pub(crate) fn code_symbols(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_whitespace() && *c != '-')
        .map(|c| match c.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            c => c,
        })
        .collect()
}

/// The words that exist, ready to be walked.
pub(crate) struct Vocabulary {
    words: Set<Vec<u8>>,
    new: BTreeSet<String>,
    one: LevenshteinAutomatonBuilder,
    two: LevenshteinAutomatonBuilder,
}

/// Lets the word list be walked by a Levenshtein automaton.
struct Within<'a>(&'a DFA);

impl Automaton for Within<'_> {
    type State = u32;

    fn start(&self) -> u32 {
        self.0.initial_state()
    }

    fn is_match(&self, state: &u32) -> bool {
        matches!(self.0.distance(*state), Distance::Exact(_))
    }

    fn can_match(&self, state: &u32) -> bool {
        *state != SINK_STATE
    }

    fn accept(&self, state: &u32, byte: u8) -> u32 {
        self.0.transition(*state, byte)
    }
}

impl Vocabulary {
    fn load(store: &Store) -> Result<Self> {
        let mut statement = store.conn.prepare("SELECT word FROM word ORDER BY word")?;
        let words = statement.query_map([], |row| row.get::<_, String>(0))?;
        let words = words.collect::<Result<Vec<_>, _>>()?;
        // Sorted by the table's own key, which compares bytes, as the set wants it.
        let words = Set::from_iter(words).unwrap_or_default();
        Ok(Self {
            words,
            new: BTreeSet::new(),
            one: LevenshteinAutomatonBuilder::new(1, true),
            two: LevenshteinAutomatonBuilder::new(2, true),
        })
    }

    /// Words that begin like `typed`, give or take typing errors; the closest first.
    fn similar(&self, typed: &str) -> Vec<String> {
        let dfa = match typed.chars().count() {
            0..4 => return Vec::new(),
            4..8 => self.one.build_prefix_dfa(typed),
            _ => self.two.build_prefix_dfa(typed),
        };
        let mut found: Vec<(u8, String)> = Vec::new();
        let mut stream = self.words.search(Within(&dfa)).into_stream();
        while let Some(word) = stream.next() {
            if let Ok(word) = std::str::from_utf8(word) {
                found.push((dfa.eval(word).to_u8(), word.to_owned()));
            }
        }
        let new = self.new.iter().map(|word| (dfa.eval(word), word));
        found.extend(
            new.filter(|(d, _)| matches!(d, Distance::Exact(_)))
                .map(|(d, w)| (d.to_u8(), w.clone())),
        );
        found.sort();
        found.dedup();
        found.truncate(MOST_SIMILAR);
        found.into_iter().map(|(_, word)| word).collect()
    }
}

impl Store {
    /// Visits that a text leads to, the best first: a patient, a code, a label, a lab, a state, or
    /// words of a note. Within one kind of match the newest come first.
    pub fn find(&mut self, text: &str, limit: usize) -> Result<Vec<Found>> {
        self.healing(|store| store.search(text, limit))
    }

    fn search(&mut self, text: &str, limit: usize) -> Result<Vec<Found>> {
        let mut found = Collected {
            limit,
            seen: HashSet::new(),
            numbers: Vec::new(),
        };
        let code = code_symbols(text);
        let is_code =
            code.len() >= 3 && code.len() <= 13 && code.chars().all(|c| SYMBOLS.contains(c));
        if is_code {
            found.add(self.by_code(&code, limit)?, Match::Code);
        }
        let typed = words_of(text);
        if !typed.is_empty() {
            let query: Vec<String> = typed.iter().map(|word| format!("\"{word}\"*")).collect();
            found.add(self.by_words(&query.join(" AND "), limit)?, Match::Words);
            if found.numbers.len() < limit
                && let Some(query) = self.similar_query(&typed)?
            {
                found.add(self.by_words(&query, limit)?, Match::Similar);
            }
        }
        if found.numbers.is_empty() && !typed.is_empty() {
            found.add(
                self.by_words(&one_digit_off(&typed), limit)?,
                Match::Similar,
            );
        }
        if is_code && found.numbers.is_empty() {
            for wrong in one_symbol_off(&code) {
                found.add(self.by_code(&wrong, limit)?, Match::SimilarCode);
            }
        }
        let sql = format!(
            "SELECT {CASE_COLUMNS} FROM case_list c JOIN record r ON r.n = c.n WHERE c.n = ?"
        );
        let mut statement = self.conn.prepare_cached(&sql)?;
        let mut cases = Vec::with_capacity(found.numbers.len());
        for (n, because) in found.numbers {
            if let Some(case) = statement.query_row([n], Case::from_row).optional()? {
                cases.push(Found { case, because });
            }
        }
        Ok(cases)
    }

    fn by_code(&self, code: &str, limit: usize) -> Result<Vec<i64>> {
        let mut statement = self.conn.prepare_cached(
            "SELECT DISTINCT n FROM code_part WHERE part >= ?1 AND part < ?1 || '~' LIMIT ?2",
        )?;
        let rows = statement.query_map(params![code, limit as i64], |row| row.get(0))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    fn by_words(&self, query: &str, limit: usize) -> Result<Vec<i64>> {
        let mut statement = self.conn.prepare_cached(
            "SELECT rowid FROM search WHERE search MATCH ? ORDER BY rowid DESC LIMIT ?",
        )?;
        let rows = statement.query_map(params![query, limit as i64], |row| row.get(0))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// The query for what was probably meant; nothing if that is what was typed.
    fn similar_query(&mut self, typed: &[String]) -> Result<Option<String>> {
        if self
            .vocabulary
            .as_ref()
            .is_none_or(|v| v.new.len() > MOST_NEW)
        {
            self.vocabulary = Some(Vocabulary::load(self)?);
        }
        let Some(vocabulary) = &self.vocabulary else {
            return Ok(None);
        };
        let mut any = false;
        let parts = typed.iter().map(|word| {
            let similar = vocabulary.similar(word);
            any |= !similar.is_empty();
            let similar = similar.iter().map(|w| format!(" OR \"{w}\""));
            format!("(\"{word}\"*{})", similar.collect::<String>())
        });
        let query = parts.collect::<Vec<_>>().join(" AND ");
        Ok(any.then_some(query))
    }

    /// Adds a record's words to the index.
    pub(crate) fn index(&mut self, n: i64, words: &str) -> Result<()> {
        self.conn
            .prepare_cached("INSERT INTO search(rowid, words) VALUES(?,?)")?
            .execute(params![n, words])?;
        let mut statement = self.conn.prepare_cached(
            "INSERT INTO word VALUES(?, 1) ON CONFLICT(word) DO UPDATE SET uses = uses + 1",
        )?;
        for word in plain_words(words) {
            statement.execute([word])?;
            if let Some(vocabulary) = &mut self.vocabulary
                && !vocabulary.words.contains(word)
            {
                vocabulary.new.insert(word.to_owned());
            }
        }
        Ok(())
    }

    /// Whether the index leads from each of these words to the record.
    pub(crate) fn indexed(&self, n: i64, words: &str) -> Result<bool> {
        if words.is_empty() {
            return Ok(true);
        }
        let query: Vec<String> = words.split(' ').map(|word| format!("\"{word}\"")).collect();
        let found = self
            .conn
            .prepare_cached(
                "SELECT EXISTS(SELECT 1 FROM search WHERE search MATCH ? AND rowid = ?)",
            )?
            .query_row(params![query.join(" AND "), n], |row| row.get(0))?;
        let sql = "SELECT EXISTS(SELECT 1 FROM word WHERE word = ? AND uses > 0)";
        let mut known = self.conn.prepare_cached(sql)?;
        for word in plain_words(words) {
            if !known.query_row([word], |row| row.get::<_, bool>(0))? {
                return Ok(false);
            }
        }
        Ok(found)
    }

    /// Takes a record's words out of the index; a word nobody else uses is forgotten.
    pub(crate) fn unindex(&mut self, n: i64, words: Option<&str>) -> Result<()> {
        let Some(words) = words else { return Ok(()) };
        self.conn
            .prepare_cached("DELETE FROM search WHERE rowid = ?")?
            .execute([n])?;
        let mut fewer = self
            .conn
            .prepare_cached("UPDATE word SET uses = uses - 1 WHERE word = ?")?;
        let mut none = self
            .conn
            .prepare_cached("DELETE FROM word WHERE word = ? AND uses <= 0")?;
        for word in plain_words(words) {
            fewer.execute([word])?;
            none.execute([word])?;
        }
        Ok(())
    }
}

/// Words that may be mistyped: a number that differs in a digit is another number.
fn plain_words(words: &str) -> impl Iterator<Item = &str> {
    let plain = |word: &&str| !word.is_empty() && !word.contains(|c: char| c.is_ascii_digit());
    words.split(' ').filter(plain)
}

/// What has been found so far, each visit once.
struct Collected {
    limit: usize,
    seen: HashSet<i64>,
    numbers: Vec<(i64, Match)>,
}

impl Collected {
    fn add(&mut self, numbers: Vec<i64>, because: Match) {
        for n in numbers {
            if self.numbers.len() < self.limit && self.seen.insert(n) {
                self.numbers.push((n, because));
            }
        }
    }
}

/// The query for numbers (a patient's code, a date) with one digit mistyped or two neighbours
/// swapped. Asked only where nothing else was found: a number that differs is another number.
fn one_digit_off(typed: &[String]) -> String {
    let parts = typed.iter().map(|word| {
        let mut meant = vec![word.clone()];
        if word.is_ascii() && (4..=16).contains(&word.len()) {
            let symbols: Vec<char> = word.chars().collect();
            for at in (0..symbols.len()).filter(|&at| symbols[at].is_ascii_digit()) {
                let mut other = symbols.clone();
                for digit in ('0'..='9').filter(|digit| *digit != symbols[at]) {
                    other[at] = digit;
                    meant.push(other.iter().collect());
                }
                other[at] = symbols[at];
                if at + 1 < other.len() && symbols[at] != symbols[at + 1] {
                    other.swap(at, at + 1);
                    meant.push(other.iter().collect());
                }
            }
        }
        let meant: Vec<String> = meant.iter().map(|word| format!("\"{word}\"*")).collect();
        format!("({})", meant.join(" OR "))
    });
    parts.collect::<Vec<_>>().join(" AND ")
}

/// Every code that differs from `code` in one symbol.
fn one_symbol_off(code: &str) -> Vec<String> {
    let mut all = Vec::with_capacity(code.len() * SYMBOLS.len());
    for at in 0..code.len() {
        for symbol in SYMBOLS.chars().filter(|s| !code[at..].starts_with(*s)) {
            all.push(format!("{}{symbol}{}", &code[..at], &code[at + 1..]));
        }
    }
    all
}
