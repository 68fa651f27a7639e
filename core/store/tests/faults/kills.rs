//! Killed at random instants and in every numbered step.

use crate::child::{said, start};
use crate::common::{PASSPHRASE, create, folder, open, options, visit};
use crate::{copy_store, nothing_acknowledged_is_lost, remains, two_visits};
use plinthside_store::{Store, StoreError, VISIT};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::Duration;

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
