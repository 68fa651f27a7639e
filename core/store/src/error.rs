//! What can go wrong, said so that the reader knows what happened and what to do next.

use crate::document::DocumentError;
use std::path::PathBuf;

/// Any failure of the store. Whatever it is, what was saved before is still saved.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// The passphrase does not open the store.
    #[error("This passphrase does not open the store. Nothing was changed; try again.")]
    WrongPassphrase,
    /// Too short to protect anything.
    #[error("A passphrase needs at least {least} characters.")]
    WeakPassphrase {
        /// Shortest accepted.
        least: usize,
    },
    /// No store there.
    #[error("There is no store at {}.", path.display())]
    Missing {
        /// Where one was looked for.
        path: PathBuf,
    },
    /// Something is there already.
    #[error("{} exists already and was left as it is. Choose another place.", path.display())]
    Exists {
        /// What is there.
        path: PathBuf,
    },
    /// Open elsewhere.
    #[error(
        "This store is already open in another window (process {process}). Close it there first."
    )]
    InUse {
        /// Number of the process, if it could be read.
        process: String,
    },
    /// The key file is gone or unreadable.
    #[error("The key file {} is missing or damaged, and without it nobody can open the store. Put it back, or restore a backup.", path.display())]
    KeyFile {
        /// Where it should be.
        path: PathBuf,
    },
    /// Bytes that are not what was written.
    #[error(
        "Part of the file is damaged ({what}). The rest can still be read. Run a check, then restore a backup or copy what is readable into a new store."
    )]
    Damaged {
        /// What the engine met.
        what: String,
    },
    /// Written by a newer version.
    #[error(
        "This store was written by a newer version of the program (format {found}; this one knows {known}). Update the program; nothing was changed."
    )]
    Newer {
        /// Format of the file.
        found: i64,
        /// Newest format known.
        known: i64,
    },
    /// No room left.
    #[error(
        "The disk is full. The last entry was not saved; everything before it is. Free some space and save again."
    )]
    Full,
    /// The disk refused.
    #[error(
        "The disk reported an error ({what}). The last entry was not saved; everything before it is. Check the disk and make a backup elsewhere."
    )]
    Disk {
        /// What the system said.
        what: String,
    },
    /// No such record.
    #[error("There is no visit {id} in this store.")]
    NoRecord {
        /// Identifier asked for.
        id: String,
    },
    /// A record of this name exists.
    #[error("A visit {id} exists already.")]
    RecordExists {
        /// Identifier.
        id: String,
    },
    /// Erased for good.
    #[error("Visit {id} was erased and cannot be changed or brought back.")]
    Erased {
        /// Identifier.
        id: String,
    },
    /// Work of an interrupted session waits for a decision.
    #[error("Visit {id} holds unsaved work. Decide first whether to recover it.")]
    Undecided {
        /// Identifier.
        id: String,
    },
    /// The record is not of the expected shape.
    #[error(
        "Visit {id} cannot be shown ({why}). It is kept as it is; a newer version may be needed."
    )]
    Shape {
        /// Identifier.
        id: String,
        /// What did not fit.
        why: String,
    },
    /// A label is taken.
    #[error("Label {code} already belongs to visit {visit} ({side}). Use another label.")]
    LabelTaken {
        /// The code.
        code: String,
        /// The visit that has it.
        visit: String,
        /// The side it is bound to.
        side: String,
    },
    /// The label of the other side.
    #[error(
        "Stop: label {code} is bound to the {side} side of this visit, and this is the {wanted} side. Check which cast is in your hands."
    )]
    LabelOtherSide {
        /// The code.
        code: String,
        /// The side it is bound to.
        side: String,
        /// The side it was to be bound to.
        wanted: String,
    },
    /// A label that was made void.
    #[error("Label {code} was made void by {by} ({why}). Use another label.")]
    LabelVoid {
        /// The code.
        code: String,
        /// Who made it void.
        by: String,
        /// Why.
        why: String,
    },
    /// A label on more than one cast.
    #[error("Stop: label {code} stands for more than one cast ({}). Make it void and give each cast a new label.", casts.join("; "))]
    LabelReused {
        /// The code.
        code: String,
        /// The casts.
        casts: Vec<String>,
    },
    /// Not a code.
    #[error("“{text}” is not a label code: it has 13 letters and digits. Read it again.")]
    NotALabel {
        /// What was given.
        text: String,
    },
    /// No such photograph.
    #[error("There is no photograph {sha256} in this store.")]
    NoPhoto {
        /// Its hash.
        sha256: String,
    },
    /// A photograph that cannot be read as a picture.
    #[error("Photograph {sha256} is kept byte for byte but cannot be shown: {why}")]
    NotAPicture {
        /// Its hash.
        sha256: String,
        /// What the decoder said.
        why: String,
    },
    /// The source of a photograph changed while it was read.
    #[error("The photograph changed or ended while it was read. Nothing was stored; try again.")]
    SourceChanged,
    /// Not one of our backups.
    #[error("{} is not a backup of this program, or is incomplete ({why}). Nothing was changed.", path.display())]
    NotABackup {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// A file could not be read or written.
    #[error("{}: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Refused by the record itself.
    #[error(transparent)]
    Document(#[from] DocumentError),
    /// Anything else the engine reports.
    #[error("The store could not do this: {0}")]
    Engine(rusqlite::Error),
}

/// Result of everything the store does.
pub type Result<T, E = StoreError> = std::result::Result<T, E>;

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode::{
            DatabaseCorrupt, DiskFull, NotADatabase, SystemIoFailure, TooBig,
        };
        let what = error.to_string();
        match error.sqlite_error_code() {
            Some(DiskFull) => Self::Full,
            // A file may not grow beyond a quota: what the user must do is the same.
            Some(SystemIoFailure) => Self::Disk { what },
            Some(DatabaseCorrupt | NotADatabase) => Self::Damaged { what },
            Some(TooBig) => Self::Disk { what },
            _ => Self::Engine(error),
        }
    }
}

impl StoreError {
    /// Puts the file's name to a failure of the system.
    pub(crate) fn file(path: &std::path::Path) -> impl FnOnce(std::io::Error) -> Self {
        move |source| match source.kind() {
            std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => Self::Full,
            _ => Self::File {
                path: path.to_owned(),
                source,
            },
        }
    }
}
