//! Files: hexadecimal, replacing one safely, one process at a time.

use crate::error::{Result, StoreError};
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Lower-case hexadecimal.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// Bytes of hexadecimal text; none if it is something else.
#[must_use]
pub fn unhex(text: &str) -> Option<Vec<u8>> {
    if !text.len().is_multiple_of(2) || !text.is_ascii() {
        return None;
    }
    (0..text.len())
        .step_by(2)
        .map(|i| u8::from_str_radix(&text[i..i + 2], 16).ok())
        .collect()
}

/// The path with something appended to its name.
pub(crate) fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    name.into()
}

/// Puts `bytes` at `path`: written beside it, synced, renamed over it. A crash leaves what was
/// there or what is new, never a mixture.
pub(crate) fn replace_file(path: &Path, bytes: &[u8]) -> Result<()> {
    let new = beside(path, ".new");
    let write = || -> std::io::Result<()> {
        let mut file = File::create(&new)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        drop(file);
        std::fs::rename(&new, path)?;
        sync_folder(path)
    };
    write().map_err(StoreError::file(path))
}

/// Makes a rename or removal in the folder of `path` durable, where the system can.
pub(crate) fn sync_folder(path: &Path) -> std::io::Result<()> {
    if cfg!(unix) {
        let folder = path
            .parent()
            .filter(|p| !p.as_os_str().is_empty())
            .unwrap_or(Path::new("."));
        File::open(folder)?.sync_all()?;
    }
    Ok(())
}

/// Length of the engine's write-ahead log when it is copied into the file and begun again: a
/// thousand pages, the engine's own measure.
const LOG_BYTES: u64 = 32 + 1000 * (24 + 4096);

/// Makes the log of the store at `path` as long as it becomes, ahead of what is written into it: a
/// file that grows with each entry takes the disk nearly twice as long to sync. The engine knows its
/// frames by a random salt, so that zeros behind them are none. The caller holds its lock for
/// writing. Where there is no room the log stays as it is.
pub(crate) fn lengthen_log(path: &Path) {
    let lengthen = || -> std::io::Result<()> {
        let mut log = OpenOptions::new().write(true).open(beside(path, "-wal"))?;
        let end = log.seek(SeekFrom::End(0))?;
        let missing = LOG_BYTES.saturating_sub(end);
        log.write_all(&vec![0; missing as usize])
            .or_else(|_| log.set_len(end))
    };
    // An entry is as safe in a log that grows.
    let _ = lengthen();
}

/// Removes a file if it is there.
pub(crate) fn remove_if_there(path: &Path) -> Result<()> {
    match std::fs::remove_file(path) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(StoreError::file(path)(e)),
        _ => Ok(()),
    }
}

/// Removes a whole store with everything in it, for stores made only to be thrown away. One that
/// is open elsewhere is refused.
pub fn remove_store(path: &Path) -> Result<()> {
    let lock = ProcessLock::take(path)?;
    for suffix in ["-wal", "-shm", ""] {
        remove_if_there(&beside(path, suffix))?;
    }
    remove_if_there(&crate::key::key_path(path))?;
    drop(lock);
    remove_if_there(&beside(path, ".lock"))
}

/// Renames a file, if it is there, to a name of its own.
pub(crate) fn keep_aside(path: &Path) -> Result<()> {
    if !path.exists() {
        return Ok(());
    }
    let free = (1..)
        .map(|n| beside(path, &format!(".kept{n}")))
        .find(|kept| !kept.exists());
    free.map_or(Ok(()), |kept| {
        std::fs::rename(path, kept).map_err(StoreError::file(path))
    })
}

/// Held while a store is open; the system lets go of it when the process ends, however it ends.
#[derive(Debug)]
pub(crate) struct ProcessLock {
    _file: File,
}

impl ProcessLock {
    /// Takes the lock of the store at `path`, or says who holds it.
    pub(crate) fn take(path: &Path) -> Result<Self> {
        let path = beside(path, ".lock");
        let failed = |e| StoreError::file(&path)(e);
        let open = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path);
        let mut file = open.map_err(failed)?;
        // A process that this one is just starting holds a copy of every open file for an instant.
        let mut locked = file.try_lock();
        for _ in 0..10 {
            if !matches!(locked, Err(TryLockError::WouldBlock)) {
                break;
            }
            std::thread::sleep(Duration::from_millis(30));
            locked = file.try_lock();
        }
        match locked {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut process = String::new();
                // Only for the message.
                let _ = file.take(20).read_to_string(&mut process);
                return Err(StoreError::InUse {
                    process: process.trim().to_owned(),
                });
            }
            Err(TryLockError::Error(e)) => return Err(failed(e)),
        }
        let write = |file: &mut File| -> std::io::Result<()> {
            file.set_len(0)?;
            file.seek(SeekFrom::Start(0))?;
            writeln!(file, "{}", std::process::id())
        };
        // The number is for a message only: a full disk must not keep anybody from reading.
        let _ = write(&mut file);
        Ok(Self { _file: file })
    }
}
