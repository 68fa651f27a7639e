//! What a target answers when it does not do what was asked.

use std::error::Error;

/// Why a target did not do what was asked. Nothing on the device is lost by any of these.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TargetError {
    /// No such file.
    #[error("{target} has no file {name}.")]
    NotFound {
        /// The target.
        target: String,
        /// The file.
        name: String,
    },
    /// No room.
    #[error(
        "{target} is full. Make room there, then synchronise again; everything is kept on this device."
    )]
    Full {
        /// The target.
        target: String,
    },
    /// Credentials refused.
    #[error(
        "{target} refuses this device's user name or password. Ask whoever looks after it, then enter them again under Targets."
    )]
    Refused {
        /// The target.
        target: String,
    },
    /// Certificate not trusted.
    #[error(
        "{target} cannot prove who it is ({why}). Nothing was sent. Check the address; if the certificate is the clinic's own, add it to the target."
    )]
    Certificate {
        /// The target.
        target: String,
        /// What was wrong with it.
        why: String,
    },
    /// Not reached.
    #[error(
        "{target} cannot be reached ({why}). Everything is kept on this device; synchronise again when it answers."
    )]
    Unreachable {
        /// The target.
        target: String,
        /// What the system said.
        why: String,
    },
    /// The address cannot be used.
    #[error("“{url}” cannot be used as a target: {why}")]
    Address {
        /// As typed.
        url: String,
        /// What is wrong and what to write instead.
        why: String,
    },
    /// Anything else.
    #[error("{target} could not do this ({why}). Synchronise again later.")]
    Failed {
        /// The target.
        target: String,
        /// What it said.
        why: String,
    },
}

impl TargetError {
    /// The file is not there, as opposed to the target not answering.
    #[must_use]
    pub fn is_not_found(&self) -> bool {
        matches!(self, Self::NotFound { .. })
    }

    /// Puts an error of the object store library in the user's terms.
    pub(super) fn from_store(target: &str, name: &str, error: object_store::Error) -> Self {
        use object_store::Error as E;
        let target = target.to_owned();
        match &error {
            E::NotFound { .. } => {
                return Self::NotFound {
                    target,
                    name: name.to_owned(),
                };
            }
            E::PermissionDenied { .. } | E::Unauthenticated { .. } => {
                return Self::Refused { target };
            }
            _ => {}
        }
        let chain = chain(&error);
        if let Some(kind) = io_kind(&error) {
            use std::io::ErrorKind as K;
            match kind {
                K::StorageFull | K::QuotaExceeded | K::FileTooLarge => {
                    return Self::Full { target };
                }
                K::PermissionDenied => return Self::Refused { target },
                _ => {}
            }
        }
        let why = chain.last().cloned().unwrap_or_default();
        let says = |words: &[&str]| {
            chain
                .iter()
                .any(|part| words.iter().any(|word| part.to_lowercase().contains(word)))
        };
        if says(&[
            "507 ",
            "insufficient storage",
            "storage full",
            "no space left",
        ]) {
            Self::Full { target }
        } else if says(&["certificate", "unknownissuer"]) {
            Self::Certificate { target, why }
        } else if says(&["401 ", "403 "]) {
            Self::Refused { target }
        } else if let Some(why) = chain.iter().find_map(|part| status(part)) {
            Self::Failed { target, why }
        } else if says(&["connect", "dns", "timed out", "timeout", "connection"]) {
            Self::Unreachable { target, why }
        } else {
            let why = chain.into_iter().next().unwrap_or_default();
            Self::Failed { target, why }
        }
    }
}

/// What a server said, without the page it sent along: `500 Internal Server Error`.
fn status(part: &str) -> Option<String> {
    let (_, rest) = part.split_once("status code: ")?;
    let words = rest.split([':', '\n']).next()?.trim();
    words
        .starts_with(|c: char| c.is_ascii_digit())
        .then(|| format!("it answers {words}"))
}

pub(super) fn chain(error: &(dyn Error + 'static)) -> Vec<String> {
    let (mut all, mut next) = (Vec::new(), Some(error));
    while let Some(error) = next {
        all.push(error.to_string());
        next = error.source();
    }
    all
}

fn io_kind(error: &(dyn Error + 'static)) -> Option<std::io::ErrorKind> {
    let mut next = Some(error);
    while let Some(error) = next {
        if let Some(io) = error.downcast_ref::<std::io::Error>() {
            return Some(io.kind());
        }
        next = error.source();
    }
    None
}
