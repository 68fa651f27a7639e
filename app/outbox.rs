//! Sealed packages on their way: each waits until a target answers and is laid there for its lab.
//! What waits stands in the store, so that it goes even after a restart.

use crate::error::AppError;
use plinthside_exchange::package::{lab_path, receipt_name};
use plinthside_exchange::{ExchangeError, Holder, Target, TargetSpec, Targets};
use plinthside_store::{Store, StoreError};
use serde::{Deserialize, Serialize};
use std::io::ErrorKind;
use std::path::Path;
use std::sync::Mutex;

/// What parcels are kept under, on this device only: those that wait, those that lie everywhere, and
/// those of erased visits that are to be taken away again.
const WAITS: &str = "parcel/waits/";
const LIES: &str = "parcel/lies/";
const GONE: &str = "parcel/gone/";
/// So many are laid at a time; the others wait for the next.
const AT_ONCE: usize = 50;

/// A package for a lab and the targets it is laid at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Parcel {
    /// The lab.
    pub lab: String,
    /// The sealed file.
    pub file: String,
    /// The visit it was sealed from, where its label tells.
    #[serde(default)]
    pub visit: String,
    /// Names of targets that have not answered since it was sealed. One that lies nowhere yet goes to
    /// whichever target answers first, also one that was set up later.
    pub waits_for: Vec<String>,
    /// Names of targets where it lies.
    pub lies_at: Vec<String>,
}

/// What a delivery did.
#[derive(Debug, Default)]
pub struct Delivery {
    /// Names of the packages laid.
    pub laid: Vec<String>,
    /// What could not be laid, and why, in words.
    pub told: Vec<String>,
}

impl Parcel {
    fn name(&self) -> String {
        file_name(Path::new(&self.file))
    }

    /// Keeps it under what it is now, and under nothing else.
    fn keep(&self, store: &mut Store) -> Result<(), StoreError> {
        let now = match self.waits_for.is_empty() && !self.lies_at.is_empty() {
            true => LIES,
            false => WAITS,
        };
        self.keep_as(Some(now), store)
    }

    fn keep_as(&self, state: Option<&str>, store: &mut Store) -> Result<(), StoreError> {
        let json = serde_json::to_vec(self).unwrap_or_default();
        let name = self.name();
        let values = [WAITS, LIES, GONE].map(|as_| {
            let kept = (Some(as_) == state).then(|| json.clone());
            (format!("{as_}{name}"), kept)
        });
        store.set_locals(&values)
    }

    /// Whether it is to be laid at a target.
    fn is_due(&self, to: &str) -> bool {
        self.waits_for.iter().any(|name| name == to) || self.lies_at.is_empty()
    }
}

fn file_name(file: &Path) -> String {
    let name = file.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// The cast's code in the name of a package, `CODE-rN.age`, with the number.
fn code_and_revision(name: &str) -> Option<(&str, u32)> {
    let (code, revision) = name.strip_suffix(".age")?.rsplit_once("-r")?;
    Some((code, revision.parse().ok()?))
}

/// Parcels in one state; those `wanted` by their name.
fn parcels(
    store: &Store,
    state: &str,
    wanted: impl Fn(&Parcel) -> bool,
) -> Result<Vec<Parcel>, StoreError> {
    let mut all = Vec::new();
    for name in store.local_names(state)? {
        let value = store.local(&name)?.unwrap_or_default();
        all.extend(serde_json::from_slice(&value).ok().filter(&wanted));
    }
    Ok(all)
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
    let name = file_name(file);
    let bound = match code_and_revision(&name) {
        Some((code, _)) => store.label(code)?,
        None => None,
    };
    let parcel = Parcel {
        lab: lab.to_owned(),
        file: kept_as.to_owned(),
        visit: bound.map_or_else(String::new, |(visit, _)| visit),
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

/// A target has another name from now on: what waits for it or lies there goes along.
///
/// # Errors
/// The store refuses.
pub fn renamed(store: &mut Store, before: &str, now: &str) -> Result<(), StoreError> {
    for state in [WAITS, LIES, GONE] {
        for mut parcel in parcels(store, state, |_| true)? {
            let names = parcel.waits_for.iter_mut().chain(&mut parcel.lies_at);
            let mut found = false;
            for name in names.filter(|name| *name == before) {
                now.clone_into(name);
                found = true;
            }
            if found {
                parcel.keep_as(Some(state), store)?;
            }
        }
    }
    Ok(())
}

/// Drops the packages of a visit that is being erased, by its identifier or by the codes they are
/// named by; where they lie they are taken away as soon as the target answers.
///
/// # Errors
/// The store refuses.
pub fn forget(store: &mut Store, visit: &str, codes: &[String]) -> Result<(), StoreError> {
    let of_it = |parcel: &Parcel| {
        let name = parcel.name();
        let by_name =
            code_and_revision(&name).is_some_and(|(code, _)| codes.iter().any(|c| c == code));
        parcel.visit == visit || (parcel.visit.is_empty() && by_name)
    };
    for state in [WAITS, LIES] {
        for mut parcel in parcels(store, state, of_it)? {
            parcel.waits_for = std::mem::take(&mut parcel.lies_at);
            let lies = !parcel.waits_for.is_empty();
            parcel.keep_as(lies.then_some(GONE), store)?;
        }
    }
    Ok(())
}

/// Drops the packages of visits that were erased on another device.
///
/// # Errors
/// The store refuses.
pub fn forget_erased(store: &mut Store) -> Result<(), StoreError> {
    let mut visits = Vec::new();
    for state in [WAITS, LIES] {
        let all = parcels(store, state, |parcel| !parcel.visit.is_empty())?;
        visits.extend(all.into_iter().map(|parcel| parcel.visit));
    }
    visits.sort_unstable();
    visits.dedup();
    for visit in visits {
        if matches!(store.read(&visit), Err(StoreError::Erased { .. })) {
            forget(store, &visit, &[])?;
        }
    }
    Ok(())
}

/// Lays what waits for a target there, and takes away what was laid there of visits since erased. A
/// file that was taken away meanwhile goes nowhere, which is said.
///
/// # Errors
/// The target or the store refuses; what is not laid yet waits on.
pub fn deliver<H: Holder>(
    store: &H,
    to: &TargetSpec,
    target: &dyn Target,
) -> Result<Delivery, ExchangeError> {
    // A target that is only met, not kept, goes by its address.
    let to = if to.name.is_empty() {
        &to.url
    } else {
        &to.name
    }
    .clone();
    let known: Vec<String> = Targets(store).list()?.into_iter().map(|t| t.name).collect();
    take_away(store, &to, target)?;
    let here = to.clone();
    let due = store.with(move |store| parcels(store, WAITS, |parcel| parcel.is_due(&here)))??;
    let mut delivery = Delivery::default();
    for mut parcel in due {
        if delivery.laid.len() == AT_ONCE {
            break;
        }
        let name = parcel.name();
        match std::fs::read(&parcel.file) {
            Ok(bytes) => {
                target.put(&lab_path(&parcel.lab, &name), &bytes)?;
                delivery.laid.push(name);
                parcel.waits_for.retain(|name| *name != to);
                parcel.lies_at.push(to.clone());
                // It waits no more for targets that are not kept any more.
                parcel.waits_for.retain(|name| known.contains(name));
                store.with(move |store| parcel.keep(store))??;
            }
            Err(problem) if problem.kind() == ErrorKind::NotFound => {
                let file = &parcel.file;
                delivery.told.push(format!(
                    "{file} is not there any more, so it was laid nowhere for the lab; seal the order again."
                ));
                store.with(move |store| parcel.keep_as(None, store))??;
            }
            Err(problem) => {
                let file = &parcel.file;
                delivery.told.push(format!(
                    "{file} can't be read ({problem}), so it waits on; check that you may read it."
                ));
            }
        }
    }
    Ok(delivery)
}

/// Takes packages of erased visits away from a target, with the lab's answers beside them.
fn take_away<H: Holder>(store: &H, from: &str, target: &dyn Target) -> Result<(), ExchangeError> {
    let here = from.to_owned();
    let lies_here = move |parcel: &Parcel| parcel.waits_for.contains(&here);
    let gone = store.with(move |store| parcels(store, GONE, lies_here))??;
    for mut parcel in gone {
        let name = parcel.name();
        target.delete(&lab_path(&parcel.lab, &name))?;
        if let Some((code, revision)) = code_and_revision(&name) {
            target.delete(&lab_path(&parcel.lab, &receipt_name(code, revision)))?;
        }
        parcel.waits_for.retain(|name| name != from);
        let left = !parcel.waits_for.is_empty();
        store.with(move |store| parcel.keep_as(left.then_some(GONE), store))??;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use plinthside_exchange::{Memory, TargetSpec};
    use plinthside_store::{Kdf, Options};

    fn store_in(folder: &Path) -> Mutex<Store> {
        let options = Options::new("tablet").kdf(Kdf::LEAST);
        let path = folder.join("a.store");
        Mutex::new(Store::create(&path, "correct horse", options).expect("a store"))
    }

    fn spec(name: &str) -> TargetSpec {
        TargetSpec::new(name, format!("/media/{name}"))
    }

    /// Has so many sealed files, named by a code, laid at the targets there are.
    fn sealed(store: &Mutex<Store>, folder: &Path, codes: &[String]) {
        let mut held = store.lock().expect("held");
        for code in codes {
            let file = folder.join(format!("{code}-r1.age"));
            std::fs::write(&file, b"sealed").expect("written");
            add(&mut held, "Kiln Row Workshop", &file).expect("waits");
        }
    }

    #[test]
    fn a_package_sealed_before_there_is_a_target_goes_to_the_first_one() {
        let folder = tempfile::tempdir().expect("a folder");
        let store = store_in(folder.path());
        sealed(&store, folder.path(), &["7R3K".to_owned()]);
        Targets(&store).set(&spec("Clinic")).expect("a target");
        let laid = deliver(&store, &spec("Clinic"), &Memory::default()).expect("laid");
        assert_eq!(laid.laid, ["7R3K-r1.age"]);
    }

    #[test]
    fn a_package_follows_its_target_to_a_new_name() {
        let folder = tempfile::tempdir().expect("a folder");
        let store = store_in(folder.path());
        for name in ["Clinic", "Stick"] {
            Targets(&store).set(&spec(name)).expect("a target");
        }
        sealed(&store, folder.path(), &["7R3K".to_owned()]);
        deliver(&store, &spec("Stick"), &Memory::default()).expect("laid");
        renamed(&mut store.lock().expect("held"), "Clinic", "Office").expect("renamed");
        Targets(&store).remove("Clinic").expect("removed");
        Targets(&store).set(&spec("Office")).expect("a target");
        let laid = deliver(&store, &spec("Office"), &Memory::default()).expect("laid");
        assert_eq!(laid.laid, ["7R3K-r1.age"]);
    }

    #[test]
    fn packages_stuck_for_another_target_starve_nobody_and_a_missing_file_is_said() {
        let folder = tempfile::tempdir().expect("a folder");
        let store = store_in(folder.path());
        Targets(&store).set(&spec("Away")).expect("a target");
        Targets(&store).set(&spec("Stick")).expect("a target");
        let codes: Vec<String> = (0..60).map(|i| format!("A{i:03}")).collect();
        sealed(&store, folder.path(), &codes);
        let memory = Memory::default();
        let stick = spec("Stick");
        let first = deliver(&store, &stick, &memory).expect("laid").laid.len();
        let second = deliver(&store, &stick, &memory).expect("laid").laid.len();
        assert_eq!((first, second), (AT_ONCE, 60 - AT_ONCE));
        // Sixty wait for the one that is away; the next one still goes.
        sealed(
            &store,
            folder.path(),
            &["Z999".to_owned(), "Z000".to_owned()],
        );
        std::fs::remove_file(folder.path().join("Z000-r1.age")).expect("taken away");
        let delivery = deliver(&store, &stick, &memory).expect("laid");
        assert_eq!(delivery.laid, ["Z999-r1.age"]);
        assert!(
            delivery.told[0].contains("Z000-r1.age is not there any more"),
            "{:?}",
            delivery.told
        );
    }

    #[test]
    fn packages_of_an_erased_visit_are_taken_away_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let store = store_in(folder.path());
        for name in ["Away", "Stick"] {
            Targets(&store).set(&spec(name)).expect("a target");
        }
        sealed(
            &store,
            folder.path(),
            &["7R3K".to_owned(), "P2WD".to_owned()],
        );
        let (memory, stick) = (Memory::default(), spec("Stick"));
        deliver(&store, &stick, &memory).expect("laid");
        let answer = lab_path("Kiln Row Workshop", &receipt_name("7R3K", 1));
        memory.put(&answer, b"answer").expect("answered");
        let codes = ["7R3K".to_owned()];
        forget(&mut store.lock().expect("held"), "v-1", &codes).expect("forgotten");
        deliver(&store, &stick, &memory).expect("taken away");
        let names: Vec<String> = memory.files().into_keys().collect();
        assert_eq!(names, [lab_path("Kiln Row Workshop", "P2WD-r1.age")]);
        let away = deliver(&store, &spec("Away"), &Memory::default()).expect("laid");
        assert_eq!(away.laid, ["P2WD-r1.age"]);
    }

    #[test]
    fn a_package_waits_for_its_target_and_is_laid_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let store = store_in(folder.path());
        Targets(&store).set(&spec("Clinic")).expect("a target");
        let file = folder.path().join("7R3K-M2XD-9TQ4-7-r1.age");
        std::fs::write(&file, b"sealed").expect("written");
        let mut held = store.lock().expect("held");
        add(&mut held, "Kiln Row Workshop", &file).expect("waits");
        assert_eq!(find(&held, &file).expect("kept").waits_for, ["Clinic"]);
        drop(held);

        let target = Memory::default();
        let clinic = spec("Clinic");
        let laid = deliver(&store, &clinic, &target).expect("laid").laid;
        assert_eq!(laid, ["7R3K-M2XD-9TQ4-7-r1.age"]);
        let another = deliver(&store, &spec("Another"), &target).expect("nothing for it");
        assert!(another.laid.is_empty());
        let lies = lab_path("Kiln Row Workshop", &laid[0]);
        assert_eq!(target.get(&lies).expect("it lies there"), b"sealed");
        let again = deliver(&store, &clinic, &target).expect("once");
        assert!(again.laid.is_empty());
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
