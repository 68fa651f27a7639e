//! What synchronising needs: what is new here, and taking in what is new elsewhere.

use crate::document::{Conflict, Heads};
use crate::error::{Result, StoreError};
use crate::files::hex;
use crate::project::Projection;
use crate::store::Store;
use rusqlite::{OptionalExtension, params};
use std::collections::BTreeSet;

/// Changes of one record, for other devices.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outgoing {
    /// The record.
    pub id: String,
    /// Its kind.
    pub kind: String,
    /// The changes.
    pub changes: Vec<u8>,
    /// The state they lead to.
    pub heads: Heads,
}

/// One record that changed or was erased.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Changed {
    /// Place in the order of changes: a later change has a higher one.
    pub seq: i64,
    /// The record.
    pub id: String,
    /// Who erased it, if it was.
    pub erased_by: Option<String>,
}

/// A record from another device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Incoming {
    /// The record.
    pub id: String,
    /// Its kind.
    pub kind: String,
    /// Its changes.
    pub changes: Vec<u8>,
}

impl Store {
    /// Records changed or erased after `seq`, in the order of their newest change.
    pub fn changed_since(&self, seq: i64, limit: usize) -> Result<Vec<Changed>> {
        let sql = "SELECT c.seq, r.id, r.erased_by, r.erased_ms IS NOT NULL FROM changed c JOIN record r ON r.n = c.n
                   WHERE c.seq > ? ORDER BY c.seq LIMIT ?";
        let mut statement = self.conn.prepare_cached(sql)?;
        let rows = statement.query_map(params![seq, limit as i64], |row| {
            let (by, erased): (Option<String>, bool) = (row.get(2)?, row.get(3)?);
            Ok(Changed {
                seq: row.get(0)?,
                id: row.get(1)?,
                erased_by: erased.then(|| by.unwrap_or_default()),
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// A record as it is published, with all its changes; nothing if it was never finished.
    pub fn whole(&self, id: &str) -> Result<Option<Outgoing>> {
        let n = self.number(id)?;
        let doc = self.published(n)?;
        let heads = doc.heads();
        if heads.is_empty() {
            return Ok(None);
        }
        Ok(Some(Outgoing {
            id: id.to_owned(),
            kind: self.kind(n)?,
            changes: doc.save(),
            heads,
        }))
    }

    /// Takes in changes of a record made elsewhere: all of them or, with an error, none. Says
    /// whether there was anything new.
    pub fn receive(&mut self, id: &str, kind: &str, changes: &[u8]) -> Result<bool> {
        let record = Incoming {
            id: id.to_owned(),
            kind: kind.to_owned(),
            changes: changes.to_vec(),
        };
        let taken = self.receive_all(&[record])?.pop();
        taken.map_or(Ok(false), |taken| taken.map(|(new, _)| new))
    }

    /// Takes in many records in one transaction. A record that is refused leaves the others in; says
    /// for each whether there was anything new, and its newest changes as they are now.
    #[allow(clippy::type_complexity)] // a result for each, inside the result of all
    pub fn receive_all(&mut self, records: &[Incoming]) -> Result<Vec<Result<(bool, Heads)>>> {
        self.begin_transaction()?;
        let mut numbers = Vec::new();
        let done = records
            .iter()
            .map(|record| match self.receive_one(record) {
                Ok((n, new, heads)) => {
                    numbers.push(n);
                    Ok(Ok((new, heads)))
                }
                Err(
                    refused @ (StoreError::Document(_)
                    | StoreError::Erased { .. }
                    | StoreError::Shape { .. }),
                ) => Ok(Err(refused)),
                Err(error) => Err(error),
            })
            .collect::<Result<Vec<_>>>();
        let done = self.end_transaction(done)?;
        for n in numbers {
            self.forget(n);
        }
        Ok(done)
    }

    /// Takes one record in, inside the caller's transaction.
    fn receive_one(&mut self, record: &Incoming) -> Result<(i64, bool, Heads)> {
        let known = match self.number(&record.id) {
            Ok(n) => Some(n),
            Err(StoreError::NoRecord { .. }) => None,
            Err(error) => return Err(error),
        };
        let mut doc = match known {
            Some(n) => self.published(n)?,
            None => self.empty_document(),
        };
        let new = doc.apply(&record.changes)?;
        let heads = doc.heads();
        if let (true, Some(n)) = (new.is_empty(), known) {
            return Ok((n, false, heads));
        }
        let value = doc.value()?;
        let n = match known {
            Some(n) => n,
            None => self.insert_record(&record.id, &record.kind)?,
        };
        let k = self.next_k(n)?;
        self.insert_chunk(k, None, self.clock.now_ms(), &heads, &new)?;
        self.note_heads(n, &doc)?;
        self.project(n, &record.kind, &doc, &value)?;
        Ok((n, true, heads))
    }

    /// Places of a record where devices disagree.
    pub fn conflicts(&mut self, id: &str) -> Result<Vec<Conflict>> {
        Ok(self.document(id)?.conflicts()?)
    }

    /// Settles a disagreement by choosing one of its values. Part of the record at once, and this
    /// session's drafts of it with it.
    pub fn resolve(
        &mut self,
        id: &str,
        conflict: &Conflict,
        choice: usize,
        by: &str,
    ) -> Result<()> {
        self.finish(id)?;
        let n = self.number(id)?;
        let (kind, stamp) = (self.kind(n)?, self.stamp(by, ""));
        let mut doc = self.published(n)?;
        let bytes = doc.resolve(conflict, choice, &stamp)?;
        self.begin_transaction()?;
        let done = (|| {
            let k = self.next_k(n)?;
            self.insert_chunk(k, None, stamp.at_ms, &doc.heads(), &bytes)?;
            self.note_heads(n, &doc)?;
            self.project(n, &kind, &doc, &doc.value()?)
        })();
        self.forget(n);
        self.end_transaction(done)
    }

    fn next_k(&mut self, n: i64) -> Result<i64> {
        Ok(self.cached(n)?.next)
    }

    /// A value kept on this device only (a target's password, a window's size), encrypted with
    /// everything else.
    pub fn local(&self, name: &str) -> Result<Option<Vec<u8>>> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT value FROM local WHERE name = ?")?;
        Ok(statement.query_row([name], |row| row.get(0)).optional()?)
    }

    /// Values kept on this device only whose names begin with `prefix`, by name.
    pub fn locals(&self, prefix: &str, limit: usize) -> Result<Vec<(String, Vec<u8>)>> {
        let mut statement = self.conn.prepare_cached(
            "SELECT name, value FROM local WHERE name >= ?1 AND name < ?1 || char(1114111) ORDER BY name LIMIT ?2",
        )?;
        let rows = statement.query_map(params![prefix, limit as i64], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Names alone of such values, for values that are large.
    pub fn local_names(&self, prefix: &str) -> Result<Vec<String>> {
        let mut statement = self.conn.prepare_cached(
            "SELECT name FROM local WHERE name >= ?1 AND name < ?1 || char(1114111) ORDER BY name",
        )?;
        let rows = statement.query_map([prefix], |row| row.get(0))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Sets or removes values kept on this device only, all of them or none.
    pub fn set_locals(&mut self, values: &[(String, Option<Vec<u8>>)]) -> Result<()> {
        self.begin_transaction()?;
        let done = values
            .iter()
            .try_for_each(|(name, value)| self.set_local(name, value.as_deref()));
        self.end_transaction(done)
    }

    /// Sets or, with nothing, removes a value kept on this device only.
    pub fn set_local(&mut self, name: &str, value: Option<&[u8]>) -> Result<()> {
        match value {
            Some(value) => self
                .conn
                .prepare_cached("INSERT OR REPLACE INTO local(name, value) VALUES(?,?)")?
                .execute(params![name, value])?,
            None => self
                .conn
                .prepare_cached("DELETE FROM local WHERE name = ?")?
                .execute([name])?,
        };
        Ok(())
    }

    /// Photographs a record names, in any of its states and drafts.
    pub(crate) fn photos_of(&self, n: i64) -> Result<BTreeSet<Vec<u8>>> {
        let mut photos = self.photos_listed(n)?;
        let chunks = self.chunks(n)?;
        let doc = self.assemble(&chunks.iter().collect::<Vec<_>>())?;
        photos.extend(Projection::of(&doc.value()?).photos);
        for change in doc.history() {
            for difference in change.differences {
                photos.extend(
                    Projection::of(&serde_json::json!({ "photos": [difference.after] })).photos,
                );
            }
        }
        Ok(photos)
    }

    /// Photographs that a finished record names.
    pub fn photos_named_by(&self, id: &str) -> Result<Vec<String>> {
        match self.number(id) {
            Ok(n) => Ok(self
                .photos_listed(n)?
                .iter()
                .map(|hash| hex(hash))
                .collect()),
            Err(StoreError::NoRecord { .. } | StoreError::Erased { .. }) => Ok(Vec::new()),
            Err(error) => Err(error),
        }
    }

    pub(crate) fn photos_listed(&self, n: i64) -> Result<BTreeSet<Vec<u8>>> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT sha256 FROM photo_use WHERE n = ?")?;
        Ok(statement
            .query_map([n], |row| row.get(0))?
            .collect::<Result<_, _>>()?)
    }

    /// Photographs that drafts name.
    pub(crate) fn photos_in_drafts(&self) -> Result<BTreeSet<Vec<u8>>> {
        let mut statement = self.conn.prepare("SELECT n FROM drafted")?;
        let numbers = statement
            .query_map([], |row| row.get(0))?
            .collect::<Result<Vec<i64>, _>>()?;
        let mut photos = BTreeSet::new();
        for n in numbers {
            photos.extend(self.photos_of(n)?);
        }
        Ok(photos)
    }
}
