//! Photographs: byte for byte, once each, missed when gone.

use crate::common::{create, folder, jpeg, visit};
use plinthside_store::{Finding, StoreError, VISIT};
use serde_json::json;
use std::io::Cursor;

#[test]
fn photographs_are_kept_byte_for_byte_once_and_missed_when_gone() {
    let folder = folder();
    let path = folder.path().join("store");
    let mut store = create(&path);
    let bytes = jpeg(1, 1200, 900);
    let photo = store.add_photo(&mut Cursor::new(&bytes)).expect("add");
    assert_eq!(
        store.add_photo(&mut Cursor::new(&bytes)).expect("again"),
        photo
    );
    assert_eq!(photo.size, bytes.len() as u64);
    let mut out = Vec::new();
    assert_eq!(
        store.export_photo(&photo.sha256, &mut out).expect("export"),
        photo.size
    );
    assert_eq!(out, bytes);
    let small = store.small_photo(&photo.sha256, 320).expect("small");
    let picture = image::load_from_memory(&small).expect("picture");
    assert_eq!((picture.width(), picture.height()), (320, 240));
    // Not a picture, but kept all the same.
    let odd = store
        .add_photo(&mut Cursor::new(b"not a picture"))
        .expect("add");
    assert!(matches!(
        store.small_photo(&odd.sha256, 320),
        Err(StoreError::NotAPicture { .. })
    ));
    let empty = store.add_photo(&mut Cursor::new(b"")).expect("add");
    assert_eq!(
        empty.sha256,
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    );
    assert!(matches!(store.photo("00"), Err(StoreError::NoPhoto { .. })));

    let mut v = visit("v1", "Anna");
    let absent = "11".repeat(32);
    v["casts"] = json!([{"id": "c", "side": "left", "measurement": {"photos": [photo.sha256, absent], "by": "Ada"}}]);
    store.import("v1", VISIT, &v, "Ada").expect("import");
    let report = store.check().expect("check");
    assert_eq!(report.photos, 3);
    assert_eq!(
        report.findings,
        [Finding::PhotoMissing {
            sha256: absent,
            visit: "v1".into()
        }]
    );
}

#[test]
fn a_source_that_changes_while_it_is_read_is_refused() {
    struct Shifty(Cursor<Vec<u8>>, bool);
    impl std::io::Read for Shifty {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            self.0.read(buffer)
        }
    }
    impl std::io::Seek for Shifty {
        fn seek(&mut self, to: std::io::SeekFrom) -> std::io::Result<u64> {
            if matches!(to, std::io::SeekFrom::Start(_)) && self.1 {
                self.0.get_mut()[3] ^= 1;
            }
            self.0.seek(to)
        }
    }
    let folder = folder();
    let mut store = create(&folder.path().join("store"));
    let refused = store.add_photo(&mut Shifty(Cursor::new(vec![7; 500_000]), true));
    assert!(matches!(refused, Err(StoreError::SourceChanged)));
    assert_eq!(store.check().expect("check").photos, 0);
    store
        .add_photo(&mut Shifty(Cursor::new(vec![7; 500_000]), false))
        .expect("add");
}
