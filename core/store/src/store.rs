//! Opening, locking and closing a store.

use crate::chunks::Cached;
use crate::document::{Document, Stamp};
use crate::error::{Result, StoreError};
use crate::files::{ProcessLock, hex, keep_aside};
use crate::key::{self, FileKey, Kdf};
use crate::schema;
use crate::search::Vocabulary;
use automerge::ActorId;
use rusqlite::{Connection, OpenFlags, OptionalExtension, params};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// Where the store reads the time.
pub trait Clock: Send {
    /// Milliseconds since 1970.
    fn now_ms(&self) -> i64;
}

/// The device's clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    fn now_ms(&self) -> i64 {
        chrono::Utc::now().timestamp_millis()
    }
}

/// Called at each numbered step of save, backup, restore, migration and erasure.
type Watcher = Box<dyn FnMut(&'static str, u8) + Send>;

/// Tells whoever watches which numbered step has been reached.
#[derive(Default)]
pub(crate) struct Steps(Option<Watcher>);

impl Steps {
    pub(crate) fn at(&mut self, work: &'static str, step: u8) {
        if let Some(watcher) = &mut self.0 {
            watcher(work, step);
        }
    }
}

/// How to open a store.
pub struct Options {
    device: String,
    kdf: Option<Kdf>,
    clock: Box<dyn Clock>,
    steps: Steps,
}

impl Options {
    /// Options for a device as people call it, with its own clock.
    #[must_use]
    pub fn new(device: impl Into<String>) -> Self {
        Self {
            device: device.into(),
            kdf: None,
            clock: Box::new(SystemClock),
            steps: Steps::default(),
        }
    }

    /// Another clock.
    #[must_use]
    pub fn clock(mut self, clock: impl Clock + 'static) -> Self {
        self.clock = Box::new(clock);
        self
    }

    /// A fixed cost of guessing the passphrase, instead of half a second on this device.
    #[must_use]
    pub fn kdf(mut self, kdf: Kdf) -> Self {
        self.kdf = Some(kdf);
        self
    }

    /// Something to be told of every numbered step of save, backup, restore, migration, erasure.
    #[must_use]
    pub fn watch(mut self, watcher: impl FnMut(&'static str, u8) + Send + 'static) -> Self {
        self.steps = Steps(Some(Box::new(watcher)));
        self
    }

    pub(crate) fn cost(&self) -> Kdf {
        self.kdf
            .unwrap_or_else(|| Kdf::calibrated(Duration::from_millis(500)))
    }

    pub(crate) fn take_steps(&mut self) -> Steps {
        std::mem::take(&mut self.steps)
    }
}

/// One line of the store's own log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogLine {
    /// When, milliseconds since 1970 by the device's clock.
    pub at_ms: i64,
    /// Who.
    pub by: String,
    /// On which device.
    pub device: String,
    /// What was done.
    pub what: String,
    /// The record concerned.
    pub record: Option<String>,
}

/// An open store. One process at a time; dropping it closes and locks it.
pub struct Store {
    pub(crate) conn: Connection,
    pub(crate) path: PathBuf,
    pub(crate) clock: Box<dyn Clock>,
    pub(crate) steps: Steps,
    pub(crate) device: String,
    pub(crate) device_id: String,
    /// Whoever edits here, for automerge: new at every opening, so that no copy of the file can
    /// ever make two different changes with one number.
    pub(crate) actor: ActorId,
    /// Counts the openings; drafts carry it.
    pub(crate) session: i64,
    /// Newest stamp of the case list: later entries sort later whatever the clock says.
    pub(crate) touched: i64,
    pub(crate) cache: Vec<Cached>,
    pub(crate) vocabulary: Option<Vocabulary>,
    key: FileKey,
    _lock: ProcessLock,
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Store")
            .field("path", &self.path)
            .finish_non_exhaustive()
    }
}

impl Store {
    /// Makes a new store at `path` and its key file beside it. Key file first: a crash in between
    /// leaves a key to nothing, which the next try replaces.
    pub fn create(path: impl AsRef<Path>, passphrase: &str, options: Options) -> Result<Self> {
        let path = path.as_ref();
        if path.exists() {
            return Err(StoreError::Exists {
                path: path.to_owned(),
            });
        }
        let lock = ProcessLock::take(path)?;
        // A key without its store may open one that was moved away: it is kept.
        keep_aside(&key::key_path(path))?;
        let key = key::create(&key::key_path(path), passphrase, options.cost())?;
        Self::start(path, key, lock, options, OpenFlags::SQLITE_OPEN_CREATE)
    }

    /// Opens a store. A wrong passphrase changes nothing.
    pub fn open(path: impl AsRef<Path>, passphrase: &str, options: Options) -> Result<Self> {
        let path = path.as_ref();
        if !path.exists() {
            return Err(StoreError::Missing {
                path: path.to_owned(),
            });
        }
        let key = key::open(&key::key_path(path), passphrase)?;
        let lock = ProcessLock::take(path)?;
        Self::start(path, key, lock, options, OpenFlags::empty())
    }

    fn start(
        path: &Path,
        key: FileKey,
        lock: ProcessLock,
        options: Options,
        flags: OpenFlags,
    ) -> Result<Self> {
        let mut conn = connect(path, &key, flags)?;
        let Options {
            device,
            clock,
            mut steps,
            ..
        } = options;
        schema::migrate(&mut conn, &mut steps)?;
        let device_id = match conn
            .query_row("SELECT value FROM meta WHERE name = 'device_id'", [], |r| {
                r.get(0)
            })
            .optional()?
        {
            Some(id) => id,
            None => new_device_id(&conn)?,
        };
        let session = conn.query_row(
            "INSERT INTO meta VALUES('session', 1) ON CONFLICT(name) DO UPDATE SET value = value + 1 RETURNING value",
            [],
            |row| row.get(0),
        )?;
        let touched = conn.query_row(
            "SELECT coalesce(max(touched), 0) FROM case_list",
            [],
            |row| row.get(0),
        )?;
        let actor = ActorId::from(&key::random::<16>()?[..]);
        let mut store = Self {
            conn,
            path: path.to_owned(),
            clock,
            steps,
            device,
            device_id,
            actor,
            session,
            touched,
            cache: Vec::new(),
            vocabulary: None,
            key,
            _lock: lock,
        };
        store.finish_erasures()?;
        let stale = "SELECT EXISTS(SELECT 1 FROM meta WHERE name = 'lists_stale')";
        if store.conn.query_row(stale, [], |row| row.get(0))? {
            store.rebuild()?;
        }
        Ok(store)
    }

    /// Changes the passphrase: the key file is replaced, the store itself is not touched.
    pub fn change_passphrase(
        &mut self,
        old: &str,
        new: &str,
        cost: Option<Kdf>,
        by: &str,
    ) -> Result<()> {
        let path = key::key_path(&self.path);
        key::open(&path, old)?;
        let cost = cost.unwrap_or_else(|| Kdf::calibrated(Duration::from_millis(500)));
        key::seal(&path, &self.key, new, cost)?;
        self.note(by, "passphrase changed", None)
    }

    /// Closes the store and wipes its key from memory. What is to be seen again needs the
    /// passphrase again.
    pub fn lock(self) -> Result<()> {
        let Self { conn, .. } = self;
        conn.close().map_err(|(_, error)| error.into())
    }

    /// Format of the file: the number of the version that made its tables.
    pub fn format(&self) -> Result<i64> {
        schema::version(&self.conn)
    }

    /// Where the store lies.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Identity of this copy of the store among those it is synchronised with; a restored backup
    /// gets another.
    #[must_use]
    pub fn device_id(&self) -> &str {
        &self.device_id
    }

    /// The key in SQLCipher's raw key syntax, for opening the file with other software.
    #[must_use]
    pub fn raw_key(&self) -> zeroize::Zeroizing<String> {
        self.key.hex()
    }

    /// Does something that reads, again where a damaged page was met before: the engine answers
    /// nothing more on a connection that has seen one, so each time it gets a new connection.
    pub(crate) fn healing<T>(&mut self, mut read: impl FnMut(&mut Self) -> Result<T>) -> Result<T> {
        let mut result = read(self);
        for attempt in 0..2 {
            if !matches!(result, Err(StoreError::Damaged { .. })) || !self.conn.is_autocommit() {
                break;
            }
            self.conn = connect(&self.path, &self.key, OpenFlags::empty())?;
            if attempt == 0 {
                result = read(self);
            }
        }
        result
    }

    /// A second, reading connection to the same file.
    pub(crate) fn reader(&self) -> Result<Connection> {
        connect(&self.path, &self.key, OpenFlags::empty())
    }

    pub(crate) fn file_key(&self) -> &FileKey {
        &self.key
    }

    pub(crate) fn stamp(&self, by: &str, why: &str) -> Stamp {
        Stamp {
            by: by.into(),
            device: self.device.clone(),
            at_ms: self.clock.now_ms(),
            why: why.into(),
        }
    }

    pub(crate) fn empty_document(&self) -> Document {
        Document::new(self.actor.clone())
    }

    /// The store's own log, newest first: when (milliseconds since 1970), who, on which device,
    /// what, and which record.
    pub fn log(&self, limit: usize) -> Result<Vec<LogLine>> {
        let sql = "SELECT at_ms, by, device, what, record FROM audit ORDER BY k DESC LIMIT ?";
        let mut statement = self.conn.prepare_cached(sql)?;
        let rows = statement.query_map([limit as i64], |row| {
            Ok(LogLine {
                at_ms: row.get(0)?,
                by: row.get(1)?,
                device: row.get(2)?,
                what: row.get(3)?,
                record: row.get(4)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Writes into the store's own log: what was done with records, never what they hold.
    pub(crate) fn note(&self, by: &str, what: &str, record: Option<&str>) -> Result<()> {
        let mut statement = self.conn.prepare_cached(
            "INSERT INTO audit(at_ms, by, device, what, record) VALUES(?,?,?,?,?)",
        )?;
        statement.execute(params![self.clock.now_ms(), by, self.device, what, record])?;
        Ok(())
    }
}

static KEYING: Mutex<()> = Mutex::new(());

/// Opens the file with its key and the settings everything here relies on.
pub(crate) fn connect(path: &Path, key: &FileKey, flags: OpenFlags) -> Result<Connection> {
    let flags = flags | OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let conn = {
        // The engine sets up its cipher with the first key it is given; two first keys at one
        // instant, on two threads, can fail.
        let _one_at_a_time = KEYING.lock().unwrap_or_else(PoisonError::into_inner);
        let conn = Connection::open_with_flags(path, flags)?;
        conn.execute_batch(&key.pragma())?;
        conn
    };
    // Errors are returned; the engine need not print them as well.
    conn.execute_batch("PRAGMA cipher_log_level = NONE;")?;
    conn.busy_timeout(Duration::from_secs(5))?;
    conn.set_prepared_statement_cache_capacity(64);
    // WAL with FULL: a commit returns once it is on the disk. 16 MiB of cache.
    conn.execute_batch(
        "PRAGMA foreign_keys = OFF; PRAGMA temp_store = MEMORY; PRAGMA cache_size = -16384;
         PRAGMA trusted_schema = OFF; PRAGMA secure_delete = FAST;",
    )?;
    // The first read of the file: a key that does not fit shows here.
    let mode: String = conn.query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))?;
    if mode != "wal" {
        return Err(StoreError::Disk {
            what: "this disk cannot keep a write-ahead log".into(),
        });
    }
    conn.execute_batch("PRAGMA synchronous = FULL;")?;
    Ok(conn)
}

/// Gives the store a new identity.
pub(crate) fn new_device_id(conn: &Connection) -> Result<String> {
    let id = hex(&key::random::<16>()?);
    conn.execute("INSERT OR REPLACE INTO meta VALUES('device_id', ?)", [&id])?;
    Ok(id)
}
