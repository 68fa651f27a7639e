//! A record as an automerge document: edited, merged, asked for conflicts and history.
//!
//! Knows nothing of disks, clocks or SQL. Any JSON object can be held; what merges and what stays
//! whole is in `shape`.

mod aligned;
mod conflict;
mod history;
mod node;
pub(crate) mod shape;
mod write;
mod write_list;

pub use conflict::{Alternative, Conflict, ConflictKind};
pub use history::{Difference, HistoryEntry};

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{
    ActorId, Automerge, AutomergeError, Change, ChangeHash, ChangeMetadata, PatchLog, ReadDoc,
};
use node::Node;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use shape::Differing;
use write::Writer;

/// What went wrong inside one document.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DocumentError {
    /// A signed record was about to be changed.
    #[error("{path} is signed and frozen. Add a new revision with a reason instead.")]
    Frozen {
        /// Where.
        path: String,
    },
    /// An amendment was signed without saying why.
    #[error("Revision {number} needs a reason before it can be signed.")]
    NoReason {
        /// Number of the revision.
        number: u64,
    },
    /// A revision carries the wrong number.
    #[error("The next revision of {path} is number {expected}, not {found}.")]
    RevisionNumber {
        /// Where.
        path: String,
        /// The number it must carry.
        expected: u64,
        /// The number it carries.
        found: u64,
    },
    /// Two elements of a list share their identifier.
    #[error("Two entries of {path} are both called {key}. Give one of them another identifier.")]
    SameKey {
        /// Where.
        path: String,
        /// The identifier.
        key: String,
    },
    /// Not a JSON object.
    #[error("A record must be a JSON object.")]
    NotARecord,
    /// A conflict that is no longer there, or a choice it does not offer.
    #[error("This choice is no longer open: the record was changed meanwhile. Look at it again.")]
    NoSuchChoice,
    /// The bytes do not make the document they claim to.
    #[error("The record's bytes are damaged: {0}")]
    Damaged(String),
    /// Changes that build on changes which are not here yet.
    #[error("These changes build on others that have not arrived yet.")]
    Incomplete,
    /// Refused by automerge.
    #[error("The record could not be changed: {0}")]
    Automerge(#[from] AutomergeError),
}

/// A state of a document: the newest changes it includes.
pub type Heads = Vec<ChangeHash>;

/// Who makes a change, on what, when and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    /// The person.
    pub by: String,
    /// The device, as people call it.
    pub device: String,
    /// When, in milliseconds since 1970 by that device's clock.
    pub at_ms: i64,
    /// Why, where a reason was given.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub why: String,
}

/// A record that can be edited in several places and merged.
#[derive(Debug, Clone)]
pub struct Document {
    doc: Automerge,
}

impl Document {
    /// An empty document, edited as `actor`.
    #[must_use]
    pub fn new(actor: ActorId) -> Self {
        Self {
            doc: Automerge::new().with_actor(actor),
        }
    }

    /// Reads a document from saved bytes: one [`Document::save`], or several pieces of
    /// [`Document::changes_since`] in order, or both. The pieces must be whole.
    pub fn load(bytes: &[u8], actor: ActorId) -> Result<Self, DocumentError> {
        let damaged = |e: AutomergeError| DocumentError::Damaged(e.to_string());
        let doc = guarded(|| Automerge::load(bytes).map_err(damaged))?;
        Ok(Self {
            doc: doc.with_actor(actor),
        })
    }

    /// The newest changes, sorted.
    #[must_use]
    pub fn heads(&self) -> Heads {
        let mut heads = self.doc.get_heads();
        heads.sort_unstable();
        heads
    }

    /// Whether a change is part of the document.
    #[must_use]
    pub fn has(&self, change: &ChangeHash) -> bool {
        self.doc.get_change_meta_by_hash(change).is_some()
    }

    /// The record as it stands; where two devices disagree, one of the values.
    pub fn value(&self) -> Result<Value, DocumentError> {
        Ok(Node::root(&self.doc)?.json())
    }

    /// The record as it stood at `heads`.
    pub fn value_at(&self, heads: &[ChangeHash]) -> Result<Value, DocumentError> {
        Ok(Node::root(&self.doc.fork_at(heads)?)?.json())
    }

    /// Writes what differs between `before` (as it was at `base`) and `after`. Changes made
    /// elsewhere since `base` stay beside it. Returns the change and its bytes, or nothing if
    /// there is no difference.
    pub fn edit(
        &mut self,
        base: &[ChangeHash],
        before: &Value,
        after: &Value,
        stamp: &Stamp,
    ) -> Result<Option<(ChangeHash, Vec<u8>)>, DocumentError> {
        let nothing = Value::Object(Map::new());
        let before = if before.is_null() { &nothing } else { before };
        let (Value::Object(old), Value::Object(new)) = (before, after) else {
            return Err(DocumentError::NotARecord);
        };
        self.enter(base, &shape::differing(old, new), new, stamp)
    }

    /// Like [`Document::edit`], where the members that differ are known.
    pub(crate) fn enter(
        &mut self,
        base: &[ChangeHash],
        differing: &[Differing<'_>],
        after: &Map<String, Value>,
        stamp: &Stamp,
    ) -> Result<Option<(ChangeHash, Vec<u8>)>, DocumentError> {
        let mut base = base.to_vec();
        base.sort_unstable();
        let current = base == self.heads();
        let first = base.is_empty() && current;
        self.change(if current { None } else { Some(&base) }, stamp, |writer| {
            if first {
                return writer.first(after);
            }
            let root = Node::of_difference(writer.tx, differing)?;
            writer.record("", &root, differing, after)
        })
    }

    /// Runs `write` in one change, at `base` or at the newest state.
    fn change(
        &mut self,
        base: Option<&[ChangeHash]>,
        stamp: &Stamp,
        write: impl FnOnce(
            &mut Writer<'_, automerge::transaction::Transaction<'_>>,
        ) -> Result<(), DocumentError>,
    ) -> Result<Option<(ChangeHash, Vec<u8>)>, DocumentError> {
        let mut tx = match base {
            None => self.doc.transaction(),
            Some(heads) => self
                .doc
                .transaction_at(PatchLog::null(), heads)
                .map_err(|e| DocumentError::Damaged(e.to_string()))?,
        };
        if let Err(error) = write(&mut Writer::new(&mut tx)) {
            tx.rollback();
            return Err(error);
        }
        if tx.pending_ops() == 0 {
            tx.rollback();
            return Ok(None);
        }
        let message =
            serde_json::to_string(stamp).map_err(|e| DocumentError::Damaged(e.to_string()))?;
        let options = CommitOptions::default()
            .with_message(message)
            .with_time(stamp.at_ms.div_euclid(1000));
        let (hash, _) = tx.commit_with(options);
        let Some(hash) = hash else { return Ok(None) };
        let change = self
            .doc
            .get_change_by_hash(&hash)
            .ok_or(DocumentError::Incomplete)?;
        Ok(Some((hash, change.raw_bytes().to_vec())))
    }

    /// The whole document with its history, compact. Documents that hold the same changes give the
    /// same bytes, in whatever order the changes arrived.
    #[must_use]
    pub fn save(&self) -> Vec<u8> {
        let changes = self.doc.get_changes_meta(&[]);
        let follow = |pair: &[ChangeMetadata<'_>]| pair[1].deps == [pair[0].hash];
        if changes.windows(2).all(follow) {
            return self.doc.save();
        }
        // A change starts counting after everything it builds on: by that number, no change comes
        // before one it needs.
        let mut changes = self.doc.get_changes(&[]);
        changes.sort_by_key(|change| (change.start_op(), change.hash()));
        let mut ordered = Automerge::new();
        match ordered.apply_changes(changes) {
            Ok(()) => ordered.save(),
            Err(_) => self.doc.save(),
        }
    }

    /// Changes that are not part of `heads`, as bytes another device can apply.
    #[must_use]
    pub fn changes_since(&self, heads: &[ChangeHash]) -> Vec<u8> {
        self.doc
            .get_changes(heads)
            .iter()
            .flat_map(|c| c.raw_bytes().to_vec())
            .collect()
    }

    /// Takes in changes made elsewhere: once or many times, in any order of the pieces. All or
    /// nothing: returns the bytes of what was new. What could not be read again is refused.
    pub fn apply(&mut self, bytes: &[u8]) -> Result<Vec<u8>, DocumentError> {
        let before = self.doc.get_heads();
        let (merged, new) = guarded(|| {
            let changes = read_changes(bytes)?;
            let expected: Vec<ChangeHash> = changes.iter().map(Change::hash).collect();
            let mut merged = self.clone();
            merged.doc.apply_changes(changes)?;
            if !expected.iter().all(|hash| merged.has(hash)) {
                return Err(DocumentError::Incomplete);
            }
            let new = merged.changes_since(&before);
            if !new.is_empty() {
                merged.refuse_unreadable()?;
            }
            Ok((merged, new))
        })?;
        *self = merged;
        Ok(new)
    }

    /// Changes with the right checksum may still make no document that can be saved and read.
    fn refuse_unreadable(&self) -> Result<(), DocumentError> {
        let again = Self::load(&self.save(), self.doc.get_actor().clone())?;
        again.value()?;
        again.conflicts()?;
        if again.heads() != self.heads() {
            return Err(DocumentError::Damaged("it does not read as written".into()));
        }
        Ok(())
    }
}

/// Reads bytes from elsewhere. Automerge panics on some that are malformed behind a right checksum;
/// `read` changes nothing but what it returns, so a panic in it leaves nothing half done. A whole
/// document with a forged run length can still ask for more memory than there is.
fn guarded<T>(read: impl FnOnce() -> Result<T, DocumentError>) -> Result<T, DocumentError> {
    std::panic::catch_unwind(std::panic::AssertUnwindSafe(read))
        .unwrap_or_else(|_| Err(DocumentError::Damaged("malformed".into())))
}

/// Splits saved documents and runs of changes into changes.
///
/// Every chunk of automerge's published binary format starts with four magic bytes, a checksum of
/// four, a type and its length as LEB128. Unlike `load_incremental`, which applies what it can
/// read of damaged bytes and drops the rest, this takes all or refuses all.
fn read_changes(mut bytes: &[u8]) -> Result<Vec<Change>, DocumentError> {
    const DOCUMENT: u8 = 0;
    let damaged = |why: &dyn std::fmt::Display| DocumentError::Damaged(why.to_string());
    let mut changes = Vec::new();
    while !bytes.is_empty() {
        let (kind, length) =
            chunk_header(bytes).ok_or_else(|| damaged(&"not a record of this kind"))?;
        let (chunk, rest) = bytes
            .split_at_checked(length)
            .ok_or_else(|| damaged(&"cut short"))?;
        if kind == DOCUMENT {
            changes.extend(
                Automerge::load(chunk)
                    .map_err(|e| damaged(&e))?
                    .get_changes(&[]),
            );
        } else {
            let change = Change::from_bytes(chunk.to_vec()).map_err(|e| damaged(&e))?;
            // The checksum is the beginning of the change's hash; `from_bytes` does not compare.
            if chunk[4..8] != change.hash().0[..4] {
                return Err(damaged(&"wrong checksum"));
            }
            changes.push(change);
        }
        bytes = rest;
    }
    Ok(changes)
}

/// Type and full length of the chunk that `bytes` start with.
fn chunk_header(bytes: &[u8]) -> Option<(u8, usize)> {
    const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
    let kind = *bytes.strip_prefix(&MAGIC)?.get(4)?;
    let mut length = 0_usize;
    for (i, byte) in bytes[9..].iter().take(5).enumerate() {
        length |= usize::from(byte & 0x7f) << (7 * i);
        if byte & 0x80 == 0 {
            return Some((kind, length.checked_add(10 + i)?));
        }
    }
    None
}
