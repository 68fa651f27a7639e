//! What synchronising needs of the store on this device, and nothing more: the simulator has it
//! too, so that both run the same protocol.

use crate::error::Result;
use plinthside_store::{Changed, Incoming, Store, StoreError};
use std::io::Cursor;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// A record with all its changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Whole {
    /// Its kind.
    pub kind: String,
    /// Its newest changes, in an order of their own.
    pub heads: Vec<u8>,
    /// All its changes.
    pub bytes: Vec<u8>,
}

/// What became of a record that was taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Taken {
    /// It is part of the store; its newest changes now.
    In {
        /// Something was new.
        new: bool,
        /// The newest changes of the record as it is here now.
        heads: Vec<u8>,
    },
    /// It was erased here: nothing comes back.
    Erased,
    /// It cannot be read, and why.
    Refused(String),
}

/// The store on this device. Every call is whole or not at all, and on the disk when it returns.
pub trait Local {
    /// Identity of this copy of the store: a restored backup has another.
    ///
    /// # Errors
    /// If the store cannot be read.
    fn copy_id(&self) -> Result<String>;
    /// A value kept on this device only.
    ///
    /// # Errors
    /// If the store cannot be read.
    fn mark(&self, name: &str) -> Result<Option<Vec<u8>>>;
    /// Values whose names begin so, by name.
    ///
    /// # Errors
    /// If the store cannot be read.
    fn marks(&self, prefix: &str, limit: usize) -> Result<Vec<(String, Vec<u8>)>>;
    /// Sets or removes values, all of them or none.
    ///
    /// # Errors
    /// If the store cannot be written.
    fn set_marks(&self, marks: &[(String, Option<Vec<u8>>)]) -> Result<()>;
    /// Records changed or erased after a point, oldest first.
    ///
    /// # Errors
    /// If the store cannot be read.
    fn changed_since(&self, seq: i64, limit: usize) -> Result<Vec<Changed>>;
    /// A record as it is published; nothing if it is erased or not there.
    ///
    /// # Errors
    /// If the store cannot be read.
    fn whole(&self, id: &str) -> Result<Option<Whole>>;
    /// Takes records in.
    ///
    /// # Errors
    /// If the store cannot be written: then none was taken in.
    fn receive(&self, records: &[Incoming]) -> Result<Vec<Taken>>;
    /// Takes an erasure in.
    ///
    /// # Errors
    /// If the store cannot be written.
    fn erase(&self, id: &str, by: &str) -> Result<()>;
    /// Photographs that a published record names.
    ///
    /// # Errors
    /// If the store cannot be read.
    fn photos_of(&self, id: &str) -> Result<Vec<String>>;
    /// Whether a photograph is here.
    ///
    /// # Errors
    /// If the store cannot be read.
    fn has_photo(&self, sha256: &str) -> Result<bool>;
    /// A photograph's bytes.
    ///
    /// # Errors
    /// If it is not here or cannot be read.
    fn photo(&self, sha256: &str) -> Result<Vec<u8>>;
    /// Stores a photograph.
    ///
    /// # Errors
    /// If the store cannot be written.
    fn add_photo(&self, bytes: &[u8]) -> Result<()>;
}

fn lock(store: &Mutex<Store>) -> MutexGuard<'_, Store> {
    store.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The store is held for each call only, never while a target is waited for: entries made
/// meanwhile are saved at once.
impl Local for Mutex<Store> {
    fn copy_id(&self) -> Result<String> {
        Ok(lock(self).device_id().to_owned())
    }

    fn mark(&self, name: &str) -> Result<Option<Vec<u8>>> {
        Ok(lock(self).local(name)?)
    }

    fn marks(&self, prefix: &str, limit: usize) -> Result<Vec<(String, Vec<u8>)>> {
        Ok(lock(self).locals(prefix, limit)?)
    }

    fn set_marks(&self, marks: &[(String, Option<Vec<u8>>)]) -> Result<()> {
        Ok(lock(self).set_locals(marks)?)
    }

    fn changed_since(&self, seq: i64, limit: usize) -> Result<Vec<Changed>> {
        Ok(lock(self).changed_since(seq, limit)?)
    }

    fn whole(&self, id: &str) -> Result<Option<Whole>> {
        match lock(self).whole(id) {
            Ok(record) => Ok(record.map(|record| Whole {
                kind: record.kind,
                heads: record.heads.iter().flat_map(|hash| hash.0).collect(),
                bytes: record.changes,
            })),
            Err(StoreError::Erased { .. } | StoreError::NoRecord { .. }) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    fn receive(&self, records: &[Incoming]) -> Result<Vec<Taken>> {
        let taken = lock(self).receive_all(records)?;
        let taken = taken.into_iter().map(|one| match one {
            Ok((new, heads)) => Taken::In {
                new,
                heads: heads.iter().flat_map(|hash| hash.0).collect(),
            },
            Err(StoreError::Erased { .. }) => Taken::Erased,
            Err(error) => Taken::Refused(error.to_string()),
        });
        Ok(taken.collect())
    }

    fn erase(&self, id: &str, by: &str) -> Result<()> {
        Ok(lock(self).apply_erasure(id, by)?)
    }

    fn photos_of(&self, id: &str) -> Result<Vec<String>> {
        Ok(lock(self).photos_named_by(id)?)
    }

    fn has_photo(&self, sha256: &str) -> Result<bool> {
        Ok(lock(self).has_photo(sha256)?)
    }

    fn photo(&self, sha256: &str) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        lock(self).export_photo(sha256, &mut bytes)?;
        Ok(bytes)
    }

    fn add_photo(&self, bytes: &[u8]) -> Result<()> {
        lock(self).add_photo(&mut Cursor::new(bytes))?;
        Ok(())
    }
}

/// Reads a mark that is JSON.
pub(crate) fn read_mark<T: serde::de::DeserializeOwned>(
    local: &(impl Local + ?Sized),
    name: &str,
) -> Result<Option<T>> {
    let Some(bytes) = local.mark(name)? else {
        return Ok(None);
    };
    let value = serde_json::from_slice(&bytes).map_err(|e| crate::ExchangeError::State {
        what: name.to_owned(),
        why: e.to_string(),
    })?;
    Ok(Some(value))
}

/// A mark with a value as JSON.
pub(crate) fn json_mark<T: serde::Serialize>(
    name: impl Into<String>,
    value: &T,
) -> (String, Option<Vec<u8>>) {
    (
        name.into(),
        Some(serde_json::to_vec(value).unwrap_or_default()),
    )
}
