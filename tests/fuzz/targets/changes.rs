//! Changes of a record, made elsewhere: refused whole, or readable afterwards.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_store::{Kdf, Options, Store, VISIT};
use std::cell::RefCell;

thread_local! {
    static STORE: RefCell<(tempfile::TempDir, Store)> = {
        let folder = tempfile::tempdir().expect("a folder");
        let options = Options::new("fuzz").kdf(Kdf::LEAST);
        let store = Store::create(folder.path().join("a"), "plaster sets", options);
        RefCell::new((folder, store.expect("a store")))
    };
}

fuzz_target!(|changes: &[u8]| {
    STORE.with_borrow_mut(|(_, store)| {
        if store.receive("v", VISIT, changes).is_ok() {
            let _ = store.read("v");
        }
    });
});
