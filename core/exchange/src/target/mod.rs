//! Where a practice's files lie: a folder, a WebDAV address, an S3-compatible bucket, or memory.
//!
//! Four verbs, because four are all that every kind of target keeps: no lock, no compare-and-swap,
//! no rename. Names are relative, with `/` between folders.

mod error;
mod memory;
mod remote;
mod spec;

pub use error::TargetError;
pub use memory::Memory;
pub use remote::{answers, connect};
pub use spec::{Credentials, TargetSpec};

/// Result of what a target does.
pub type Result<T, E = TargetError> = std::result::Result<T, E>;

/// A place that keeps files.
pub trait Target: Send + Sync {
    /// Names of the files directly in a folder, without it, sorted; none if there is no such folder.
    ///
    /// # Errors
    /// As [`TargetError`] says.
    fn list(&self, folder: &str) -> Result<Vec<String>>;

    /// A whole file.
    ///
    /// # Errors
    /// [`TargetError::NotFound`] if it is not there, else as [`TargetError`] says.
    fn get(&self, name: &str) -> Result<Vec<u8>>;

    /// Writes a whole file, replacing one of that name.
    ///
    /// # Errors
    /// As [`TargetError`] says; the file may then be there, in part, or not.
    fn put(&self, name: &str, bytes: &[u8]) -> Result<()>;

    /// Removes a file; one that is not there is removed already.
    ///
    /// # Errors
    /// As [`TargetError`] says.
    fn delete(&self, name: &str) -> Result<()>;

    /// The target as people know it, for messages: never with a password.
    fn describe(&self) -> String;

    /// How many large files it is best given at once.
    fn at_once(&self) -> usize {
        1
    }
}

impl<T: Target + ?Sized> Target for Box<T> {
    fn list(&self, folder: &str) -> Result<Vec<String>> {
        (**self).list(folder)
    }
    fn get(&self, name: &str) -> Result<Vec<u8>> {
        (**self).get(name)
    }
    fn put(&self, name: &str, bytes: &[u8]) -> Result<()> {
        (**self).put(name, bytes)
    }
    fn delete(&self, name: &str) -> Result<()> {
        (**self).delete(name)
    }
    fn describe(&self) -> String {
        (**self).describe()
    }
    fn at_once(&self) -> usize {
        (**self).at_once()
    }
}
