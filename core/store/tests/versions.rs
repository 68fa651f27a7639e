//! A store written by every earlier version opens, and nothing in it is lost.
//!
//! `tests/data/vN.store` was written by the version whose newest format was N, with
//! `cargo test -p plinthside-store --test versions write_this_version -- --ignored`; once written,
//! a file is never written again.
#![allow(clippy::expect_used)]

#[cfg(unix)]
#[path = "common/child.rs"]
mod child;
mod common;

use common::{CHEAP, Hands, PASSPHRASE, order, visit};
use plinthside_store::{Filter, Opened, Options, Store, StoreError, VISIT};
use serde_json::{Value, json};
use std::io::Cursor;
use std::path::{Path, PathBuf};

fn data(version: i64) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/data/v{version}.store"))
}

fn options() -> Options {
    Options::new("Tablet 1")
        .kdf(CHEAP)
        .clock(Hands::at(1_780_000_000_000))
}

fn full_visit(photo: &str) -> Value {
    let mut v = visit("v1", "Quirinius Zwetschgenbaum");
    v["orders"] = order(true);
    v["casts"] = json!([{"id": "c1", "side": "left", "code": "K7Q2-M9TR-B4HX-C", "measurement": {"photos": [photo]}}]);
    v["follow_up"] = json!([{"order": "o1", "review_due": "2026-09-01", "remakes": [
        {"at": "2026-06-01T10:00:00+02:00", "causes": ["marking", "cast_shape"], "reason": "mark rubbed off"}]}]);
    v
}

#[test]
#[ignore = "writes the file that later versions are tested with"]
fn write_this_version() {
    let scratch = tempfile::tempdir().expect("folder");
    let path = scratch.path().join("store");
    let mut store = Store::create(&path, PASSPHRASE, options()).expect("create");
    let photo = store
        .add_photo(&mut Cursor::new(b"photograph".repeat(3000)))
        .expect("add")
        .sha256;
    store
        .import("v1", VISIT, &full_visit(&photo), "Ada")
        .expect("import");
    for (id, text) in [("v2", "finished"), ("v3", "draft")] {
        let mut opened: Opened<Value> = store
            .begin(id, VISIT, &visit(id, "Berta"), "Bo")
            .expect("begin");
        for i in 0..3 {
            opened.value["reason"] = format!("{text} {i}").into();
            store.save(&mut opened, "Bo", "").expect("save");
        }
        if text == "finished" {
            store.finish(id).expect("finish");
        }
    }
    store
        .import("v4", VISIT, &visit("v4", "Gone"), "Ada")
        .expect("import");
    store.erase("v4", "Ada").expect("erase");
    store.set_local("window", Some(b"800x600")).expect("local");
    let format = store.format().expect("format");
    store.lock().expect("lock");
    let target = data(format);
    assert!(!target.exists(), "{} is there already", target.display());
    std::fs::create_dir_all(target.parent().expect("folder")).expect("folder");
    std::fs::copy(&path, &target).expect("store");
    std::fs::copy(
        plinthside_store::key_path(&path),
        plinthside_store::key_path(&target),
    )
    .expect("key");
}

fn copy_of(version: i64, folder: &Path) -> PathBuf {
    let path = folder.join(format!("v{version}"));
    std::fs::copy(data(version), &path).expect("store");
    std::fs::copy(
        plinthside_store::key_path(&data(version)),
        plinthside_store::key_path(&path),
    )
    .expect("key");
    path
}

#[test]
fn stores_of_every_earlier_version_open_whole() {
    let folder = tempfile::tempdir().expect("folder");
    let newest = {
        let store =
            Store::create(folder.path().join("new"), PASSPHRASE, options()).expect("create");
        store.format().expect("format")
    };
    for version in 1..newest {
        let path = copy_of(version, folder.path());
        let mut store = Store::open(&path, PASSPHRASE, options()).expect("open");
        assert_eq!(store.format().expect("format"), newest);
        everything_is_there(&mut store);
        drop(store);
        everything_is_there(&mut Store::open(&path, PASSPHRASE, options()).expect("open again"));
    }
    println!("opened stores of {} earlier version(s)", newest - 1);
}

/// Stores of every earlier version, opened by a child that dies in each step of the migration.
#[cfg(unix)]
#[test]
fn killed_in_every_step_of_a_migration_the_store_is_the_old_or_the_new_one() {
    use std::os::unix::process::ExitStatusExt;
    let folder = tempfile::tempdir().expect("folder");
    let store = Store::create(folder.path().join("new"), PASSPHRASE, options()).expect("create");
    let newest = store.format().expect("format");
    let steps = ["migrate 1", "migrate 2", "migrate 3"];
    for (version, step) in (1..newest).flat_map(|version| steps.map(|step| (version, step))) {
        let path = copy_of(version, folder.path());
        let died = child::start("open", &path, &[("DIE_AT", step.to_owned())])
            .output()
            .expect("run");
        assert_eq!(died.status.signal(), Some(9), "{step}");
        everything_is_there(&mut Store::open(&path, PASSPHRASE, options()).expect("open"));
    }
}

#[cfg(unix)]
#[test]
#[ignore = "started by another test"]
fn the_child() {
    child::run();
}

fn everything_is_there(store: &mut Store) {
    let report = store.check().expect("check");
    assert!(report.is_clean(), "{report}");
    let one = store.read("v1").expect("read");
    let photo = one["casts"][0]["measurement"]["photos"][0]
        .as_str()
        .expect("hash")
        .to_owned();
    assert_eq!(
        one["orders"][0]["revisions"][0]["signature"]["prescriber"]["name"],
        "Ada"
    );
    assert_eq!(
        store
            .export_photo(&photo, &mut std::io::sink())
            .expect("photo"),
        30_000
    );
    assert_eq!(store.read("v2").expect("read")["reason"], "finished 2");
    assert_eq!(store.document("v2").expect("doc").history().len(), 4);
    let unfinished = store.unfinished().expect("list");
    assert_eq!(
        (
            unfinished.len(),
            unfinished[0].id.as_str(),
            unfinished[0].entries
        ),
        (1, "v3", 4)
    );
    assert!(matches!(store.read("v4"), Err(StoreError::Erased { .. })));
    assert_eq!(store.find("zwetschgen", 9).expect("find").len(), 1);
    assert_eq!(
        store
            .label("K7Q2M9TRB4HXC")
            .expect("label")
            .expect("bound")
            .0,
        "v1"
    );
    assert_eq!(
        store
            .cases(&Filter::DueBy("2026-12-31".into()), 0, 9)
            .expect("page")
            .len(),
        1
    );
    assert_eq!(
        store.local("window").expect("local").expect("set"),
        b"800x600"
    );
}

#[test]
fn a_store_of_a_newer_version_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("new");
    let store = Store::create(&path, PASSPHRASE, options()).expect("create");
    let key = store.raw_key();
    store.lock().expect("lock");
    let conn = rusqlite::Connection::open(&path).expect("open");
    conn.execute_batch(&format!(
        "PRAGMA key = \"x'{}'\"; PRAGMA user_version = 99;",
        *key
    ))
    .expect("newer");
    drop(conn);
    let before = std::fs::read(&path).expect("file");
    let refused = Store::open(&path, PASSPHRASE, options());
    assert!(
        matches!(refused, Err(StoreError::Newer { found: 99, .. })),
        "{refused:?}"
    );
    assert_eq!(std::fs::read(&path).expect("file"), before);
}
