//! The encrypted local store, its history, photographs and search.
//!
//! One SQLCipher file holds everything. A record (a visit, or the clinic's settings) is one
//! automerge document, kept as the changes that made it: that is the truth. What lists and search
//! show is computed from it and can be computed again ([`Store::rebuild`]).
//!
//! **Invariants.** What was saved is on the disk when the call returns. Nothing is overwritten in
//! silence: two values for one field are both kept until somebody chooses. What was signed can be
//! read as it was signed for ever. A photograph is the bytes it was. An erased visit is gone.
//!
//! **Start at** [`Store`]: `records.rs` has the way of one entry to the disk, `document/` how a
//! record becomes changes and two devices' changes one record, `schema.rs` the tables.

mod backup;
mod cases;
mod check;
mod chunks;
pub mod document;
mod erase;
mod error;
mod exchange;
mod files;
mod idle;
mod in_place;
mod key;
mod labels;
mod photos;
mod project;
mod records;
mod salvage;
mod schema;
mod search;
mod store;

pub use automerge::ChangeHash;
pub use backup::{BackupJob, passphrase_fits, restore};
pub use cases::{Case, Filter};
pub use check::{Finding, Report};
pub use document::{
    Alternative, Conflict, ConflictKind, Difference, Document, DocumentError, HistoryEntry, Stamp,
};
pub use error::{Result, StoreError};
pub use exchange::{Changed, Incoming, Outgoing};
pub use files::{hex, remove_store, unhex};
pub use idle::IdleLock;
pub use key::{Kdf, SHORTEST_PASSPHRASE, key_path};
pub use labels::{BagProblem, BagProof, Binding, BoundBy, LABEL, LabelAct, LabelEvent, LabelState};
pub use photos::{Photo, THUMBNAIL_EDGE_PX};
pub use records::{Opened, Saved, Unfinished, VISIT};
pub use salvage::Salvaged;
pub use search::{Found, Match};
pub use store::{Clock, LogLine, Options, Store, SystemClock};
