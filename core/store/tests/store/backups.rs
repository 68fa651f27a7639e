//! Backup and restoring it.

use crate::common::{PASSPHRASE, create, folder, jpeg, open, options, read, visit};
use plinthside_store::{Opened, StoreError, VISIT};
use plinthside_visit::Visit;
use std::io::Cursor;

#[test]
fn a_restored_backup_is_the_store_with_another_identity() {
    let folder = folder();
    let (path, file, copy) = (
        folder.path().join("a"),
        folder.path().join("a.backup"),
        folder.path().join("b"),
    );
    let mut store = create(&path);
    store
        .import("v1", VISIT, &visit("v1", "Anna"), "Ada")
        .expect("import");
    let photo = store
        .add_photo(&mut Cursor::new(jpeg(3, 800, 600)))
        .expect("add");
    let mut seen = (0, 0);
    let mut progress = |done, all| {
        seen = (done, all);
        std::ops::ControlFlow::Continue(())
    };
    let size = store
        .backup(&file, "Ada", &mut progress)
        .expect("backup")
        .expect("size");
    assert_eq!(size, std::fs::metadata(&file).expect("file").len());
    assert_eq!(seen.0, seen.1);
    // Cancelled: what was there stays.
    let stopped = store
        .backup(&file, "Ada", &mut |_, _| std::ops::ControlFlow::Break(()))
        .expect("stop");
    assert_eq!(stopped, None);
    assert_eq!(std::fs::metadata(&file).expect("file").len(), size);
    assert_eq!(
        std::fs::read_dir(folder.path()).expect("dir").count(),
        6,
        "nothing half done stays"
    );

    let restore = |file: &std::path::Path, to: &std::path::Path, pass: &str| {
        plinthside_store::restore(file, to, pass, options("Tablet 2"))
    };
    assert!(matches!(
        restore(&file, &path, PASSPHRASE),
        Err(StoreError::Exists { .. })
    ));
    assert!(matches!(
        restore(&file, &copy, "not the right one"),
        Err(StoreError::WrongPassphrase)
    ));
    assert!(!copy.exists());
    let whole = std::fs::read(&file).expect("file");
    let cut = folder.path().join("cut");
    for length in [0, 100, 600, 5000, whole.len() / 2] {
        std::fs::write(&cut, &whole[..length]).expect("write");
        let refused = restore(&cut, &copy, PASSPHRASE);
        assert!(
            matches!(refused, Err(StoreError::NotABackup { .. })),
            "{length}: {refused:?}"
        );
        assert!(!copy.exists());
    }
    let report = restore(&file, &copy, PASSPHRASE).expect("restore");
    assert!(report.is_clean(), "{report}");
    assert_eq!((report.records, report.photos), (1, 1));
    let mut restored = open(&copy);
    assert_ne!(restored.device_id(), store.device_id());
    assert_eq!(read(&mut restored, "v1"), read(&mut store, "v1"));
    assert!(restored.has_photo(&photo.sha256).expect("photo"));
    // The same visit edited in both: the changes differ in their maker, so they merge.
    for (store, reason) in [(&mut store, "one"), (&mut restored, "two")] {
        let mut opened: Opened<Visit> = store.open_record("v1").expect("open");
        opened.value.reason = reason.into();
        store.save(&mut opened, "x", "").expect("save");
        store.finish("v1").expect("finish");
    }
    let out = restored.whole("v1").expect("whole").expect("finished");
    store
        .receive(&out.id, &out.kind, &out.changes)
        .expect("receive");
    assert_eq!(store.conflicts("v1").expect("conflicts").len(), 1);
}

#[test]
fn a_backup_holds_the_moment_it_began_while_work_goes_on() {
    let folder = folder();
    let (path, file, copy) = (
        folder.path().join("a"),
        folder.path().join("a.backup"),
        folder.path().join("b"),
    );
    let mut store = create(&path);
    for i in 0..30 {
        let id = format!("v{i}");
        store
            .import(&id, VISIT, &visit(&id, "Anna"), "Ada")
            .expect("import");
    }
    let job = store.begin_backup().expect("begin");
    store
        .import("later", VISIT, &visit("later", "Berta"), "Ada")
        .expect("import");
    let written = std::thread::spawn({
        let file = file.clone();
        move || job.write(&file, &mut |_, _| std::ops::ControlFlow::Continue(()))
    });
    for i in 0..30 {
        let mut opened: Opened<Visit> = store.open_record(&format!("v{i}")).expect("open");
        opened.value.reason = "changed meanwhile".into();
        store
            .save(&mut opened, "Ada", "")
            .expect("saving is not held up");
        store.finish(&format!("v{i}")).expect("finish");
    }
    written
        .join()
        .expect("thread")
        .expect("backup")
        .expect("size");
    let report =
        plinthside_store::restore(&file, &copy, PASSPHRASE, options("t")).expect("restore");
    assert!(report.is_clean(), "{report}");
    assert_eq!(report.records, 30, "not the visit that came later");
    let mut restored = open(&copy);
    assert_eq!(read(&mut restored, "v7")["reason"], "trips when tired");
    assert_eq!(read(&mut store, "v7")["reason"], "changed meanwhile");
    assert!(store.check().expect("check").is_clean());
}
