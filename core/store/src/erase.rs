//! Erasure: a visit's content, photographs and history go; a tombstone without content stays.
//!
//! 1. Noted what is to go. A crash leaves the visit whole.
//! 2. In one transaction: content, history, lists, photographs nobody else uses; the tombstone.
//!    A crash leaves the visit whole.
//! 3. Committed: the visit is gone from everything that can be asked. A crash from here on leaves
//!    remains in free pages; opening the store goes on at step 4.
//! 4. The file is packed: free pages and remains in the index go. A crash: opening does it again.
//! 5. The log beside the file is emptied and the tombstone marked as done.
//!
//! Backups made earlier still hold the visit: they have to be deleted by whoever keeps them.

use crate::chunks::{first_k, last_k};
use crate::error::{Result, StoreError};
use crate::store::Store;
use rusqlite::{OptionalExtension, params};

impl Store {
    /// Erases a visit for good. Returns the number of photographs that went with it.
    pub fn erase(&mut self, id: &str, by: &str) -> Result<usize> {
        let n = self.number(id)?;
        self.erase_number(n, by)
    }

    /// Takes in an erasure from another device; a visit never seen here cannot come back later.
    pub fn apply_erasure(&mut self, id: &str, by: &str) -> Result<()> {
        match self.number(id) {
            Ok(n) => self.erase_number(n, by).map(|_| ()),
            Err(StoreError::Erased { .. }) => Ok(()),
            Err(StoreError::NoRecord { .. }) => {
                let now = self.clock.now_ms();
                self.conn.execute(
                    "INSERT INTO record(id, kind, created_ms, erased_ms, erased_by, wiped) VALUES(?1,'visit',?2,?2,?3,1)",
                    params![id, now, by],
                )?;
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    fn erase_number(&mut self, n: i64, by: &str) -> Result<usize> {
        self.steps.at("erase", 1);
        self.forget(n);
        self.vocabulary = None;
        // Overwrite what is deleted, also where FAST would leave it.
        self.conn
            .execute_batch("PRAGMA secure_delete = ON; BEGIN IMMEDIATE")?;
        let done = (|| {
            // Photographs that only a draft names are used too: ask the documents, not the lists.
            // A record that can no longer be read must still be erasable.
            let mine = self.photos_of(n).or_else(|_| self.photos_listed(n))?;
            self.unproject(n)?;
            self.conn.execute(
                "DELETE FROM chunk WHERE k BETWEEN ? AND ?",
                [first_k(n), last_k(n)],
            )?;
            self.conn.execute("DELETE FROM sent WHERE n = ?", [n])?;
            self.note_no_drafts(n)?;
            let others = self.photos_in_drafts()?;
            let mut gone = 0;
            for sha256 in mine {
                let used: bool = self.conn.query_row(
                    "SELECT EXISTS(SELECT 1 FROM photo_use WHERE sha256 = ?)",
                    [&sha256],
                    |row| row.get(0),
                )?;
                if !used && !others.contains(&sha256) {
                    gone += self
                        .conn
                        .execute("DELETE FROM photo WHERE sha256 = ?", [&sha256])?;
                    self.conn
                        .execute("DELETE FROM photo_small WHERE sha256 = ?", [&sha256])?;
                }
            }
            self.conn
                .execute_batch("INSERT INTO search(search) VALUES('optimize')")?;
            self.conn.execute(
                "UPDATE record SET erased_ms = ?, erased_by = ?, wiped = 0, created_ms = 0, heads = NULL WHERE n = ?",
                params![self.clock.now_ms(), by, n],
            )?;
            let id: Option<String> = self
                .conn
                .query_row("SELECT id FROM record WHERE n = ?", [n], |row| row.get(0))
                .optional()?;
            self.note(by, "erased", id.as_deref())?;
            Ok(gone)
        })();
        self.steps.at("erase", 2);
        let gone = self.end_transaction(done)?;
        self.steps.at("erase", 3);
        self.finish_erasures()?;
        Ok(gone)
    }

    /// Packs the file if an erasure has left remains in it.
    pub(crate) fn finish_erasures(&mut self) -> Result<()> {
        let pending: bool = self.conn.query_row(
            "SELECT EXISTS(SELECT 1 FROM record WHERE erased_ms IS NOT NULL AND NOT wiped)",
            [],
            |row| row.get(0),
        )?;
        if !pending {
            return Ok(());
        }
        self.conn
            .execute_batch("VACUUM; PRAGMA wal_checkpoint(TRUNCATE);")?;
        self.steps.at("erase", 4);
        self.conn.execute(
            "UPDATE record SET wiped = 1 WHERE erased_ms IS NOT NULL",
            [],
        )?;
        self.conn
            .execute_batch("PRAGMA wal_checkpoint(TRUNCATE); PRAGMA secure_delete = FAST;")?;
        self.steps.at("erase", 5);
        Ok(())
    }
}
