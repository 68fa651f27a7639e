//! Sealed packages on their way: each waits until a target answers and is laid there for its lab.
//! What waits stands in the store, so that it goes even after a restart.

use crate::error::AppError;
use plinthside_exchange::package::lab_path;
use plinthside_exchange::{ExchangeError, Holder, Target, Targets};
use plinthside_store::{Store, StoreError};
use serde::Deserialize;
use serde_json::json;
use std::path::Path;
use std::sync::Mutex;

/// What parcels are kept under, on this device only: those that wait, and those that lie everywhere.
const WAITS: &str = "parcel/waits/";
const LIES: &str = "parcel/lies/";
/// So many are laid at a time; the others wait for the next.
const AT_ONCE: usize = 50;

/// A package for a lab and the targets it is laid at.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Parcel {
    /// The lab.
    pub lab: String,
    /// The sealed file.
    pub file: String,
    /// Names of targets that have not answered since it was sealed.
    pub waits_for: Vec<String>,
    /// Names of targets where it lies.
    pub lies_at: Vec<String>,
}

impl Parcel {
    fn name(&self) -> String {
        file_name(Path::new(&self.file))
    }

    /// Keeps it under what it is now, and under nothing else.
    fn keep(&self, store: &mut Store) -> Result<(), StoreError> {
        let (now, before) = match self.waits_for.is_empty() {
            true => (LIES, WAITS),
            false => (WAITS, LIES),
        };
        let parcel = json!({
            "lab": self.lab, "file": self.file,
            "waits_for": self.waits_for, "lies_at": self.lies_at,
        });
        let name = self.name();
        store.set_locals(&[
            (format!("{now}{name}"), Some(parcel.to_string().into())),
            (format!("{before}{name}"), None),
        ])
    }
}

fn file_name(file: &Path) -> String {
    let name = file.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// Has a sealed package laid at every target of the clinic. One of the same name takes its place.
///
/// # Errors
/// The store refuses.
pub fn add(store: &mut Store, lab: &str, file: &Path) -> Result<(), AppError> {
    let Some(kept_as) = file.to_str() else {
        return Err(AppError::Request(format!(
            "{} has a name that can't be kept, so it is laid nowhere; choose another folder for the papers",
            file.display()
        )));
    };
    let here = Mutex::new(&mut *store);
    let targets = Targets(&here).list()?;
    let parcel = Parcel {
        lab: lab.to_owned(),
        file: kept_as.to_owned(),
        waits_for: targets.into_iter().map(|target| target.name).collect(),
        lies_at: Vec::new(),
    };
    Ok(parcel.keep(store)?)
}

/// A package by its file, as far as it is on its way.
#[must_use]
pub fn find(store: &Store, file: &Path) -> Option<Parcel> {
    let name = file_name(file);
    [WAITS, LIES].into_iter().find_map(|state| {
        let value = store.local(&format!("{state}{name}")).ok()??;
        serde_json::from_slice(&value).ok()
    })
}

/// Lays what waits for a target there; returns the names of what was laid. A file that was taken away
/// meanwhile goes nowhere.
///
/// # Errors
/// The target or the store refuses; what is not laid yet waits on.
pub fn deliver<H: Holder>(
    store: &H,
    to: &str,
    target: &dyn Target,
) -> Result<Vec<String>, ExchangeError> {
    let waiting = store.with(|store| store.locals(WAITS, AT_ONCE))??;
    let parcels = waiting
        .iter()
        .filter_map(|(_, value)| serde_json::from_slice::<Parcel>(value).ok());
    let mut laid = Vec::new();
    for mut parcel in parcels {
        let Some(at) = parcel.waits_for.iter().position(|name| name == to) else {
            continue;
        };
        let name = parcel.name();
        let here = parcel.waits_for.remove(at);
        if let Ok(bytes) = std::fs::read(&parcel.file) {
            target.put(&lab_path(&parcel.lab, &name), &bytes)?;
            parcel.lies_at.push(here);
            laid.push(name);
        }
        store.with(move |store| parcel.keep(store))??;
    }
    Ok(laid)
}

#[cfg(test)]
mod tests {
    use super::*;
    use plinthside_exchange::{Memory, TargetSpec};
    use plinthside_store::{Kdf, Options};

    #[test]
    fn a_package_waits_for_its_target_and_is_laid_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = Options::new("tablet").kdf(Kdf::LEAST);
        let path = folder.path().join("a.store");
        let store = Store::create(&path, "correct horse", options).expect("a store");
        let store = Mutex::new(store);
        let stick = folder.path().display().to_string();
        Targets(&store)
            .set(&TargetSpec::new("Clinic", stick))
            .expect("a target");
        let file = folder.path().join("7R3K-M2XD-9TQ4-7-r1.age");
        std::fs::write(&file, b"sealed").expect("written");
        let mut held = store.lock().expect("held");
        add(&mut held, "Kiln Row Workshop", &file).expect("waits");
        assert_eq!(find(&held, &file).expect("kept").waits_for, ["Clinic"]);
        drop(held);

        let target = Memory::default();
        let another = deliver(&store, "Another", &target).expect("nothing for it");
        assert!(another.is_empty());
        let laid = deliver(&store, "Clinic", &target).expect("laid");
        assert_eq!(laid, ["7R3K-M2XD-9TQ4-7-r1.age"]);
        let lies = lab_path("Kiln Row Workshop", &laid[0]);
        assert_eq!(target.get(&lies).expect("it lies there"), b"sealed");
        assert!(deliver(&store, "Clinic", &target).expect("once").is_empty());
        let held = store.lock().expect("held");
        let lies = find(&held, &file).expect("kept");
        assert_eq!(
            (lies.lies_at, lies.waits_for),
            (vec!["Clinic".to_owned()], vec![])
        );
        assert!(
            held.local_names(WAITS).expect("read").is_empty(),
            "it stands in nobody's way"
        );
    }
}
