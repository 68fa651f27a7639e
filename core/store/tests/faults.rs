//! Kills, full and failing disks, flipped bits: nothing acknowledged is lost, and it is said so.
//!
//! `FAULT_KILLS` sets the number of random kills (300).
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::panic)]

#[path = "common/child.rs"]
mod child;
mod common;

use child::{said, start};
use common::{PASSPHRASE, create, open, options, order, visit};
use plinthside_store::{Finding, Store, StoreError, VISIT};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use std::collections::HashMap;
use std::io::{Cursor, Read};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

/// Not a test by itself: what the others start.
#[test]
#[ignore = "started by the other tests"]
fn the_child() {
    child::run();
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("folder")
}

fn copy_store(from: &Path, to: &Path) {
    std::fs::copy(from, to).expect("store");
    std::fs::copy(
        plinthside_store::key_path(from),
        plinthside_store::key_path(to),
    )
    .expect("key");
}

/// Compares the store with what a child had acknowledged.
fn nothing_acknowledged_is_lost(store: &mut Store, acknowledged: &[String]) {
    let (mut entries, mut finished, mut photos) = (HashMap::new(), Vec::new(), Vec::new());
    for line in acknowledged {
        match line.split(' ').collect::<Vec<_>>()[..] {
            ["entry", id, number] => {
                entries.insert(id, number.parse::<u64>().expect("number"));
            }
            ["finished", id] => finished.push(id),
            ["photo", sha256] => photos.push(sha256),
            _ => {}
        }
    }
    let unfinished: Vec<String> = store
        .unfinished()
        .expect("list")
        .into_iter()
        .map(|u| u.id)
        .collect();
    for (id, number) in entries {
        if finished.contains(&id) {
            assert!(!unfinished.iter().any(|u| u == id));
        } else if unfinished.iter().any(|u| u == id) {
            store.recover(id).expect("recover");
        }
        let visit = store.read(id).expect("an acknowledged visit");
        let has = visit
            .get("entries")
            .and_then(serde_json::Value::as_u64)
            .unwrap_or(0);
        assert!(
            has >= number,
            "{id}: entry {number} was acknowledged, {has} is there"
        );
        if unfinished.iter().any(|u| u == id) {
            store.finish(id).expect("finish");
        }
    }
    for sha256 in photos {
        store
            .export_photo(sha256, &mut std::io::sink())
            .expect("an acknowledged photograph");
    }
}

#[test]
fn killed_at_random_instants_nothing_acknowledged_is_lost() {
    let kills: u32 = std::env::var("FAULT_KILLS")
        .ok()
        .and_then(|k| k.parse().ok())
        .unwrap_or(300);
    let folder = folder();
    let path = folder.path().join("store");
    create(&path).lock().expect("lock");
    let mut random = StdRng::seed_from_u64(3);
    let (mut acknowledged, mut mid_visit, mut busy) = (0, 0, 0);
    for round in 0..kills {
        let mut running = start("visits", &path, &[("ROUND", round.to_string())])
            .spawn()
            .expect("start");
        let mut out = running.stdout.take().expect("pipe");
        let mut output = Vec::new();
        // Wait until it works, then let it work for an unforeseeable while.
        while !said(&output).iter().any(|line| line == "ready") {
            let mut some = [0; 256];
            let read = out.read(&mut some).expect("read");
            assert!(read > 0, "{}", String::from_utf8_lossy(&output));
            output.extend_from_slice(&some[..read]);
        }
        std::thread::sleep(Duration::from_micros(random.random_range(0..60_000)));
        running.kill().expect("kill");
        running.wait().expect("wait");
        out.read_to_end(&mut output).expect("rest");
        let lines = said(&output);
        acknowledged += lines.len() - 1;
        mid_visit += u32::from(
            lines
                .last()
                .is_some_and(|l| l.starts_with("entry") || l.starts_with("photo")),
        );
        busy += u32::from(lines.len() > 1);
        let mut store = open(&path);
        nothing_acknowledged_is_lost(&mut store, &lines);
        if round % 10 == 9 || round + 1 == kills {
            let report = store.check().expect("check");
            assert!(report.is_clean(), "round {round}: {report}");
        }
    }
    println!(
        "{kills} kills ({busy} after the first acknowledged step, {mid_visit} in the middle of a visit): {acknowledged} acknowledged steps, none lost, every check clean"
    );
    assert!(busy > kills / 2 && mid_visit > kills / 3);
}

/// A store with two visits, the first with a photograph and an order.
fn two_visits(path: &Path) -> String {
    let mut store = create(path);
    let photo = store
        .add_photo(&mut Cursor::new(SECRET_PHOTO.repeat(400)))
        .expect("add")
        .sha256;
    let mut one = visit("v1", "Quirinius Zwetschgenbaum");
    one["reason"] = "a phrase found nowhere else: heliotrope".into();
    one["casts"] =
        serde_json::json!([{"id": "c", "side": "left", "measurement": {"photos": [photo]}}]);
    one["orders"] = order(true);
    store.import("v1", VISIT, &one, "Ada").expect("import");
    store
        .import("v2", VISIT, &visit("v2", "Berta"), "Ada")
        .expect("import");
    let mut opened: plinthside_store::Opened<serde_json::Value> =
        store.open_record("v1").expect("open");
    for i in 0..12 {
        opened.value["place"] = format!("room {i} heliotrope").into();
        store.save(&mut opened, "Ada", "").expect("save");
    }
    store.finish("v1").expect("finish");
    store.find("zwetsch", 3).expect("find");
    store.lock().expect("lock");
    photo
}

const SECRET_PHOTO: &[u8] = b"the pixels of a foot; ";

fn die_at(job: &str, step: &str, path: &Path, more: &[(&str, String)]) {
    let arguments: Vec<(&str, String)> = std::iter::once(("DIE_AT", step.to_owned()))
        .chain(more.iter().cloned())
        .collect();
    let output = start(job, path, &arguments).output().expect("run");
    use std::os::unix::process::ExitStatusExt;
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(
        output.status.signal(),
        Some(9),
        "{job} must die at {step}: {text}"
    );
}

#[test]
fn killed_in_every_numbered_step() {
    let folder = folder();
    let base = folder.path().join("base");
    let photo = two_visits(&base);
    let mut number = 0;
    let mut fresh = || -> PathBuf {
        number += 1;
        let path = folder.path().join(format!("s{number}"));
        copy_store(&base, &path);
        path
    };
    let clean = |store: &mut Store| {
        let report = store.check().expect("check");
        assert!(report.is_clean(), "{report}");
    };
    let mut killed = 0;

    for step in 1..=4 {
        let path = fresh();
        die_at("save", &format!("save {step}"), &path, &[]);
        let mut store = open(&path);
        let there = store.unfinished().expect("list").len();
        assert_eq!(there, usize::from(step >= 3), "save {step}");
        clean(&mut store);
        killed += 1;
    }
    for step in 1..=3 {
        let path = fresh();
        die_at("save", &format!("finish {step}"), &path, &[]);
        let mut store = open(&path);
        assert_eq!(
            store.unfinished().expect("list").len(),
            usize::from(step < 3),
            "finish {step}"
        );
        let reason = store.read("v1").expect("read")["reason"].clone();
        assert_eq!(reason == "new", step == 3);
        clean(&mut store);
        killed += 1;
    }
    for step in 1..=3 {
        let path = fresh();
        die_at("photo", &format!("photo {step}"), &path, &[]);
        let mut store = open(&path);
        assert_eq!(
            store.check().expect("check").photos,
            if step == 3 { 2 } else { 1 },
            "photo {step}"
        );
        clean(&mut store);
        killed += 1;
    }
    for step in 1..=5 {
        let path = fresh();
        die_at("erase", &format!("erase {step}"), &path, &[]);
        let mut store = open(&path);
        if step <= 2 {
            assert!(store.has_photo(&photo).expect("ask"));
            store.read("v1").expect("still whole");
        } else {
            assert!(
                matches!(store.read("v1"), Err(StoreError::Erased { .. })),
                "erase {step}"
            );
            assert!(!store.has_photo(&photo).expect("ask"));
            let key = store.raw_key().to_string();
            store.lock().expect("lock");
            assert_eq!(
                remains(&path, &key),
                Vec::<&str>::new(),
                "erase {step}: opening finishes it"
            );
            store = open(&path);
        }
        store.read("v2").expect("the other visit");
        clean(&mut store);
        killed += 1;
    }
    for step in 1..=3 {
        let path = fresh();
        let file = folder.path().join(format!("backup{step}"));
        let mut store = open(&path);
        store
            .backup(
                &file,
                "Ada",
                &mut |_, _| std::ops::ControlFlow::Continue(()),
            )
            .expect("earlier backup");
        store
            .import("v3", VISIT, &visit("v3", "Carla"), "Ada")
            .expect("import");
        store.lock().expect("lock");
        die_at(
            "backup",
            &format!("backup {step}"),
            &path,
            &[("FILE", file.display().to_string())],
        );
        let back = folder.path().join(format!("back{step}"));
        let report =
            plinthside_store::restore(&file, &back, PASSPHRASE, options("t")).expect("restore");
        assert!(report.is_clean(), "{report}");
        assert_eq!(
            report.records,
            if step == 3 { 3 } else { 2 },
            "backup {step}"
        );
        clean(&mut open(&path));
        open(&path)
            .backup(
                &file,
                "Ada",
                &mut |_, _| std::ops::ControlFlow::Continue(()),
            )
            .expect("again");
        assert!(!folder.path().join(format!("backup{step}.part")).exists());
        killed += 1;
    }
    let file = folder.path().join("a.backup");
    open(&base)
        .backup(
            &file,
            "Ada",
            &mut |_, _| std::ops::ControlFlow::Continue(()),
        )
        .expect("backup");
    for step in 1..=4 {
        let path = folder.path().join(format!("restored{step}"));
        die_at(
            "restore",
            &format!("restore {step}"),
            &path,
            &[("FILE", file.display().to_string())],
        );
        assert_eq!(path.exists(), step == 4, "restore {step}");
        if step < 4 {
            plinthside_store::restore(&file, &path, PASSPHRASE, options("t")).expect("again");
        }
        clean(&mut open(&path));
        killed += 1;
    }
    for step in 1..=3 {
        let path = folder.path().join(format!("created{step}"));
        die_at("create", &format!("migrate {step}"), &path, &[]);
        let mut store = open(&path);
        store
            .import("v1", VISIT, &visit("v1", "Anna"), "Ada")
            .expect("import");
        clean(&mut store);
        killed += 1;
    }
    println!("{killed} kills, one inside every numbered step: each left what its description says");
}

/// Which of the erased visit's traces can still be found in the pages of a closed store.
fn remains(path: &Path, raw_key: &str) -> Vec<&'static str> {
    use aes::cipher::{BlockDecryptMut, KeyIvInit, block_padding::NoPadding};
    let key: Vec<u8> = (0..32)
        .map(|i| u8::from_str_radix(&raw_key[2 * i..2 * i + 2], 16).expect("hex"))
        .collect();
    assert!(!path.with_extension("-wal").exists());
    let file = std::fs::read(path).expect("file");
    let mut plain = Vec::with_capacity(file.len());
    // SQLCipher 4: AES-256-CBC, pages of 4096 with 80 reserved for the vector and the code; the
    // first 16 bytes of the file are the salt.
    for (number, page) in file.chunks(4096).enumerate() {
        let from = if number == 0 { 16 } else { 0 };
        let mut text = page[from..4016].to_vec();
        let cipher = cbc::Decryptor::<aes::Aes256>::new_from_slices(&key, &page[4016..4032])
            .expect("cipher");
        cipher
            .decrypt_padded_mut::<NoPadding>(&mut text)
            .expect("decrypt");
        plain.extend_from_slice(&text);
    }
    let found = |what: &[u8]| plain.windows(what.len()).any(|w| w == what);
    assert!(
        found(b"SQLite format 3") || found(b"CREATE TABLE"),
        "the pages are not decrypted"
    );
    assert!(
        found(b"Berta") || found(b"berta"),
        "the other visit must be found this way"
    );
    [
        "Zwetschgenbaum",
        "zwetschgenbaum",
        "heliotrope",
        "pixels of a foot",
        "relieve the navicular",
    ]
    .into_iter()
    .filter(|what| found(what.as_bytes()))
    .collect()
}

#[test]
fn an_erased_visit_is_gone_from_the_pages_of_the_file() {
    let folder = folder();
    let path = folder.path().join("store");
    two_visits(&path);
    let mut store = open(&path);
    let key = store.raw_key().to_string();
    store.conflicts("v1").expect("readable");
    store.lock().expect("lock");
    let before = remains(&path, &key);
    // Records are stored deflated where that is smaller, so not every phrase shows before.
    assert!(
        before.contains(&"pixels of a foot") && before.contains(&"zwetschgenbaum"),
        "{before:?}"
    );
    let mut store = open(&path);
    assert_eq!(store.erase("v1", "Ada").expect("erase"), 1);
    assert!(matches!(
        store.erase("v1", "Ada"),
        Err(StoreError::Erased { .. })
    ));
    assert!(matches!(
        store.import("v1", VISIT, &visit("v1", "X"), "x"),
        Err(StoreError::Erased { .. })
    ));
    assert!(matches!(
        store.receive("v1", VISIT, &[1, 2, 3]),
        Err(StoreError::Erased { .. })
    ));
    assert_eq!(store.find("zwetschgenbaum", 9).expect("find"), []);
    assert_eq!(
        store.unsent_erasures().expect("list"),
        [("v1".to_owned(), "Ada".to_owned())]
    );
    let file = folder.path().join("b");
    store
        .backup(
            &file,
            "Ada",
            &mut |_, _| std::ops::ControlFlow::Continue(()),
        )
        .expect("backup");
    assert!(store.check().expect("check").is_clean());
    store.lock().expect("lock");
    assert_eq!(remains(&path, &key), Vec::<&str>::new());
    let wal = PathBuf::from(format!("{}-wal", path.display()));
    assert!(!wal.exists() || std::fs::metadata(wal).expect("wal").len() == 0);
    // A tombstone that arrives before its visit keeps the visit out.
    let mut other = create(&folder.path().join("other"));
    other.apply_erasure("v9", "Ada").expect("tombstone");
    assert!(matches!(
        other.receive("v9", VISIT, &[1, 2, 3]),
        Err(StoreError::Erased { .. })
    ));
}

/// Builds the aid that makes writes fail; nothing where there is no C compiler.
fn failing_disk(folder: &Path) -> Option<PathBuf> {
    let source = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/common/failing_disk.c");
    let library = folder.join("failing_disk.so");
    let built = Command::new("cc")
        .args(["-shared", "-fPIC", "-O1", "-o"])
        .arg(&library)
        .args([source, "-ldl"])
        .status();
    built.is_ok_and(|s| s.success()).then_some(library)
}

#[test]
fn a_failing_or_full_disk_is_said_and_earlier_data_stays() {
    const EIO: i32 = 5;
    const ENOSPC: i32 = 28;
    let folder = folder();
    let base = folder.path().join("base");
    two_visits(&base);
    let library = failing_disk(folder.path()).expect("the C compiler that built the engine");
    let mut random = StdRng::seed_from_u64(5);
    let (mut refused, mut unharmed, mut full) = (0, 0, 0);
    for round in 0..120 {
        let path = folder.path().join(format!("s{round}"));
        copy_store(&base, &path);
        let with = if round % 2 == 0 { EIO } else { ENOSPC };
        let mut arguments = vec![
            ("ROUND", round.to_string()),
            ("LD_PRELOAD", library.display().to_string()),
            ("FAIL_AT", random.random_range(1..250).to_string()),
            ("FAIL_WITH", with.to_string()),
        ];
        if round % 3 != 0 {
            arguments.push(("FAIL_ON", "1".into()));
        }
        let job = ["visits", "visits", "erase", "backup", "photo", "save"][round % 6];
        arguments.push(("FILE", folder.path().join("backup").display().to_string()));
        let mut running = start(job, &path, &arguments).spawn().expect("start");
        let mut output = Vec::new();
        let mut out = running.stdout.take().expect("pipe");
        // A single failed call may be one the store does not depend on: then stop after a while.
        let (ended, end) = std::sync::mpsc::channel::<()>();
        let watch = std::thread::spawn(move || {
            if end.recv_timeout(Duration::from_millis(800)).is_err() {
                let _ = running.kill();
            }
            running.wait_with_output()
        });
        out.read_to_end(&mut output).expect("read");
        let _ = ended.send(());
        let errors = watch.join().expect("join").expect("wait").stderr;
        let lines = said(&output);
        let sentence = lines.iter().find_map(|l| l.strip_prefix("refused "));
        match sentence {
            Some(sentence) => {
                refused += 1;
                full += u32::from(sentence.contains("disk is full"));
                assert!(
                    sentence.contains("disk")
                        || sentence.contains("Input/output")
                        || sentence.contains("No space"),
                    "{job}: {sentence}"
                );
            }
            None => {
                unharmed += 1;
                assert!(
                    !String::from_utf8_lossy(&errors).contains("panicked"),
                    "{job}: {}",
                    String::from_utf8_lossy(&errors)
                );
            }
        }
        let mut store = open(&path);
        nothing_acknowledged_is_lost(&mut store, &lines);
        store.read("v2").expect("earlier data");
        if job != "erase" {
            store.read("v1").expect("earlier data");
        }
        let report = store.check().expect("check");
        assert!(report.is_clean(), "{job}, round {round}: {report}");
        drop(store);
        std::fs::remove_file(&path).expect("remove");
    }
    println!(
        "120 failing disks: {refused} refused in words ({full} as full), {unharmed} unharmed by the failed call; every store open and clean"
    );
    assert!(refused > 60 && full > 10);
}

#[test]
fn flipped_bits_are_named_and_the_rest_is_readable() {
    let folder = folder();
    let base = folder.path().join("base");
    let mut store = create(&base);
    for i in 0..60 {
        store
            .import(
                &format!("v{i}"),
                VISIT,
                &visit(&format!("v{i}"), &format!("Patient {i}")),
                "Ada",
            )
            .expect("import");
    }
    let photo = store
        .add_photo(&mut Cursor::new(vec![7; 200_000]))
        .expect("add")
        .sha256;
    let mut v = visit("vp", "Photo");
    v["casts"] =
        serde_json::json!([{"id": "c", "side": "left", "measurement": {"photos": [photo]}}]);
    store.import("vp", VISIT, &v, "Ada").expect("import");
    store.lock().expect("lock");
    let whole = std::fs::read(&base).expect("file");
    let mut random = StdRng::seed_from_u64(7);
    let (mut unopened, mut named, mut readable, mut photo_named) = (0, 0, 0, 0);
    let (mut salvages, mut salvaged) = (0, 0);
    let rounds = 150;
    for round in 0..rounds {
        let path = folder.path().join("flipped");
        copy_store(&base, &path);
        let mut bytes = whole.clone();
        let at = if round < 4 {
            round * 7
        } else {
            random.random_range(0..bytes.len())
        };
        bytes[at] ^= 1 << random.random_range(0..8);
        std::fs::write(&path, bytes).expect("write");
        match Store::open(&path, PASSPHRASE, options("t")) {
            Err(StoreError::Damaged { .. }) => unopened += 1,
            Err(other) => panic!("byte {at}: {other}"),
            Ok(mut store) => {
                let report = store.check().expect("check");
                assert!(
                    !report.is_clean(),
                    "byte {at} of {} went unnoticed",
                    whole.len()
                );
                named += 1;
                photo_named += u32::from(
                    report
                        .findings
                        .iter()
                        .any(|f| matches!(f, Finding::PhotoAltered { .. })),
                );
                if round % 5 == 0 {
                    let fresh = folder.path().join(format!("fresh{round}"));
                    // Where even the list of records is damaged there is nothing to go by.
                    if let Ok(told) = store.salvage(&fresh, PASSPHRASE, options("t")) {
                        let mut fresh = open(&fresh);
                        let report = fresh.check().expect("check");
                        let missing = |f: &Finding| matches!(f, Finding::PhotoMissing { .. });
                        assert!(report.findings.iter().all(missing), "{report}");
                        assert_eq!(report.records, told.records);
                        assert_eq!(told.records + told.lost_records.len(), 61);
                        (salvages, salvaged) = (salvages + 1, salvaged + told.records);
                    }
                }
                readable += (0..60)
                    .filter(|i| store.read(&format!("v{i}")).is_ok())
                    .count();
            }
        }
    }
    println!(
        "{rounds} flipped bits: {unopened} kept the store from opening, {named} were named by the check ({photo_named} with the photograph); there {:.1} of 60 visits were still readable on average",
        readable as f64 / f64::from(named)
    );
    println!(
        "{salvages} salvages: {:.1} of 61 visits copied into a clean store on average",
        salvaged as f64 / f64::from(salvages)
    );
    assert!(photo_named > 0 && readable as f64 > 40.0 * f64::from(named));
}
