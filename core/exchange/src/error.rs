//! What can go wrong: each says what happened and what to do next; nothing is lost by any.

use crate::target::TargetError;
use plinthside_store::StoreError;
use std::path::PathBuf;

/// Result of everything the exchange does.
pub type Result<T, E = ExchangeError> = std::result::Result<T, E>;

/// Why something was not done.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ExchangeError {
    /// The target.
    #[error(transparent)]
    Target(#[from] TargetError),
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The store was locked meanwhile.
    #[error("The store was closed meanwhile. Unlock it; what was begun goes on from here.")]
    Locked,
    /// No target of that name.
    #[error("There is no target called {name}. Add it first, or choose one of: {known}.")]
    NoTarget {
        /// The name asked for.
        name: String,
        /// The names there are.
        known: String,
    },
    /// No practice yet.
    #[error(
        "This device belongs to no practice yet. Begin one here, or join one with a code shown on a device that is in."
    )]
    NoPractice,
    /// A practice already.
    #[error("This device belongs to a practice already.")]
    InAPractice,
    /// The store is a copy.
    #[error(
        "This store was made from another device's backup, and that device may still be in use. Have a device of the practice show a code and join with it; everything here is kept and will be sent then."
    )]
    ACopy,
    /// This device was struck off.
    #[error(
        "This device was struck off by {by} and sends nothing more. Everything on it is kept. If that was a mistake, join again with a code."
    )]
    StruckOff {
        /// The device that did.
        by: String,
    },
    /// A target that had files of this device lists none at all.
    #[error(
        "{target} is empty, though this device has sent files there: perhaps a share or a stick is not connected and only its empty folder is there. Nothing was sent. Connect it and synchronise again. If it was emptied on purpose, remove it from the targets and add it again; everything is sent anew then."
    )]
    Emptied {
        /// The target.
        target: String,
    },
    /// Waiting to be let in.
    #[error("{inviter} has not let this device in yet. Synchronise on {inviter}, then here again.")]
    NotYetIn {
        /// The device that showed the code.
        inviter: String,
    },
    /// A code that leads nowhere.
    #[error(
        "Nothing waits under this code at {target}. Check the code letter by letter, that both devices use the same target, and that the code is still shown; a code lets in one device only and counts for a day."
    )]
    NoInvitation {
        /// The target.
        target: String,
    },
    /// A code mistyped.
    #[error(
        "This is not a joining code: it has 26 letters and digits and a check character. Type it again."
    )]
    NotACode,
    /// No such device.
    #[error("There is no device {device} in this practice.")]
    NoDevice {
        /// What was asked for.
        device: String,
    },
    /// Not a public key.
    #[error("“{text}” is not a public key. It starts with age1; ask the lab to send it again.")]
    NotAPublicKey {
        /// What was given.
        text: String,
    },
    /// Not a secret key.
    #[error("This is not a key file: no line in it starts with AGE-SECRET-KEY-1.")]
    NotAKey,
    /// The key does not open it.
    #[error(
        "This key does not open the package: it was sealed to another key, or was changed on its way. Check the key, or ask the sender to send it again."
    )]
    DoesNotOpen,
    /// A package that is not whole.
    #[error(
        "This package is not whole: {why}. Nothing was written; ask the sender to send it again."
    )]
    Package {
        /// What is wrong.
        why: String,
    },
    /// A package that must not be made yet.
    #[error("No package was made: {why}")]
    NotReady {
        /// What is missing.
        why: String,
    },
    /// A receipt that is none.
    #[error("This receipt cannot be used: {why}. Ask the lab to write it again.")]
    Receipt {
        /// What is wrong.
        why: String,
    },
    /// Kept state that cannot be read.
    #[error(
        "What this device keeps about synchronising cannot be read ({what}: {why}). Restore a backup, or join again with a code."
    )]
    State {
        /// Which part.
        what: String,
        /// What did not fit.
        why: String,
    },
    /// Sealing failed.
    #[error("Nothing was written: it could not be sealed ({why}).")]
    Sealing {
        /// What the library said.
        why: String,
    },
    /// A file.
    #[error("{}: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

impl ExchangeError {
    /// Whether something in the store is damaged: what stands beside it may still be read.
    pub(crate) fn is_damage(&self) -> bool {
        use StoreError as S;
        matches!(
            self,
            Self::Store(S::Damaged { .. } | S::Document(_) | S::Shape { .. })
        )
    }
}
