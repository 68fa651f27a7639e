//! Opening, locking, the passphrase and what a guess of it costs.

use crate::child::{said, start};
use crate::common::{CHEAP, PASSPHRASE, create, folder, open, options, read, visit};
use plinthside_store::{IdleLock, Kdf, Store, StoreError, VISIT};
use std::time::{Duration, Instant};

#[test]
fn opens_with_its_passphrase_only_and_once_at_a_time() {
    let folder = folder();
    let path = folder.path().join("store");
    assert!(matches!(
        Store::open(&path, PASSPHRASE, options("t")),
        Err(StoreError::Missing { .. })
    ));
    assert!(matches!(
        Store::create(&path, "short", options("t")),
        Err(StoreError::WeakPassphrase { least: 8 })
    ));
    let mut store = create(&path);
    store
        .import("v1", VISIT, &visit("v1", "Anna"), "Ada")
        .expect("import");
    let again = Store::open(&path, PASSPHRASE, options("t")).expect_err("in use");
    assert!(
        matches!(&again, StoreError::InUse { process } if *process == std::process::id().to_string()),
        "{again}"
    );
    assert!(matches!(
        Store::create(&path, PASSPHRASE, options("t")),
        Err(StoreError::Exists { .. })
    ));
    store.lock().expect("lock");

    let before = std::fs::read(&path).expect("file");
    let wrong = Store::open(&path, "plaster sets in hours", options("t")).expect_err("wrong");
    assert!(matches!(wrong, StoreError::WrongPassphrase));
    assert_eq!(
        before,
        std::fs::read(&path).expect("file"),
        "a wrong passphrase changes nothing"
    );

    let mut store = open(&path);
    let wrong = store.change_passphrase("not this one", "another passphrase", Some(CHEAP), "Ada");
    assert!(matches!(wrong, Err(StoreError::WrongPassphrase)));
    store
        .change_passphrase(PASSPHRASE, "another passphrase", Some(CHEAP), "Ada")
        .expect("change");
    store.lock().expect("lock");
    assert!(matches!(
        Store::open(&path, PASSPHRASE, options("t")),
        Err(StoreError::WrongPassphrase)
    ));
    let mut store = Store::open(&path, "another passphrase", options("t")).expect("open");
    assert_eq!(read(&mut store, "v1")["person"]["name"], "Anna");
}

#[test]
fn a_key_file_survives_a_damaged_half_and_is_missed_when_gone() {
    let folder = folder();
    let path = folder.path().join("store");
    create(&path).lock().expect("lock");
    let key = plinthside_store::key_path(&path);
    let whole = std::fs::read(&key).expect("key file");
    for damaged in [10, whole.len() - 10] {
        let mut bytes = whole.clone();
        bytes[damaged] ^= 0x40;
        std::fs::write(&key, bytes).expect("write");
        open(&path).lock().expect("one copy is left");
    }
    std::fs::write(&key, "nothing").expect("write");
    assert!(matches!(
        Store::open(&path, PASSPHRASE, options("t")),
        Err(StoreError::KeyFile { .. })
    ));
    std::fs::remove_file(&key).expect("remove");
    assert!(matches!(
        Store::open(&path, PASSPHRASE, options("t")),
        Err(StoreError::KeyFile { .. })
    ));
}

#[test]
fn the_cost_of_a_guess_is_about_half_a_second() {
    let kdf = Kdf::calibrated(Duration::from_millis(500));
    let folder = folder();
    let path = folder.path().join("store");
    Store::create(&path, PASSPHRASE, options("t").kdf(kdf))
        .expect("create")
        .lock()
        .expect("lock");
    let started = Instant::now();
    plinthside_store::passphrase_fits(&path, PASSPHRASE).expect("fits");
    println!(
        "calibrated to {kdf:?}: one guess takes {:?}",
        started.elapsed()
    );
    assert!(kdf.memory_kib >= Kdf::LEAST.memory_kib && kdf.passes >= Kdf::LEAST.passes);
}

#[cfg(unix)]
#[test]
fn a_second_process_is_refused_in_words_until_the_first_is_gone() {
    let folder = folder();
    let path = folder.path().join("store");
    let store = create(&path);
    let ask = || {
        let output = start("open", &path, &[]).output().expect("run");
        said(&output.stdout)
    };
    let me = std::process::id();
    let refused = ask();
    println!("{}", refused[0]);
    assert_eq!(
        refused[0],
        format!(
            "refused This store is already open in another window (process {me}). Close it there first."
        )
    );
    store.lock().expect("lock");
    assert_eq!(ask(), ["done"]);
}

#[test]
fn an_idle_store_is_locked_and_needs_its_passphrase_again() {
    let folder = folder();
    let path = folder.path().join("store");
    let mut store = create(&path);
    store
        .begin("v1", VISIT, &visit("v1", "Anna"), "Ada")
        .expect("begin");
    let mut idle = IdleLock::new(300_000, 0);
    idle.touch(60_000);
    assert!(!idle.is_due(359_999));
    assert!(idle.is_due(360_000));
    store.lock().expect("lock");
    let wrong = Store::open(&path, "not the passphrase", options("t"));
    assert!(matches!(wrong, Err(StoreError::WrongPassphrase)));
    let mut store = open(&path);
    // What was not finished is offered, not lost.
    assert_eq!(store.unfinished().expect("list").len(), 1);
    store.recover("v1").expect("recover");
    assert_eq!(read(&mut store, "v1")["person"]["name"], "Anna");
}
