//! Tables of the store, and how an older file becomes a newer one.
//!
//! `record` and `chunk` are the truth, with `photo`; `drafted` lists the records with drafts; `case_list`, `label`, `label_event`, `photo_use`,
//! `word` and `search` are projections that `Store::rebuild` can make again from it.
//!
//! The columns called `unsent`, `tombstone_unsent` and the table `sent` are of an earlier way to
//! synchronise and stay empty: taking a column out would write every photograph anew.
//!
//! Migration, each version in one transaction:
//! 1. read the version: a newer file is refused; a crash leaves it as it was;
//! 2. change tables and version together; a crash leaves the old version whole;
//! 3. commit; a crash after it leaves the new version whole. Lists that a version changes are
//!    marked stale in that transaction and made again on opening, however often that is cut short.

use crate::error::{Result, StoreError};
use crate::store::Steps;
use rusqlite::{Connection, TransactionBehavior};

/// One version's statements each; version 1 is the first.
const VERSIONS: &[&str] = &[V1, V2, V3, V4, V5, V6, V7];

const V1: &str = "
CREATE TABLE meta(name TEXT PRIMARY KEY, value) WITHOUT ROWID;
CREATE TABLE local(name TEXT PRIMARY KEY, value BLOB NOT NULL) WITHOUT ROWID;
CREATE TABLE record(
  n INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, created_ms INTEGER NOT NULL,
  erased_ms INTEGER, erased_by TEXT, wiped INTEGER NOT NULL DEFAULT 0, tombstone_unsent INTEGER NOT NULL DEFAULT 0);
-- k is n * 2^20 + a counter: the chunks of one record lie together, in order.
CREATE TABLE chunk(
  k INTEGER PRIMARY KEY, n INTEGER NOT NULL, session INTEGER, unsent INTEGER NOT NULL, saved_ms INTEGER NOT NULL,
  heads BLOB NOT NULL, sha256 BLOB NOT NULL, bytes BLOB NOT NULL);
CREATE INDEX chunk_draft ON chunk(n) WHERE session IS NOT NULL;
CREATE INDEX chunk_unsent ON chunk(n) WHERE unsent AND session IS NULL;
CREATE TABLE sent(n INTEGER PRIMARY KEY, heads BLOB NOT NULL);
CREATE TABLE photo(
  n INTEGER PRIMARY KEY, sha256 BLOB UNIQUE, size INTEGER NOT NULL, added_ms INTEGER NOT NULL, unsent INTEGER NOT NULL,
  bytes BLOB NOT NULL);
CREATE INDEX photo_unsent ON photo(n) WHERE unsent;
CREATE TABLE photo_small(sha256 BLOB, edge_px INTEGER, bytes BLOB NOT NULL, PRIMARY KEY(sha256, edge_px));
CREATE TABLE photo_use(n INTEGER, sha256 BLOB, PRIMARY KEY(n, sha256)) WITHOUT ROWID;
CREATE INDEX photo_use_by_photo ON photo_use(sha256);
CREATE TABLE case_list(
  n INTEGER PRIMARY KEY, touched INTEGER NOT NULL, patient TEXT NOT NULL, person_code TEXT NOT NULL, at TEXT NOT NULL,
  sides TEXT NOT NULL, codes TEXT NOT NULL, lab TEXT NOT NULL, state TEXT NOT NULL, due TEXT, conflicts INTEGER NOT NULL,
  words TEXT NOT NULL);
CREATE INDEX case_touched ON case_list(touched DESC);
CREATE INDEX case_state ON case_list(state, touched DESC);
CREATE INDEX case_due ON case_list(due) WHERE due IS NOT NULL;
CREATE TABLE label(code TEXT, n INTEGER, side TEXT NOT NULL, bound_ms INTEGER NOT NULL, PRIMARY KEY(code, n, side)) WITHOUT ROWID;
CREATE INDEX label_by_record ON label(n);
-- Every code once from each of its groups on, so that any group finds it.
CREATE TABLE code_part(part TEXT, n INTEGER, PRIMARY KEY(part, n)) WITHOUT ROWID;
CREATE INDEX code_part_by_record ON code_part(n);
CREATE TABLE word(word TEXT PRIMARY KEY, uses INTEGER NOT NULL) WITHOUT ROWID;
CREATE VIRTUAL TABLE search USING fts5(
  words, content='', contentless_delete=1, detail=none, prefix='1 2 3', tokenize='ascii');
CREATE TABLE audit(k INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, by TEXT NOT NULL, device TEXT NOT NULL, what TEXT NOT NULL, record TEXT);
";

/// Counts of signed orders and remakes. The lists are made again on opening.
const V2: &str = "
ALTER TABLE case_list ADD COLUMN signed INTEGER NOT NULL DEFAULT 0;
CREATE TABLE remake(n INTEGER, number INTEGER, cause TEXT, PRIMARY KEY(n, number, cause)) WITHOUT ROWID;
INSERT OR REPLACE INTO meta VALUES('lists_stale', 1);
";

/// The newest changes of a record as it was last finished, so that one missing at the end shows;
/// unknown (null) in records of an earlier format until they change or the lists are made again.
const V3: &str = "
ALTER TABLE record ADD COLUMN heads BLOB;
";

/// What happened to labels. There are no records of that kind before, so nothing is made again.
const V4: &str = "
CREATE TABLE label_event(
  n INTEGER, name TEXT, what TEXT NOT NULL, at_ms INTEGER NOT NULL, by TEXT NOT NULL, device TEXT NOT NULL,
  visit TEXT NOT NULL, side TEXT NOT NULL, revision INTEGER NOT NULL, note TEXT NOT NULL, PRIMARY KEY(n, name)) WITHOUT ROWID;
CREATE INDEX label_event_by_visit ON label_event(visit) WHERE visit <> '';
";

/// Records with drafts, in a table instead of an index that every entry would write to.
const V5: &str = "
CREATE TABLE drafted(n INTEGER PRIMARY KEY);
INSERT INTO drafted SELECT DISTINCT n FROM chunk WHERE session IS NOT NULL;
DROP INDEX chunk_draft;
";

/// The order in which records changed or were erased, for synchronising: each once, by its newest.
const V6: &str = "
CREATE TABLE changed(n INTEGER PRIMARY KEY, seq INTEGER NOT NULL UNIQUE);
INSERT INTO changed SELECT n, row_number() OVER (ORDER BY n) FROM record;
CREATE TRIGGER record_changed AFTER UPDATE OF heads, erased_ms ON record BEGIN
  INSERT OR REPLACE INTO changed VALUES(new.n, (SELECT coalesce(max(seq), 0) + 1 FROM changed));
END;
CREATE TRIGGER record_erased_unseen AFTER INSERT ON record WHEN new.erased_ms IS NOT NULL BEGIN
  INSERT OR REPLACE INTO changed VALUES(new.n, (SELECT coalesce(max(seq), 0) + 1 FROM changed));
END;
";

/// Orders and remakes are counted from the records themselves.
const V7: &str = "
DROP TABLE remake;
ALTER TABLE case_list DROP COLUMN signed;
";

/// Newest format this version knows.
pub(crate) fn newest() -> i64 {
    VERSIONS.len() as i64
}

/// Format of an open file.
pub(crate) fn version(conn: &Connection) -> Result<i64> {
    Ok(conn.query_row("PRAGMA user_version", [], |row| row.get(0))?)
}

/// Brings an open file to the newest format.
pub(crate) fn migrate(conn: &mut Connection, steps: &mut Steps) -> Result<()> {
    let found = version(conn)?;
    if found > newest() {
        return Err(StoreError::Newer {
            found,
            known: newest(),
        });
    }
    steps.at("migrate", 1);
    for (statements, number) in VERSIONS
        .iter()
        .zip(1_i64..)
        .skip(usize::try_from(found).unwrap_or(0))
    {
        let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
        tx.execute_batch(statements)?;
        tx.pragma_update(None, "user_version", number)?;
        steps.at("migrate", 2);
        tx.commit()?;
        steps.at("migrate", 3);
    }
    Ok(())
}
