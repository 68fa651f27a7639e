//! What synchronising needs: what is new here, and taking in what is new elsewhere.

use crate::chunks::joined;
use crate::document::{Conflict, Heads};
use crate::error::{Result, StoreError};
use crate::files::{hex, unhex};
use crate::project::Projection;
use crate::store::Store;
use automerge::ChangeHash;
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
    /// The state they lead to: hand it to [`Store::sent`] once they are published.
    pub heads: Heads,
}

impl Store {
    /// Records with finished changes that have not been published, and these changes.
    pub fn unsent(&self, limit: usize) -> Result<Vec<Outgoing>> {
        let sql = "SELECT DISTINCT c.n, r.id, r.kind FROM chunk c JOIN record r ON r.n = c.n
                   WHERE c.unsent AND c.session IS NULL ORDER BY c.n LIMIT ?";
        let mut statement = self.conn.prepare_cached(sql)?;
        let rows = statement.query_map([limit as i64], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })?;
        let rows = rows.collect::<Result<Vec<(i64, String, String)>, _>>()?;
        let outgoing = rows.into_iter().map(|(n, id, kind)| {
            let doc = self.published(n)?;
            let changes = doc.changes_since(&self.sent_heads(n)?);
            Ok(Outgoing {
                id,
                kind,
                changes,
                heads: doc.heads(),
            })
        });
        outgoing.collect()
    }

    /// Notes that a record has been published up to `heads`.
    pub fn sent(&mut self, id: &str, heads: &[ChangeHash]) -> Result<()> {
        let n = self.number(id)?;
        let all = self.published(n)?.heads() == heads;
        let bytes = joined(heads);
        let tx = self.conn.unchecked_transaction()?;
        tx.execute(
            "INSERT OR REPLACE INTO sent(n, heads) VALUES(?,?)",
            params![n, bytes],
        )?;
        if all {
            tx.execute(
                "UPDATE chunk SET unsent = 0 WHERE n = ? AND session IS NULL",
                [n],
            )?;
        }
        Ok(tx.commit()?)
    }

    fn sent_heads(&self, n: i64) -> Result<Heads> {
        let bytes: Option<Vec<u8>> = self
            .conn
            .query_row("SELECT heads FROM sent WHERE n = ?", [n], |row| row.get(0))
            .optional()?;
        let hashes = bytes.iter().flat_map(|bytes| bytes.chunks_exact(32));
        Ok(hashes
            .filter_map(|hash| <[u8; 32]>::try_from(hash).ok())
            .map(ChangeHash)
            .collect())
    }

    /// Takes in changes of a record made elsewhere: all of them or, with an error, none. Says
    /// whether there was anything new.
    pub fn receive(&mut self, id: &str, kind: &str, changes: &[u8]) -> Result<bool> {
        let known = match self.number(id) {
            Ok(n) => Some(n),
            Err(StoreError::NoRecord { .. }) => None,
            Err(error) => return Err(error),
        };
        let mut doc = match known {
            Some(n) => self.published(n)?,
            None => self.empty_document(),
        };
        let new = doc.apply(changes)?;
        if new.is_empty() {
            return Ok(false);
        }
        let now = self.clock.now_ms();
        self.begin_transaction()?;
        let done = (|| {
            let n = match known {
                Some(n) => n,
                None => self.insert_record(id, kind)?,
            };
            let k = self.next_k(n)?;
            self.insert_chunk(k, None, false, now, &doc.heads(), &new)?;
            self.note_heads(n, &doc)?;
            self.project(n, kind, &doc, &doc.value()?)?;
            Ok(n)
        })();
        let n = self.end_transaction(done)?;
        self.forget(n);
        Ok(true)
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
            self.insert_chunk(k, None, true, stamp.at_ms, &doc.heads(), &bytes)?;
            self.note_heads(n, &doc)?;
            self.project(n, &kind, &doc, &doc.value()?)
        })();
        self.forget(n);
        self.end_transaction(done)
    }

    fn next_k(&mut self, n: i64) -> Result<i64> {
        Ok(self.cached(n)?.next)
    }

    /// Photographs of this device that have not been published, the newest first.
    pub fn unsent_photos(&self, limit: usize) -> Result<Vec<String>> {
        let sql = "SELECT sha256 FROM photo WHERE unsent ORDER BY n DESC LIMIT ?";
        let mut statement = self.conn.prepare_cached(sql)?;
        let rows =
            statement.query_map([limit as i64], |row| Ok(hex(&row.get::<_, Vec<u8>>(0)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Notes that a photograph has been published, or came from elsewhere.
    pub fn photo_sent(&mut self, sha256: &str) -> Result<()> {
        self.conn.execute(
            "UPDATE photo SET unsent = 0 WHERE sha256 = ?",
            [unhex(sha256)],
        )?;
        Ok(())
    }

    /// A value kept on this device only (a target's password, a window's size), encrypted with
    /// everything else.
    pub fn local(&self, name: &str) -> Result<Option<Vec<u8>>> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT value FROM local WHERE name = ?")?;
        Ok(statement.query_row([name], |row| row.get(0)).optional()?)
    }

    /// Sets or, with nothing, removes a value kept on this device only.
    pub fn set_local(&mut self, name: &str, value: Option<&[u8]>) -> Result<()> {
        match value {
            Some(value) => self.conn.execute(
                "INSERT OR REPLACE INTO local(name, value) VALUES(?,?)",
                params![name, value],
            )?,
            None => self
                .conn
                .execute("DELETE FROM local WHERE name = ?", [name])?,
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
