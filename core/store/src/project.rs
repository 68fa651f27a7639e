//! What the lists show of a visit: read from its JSON, kept beside it, and always to be had again.

use crate::document::Document;
use crate::error::Result;
use crate::files::unhex;
use crate::labels::LABEL;
use crate::records::VISIT;
use crate::search::{code_symbols, words_of};
use crate::store::Store;
use rusqlite::{OptionalExtension, params};
use serde_json::Value;
use std::collections::BTreeSet;

/// Fields whose text can be searched wherever they stand.
const SEARCHED: [&str; 14] = [
    "name",
    "code",
    "clinician",
    "place",
    "reason",
    "deferred",
    "text",
    "note",
    "telephone",
    "proxy",
    "clinic_reference",
    "purchase_number",
    "lab",
    "to",
];

/// A visit as the lists have it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Projection {
    pub patient: String,
    pub person_code: String,
    pub at: String,
    pub sides: String,
    /// Label codes with the side they are bound to, without separators.
    pub codes: BTreeSet<(String, String)>,
    pub lab: String,
    pub state: String,
    pub due: Option<String>,
    /// Every searched word once, sorted, with a space between.
    pub words: String,
    pub photos: BTreeSet<Vec<u8>>,
}

impl Projection {
    /// Reads a visit's JSON; what is missing is empty.
    pub(crate) fn of(visit: &Value) -> Self {
        let text = |at: &str| {
            visit
                .pointer(at)
                .and_then(Value::as_str)
                .unwrap_or_default()
                .to_owned()
        };
        let list = |at: &str| {
            visit
                .pointer(at)
                .and_then(Value::as_array)
                .map_or(&[][..], Vec::as_slice)
        };
        let member = |v: &Value, key: &str| {
            v.get(key)
                .and_then(Value::as_str)
                .unwrap_or_default()
                .to_owned()
        };
        let last = |v: &Value, key: &str| {
            v.get(key)
                .and_then(Value::as_array)
                .and_then(|a| a.last())
                .cloned()
        };

        let codes: BTreeSet<(String, String)> = list("/casts")
            .iter()
            .map(|cast| (code_symbols(&member(cast, "code")), member(cast, "side")))
            .filter(|(code, _)| !code.is_empty())
            .collect();
        let orders = list("/orders");
        let mut states: Vec<String> = orders
            .iter()
            .map(|order| {
                let newest = newest_entry(list_of(order, "history"));
                newest.map_or_else(|| "draft".to_owned(), |h| member(h, "to"))
            })
            .collect();
        states.sort();
        states.dedup();
        if states.is_empty() {
            states.push(
                if text("/deferred").is_empty() {
                    "visit"
                } else {
                    "deferred"
                }
                .to_owned(),
            );
        }
        let labs: BTreeSet<String> = orders
            .iter()
            .filter_map(|order| last(order, "revisions"))
            .filter_map(|r| {
                r.pointer("/prescription/identity/lab")
                    .and_then(Value::as_str)
                    .map(str::to_owned)
            })
            .filter(|lab| !lab.is_empty())
            .collect();
        let due = list("/follow_up")
            .iter()
            .map(|f| member(f, "review_due"))
            .filter(|d| !d.is_empty())
            .min();
        let mut words = BTreeSet::new();
        let mut photos = BTreeSet::new();
        gather(visit, "", &mut words, &mut photos);
        for text in [text("/person/born"), text("/at").chars().take(10).collect()] {
            words.extend(words_of(&text));
            words.insert(text.chars().filter(char::is_ascii_digit).collect());
        }
        words.remove("");
        let sides: Vec<&str> = list("/sides").iter().filter_map(Value::as_str).collect();
        Self {
            patient: text("/person/name"),
            person_code: text("/person/code"),
            at: text("/at"),
            sides: sides.join(" "),
            codes,
            lab: Vec::from_iter(labs).join(", "),
            state: states.join(" "),
            due,
            words: Vec::from_iter(words).join(" "),
            photos,
        }
    }

    pub(crate) fn code_list(&self) -> String {
        let codes: Vec<&str> = self.codes.iter().map(|(code, _)| code.as_str()).collect();
        codes.join(" ")
    }
}

/// A code from each of its groups on.
pub(crate) fn code_parts(code: &str) -> impl Iterator<Item = &str> {
    let starts = (0..code.len()).step_by(4);
    starts
        .filter(|start| code.len() - start >= 3)
        .filter_map(|start| code.get(start..))
}

fn list_of<'a>(value: &'a Value, key: &str) -> &'a [Value] {
    let list = value.get(key).and_then(Value::as_array);
    list.map_or(&[], Vec::as_slice)
}

/// The last entry of a list that was not made before: one that two devices made alike is one.
fn newest_entry(list: &[Value]) -> Option<&Value> {
    let again = |i: &usize| list[..*i].contains(&list[*i]);
    (0..list.len()).rev().find(|i| !again(i)).map(|i| &list[i])
}

fn gather(
    value: &Value,
    field: &str,
    words: &mut BTreeSet<String>,
    photos: &mut BTreeSet<Vec<u8>>,
) {
    match value {
        Value::Object(members) => members
            .iter()
            .for_each(|(key, member)| gather(member, key, words, photos)),
        Value::Array(elements) => elements
            .iter()
            .for_each(|element| gather(element, field, words, photos)),
        Value::String(text) if SEARCHED.contains(&field) => words.extend(words_of(text)),
        Value::String(text)
            if matches!(field, "photos" | "photo" | "sha256") && text.len() == 64 =>
        {
            photos.extend(unhex(text));
        }
        _ => {}
    }
}

impl Store {
    /// Brings the lists in line with a record. Inside the caller's transaction.
    pub(crate) fn project(
        &mut self,
        n: i64,
        kind: &str,
        doc: &Document,
        json: &Value,
    ) -> Result<()> {
        match kind {
            VISIT => {}
            LABEL => return self.project_label(n, doc),
            _ => return Ok(()),
        }
        let new = Projection::of(json);
        self.touched = self.clock.now_ms().max(self.touched + 1);
        let old_words: Option<String> = self
            .conn
            .prepare_cached("SELECT words FROM case_list WHERE n = ?")?
            .query_row([n], |row| row.get(0))
            .optional()?;
        if old_words.as_deref() != Some(&new.words) {
            self.unindex(n, old_words.as_deref())?;
            self.index(n, &new.words)?;
        }
        let conflicts = doc.conflicts()?.len();
        self.conn
            .prepare_cached(
                "INSERT OR REPLACE INTO case_list(n, touched, patient, person_code, at, sides, codes, lab, state, due, conflicts, words)
                 VALUES(?,?,?,?,?,?,?,?,?,?,?,?)",
            )?
            .execute(params![
                n, self.touched, new.patient, new.person_code, new.at, new.sides, new.code_list(), new.lab, new.state,
                new.due, conflicts as i64, new.words
            ])?;
        self.project_codes(n, &new)?;
        self.project_photos(n, &new)
    }

    fn project_codes(&mut self, n: i64, new: &Projection) -> Result<()> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT code, side FROM label WHERE n = ?")?;
        let rows = statement.query_map([n], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let old = rows.collect::<Result<BTreeSet<(String, String)>, _>>()?;
        if old == new.codes {
            return Ok(());
        }
        for table in ["label", "code_part"] {
            self.conn
                .execute(&format!("DELETE FROM {table} WHERE n = ?"), [n])?;
        }
        let mut label = self
            .conn
            .prepare_cached("INSERT INTO label(code, n, side, bound_ms) VALUES(?,?,?,?)")?;
        let mut part = self
            .conn
            .prepare_cached("INSERT OR IGNORE INTO code_part(part, n) VALUES(?,?)")?;
        for (code, side) in &new.codes {
            label.execute(params![code, n, side, self.clock.now_ms()])?;
            for from_group in code_parts(code) {
                part.execute(params![from_group, n])?;
            }
        }
        Ok(())
    }

    fn project_photos(&mut self, n: i64, new: &Projection) -> Result<()> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT sha256 FROM photo_use WHERE n = ?")?;
        let old = statement
            .query_map([n], |row| row.get(0))?
            .collect::<Result<BTreeSet<Vec<u8>>, _>>()?;
        if old == new.photos {
            return Ok(());
        }
        self.conn
            .execute("DELETE FROM photo_use WHERE n = ?", [n])?;
        let mut use_of = self
            .conn
            .prepare_cached("INSERT INTO photo_use(n, sha256) VALUES(?,?)")?;
        for sha256 in &new.photos {
            use_of.execute(params![n, sha256])?;
        }
        Ok(())
    }

    /// Takes a record out of every list.
    pub(crate) fn unproject(&mut self, n: i64) -> Result<()> {
        let words: Option<String> = self
            .conn
            .query_row("SELECT words FROM case_list WHERE n = ?", [n], |row| {
                row.get(0)
            })
            .optional()?;
        self.unindex(n, words.as_deref())?;
        for table in ["case_list", "label", "code_part", "photo_use"] {
            self.conn
                .execute(&format!("DELETE FROM {table} WHERE n = ?"), [n])?;
        }
        Ok(())
    }

    /// Makes every list again from the records. What it could not read it names.
    pub fn rebuild(&mut self) -> Result<Vec<String>> {
        self.begin_transaction()?;
        let done = (|| {
            self.conn.execute_batch(
                "DELETE FROM meta WHERE name = 'lists_stale';
                 DELETE FROM case_list; DELETE FROM label; DELETE FROM label_event; DELETE FROM code_part; DELETE FROM photo_use; DELETE FROM word;
                 INSERT INTO search(search) VALUES('delete-all');",
            )?;
            self.vocabulary = None;
            let mut unread = Vec::new();
            for (n, id, kind) in self.live_records()? {
                let done = self.published(n).and_then(|doc| {
                    let json = doc.value()?;
                    if self.noted_heads(n)?.is_none() {
                        self.note_heads(n, &doc)?;
                    }
                    self.project(n, &kind, &doc, &json)
                });
                match done {
                    Err(crate::StoreError::Damaged { .. } | crate::StoreError::Document(_)) => {
                        unread.push(id);
                    }
                    other => other?,
                }
            }
            Ok(unread)
        })();
        self.end_transaction(done)
    }

    /// Number, identifier and kind of every finished record.
    pub(crate) fn live_records(&self) -> Result<Vec<(i64, String, String)>> {
        let mut statement = self.conn.prepare(
            "SELECT n, id, kind FROM record r WHERE erased_ms IS NULL
             AND EXISTS(SELECT 1 FROM chunk c WHERE c.k BETWEEN r.n << 20 AND (r.n + 1 << 20) - 1 AND c.session IS NULL) ORDER BY n",
        )?;
        let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// A record without anybody's drafts, straight from the disk.
    pub(crate) fn published(&self, n: i64) -> Result<Document> {
        let chunks = self.chunks(n)?;
        let finished: Vec<_> = chunks.iter().filter(|c| c.session.is_none()).collect();
        self.assemble(&finished)
    }
}
