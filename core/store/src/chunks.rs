//! How a record lies in the file: rows of changes, put together into a document.

use crate::document::Document;
use crate::error::{Result, StoreError};
use crate::files::lengthen_log;
use crate::store::Store;
use automerge::ChangeHash;
use rusqlite::{OptionalExtension, params};
use sha2::{Digest, Sha256};

const CHUNKS_BITS: i64 = 20;
/// Records kept open in memory.
const CACHED: usize = 4;

/// A record held in memory.
pub(crate) struct Cached {
    pub n: i64,
    pub id: String,
    pub doc: Document,
    /// It has drafts of this session.
    pub drafts: bool,
    /// It has drafts of an earlier session, which are not in `doc`.
    pub old_drafts: bool,
    /// Key of the next chunk.
    pub next: i64,
    pub chunks: usize,
    pub saved_at_ms: i64,
}

/// One row of the chunk table.
pub(crate) struct Chunk {
    pub k: i64,
    pub session: Option<i64>,
    pub saved_ms: i64,
    pub heads: Vec<u8>,
    pub sha256: Vec<u8>,
    pub bytes: Vec<u8>,
}

impl Store {
    pub(crate) fn number(&self, id: &str) -> Result<i64> {
        if let Some(cached) = self.cache.iter().find(|c| c.id == id) {
            return Ok(cached.n);
        }
        let mut statement = self
            .conn
            .prepare_cached("SELECT n, erased_ms FROM record WHERE id = ?")?;
        let found: Option<(i64, Option<i64>)> = statement
            .query_row([id], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()?;
        match found {
            None => Err(StoreError::NoRecord { id: id.to_owned() }),
            Some((_, Some(_))) => Err(StoreError::Erased { id: id.to_owned() }),
            Some((n, None)) => Ok(n),
        }
    }

    pub(crate) fn kind(&self, n: i64) -> Result<String> {
        Ok(self
            .conn
            .query_row("SELECT kind FROM record WHERE n = ?", [n], |row| row.get(0))?)
    }

    pub(crate) fn insert_record(&self, id: &str, kind: &str) -> Result<i64> {
        match self.number(id) {
            Ok(_) => return Err(StoreError::RecordExists { id: id.to_owned() }),
            Err(StoreError::NoRecord { .. }) => {}
            Err(error) => return Err(error),
        }
        let mut statement = self
            .conn
            .prepare_cached("INSERT INTO record(id, kind, created_ms) VALUES(?,?,?)")?;
        statement.execute(params![id, kind, self.clock.now_ms()])?;
        Ok(self.conn.last_insert_rowid())
    }

    pub(crate) fn insert_chunk(
        &self,
        k: i64,
        session: Option<i64>,
        saved_ms: i64,
        heads: &[ChangeHash],
        bytes: &[u8],
    ) -> Result<()> {
        let heads = joined(heads);
        let sha256 = Sha256::digest(bytes);
        let mut statement = self.conn.prepare_cached(
            "INSERT INTO chunk(k, n, session, unsent, saved_ms, heads, sha256, bytes) VALUES(?,?,?,0,?,?,?,?)",
        )?;
        statement.execute(params![
            k,
            k >> CHUNKS_BITS,
            session,
            saved_ms,
            heads,
            &sha256[..],
            bytes
        ])?;
        Ok(())
    }

    /// Notes the state a finished record is in. Inside the caller's transaction.
    pub(crate) fn note_heads(&self, n: i64, doc: &Document) -> Result<()> {
        let mut statement = self
            .conn
            .prepare_cached("UPDATE record SET heads = ? WHERE n = ?")?;
        statement.execute(params![joined(&doc.heads()), n])?;
        Ok(())
    }

    /// The state a finished record must be in; nothing where an earlier format did not note it.
    pub(crate) fn noted_heads(&self, n: i64) -> Result<Option<Vec<u8>>> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT heads FROM record WHERE n = ?")?;
        Ok(statement
            .query_row([n], |row| row.get(0))
            .optional()?
            .flatten())
    }

    /// Refuses a record with work of an earlier session, which waits for a decision.
    pub(crate) fn refuse_undecided(&mut self, n: i64) -> Result<()> {
        let cached = self.cached(n)?;
        if cached.old_drafts {
            return Err(StoreError::Undecided {
                id: cached.id.clone(),
            });
        }
        Ok(())
    }

    /// Adds drafts of this session to a record, of which more will follow. Inside the caller's
    /// transaction.
    pub(crate) fn note_drafts(&self, n: i64) -> Result<()> {
        lengthen_log(&self.path);
        let sql = "INSERT OR IGNORE INTO drafted(n) VALUES(?)";
        self.conn.prepare_cached(sql)?.execute([n])?;
        Ok(())
    }

    /// Notes that a record has no drafts any more. Inside the caller's transaction.
    pub(crate) fn note_no_drafts(&self, n: i64) -> Result<()> {
        let sql = "DELETE FROM drafted WHERE n = ?";
        self.conn.prepare_cached(sql)?.execute([n])?;
        Ok(())
    }

    /// The record in memory, read if need be. Drafts of an earlier session are left out.
    pub(crate) fn cached(&mut self, n: i64) -> Result<&mut Cached> {
        if let Some(at) = self.cache.iter().position(|c| c.n == n) {
            let found = self.cache.remove(at);
            self.cache.push(found);
        } else {
            let chunks = self.healing(|store| store.chunks(n))?;
            let session = self.session;
            let mine: Vec<&Chunk> = chunks
                .iter()
                .filter(|c| c.session.is_none_or(|s| s == session))
                .collect();
            let sql = "SELECT id FROM record WHERE n = ?";
            let mut name = self.conn.prepare_cached(sql)?;
            let id = name.query_row([n], |row| row.get(0))?;
            drop(name);
            let cached = Cached {
                n,
                id,
                doc: self.assemble(&mine)?,
                drafts: mine.iter().any(|c| c.session.is_some()),
                old_drafts: mine.len() < chunks.len(),
                next: chunks.last().map_or(first_k(n), |c| c.k + 1),
                chunks: chunks.len(),
                saved_at_ms: chunks.iter().map(|c| c.saved_ms).max().unwrap_or(0),
            };
            if self.cache.len() >= CACHED {
                self.cache.remove(0);
            }
            self.cache.push(cached);
        }
        self.cache
            .last_mut()
            .ok_or_else(|| StoreError::NoRecord { id: n.to_string() })
    }

    pub(crate) fn chunks(&self, n: i64) -> Result<Vec<Chunk>> {
        let mut statement = self.conn.prepare_cached(
            "SELECT k, session, saved_ms, heads, sha256, bytes FROM chunk WHERE k BETWEEN ? AND ? ORDER BY k",
        )?;
        let rows = statement.query_map([first_k(n), last_k(n)], |row| {
            Ok(Chunk {
                k: row.get(0)?,
                session: row.get(1)?,
                saved_ms: row.get(2)?,
                heads: row.get(3)?,
                sha256: row.get(4)?,
                bytes: row.get(5)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Puts a document together from its chunks: each must have the hash it was stored with, and
    /// the newest changes each of them brought must be there afterwards.
    pub(crate) fn assemble(&self, chunks: &[&Chunk]) -> Result<Document> {
        let damaged = |what: &str| StoreError::Damaged {
            what: what.to_owned(),
        };
        if chunks.is_empty() {
            return Ok(self.empty_document());
        }
        let mut all = Vec::with_capacity(chunks.iter().map(|c| c.bytes.len()).sum());
        for chunk in chunks {
            if Sha256::digest(&chunk.bytes)[..] != chunk.sha256 {
                return Err(damaged(
                    "the bytes of a record do not have the hash they were stored with",
                ));
            }
            all.extend_from_slice(&chunk.bytes);
        }
        let doc = Document::load(&all, self.actor.clone())?;
        for chunk in chunks {
            if !chunk
                .heads
                .chunks(32)
                .all(|hash| <[u8; 32]>::try_from(hash).is_ok_and(|h| doc.has(&ChangeHash(h))))
            {
                return Err(damaged("changes of a record are missing"));
            }
        }
        Ok(doc)
    }
}

/// Hashes one after the other, as the tables hold them.
pub(crate) fn joined(heads: &[ChangeHash]) -> Vec<u8> {
    heads.iter().flat_map(|hash| hash.0).collect()
}

pub(crate) fn first_k(n: i64) -> i64 {
    n << CHUNKS_BITS
}

pub(crate) fn last_k(n: i64) -> i64 {
    first_k(n + 1) - 1
}
