//! Erasures over targets that are cut off, set back, or one of two; over devices that are away,
//! struck off, new or restored: no file with an erased visit stays, and nobody gets stuck.

use crate::common::{
    add, batches, edit, join, memory, pair, reason, run, store, sync_at, try_sync,
};
use plinthside_exchange::{Devices, Memory, Report, Target, TargetError, visit_state};
use plinthside_store::{Kdf, Options, Store, restore};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

fn erase(store: &Mutex<Store>, id: &str) {
    store.lock().expect("lock").erase(id, "Ada").expect("erase");
}

fn is_erased(store: &Mutex<Store>, id: &str) -> bool {
    store.lock().expect("lock").read(id).is_err()
}

/// Adds visits in one batch and says which file it is.
fn batch_of(store: &Mutex<Store>, target: &Memory, ids: &[&str]) -> String {
    run(store, target);
    let before = batches(target);
    for id in ids {
        add(store, id, "kept", &[]);
    }
    run(store, target);
    let new: BTreeSet<String> = &batches(target) - &before;
    assert_eq!(new.len(), 1);
    new.into_iter().next().expect("a batch")
}

#[test]
fn whoever_comes_after_a_long_run_of_erased_batches_reads_on_behind_it() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    for i in 0..12 {
        add(&a, &format!("v{i}"), "to go", &[]);
        run(&a, &target);
    }
    add(&a, "stays", "kept", &[]);
    run(&a, &target);
    for i in 0..12 {
        erase(&a, &format!("v{i}"));
    }
    run(&a, &target);
    // A laggard that has not read one of them, and a newcomer.
    let c = store(folder.path(), "C");
    for device in [&b, &c] {
        if std::ptr::eq(device, &raw const c) {
            join(&a, &c, "Tablet C", &target);
        }
        let told = run(device, &target);
        assert_eq!(reason(device, "stays"), "kept");
        assert!((0..12).all(|i| is_erased(device, &format!("v{i}"))));
        assert!(told.problems.is_empty(), "{:?}", told.problems);
    }
    // Nobody asks for what is gone.
    let asked = |name: &String| name.contains("/wanted/");
    for device in [&a, &b, &c, &a, &b, &c] {
        run(device, &target);
        assert!(!target.files().keys().any(asked));
    }
}

#[test]
fn a_head_alone_is_not_read_to() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    add(&a, "v1", "kept", &[]);
    run(&a, &target);
    // Another place's batch where a far head points, and nothing between.
    let newest = batches(&target).into_iter().next_back().expect("a batch");
    let (place, _) = newest.rsplit_once('/').expect("a counter");
    let bytes = target.get(&newest).expect("bytes");
    target
        .put(&format!("{place}/00900000"), &bytes)
        .expect("put");
    let head = place.replace("/changes/", "/heads/") + "-00900000";
    target.put(&head, b"").expect("put");
    let told = run(&b, &target);
    assert!(told.requests < 40, "{} requests", told.requests);
}

#[test]
fn what_was_published_anew_twice_is_missed_by_nobody() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, _b) = pair(folder.path(), &target);
    batch_of(&a, &target, &["v1", "v2", "stays"]);
    for id in ["v1", "v2"] {
        erase(&a, id);
        run(&a, &target);
    }
    let c = store(folder.path(), "C");
    join(&a, &c, "Tablet C", &target);
    let told = run(&c, &target);
    assert!(told.problems.is_empty(), "{:?}", told.problems);
    assert_eq!(reason(&c, "stays"), "kept");
}

/// Cuts the line when a batch is to be unlinked.
struct Cut(Memory, AtomicBool);

impl Target for Cut {
    fn list(&self, folder: &str) -> Result<Vec<String>, TargetError> {
        self.0.list(folder)
    }
    fn get(&self, name: &str) -> Result<Vec<u8>, TargetError> {
        self.0.get(name)
    }
    fn put(&self, name: &str, bytes: &[u8]) -> Result<(), TargetError> {
        self.0.put(name, bytes)
    }
    fn delete(&self, name: &str) -> Result<(), TargetError> {
        if name.contains("/changes/") && self.1.load(Ordering::Relaxed) {
            return Err(TargetError::Unreachable {
                target: "cut".into(),
                why: "connection reset".into(),
            });
        }
        self.0.delete(name)
    }
    fn describe(&self) -> String {
        "cut".into()
    }
}

#[test]
fn cut_off_between_publishing_anew_and_unlinking_the_file_goes_with_the_next_synchronisation() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    let file = batch_of(&a, &target, &["gone", "stays"]);
    erase(&a, "gone");
    let cut = Cut(target.clone(), AtomicBool::new(true));
    assert!(try_sync(&a, &cut).is_err());
    assert!(batches(&target).contains(&file));
    cut.1.store(false, Ordering::Relaxed);
    run(&a, &cut);
    assert!(!batches(&target).contains(&file), "the file stayed");
    run(&b, &target);
    assert_eq!(reason(&b, "stays"), "kept");
}

#[test]
fn of_two_targets_each_is_cleaned_and_keeps_the_rest() {
    let folder = tempfile::tempdir().expect("folder");
    let (clinic, stick) = (memory(), memory());
    let (a, _b) = pair(folder.path(), &clinic);
    let at_stick = |store| sync_at(store, &stick, "stick", true).expect("sync");
    at_stick(&a);
    let file = batch_of(&a, &clinic, &["gone", "stays"]);
    let before = batches(&stick);
    at_stick(&a);
    let new: BTreeSet<String> = &batches(&stick) - &before;
    assert_eq!(new.len(), 1);
    erase(&a, "gone");
    run(&a, &clinic);
    assert!(!batches(&clinic).contains(&file));
    at_stick(&a);
    assert!(batches(&stick).is_disjoint(&new), "the stick still has it");
    // Somebody who meets the stick alone gets the rest.
    let c = store(folder.path(), "C");
    let code = Devices(&a).invite(&stick).expect("invite");
    Devices(&c).join(&stick, &code.text, "C").expect("join");
    at_stick(&a);
    at_stick(&c);
    assert_eq!(reason(&c, "stays"), "kept");
    assert!(is_erased(&c, "gone"));
}

#[test]
fn an_absent_devices_files_are_cleaned_once_it_is_struck_off() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    let c = store(folder.path(), "C");
    join(&a, &c, "Tablet C", &target);
    let file = batch_of(&c, &target, &["gone", "stays"]);
    for device in [&a, &b] {
        run(device, &target);
    }
    erase(&a, "gone");
    run(&a, &target);
    run(&b, &target);
    assert!(batches(&target).contains(&file), "C's to unlink");
    let state = || visit_state(&a, "memory", "gone").expect("state");
    assert!(!state().done, "{:?}", state().words);
    let list = Devices(&a).list().expect("list");
    let lost = list.iter().find(|d| d.name == "Tablet C").expect("C");
    Devices(&a).strike_off(&lost.id).expect("strike");
    run(&a, &target);
    assert!(!batches(&target).contains(&file), "the file stayed");
    assert!(state().done, "{:?}", state().words);
    let d = store(folder.path(), "D");
    join(&a, &d, "Tablet D", &target);
    assert_eq!(reason(&d, "stays"), "kept");
}

fn restored(from: &Mutex<Store>, folder: &Path, device: &str) -> Mutex<Store> {
    let cheap = Kdf {
        memory_kib: 64,
        passes: 1,
        lanes: 1,
    };
    let (file, path) = (folder.join("backup"), folder.join(device));
    let options = || Options::new(device).kdf(cheap);
    let mut store = from.lock().expect("lock");
    let all = &mut |_, _| std::ops::ControlFlow::Continue(());
    store.backup(&file, "Ada", all).expect("backup");
    restore(&file, &path, "plaster sets in minutes", options()).expect("restore");
    Mutex::new(Store::open(&path, "plaster sets in minutes", options()).expect("open"))
}

#[test]
fn a_lone_devices_restored_store_looks_after_its_old_files_and_begins_its_own() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let a = store(folder.path(), "A");
    Devices(&a).begin("Tablet A").expect("begin");
    let file = batch_of(&a, &target, &["gone", "stays"]);
    let again = restored(&a, folder.path(), "A again");
    // What was sent after the backup comes back from the target.
    add(&a, "later", "after the backup", &[]);
    run(&a, &target);
    drop(a);
    run(&again, &target);
    assert_eq!(reason(&again, "later"), "after the backup");
    erase(&again, "gone");
    run(&again, &target);
    assert!(!batches(&target).contains(&file), "the file stayed");
    add(&again, "new", "after the restoring", &[]);
    run(&again, &target);
    let b = store(folder.path(), "B");
    join(&again, &b, "Tablet B", &target);
    let told = run(&b, &target);
    assert!(told.problems.is_empty(), "{:?}", told.problems);
    for (id, words) in [
        ("stays", "kept"),
        ("later", "after the backup"),
        ("new", "after the restoring"),
    ] {
        assert_eq!(reason(&b, id), words);
    }
}

#[test]
fn an_erased_visits_photograph_is_wanted_no_more() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    add(&a, "gone", "to go", &[b"never sent".as_slice()]);
    // A slow line: changes alone. B knows of the photograph and has not got it.
    sync_at(&a, &target, "memory", false).expect("sync");
    assert_eq!(run(&b, &target).photos_to_fetch, 1);
    erase(&a, "gone");
    run(&a, &target);
    assert_eq!(run(&b, &target).photos_to_fetch, 0);
}

#[test]
fn what_a_device_sends_that_had_not_heard_of_an_erasure_goes_too() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    add(&a, "gone", "to go", &[b"a photograph".as_slice()]);
    run(&a, &target);
    run(&b, &target);
    let before = target.files();
    erase(&a, "gone");
    run(&a, &target);
    // B meets the target as it was, as a stale listing shows it, and writes the visit again.
    let stale = memory();
    for (name, bytes) in &before {
        stale.put(name, bytes).expect("put");
    }
    edit(&b, "gone", "written once more");
    run(&b, &stale);
    for (name, bytes) in stale.files() {
        target.put(&name, &bytes).expect("put");
    }
    let late = &batches(&stale) - &before.keys().cloned().collect();
    assert_eq!(late.len(), 1);
    for device in [&a, &b, &a] {
        run(device, &target);
    }
    assert!(batches(&target).is_disjoint(&late), "the file stayed");
    assert!(is_erased(&b, "gone"));
}

#[test]
fn old_files_put_back_bring_no_erased_visit_back_not_even_to_a_newcomer() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    add(&a, "gone", "to go", &[b"a photograph".as_slice()]);
    add(&a, "stays", "kept", &[]);
    run(&a, &target);
    run(&b, &target);
    let old = target.files();
    erase(&a, "gone");
    for device in [&a, &b, &a] {
        run(device, &target);
    }
    for (name, bytes) in &old {
        target.put(name, bytes).expect("put");
    }
    // A hostile target shows a newcomer the old files alone: only the welcome is new.
    let c = store(folder.path(), "C");
    let code = Devices(&a).invite(&target).expect("invite");
    Devices(&c).join(&target, &code.text, "C").expect("join");
    let only_old = memory();
    for (name, bytes) in &old {
        only_old.put(name, bytes).expect("put");
    }
    run(&c, &only_old);
    assert!(is_erased(&c, "gone"), "the old files brought it back");
    assert_eq!(reason(&c, "stays"), "kept");
    let rounds: Vec<Report> = [&a, &b, &c, &a, &b, &c].map(|d| run(d, &target)).into();
    assert!(rounds.iter().all(|told| told.photos_received == 0));
    for device in [&a, &b, &c] {
        assert!(is_erased(device, "gone"));
        assert_eq!(reason(device, "stays"), "kept");
    }
}
