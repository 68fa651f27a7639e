//! Disks that fail, are full, or return other bits than they were given.

use crate::child::{said, start};
use crate::common::{PASSPHRASE, create, folder, open, options, visit};
use crate::{copy_store, nothing_acknowledged_is_lost, two_visits};
use plinthside_store::{Finding, Store, StoreError, VISIT};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use std::io::{Cursor, Read};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

/// Builds the aid that makes writes fail; nothing where there is no C compiler.
pub fn failing_disk(folder: &Path) -> Option<PathBuf> {
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
