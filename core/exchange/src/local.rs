//! What synchronising needs of the store on this device, and nothing more: the simulator has it
//! too, so that both run the same protocol.

use crate::error::Result;
use plinthside_store::{ChangeHash, Changed, Filter, Incoming, Store, StoreError};
use plinthside_visit::When;
use std::borrow::BorrowMut;
use std::io::Cursor;
use std::sync::{Mutex, PoisonError};

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

/// The store on this device. What a call wrote is on the disk when it returns.
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
    /// If the store cannot be read: `Damaged`, `Document` or `Shape` if only this record cannot.
    fn whole(&self, id: &str) -> Result<Option<Whole>>;
    /// Takes records in. Taking one in again changes nothing.
    ///
    /// # Errors
    /// If the store cannot be written: some may have been taken in.
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
    /// When a record's visit was, milliseconds since 1970; nothing if the record is not here or says
    /// nothing of it.
    ///
    /// # Errors
    /// If the store cannot be read.
    fn visited_ms(&self, id: &str) -> Result<Option<i64>>;
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

/// Somebody who holds the store and does with it what is asked, one thing after another. Each thing
/// is short, so that whoever else needs the store waits a moment only.
pub trait Holder {
    /// Does something with the store and hands back what came of it.
    ///
    /// # Errors
    /// The store is not held any more.
    fn with<T: Send + 'static>(
        &self,
        act: impl FnOnce(&mut Store) -> T + Send + 'static,
    ) -> Result<T>;
}

/// The store itself, or one that is lent.
impl<S: BorrowMut<Store>> Holder for Mutex<S> {
    fn with<T: Send + 'static>(
        &self,
        act: impl FnOnce(&mut Store) -> T + Send + 'static,
    ) -> Result<T> {
        let mut store = self.lock().unwrap_or_else(PoisonError::into_inner);
        Ok(act((*store).borrow_mut()))
    }
}

/// Records taken in at once: some tens of milliseconds, between which others get at the store.
const AT_ONCE: usize = 16;

/// The store is held for each call only, never while a target is waited for: entries made
/// meanwhile are saved at once.
impl<H: Holder> Local for H {
    fn copy_id(&self) -> Result<String> {
        self.with(|store| store.device_id().to_owned())
    }

    fn mark(&self, name: &str) -> Result<Option<Vec<u8>>> {
        let name = name.to_owned();
        Ok(self.with(move |store| store.local(&name))??)
    }

    fn marks(&self, prefix: &str, limit: usize) -> Result<Vec<(String, Vec<u8>)>> {
        let prefix = prefix.to_owned();
        Ok(self.with(move |store| store.locals(&prefix, limit))??)
    }

    fn set_marks(&self, marks: &[(String, Option<Vec<u8>>)]) -> Result<()> {
        let marks = marks.to_vec();
        Ok(self.with(move |store| store.set_locals(&marks))??)
    }

    fn changed_since(&self, seq: i64, limit: usize) -> Result<Vec<Changed>> {
        Ok(self.with(move |store| store.changed_since(seq, limit))??)
    }

    fn whole(&self, id: &str) -> Result<Option<Whole>> {
        let id = id.to_owned();
        match self.with(move |store| healed(store, |store| store.whole(&id)))? {
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
        let mut all = Vec::with_capacity(records.len());
        for some in records.chunks(AT_ONCE) {
            let some = some.to_vec();
            let taken = self.with(move |store| receive(store, &some))??;
            all.extend(taken.into_iter().map(|one| match one {
                Ok((new, heads)) => Taken::In {
                    new,
                    heads: heads.iter().flat_map(|hash| hash.0).collect(),
                },
                Err(StoreError::Erased { .. }) => Taken::Erased,
                Err(error) => Taken::Refused(error.to_string()),
            }));
        }
        Ok(all)
    }

    fn erase(&self, id: &str, by: &str) -> Result<()> {
        let (id, by) = (id.to_owned(), by.to_owned());
        Ok(self.with(move |store| store.apply_erasure(&id, &by))??)
    }

    fn photos_of(&self, id: &str) -> Result<Vec<String>> {
        let id = id.to_owned();
        Ok(self.with(move |store| store.photos_named_by(&id))??)
    }

    fn visited_ms(&self, id: &str) -> Result<Option<i64>> {
        let id = id.to_owned();
        match self.with(move |store| store.read(&id))? {
            Ok(value) => {
                let at = value["at"].as_str().unwrap_or_default();
                Ok(at.parse().ok().map(|at: When| at.timestamp_millis()))
            }
            // Only an order depends on it.
            Err(
                StoreError::Erased { .. }
                | StoreError::NoRecord { .. }
                | StoreError::Damaged { .. }
                | StoreError::Document(_),
            ) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    fn has_photo(&self, sha256: &str) -> Result<bool> {
        let sha256 = sha256.to_owned();
        Ok(self.with(move |store| store.has_photo(&sha256))??)
    }

    fn photo(&self, sha256: &str) -> Result<Vec<u8>> {
        let sha256 = sha256.to_owned();
        Ok(self.with(move |store| {
            healed(store, |store| {
                let mut bytes = Vec::new();
                match store.export_photo(&sha256, &mut bytes) {
                    Ok(_) => Ok(bytes),
                    // Writing into memory does not fail: reading did.
                    Err(StoreError::Disk { what }) => Err(StoreError::Damaged { what }),
                    Err(error) => Err(error),
                }
            })
        })??)
    }

    fn add_photo(&self, bytes: &[u8]) -> Result<()> {
        let bytes = bytes.to_vec();
        self.with(move |store| store.add_photo(&mut Cursor::new(bytes)))??;
        Ok(())
    }
}

/// Does something with the store. The engine answers nothing more on a connection that has met a
/// damaged page; asking for the case list makes a new one.
fn healed<T>(
    store: &mut Store,
    act: impl FnOnce(&mut Store) -> Result<T, StoreError>,
) -> Result<T, StoreError> {
    let done = act(store);
    if matches!(done, Err(StoreError::Damaged { .. })) {
        let _ = store.cases(&Filter::All, 0, 1);
    }
    done
}

/// Takes records in together; one by one where what is here of one of them is damaged.
#[allow(clippy::type_complexity)] // as the store has it
fn receive(
    store: &mut Store,
    records: &[Incoming],
) -> Result<Vec<Result<(bool, Vec<ChangeHash>), StoreError>>, StoreError> {
    match healed(store, |store| store.receive_all(records)) {
        Err(StoreError::Damaged { .. }) => {}
        other => return other,
    }
    let one_by_one = records.iter().map(|record| {
        let alone = std::slice::from_ref(record);
        match healed(store, |store| store.receive_all(alone)) {
            Ok(mut taken) => Ok(taken.pop()),
            Err(damaged @ StoreError::Damaged { .. }) => Ok(Some(Err(damaged))),
            Err(error) => Err(error),
        }
    });
    let taken: Result<Vec<Option<_>>, _> = one_by_one.collect();
    Ok(taken?.into_iter().flatten().collect())
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
