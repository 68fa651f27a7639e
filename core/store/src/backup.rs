//! Backup to one file, and restoring it.
//!
//! A backup is a tar archive of two members: the key file and the encrypted store. Without this
//! program, `tar` unpacks it and SQLCipher opens it with the key.
//!
//! # Backup
//! 1. Pages are copied, encrypted, to `<file>.part.db`, from one state of the store, while work
//!    goes on. A crash leaves only files named `.part`, which the next backup replaces.
//! 2. Key file and copy are packed into `<file>.part` and synced. The same.
//! 3. `<file>.part` is renamed to `<file>`. A crash leaves the earlier backup or the new one.
//!
//! # Restore
//! 1. The archive is unpacked to `<store>.restoring` and its key file. A crash leaves only files
//!    named `.restoring`, which the next restore replaces.
//! 2. It is opened and checked, and takes a new device identity. The same.
//! 3. The key file is renamed into place. A crash leaves a key file without a store: restore again.
//! 4. The store is renamed into place. From here on it is there whole.

use crate::check::Report;
use crate::error::{Result, StoreError};
use crate::files::{ProcessLock, beside, remove_if_there, sync_folder};
use crate::key::{self, FileKey, key_path};
use crate::store::{Options, Steps, Store, connect, new_device_id};
use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};
use std::fs::File;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::time::Duration;

const KEY_MEMBER: &str = "store.key";
const STORE_MEMBER: &str = "store";
/// Pages copied between two reports of progress: 1 MiB.
const PAGES: i32 = 256;

/// A backup that has begun: it holds the store as it was then, and can be written by another
/// thread while work goes on.
pub struct BackupJob {
    source: Connection,
    key: FileKey,
    key_file: PathBuf,
}

impl Store {
    /// Begins a backup of the store as it is now.
    pub fn begin_backup(&self) -> Result<BackupJob> {
        // A reading connection sees one state from its first read on, whatever is saved meanwhile.
        let source = self.reader()?;
        source.execute_batch("BEGIN; SELECT count(*) FROM meta;")?;
        Ok(BackupJob {
            source,
            key: self.file_key().clone(),
            key_file: key_path(&self.path),
        })
    }

    /// Writes a backup to `file` and waits for it: see [`BackupJob::write`].
    pub fn backup(
        &mut self,
        file: &Path,
        by: &str,
        progress: &mut dyn FnMut(u64, u64) -> ControlFlow<()>,
    ) -> Result<Option<u64>> {
        let size = self.begin_backup()?.run(file, progress, &mut self.steps)?;
        if size.is_some() {
            self.note(by, "backup written", None)?;
        }
        Ok(size)
    }
}

impl BackupJob {
    /// Writes the backup to `file`, replacing an earlier one there only when the new one is whole.
    /// `progress` hears how many pages of how many are copied, and can stop it: then nothing is
    /// left behind. Returns the size of the file.
    pub fn write(
        self,
        file: &Path,
        progress: &mut dyn FnMut(u64, u64) -> ControlFlow<()>,
    ) -> Result<Option<u64>> {
        self.run(file, progress, &mut Steps::default())
    }

    fn run(
        self,
        file: &Path,
        progress: &mut dyn FnMut(u64, u64) -> ControlFlow<()>,
        steps: &mut Steps,
    ) -> Result<Option<u64>> {
        let (part, copy) = (beside(file, ".part"), beside(file, ".part.db"));
        let clear = || remove_if_there(&copy).and_then(|()| remove_if_there(&part));
        clear()?;
        let done = self.copy_pages(&copy, progress).and_then(|whole| {
            if !whole {
                return Ok(None);
            }
            steps.at("backup", 1);
            let size = pack(&part, &self.key_file, &copy)?;
            steps.at("backup", 2);
            std::fs::rename(&part, file)
                .and_then(|()| sync_folder(file))
                .map_err(StoreError::file(file))?;
            steps.at("backup", 3);
            Ok(Some(size))
        });
        // What is half done must not stay; the failure itself is what the caller must hear of.
        let cleared = clear();
        let size = done?;
        cleared?;
        Ok(size)
    }

    fn copy_pages(
        &self,
        copy: &Path,
        progress: &mut dyn FnMut(u64, u64) -> ControlFlow<()>,
    ) -> Result<bool> {
        let mut target = connect(copy, &self.key, OpenFlags::SQLITE_OPEN_CREATE)?;
        // The copy is one file from the start, and only its packed form need be on the disk.
        target.execute_batch("PRAGMA journal_mode = DELETE; PRAGMA synchronous = OFF;")?;
        {
            let pages = Backup::new(&self.source, &mut target)?;
            loop {
                let step = pages.step(PAGES)?;
                let at = pages.progress();
                let (all, left) = (at.pagecount.max(0) as u64, at.remaining.max(0) as u64);
                if progress(all - left.min(all), all).is_break() {
                    return Ok(false);
                }
                match step {
                    StepResult::Done => break,
                    StepResult::More => {}
                    _ => std::thread::sleep(Duration::from_millis(20)),
                }
            }
        }
        target.execute_batch("PRAGMA journal_mode = DELETE;")?;
        target.close().map_err(|(_, e)| e)?;
        Ok(true)
    }
}

fn pack(part: &Path, key: &Path, copy: &Path) -> Result<u64> {
    let write = || -> std::io::Result<u64> {
        let mut archive = tar::Builder::new(File::create(part)?);
        archive.append_file(KEY_MEMBER, &mut File::open(key)?)?;
        archive.append_file(STORE_MEMBER, &mut File::open(copy)?)?;
        let mut file = archive.into_inner()?;
        file.flush()?;
        file.sync_all()?;
        Ok(file.metadata()?.len())
    };
    write().map_err(StoreError::file(part))
}

/// Restores a backup as the store at `path`, where there must be none. The restored store takes a
/// new device identity. Returns what its check found: a damaged backup is restored as far as it
/// can be read.
pub fn restore(file: &Path, path: &Path, passphrase: &str, options: Options) -> Result<Report> {
    if path.exists() {
        return Err(StoreError::Exists {
            path: path.to_owned(),
        });
    }
    let _lock = ProcessLock::take(path)?;
    let fresh = beside(path, ".restoring");
    let fresh_key = key_path(&fresh);
    let leftovers = ["", "-wal", "-shm", ".key", ".lock"];
    let clear = || {
        leftovers
            .iter()
            .try_for_each(|s| remove_if_there(&beside(&fresh, s)))
    };
    clear()?;
    let mut steps = Steps::default();
    let done: Result<Report> = (|| {
        unpack(file, &fresh, &fresh_key)?;
        let mut options = options;
        steps = options.take_steps();
        steps.at("restore", 1);
        let opened = Store::open(&fresh, passphrase, options);
        let mut store = opened.map_err(|error| match error {
            StoreError::Damaged { what } => StoreError::NotABackup {
                path: file.to_owned(),
                why: what,
            },
            other => other,
        })?;
        let report = store.check()?;
        new_device_id(&store.conn)?;
        // Whatever the backup had not sent is sent by the store it was made of, or is lost with it.
        store
            .conn
            .execute_batch("PRAGMA wal_checkpoint(TRUNCATE);")?;
        store.lock()?;
        steps.at("restore", 2);
        let moved = |from: &Path, to: &Path| {
            let synced = File::open(from).and_then(|f| f.sync_all());
            synced
                .and_then(|()| std::fs::rename(from, to))
                .and_then(|()| sync_folder(to))
                .map_err(StoreError::file(to))
        };
        moved(&fresh_key, &key_path(path))?;
        steps.at("restore", 3);
        moved(&fresh, path)?;
        steps.at("restore", 4);
        Ok(report)
    })();
    let cleared = clear();
    let report = done?;
    cleared?;
    Ok(report)
}

fn unpack(file: &Path, fresh: &Path, fresh_key: &Path) -> Result<()> {
    let not_ours = |why: &str| StoreError::NotABackup {
        path: file.to_owned(),
        why: why.to_owned(),
    };
    let source = File::open(file).map_err(StoreError::file(file))?;
    let mut archive = tar::Archive::new(source);
    let mut members = archive.entries().map_err(|e| not_ours(&e.to_string()))?;
    for (member, target) in [(KEY_MEMBER, fresh_key), (STORE_MEMBER, fresh)] {
        let mut entry = match members.next() {
            Some(Ok(entry)) => entry,
            Some(Err(e)) => return Err(not_ours(&e.to_string())),
            None => return Err(not_ours("it ends early")),
        };
        if entry.path().map_err(|e| not_ours(&e.to_string()))?.as_ref() != Path::new(member) {
            return Err(not_ours("it holds something else"));
        }
        let size = entry.size();
        let mut out = File::create(target).map_err(StoreError::file(target))?;
        let copied = std::io::copy(&mut entry, &mut out).map_err(StoreError::file(target))?;
        if copied != size {
            return Err(not_ours("it ends early"));
        }
        out.sync_all().map_err(StoreError::file(target))?;
    }
    Ok(())
}

/// Opens only the key file of a store: whether a passphrase is right, without opening the store.
pub fn passphrase_fits(path: &Path, passphrase: &str) -> Result<()> {
    key::open(&key_path(path), passphrase).map(|_| ())
}
