//! The print queue's place in the clinic's encrypted store, whoever holds that: this thread, or
//! another one that lends it ([`crate::lent`]).

use plinthside_exchange::Holder;
use plinthside_print::{Shelf, ShelfError};
use plinthside_store::{Store, StoreError};

/// What every name begins with among the values the store keeps for this device alone.
const PREFIX: &str = "print/";

/// A shelf in the store; it is held only for the moment of one read or write.
#[derive(Debug)]
pub struct StoreShelf<H>(pub H);

impl<H: Holder> StoreShelf<H> {
    fn with<T: Send + 'static>(
        &self,
        act: impl FnOnce(&mut Store) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, ShelfError> {
        let done = self.0.with(act).map_err(|e| ShelfError(e.to_string()))?;
        done.map_err(|e| ShelfError(e.to_string()))
    }

    fn set(&self, name: &str, bytes: Option<Vec<u8>>) -> Result<(), ShelfError> {
        let name = format!("{PREFIX}{name}");
        self.with(move |store| store.set_local(&name, bytes.as_deref()))
    }
}

impl<H: Holder> Shelf for StoreShelf<H> {
    fn names(&self) -> Result<Vec<String>, ShelfError> {
        let names = self.with(|store| store.local_names(PREFIX))?;
        let bare = names.iter().filter_map(|name| name.strip_prefix(PREFIX));
        Ok(bare.map(str::to_owned).collect())
    }

    fn read(&self, name: &str) -> Result<Option<Vec<u8>>, ShelfError> {
        let name = format!("{PREFIX}{name}");
        self.with(move |store| store.local(&name))
    }

    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ShelfError> {
        self.set(name, Some(bytes.to_owned()))
    }

    fn remove(&mut self, name: &str) -> Result<(), ShelfError> {
        self.set(name, None)
    }
}
