//! Records: begun, opened, saved entry by entry, finished or taken back.
//!
//! # Saving one entry
//! 1. The change is worked out in memory. A crash leaves the store as it was.
//! 2. It is written in a transaction. A crash leaves the store as it was.
//! 3. The transaction is committed and on the disk. A crash from here on leaves the entry saved.
//! 4. The caller is told when. A crash before leaves the entry saved though nobody was told.
//!
//! Entries are *drafts* until the record is finished. After a crash they are offered, never
//! applied in silence ([`Store::unfinished`]), and they can only belong to their own record.

use crate::chunks::{first_k, last_k};
use crate::document::shape::{self, Differing};
use crate::document::{Document, DocumentError, Heads, Stamp};
use crate::error::{Result, StoreError};
use crate::in_place;
use crate::store::Store;
use automerge::ChangeHash;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

/// Kind of a record that is a visit; others (the clinic's settings) are not listed as cases.
pub const VISIT: &str = "visit";
/// Chunks of a record before they are packed into one.
const PACK_FROM: usize = 8;

/// A record opened for editing.
#[derive(Debug, Clone)]
pub struct Opened<T> {
    /// What it holds. Change it, then [`Store::save`].
    pub value: T,
    id: String,
    heads: Heads,
    /// What it held when it was last on the disk.
    before: Map<String, Value>,
    /// A copy of that, or of the state before, to bring up to what it holds.
    spare: Map<String, Value>,
    /// The members in which the two may differ.
    apart: Vec<String>,
    saved_at_ms: i64,
}

impl<T> Opened<T> {
    /// Identifier of the record.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// When its newest entry reached the disk, milliseconds since 1970.
    #[must_use]
    pub fn saved_at_ms(&self) -> i64 {
        self.saved_at_ms
    }

    /// The state it was opened at.
    #[must_use]
    pub fn heads(&self) -> &[ChangeHash] {
        &self.heads
    }
}

/// What became of an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Saved {
    /// When it reached the disk, milliseconds since 1970.
    pub at_ms: i64,
    /// Something arrived from elsewhere since the record was opened: open it again to see it.
    pub changed_elsewhere: bool,
}

/// Work that was neither finished nor taken back when the program ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Unfinished {
    /// The record.
    pub id: String,
    /// Its kind.
    pub kind: String,
    /// Number of entries.
    pub entries: u32,
    /// When the last of them reached the disk, milliseconds since 1970.
    pub saved_at_ms: i64,
    /// The record was begun in that work: taking it back removes it.
    pub new: bool,
}

impl Store {
    /// Begins a record. It is a draft until it is finished.
    pub fn begin<T: Serialize + DeserializeOwned>(
        &mut self,
        id: &str,
        kind: &str,
        value: &T,
        by: &str,
    ) -> Result<Opened<T>> {
        self.steps.at("save", 1);
        self.begin_transaction()?;
        let done = self.insert(id, kind, value, by, Some(self.session));
        self.steps.at("save", 2);
        self.end_transaction(done)?;
        self.steps.at("save", 3);
        self.open_record(id)
    }

    /// Adds a whole record at once, finished.
    pub fn import<T: Serialize>(
        &mut self,
        id: &str,
        kind: &str,
        value: &T,
        by: &str,
    ) -> Result<()> {
        self.import_all(kind, [(id, value)], by)
    }

    /// Adds whole records, finished, in one transaction: all of them or none.
    pub fn import_all<'a, T: Serialize + 'a>(
        &mut self,
        kind: &str,
        records: impl IntoIterator<Item = (&'a str, &'a T)>,
        by: &str,
    ) -> Result<()> {
        self.begin_transaction()?;
        let done = records
            .into_iter()
            .try_for_each(|(id, value)| self.insert(id, kind, value, by, None));
        self.steps.at("save", 2);
        self.end_transaction(done)?;
        self.steps.at("save", 3);
        Ok(())
    }

    /// Adds a record inside the caller's transaction: as a draft of a session, or finished.
    fn insert<T: Serialize>(
        &mut self,
        id: &str,
        kind: &str,
        value: &T,
        by: &str,
        draft: Option<i64>,
    ) -> Result<()> {
        let json = to_json(id, value)?;
        let mut doc = self.empty_document();
        let stamp = self.stamp(by, "");
        let change = doc.edit(&[], &Value::Null, &json, &stamp)?;
        let n = self.insert_record(id, kind)?;
        if let Some((hash, _)) = change {
            self.insert_chunk(first_k(n), draft, stamp.at_ms, &[hash], &doc.save())?;
        }
        if draft.is_some() {
            return self.note_drafts(n);
        }
        self.note_heads(n, &doc)?;
        self.project(n, kind, &doc, &json)
    }

    /// Opens a record for editing.
    pub fn open_record<T: DeserializeOwned + Serialize>(&mut self, id: &str) -> Result<Opened<T>> {
        let n = self.number(id)?;
        self.refuse_undecided(n)?;
        let cached = self.cached(n)?;
        let (heads, json, saved_at_ms) =
            (cached.doc.heads(), cached.doc.value()?, cached.saved_at_ms);
        let value: T = from_json(id, json)?;
        let Value::Object(before) = to_json(id, &value)? else {
            return Err(DocumentError::NotARecord.into());
        };
        Ok(Opened {
            value,
            id: id.to_owned(),
            heads,
            spare: before.clone(),
            before,
            apart: Vec::new(),
            saved_at_ms,
        })
    }

    /// Saves what was changed in an opened record since it was opened or last saved. When this
    /// returns, it is on the disk.
    pub fn save<T: Serialize>(
        &mut self,
        opened: &mut Opened<T>,
        by: &str,
        why: &str,
    ) -> Result<Saved> {
        let n = self.number(&opened.id)?;
        let stamp = self.stamp(by, why);
        let (before, after) = (&opened.before, &mut opened.spare);
        in_place::update(after, &opened.value, &mut opened.apart)
            .map_err(|e| wrong_shape(&opened.id, &e))?;
        opened.apart.sort_unstable();
        opened.apart.dedup();
        let differing = shape::differing_in(&opened.apart, before, after);
        let written = self.write(n, &opened.heads, &differing, after, &stamp);
        opened.apart = differing
            .iter()
            .map(|(key, ..)| (*key).to_owned())
            .collect();
        if let Ok(Some((hash, at_ms))) = written {
            opened.heads = vec![hash];
            opened.saved_at_ms = at_ms;
            std::mem::swap(&mut opened.before, &mut opened.spare);
        }
        self.keep_or_drop(written)?;
        let heads = self.cached(n)?.doc.heads();
        Ok(Saved {
            at_ms: opened.saved_at_ms,
            changed_elsewhere: heads != opened.heads,
        })
    }

    /// Works out and stores one change as a draft of this session.
    fn write(
        &mut self,
        n: i64,
        base: &[ChangeHash],
        differing: &[Differing<'_>],
        after: &Map<String, Value>,
        stamp: &Stamp,
    ) -> Result<Option<(ChangeHash, i64)>> {
        self.refuse_undecided(n)?;
        let cached = self.cached(n)?;
        let Some((hash, bytes)) = cached.doc.enter(base, differing, after, stamp)? else {
            return Ok(None);
        };
        let (k, first) = (cached.next, !cached.drafts);
        self.steps.at("save", 1);
        self.begin_transaction()?;
        let session = Some(self.session);
        let mut done = self.insert_chunk(k, session, stamp.at_ms, &[hash], &bytes);
        if first {
            done = done.and_then(|()| self.note_drafts(n));
        }
        self.steps.at("save", 2);
        self.end_transaction(done)?;
        self.steps.at("save", 3);
        let cached = self.cached(n)?;
        cached.next += 1;
        cached.chunks += 1;
        cached.drafts = true;
        cached.saved_at_ms = stamp.at_ms;
        self.steps.at("save", 4);
        Ok(Some((hash, stamp.at_ms)))
    }

    /// Finishes a record: its drafts become part of it, for the lists and for other devices.
    pub fn finish(&mut self, id: &str) -> Result<()> {
        let n = self.number(id)?;
        self.refuse_undecided(n)?;
        let kind = self.kind(n)?;
        let cached = self.cached(n)?;
        if !cached.drafts {
            return Ok(());
        }
        let (doc, chunks, next) = (cached.doc.clone(), cached.chunks, cached.next);
        let saved_ms = cached.saved_at_ms;
        self.steps.at("finish", 1);
        self.begin_transaction()?;
        let done = (|| {
            if chunks >= PACK_FROM {
                let low = first_k(n);
                self.conn.execute(
                    "DELETE FROM chunk WHERE k BETWEEN ? AND ?",
                    [low, last_k(n)],
                )?;
                self.insert_chunk(next, None, saved_ms, &doc.heads(), &doc.save())?;
            } else {
                self.conn.execute(
                    "UPDATE chunk SET session = NULL WHERE k BETWEEN ? AND ? AND session IS NOT NULL",
                    [first_k(n), last_k(n)],
                )?;
            }
            self.note_no_drafts(n)?;
            self.note_heads(n, &doc)?;
            self.project(n, &kind, &doc, &doc.value()?)
        })();
        self.steps.at("finish", 2);
        self.end_transaction(done)?;
        self.steps.at("finish", 3);
        let cached = self.cached(n)?;
        cached.drafts = false;
        if chunks >= PACK_FROM {
            (cached.chunks, cached.next) = (1, next + 1);
        }
        Ok(())
    }

    /// Records with work that an earlier session left unfinished, newest first. Ask, then
    /// [`Store::recover`] or [`Store::discard`].
    pub fn unfinished(&self) -> Result<Vec<Unfinished>> {
        let mut statement = self.conn.prepare(
            "SELECT r.id, r.kind, count(*), max(c.saved_ms),
                    NOT EXISTS(SELECT 1 FROM chunk e WHERE e.k BETWEEN d.n << 20 AND (d.n + 1 << 20) - 1 AND e.session IS NULL)
             FROM drafted d JOIN record r ON r.n = d.n
             JOIN chunk c ON c.k BETWEEN d.n << 20 AND (d.n + 1 << 20) - 1
             WHERE c.session IS NOT NULL AND c.session <> ? GROUP BY r.n ORDER BY max(c.saved_ms) DESC, r.n DESC",
        )?;
        let rows = statement.query_map([self.session], |row| {
            Ok(Unfinished {
                id: row.get(0)?,
                kind: row.get(1)?,
                entries: row.get(2)?,
                saved_at_ms: row.get(3)?,
                new: row.get(4)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Takes the unfinished work of an earlier session up again, as a draft of this one.
    pub fn recover(&mut self, id: &str) -> Result<()> {
        let n = self.number(id)?;
        self.conn.execute(
            "UPDATE chunk SET session = ? WHERE k BETWEEN ? AND ? AND session IS NOT NULL",
            [self.session, first_k(n), last_k(n)],
        )?;
        self.forget(n);
        Ok(())
    }

    /// Takes drafts back: the record is again as it was last finished; one that never was is gone.
    pub fn discard(&mut self, id: &str) -> Result<()> {
        let n = self.number(id)?;
        self.begin_transaction()?;
        let done = (|| {
            let (first, last) = (first_k(n), last_k(n));
            self.conn.execute(
                "DELETE FROM chunk WHERE k BETWEEN ? AND ? AND session IS NOT NULL",
                [first, last],
            )?;
            self.conn.execute(
                "DELETE FROM record WHERE n = ?1 AND NOT EXISTS(SELECT 1 FROM chunk WHERE k BETWEEN ?2 AND ?3)",
                [n, first, last],
            )?;
            self.note_no_drafts(n)
        })();
        self.forget(n);
        self.end_transaction(done)
    }

    /// The record as it stands, drafts of this session included.
    pub fn read(&mut self, id: &str) -> Result<Value> {
        let n = self.number(id)?;
        Ok(self.cached(n)?.doc.value()?)
    }

    /// The record's document, for its history, conflicts and earlier states.
    pub fn document(&mut self, id: &str) -> Result<&Document> {
        let n = self.number(id)?;
        Ok(&self.cached(n)?.doc)
    }

    pub(crate) fn forget(&mut self, n: i64) {
        self.cache.retain(|c| c.n != n);
    }

    /// After a failure the record in memory may be ahead of the disk: read it again next time.
    pub(crate) fn keep_or_drop<T>(&mut self, result: Result<T>) -> Result<T> {
        if result.is_err() {
            self.cache.clear();
        }
        result
    }

    /// Begins to write. The statement is kept prepared: every entry needs it.
    pub(crate) fn begin_transaction(&self) -> Result<()> {
        self.conn.prepare_cached("BEGIN IMMEDIATE")?.execute([])?;
        Ok(())
    }

    /// Commits, or takes everything back and returns the error.
    pub(crate) fn end_transaction<T>(&mut self, done: Result<T>) -> Result<T> {
        let done = done.and_then(|value| {
            self.conn.prepare_cached("COMMIT")?.execute([])?;
            Ok(value)
        });
        if done.is_err() {
            self.cache.clear();
            self.vocabulary = None;
            if !self.conn.is_autocommit() {
                // The failure itself is what the caller must hear of.
                let _ = self.conn.execute_batch("ROLLBACK");
            }
        }
        done
    }
}

pub(crate) fn to_json<T: Serialize>(id: &str, value: &T) -> Result<Value> {
    serde_json::to_value(value).map_err(|e| wrong_shape(id, &e))
}

pub(crate) fn from_json<T: DeserializeOwned>(id: &str, json: Value) -> Result<T> {
    serde_json::from_value(json).map_err(|e| wrong_shape(id, &e))
}

fn wrong_shape(id: &str, error: &serde_json::Error) -> StoreError {
    StoreError::Shape {
        id: id.to_owned(),
        why: error.to_string(),
    }
}
