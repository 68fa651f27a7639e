//! Killed before a write or sync inside each kind of work: beyond its numbered steps, within them.

use crate::child::start;
use crate::common::{PASSPHRASE, folder, open, options};
use crate::disks::failing_disk;
use crate::{copy_store, remains, two_visits};
use plinthside_store::{StoreError, restore};
use std::ops::ControlFlow;
use std::os::unix::process::ExitStatusExt;
use std::path::Path;

#[test]
fn killed_before_a_write_or_sync_inside_every_kind_of_work() {
    let folder = folder();
    let base = folder.path().join("base");
    two_visits(&base);
    let backup = folder.path().join("backup");
    open(&base)
        .backup(&backup, "Ada", &mut |_, _| ControlFlow::Continue(()))
        .expect("backup");
    let oldest = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/v1.store");
    let library = failing_disk(folder.path()).expect("the C compiler that built the engine");
    for job in [
        "save", "photo", "erase", "backup", "restore", "create", "migrate",
    ] {
        let (mut kills, mut call) = (0, 1);
        let done = loop {
            let path = folder.path().join(format!("{job}{call}"));
            match job {
                "create" | "restore" => {}
                "migrate" => copy_store(&oldest, &path),
                _ => copy_store(&base, &path),
            }
            let file = match job {
                "restore" => backup.clone(),
                _ => folder.path().join("newer"),
            };
            let arguments = [
                ("LD_PRELOAD", library.display().to_string()),
                ("FAIL_AT", call.to_string()),
                ("FAIL_WITH", "0".to_owned()),
                ("FILE", file.display().to_string()),
            ];
            let started = if job == "migrate" { "open" } else { job };
            let output = start(started, &path, &arguments).output().expect("run");
            if output.status.signal() != Some(9) {
                break String::from_utf8_lossy(&output.stdout).contains("@done");
            }
            kills += 1;
            sound_after(job, &path, &file);
            // Every call at first, then fewer and fewer of those that copy page after page.
            call += 1 + call / 8;
        };
        println!(
            "{job}: {kills} kills inside it, up to write or sync {call}, each left it whole or as it was"
        );
        assert!(done && kills > 3, "{job}: {kills}");
    }
}

/// After the kill the work is done or not begun, and can be done again.
fn sound_after(job: &str, path: &Path, file: &Path) {
    if job == "restore" && !path.exists() {
        restore(file, path, PASSPHRASE, options("t")).expect("again");
    }
    if job == "create" && !path.exists() {
        plinthside_store::Store::create(path, PASSPHRASE, options("t")).expect("again");
        return;
    }
    let mut store = open(path);
    let report = store.check().expect("check");
    assert!(report.is_clean(), "{job}: {report}");
    if job != "create" {
        store.read("v2").expect("the other visit");
    }
    match job {
        "erase" => {
            let erased = matches!(store.read("v1"), Err(StoreError::Erased { .. }));
            assert!(erased || store.read("v1").is_ok());
            let key = store.raw_key().to_string();
            store.lock().expect("lock");
            assert!(!erased || remains(path, &key).is_empty());
        }
        "backup" if file.exists() => {
            let back = path.with_extension("back");
            let report = restore(file, &back, PASSPHRASE, options("t")).expect("restore");
            assert!(report.is_clean(), "{report}");
        }
        "migrate" => assert_eq!(store.unfinished().expect("list").len(), 1),
        _ => {}
    }
}
