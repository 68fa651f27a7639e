//! What is left of an erased visit.

use crate::common::{create, folder, open, visit};
use crate::{remains, two_visits};
use plinthside_store::{StoreError, VISIT};
use std::path::PathBuf;

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
    let told = store.changed_since(0, 9).expect("changed");
    let erased = told.iter().find(|changed| changed.id == "v1").expect("v1");
    assert_eq!(erased.erased_by.as_deref(), Some("Ada"));
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
