//! Where the queue keeps its jobs.

use std::fs::{self, File};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

/// A place that keeps bytes by name. Names are letters, digits, hyphens and full stops. When
/// `write` returns, the bytes are on the disk, whole; a crash before leaves what was there.
///
/// Papers can name a patient: a clinic's queue belongs into its encrypted store.
pub trait Shelf {
    /// Every name, in any order.
    fn names(&self) -> Result<Vec<String>, ShelfError>;
    /// The bytes of a name.
    fn read(&self, name: &str) -> Result<Option<Vec<u8>>, ShelfError>;
    /// Keeps bytes under a name, in place of what was there.
    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ShelfError>;
    /// Forgets a name; one that is not there is no error.
    fn remove(&mut self, name: &str) -> Result<(), ShelfError>;
}

/// The shelf could not be read or written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "the print queue could not be read or written ({0}); nothing was sent to a printer because of it"
)]
pub struct ShelfError(pub String);

/// A shelf in a folder, for papers that are files already.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    _lock: File,
}

/// Ending of what is being written.
const PART: &str = ".part";
const LOCK: &str = "lock";

impl Folder {
    /// Opens or makes the folder, for one program at a time.
    ///
    /// # Errors
    /// [`ShelfError`] if the folder cannot be used or another program has it.
    pub fn open(path: &Path) -> Result<Self, ShelfError> {
        fs::create_dir_all(path).map_err(failed)?;
        let lock = File::create(path.join(LOCK)).map_err(failed)?;
        lock.try_lock()
            .map_err(|_| ShelfError(format!("{} is in use by another program", path.display())))?;
        Ok(Self {
            path: path.to_owned(),
            _lock: lock,
        })
    }

    fn sync(&self) -> Result<(), ShelfError> {
        // A folder can be synced on Unix; elsewhere a rename is as durable as it gets.
        #[cfg(unix)]
        File::open(&self.path)
            .and_then(|f| f.sync_all())
            .map_err(failed)?;
        Ok(())
    }
}

impl Shelf for Folder {
    fn names(&self) -> Result<Vec<String>, ShelfError> {
        let mut names = Vec::new();
        for entry in fs::read_dir(&self.path).map_err(failed)? {
            let name = entry.map_err(failed)?.file_name();
            if let Some(name) = name.to_str().filter(|n| !n.ends_with(PART) && *n != LOCK) {
                names.push(name.to_owned());
            }
        }
        Ok(names)
    }

    fn read(&self, name: &str) -> Result<Option<Vec<u8>>, ShelfError> {
        match fs::read(self.path.join(name)) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(e) if e.kind() == ErrorKind::NotFound => Ok(None),
            Err(e) => Err(failed(e)),
        }
    }

    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ShelfError> {
        let part = self.path.join(format!("{name}{PART}"));
        let mut file = File::create(&part).map_err(failed)?;
        file.write_all(bytes)
            .and_then(|()| file.sync_all())
            .map_err(failed)?;
        fs::rename(&part, self.path.join(name)).map_err(failed)?;
        self.sync()
    }

    fn remove(&mut self, name: &str) -> Result<(), ShelfError> {
        match fs::remove_file(self.path.join(name)) {
            Err(e) if e.kind() != ErrorKind::NotFound => Err(failed(e)),
            _ => self.sync(),
        }
    }
}

fn failed(error: std::io::Error) -> ShelfError {
    ShelfError(error.to_string())
}
