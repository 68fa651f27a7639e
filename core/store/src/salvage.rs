//! Copying what can still be read of a damaged store into a new one.

use crate::chunks::first_k;
use crate::error::{Result, StoreError};
use crate::files::hex;
use crate::store::{Options, Store};
use rusqlite::{OptionalExtension, params};
use std::path::Path;

/// What a salvage saved, and what it had to leave.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Salvaged {
    /// Records copied with their whole history.
    pub records: usize,
    /// Photographs copied, each with its hash intact.
    pub photos: usize,
    /// Records that could not be read: identifier or number.
    pub lost_records: Vec<String>,
    /// Photographs that could not be read: hash or number.
    pub lost_photos: Vec<String>,
}

impl Store {
    /// Copies every record and photograph that can be read into a new store at `path`. This store
    /// is not changed. Values of this device only, and the log, stay behind.
    pub fn salvage(&mut self, path: &Path, passphrase: &str, options: Options) -> Result<Salvaged> {
        let mut fresh = Store::create(path, passphrase, options)?;
        let mut told = Salvaged::default();
        let highest = |store: &mut Self, table: &str| {
            let sql = format!("SELECT coalesce(max(n), 0) FROM {table}");
            store.healing(|store| Ok(store.conn.query_row(&sql, [], |row| row.get::<_, i64>(0))?))
        };
        for n in 1..=highest(self, "photo")? {
            let copied = self.healing(|store| {
                let sql = "SELECT sha256 FROM photo WHERE n = ?";
                let row = store
                    .conn
                    .query_row(sql, [n], |row| row.get::<_, Vec<u8>>(0));
                let Some(sha256) = row.optional()? else {
                    return Ok(None);
                };
                // The new store takes the photograph only if it reads alike twice; its name there
                // is its hash, so an altered one shows.
                let name = hex(&sha256);
                store.export_photo(&name, &mut std::io::sink())?;
                let mut photo = store.photo(&name)?;
                fresh.add_photo(&mut photo)?;
                Ok(Some(()))
            });
            match copied {
                Ok(None) => {}
                Ok(Some(())) => told.photos += 1,
                Err(StoreError::Full) => return Err(StoreError::Full),
                Err(_) => told
                    .lost_photos
                    .push(self.name_of("photo", "lower(hex(sha256))", n)),
            }
        }
        for n in 1..=highest(self, "record")? {
            match self.healing(|store| store.copy_record(n, &mut fresh)) {
                Ok(false) => {}
                Ok(true) => told.records += 1,
                Err(StoreError::Full) => return Err(StoreError::Full),
                Err(_) => told.lost_records.push(self.name_of("record", "id", n)),
            }
        }
        fresh.lock()?;
        Ok(told)
    }

    fn name_of(&mut self, table: &str, name: &str, n: i64) -> String {
        let sql = format!("SELECT {name} FROM {table} WHERE n = ?");
        let named = self.healing(|store| Ok(store.conn.query_row(&sql, [n], |row| row.get(0))?));
        named.unwrap_or_else(|_| format!("number {n}"))
    }

    fn copy_record(&mut self, n: i64, fresh: &mut Store) -> Result<bool> {
        let sql = "SELECT id, kind, erased_by FROM record WHERE n = ?";
        let row = self
            .conn
            .query_row(sql, [n], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)));
        let Some((id, kind, erased_by)) = row.optional()? else {
            return Ok(false);
        };
        let (id, kind, erased_by): (String, String, Option<String>) = (id, kind, erased_by);
        if let Some(by) = erased_by {
            fresh.apply_erasure(&id, &by)?;
            return Ok(false);
        }
        let chunks = self.chunks(n)?;
        let doc = self.assemble(&chunks.iter().collect::<Vec<_>>())?;
        let json = doc.value()?;
        let saved_ms = chunks.iter().map(|c| c.saved_ms).max().unwrap_or(0);
        fresh.begin_transaction()?;
        let done = (|| {
            let m = fresh.insert_record(&id, &kind)?;
            fresh.conn.execute(
                "UPDATE record SET created_ms = ? WHERE n = ?",
                params![saved_ms, m],
            )?;
            fresh.insert_chunk(first_k(m), None, saved_ms, &doc.heads(), &doc.save())?;
            fresh.note_heads(m, &doc)?;
            fresh.project(m, &kind, &doc, &json)
        })();
        fresh.end_transaction(done)?;
        Ok(true)
    }
}
