//! A target in memory, for tests and simulations.

use super::{Result, Target, TargetError};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Files in memory; clones share them.
#[derive(Debug, Clone, Default)]
pub struct Memory(Arc<Mutex<BTreeMap<String, Arc<[u8]>>>>);

impl Memory {
    /// The files by name.
    #[must_use]
    pub fn files(&self) -> BTreeMap<String, Arc<[u8]>> {
        self.lock().clone()
    }

    fn lock(&self) -> MutexGuard<'_, BTreeMap<String, Arc<[u8]>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Target for Memory {
    fn list(&self, folder: &str) -> Result<Vec<String>> {
        let folder = format!("{folder}/");
        let files = self.lock();
        let inside = files.range(folder.clone()..).map(|(name, _)| name);
        Ok(inside
            .map_while(|name| name.strip_prefix(&folder))
            .filter(|name| !name.contains('/'))
            .map(str::to_owned)
            .collect())
    }

    fn get(&self, name: &str) -> Result<Vec<u8>> {
        let found = self.lock().get(name).map(|bytes| bytes.to_vec());
        found.ok_or_else(|| TargetError::NotFound {
            target: self.describe(),
            name: name.to_owned(),
        })
    }

    fn put(&self, name: &str, bytes: &[u8]) -> Result<()> {
        self.lock().insert(name.to_owned(), bytes.into());
        Ok(())
    }

    fn delete(&self, name: &str) -> Result<()> {
        self.lock().remove(name);
        Ok(())
    }

    fn describe(&self) -> String {
        "memory".into()
    }
}
