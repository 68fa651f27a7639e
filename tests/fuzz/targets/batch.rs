//! Files at a target that are not what they should be: one of a practice's own files is exchanged,
//! cut or changed. The device that reads it names it and keeps what it had.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_exchange::{Devices, Memory, Sync, Target, sync};
use plinthside_store::{Kdf, Options, Store, VISIT};
use serde_json::json;
use std::cell::RefCell;
use std::sync::Mutex;
use std::sync::atomic::AtomicBool;

struct Practice {
    _folder: tempfile::TempDir,
    reader: Mutex<Store>,
    target: Memory,
    kept: serde_json::Value,
}

fn store(folder: &std::path::Path, device: &str) -> Mutex<Store> {
    let options = Options::new(device).kdf(Kdf::LEAST);
    Mutex::new(Store::create(folder.join(device), "plaster sets", options).expect("a store"))
}

fn meet(store: &Mutex<Store>, target: &Memory) -> bool {
    let cancel = AtomicBool::new(false);
    let how = Sync { address: "memory", cancel: &cancel, progress: &mut |_| {}, photographs: true };
    sync(store, target, how).is_ok()
}

impl Practice {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let (writer, reader) = (store(folder.path(), "A"), store(folder.path(), "B"));
        let target = Memory::default();
        Devices(&writer).begin("A").expect("a practice");
        meet(&writer, &target);
        let code = Devices(&writer).invite(&target).expect("a code").text;
        Devices(&reader).join(&target, &code, "B").expect("joined");
        meet(&writer, &target);
        meet(&reader, &target);
        let visit = json!({ "schema": 1, "id": "v1", "reason": "trips", "sides": ["left"] });
        let mut held = writer.lock().expect("held");
        held.import("v1", VISIT, &visit, "Ada").expect("taken in");
        drop(held);
        meet(&writer, &target);
        meet(&reader, &target);
        let kept = reader.lock().expect("held").read("v1").expect("it arrived");
        Self { _folder: folder, reader, target, kept }
    }
}

thread_local! {
    static PRACTICE: RefCell<Practice> = RefCell::new(Practice::new());
}

fuzz_target!(|input: (u8, bool, &[u8])| {
    let (which, anew, bytes) = input;
    PRACTICE.with_borrow(|practice| {
        let files = practice.target.files();
        let Some((name, whole)) = files.iter().nth(usize::from(which) % files.len().max(1)) else {
            return;
        };
        let changed: Vec<u8> = match anew {
            true => bytes.to_vec(),
            false => {
                let mask = bytes.iter().chain(std::iter::repeat(&0));
                whole.iter().zip(mask).map(|(a, b)| a ^ b).collect()
            }
        };
        practice.target.put(name, &changed).expect("put");
        meet(&practice.reader, &practice.target);
        let here = practice.reader.lock().expect("held").read("v1").expect("kept");
        assert_eq!(here, practice.kept);
        // What the reader put there meanwhile goes again.
        for name in practice.target.files().keys().filter(|name| !files.contains_key(*name)) {
            practice.target.delete(name).expect("deleted");
        }
        practice.target.put(name, whole).expect("put back");
    });
});
