//! Writes a small store into a folder, with what other software must find in it: for
//! `tests/outside/test_store.py`. Prints one JSON object.
//!
//! ```text
//! cargo run --release -p plinthside-store --example outside -- FOLDER
//! ```
#![allow(clippy::expect_used)]

use plinthside_store::{Kdf, Opened, Options, Store, VISIT};
use serde_json::{Value, json};
use std::io::Cursor;
use std::path::PathBuf;

const PASSPHRASE: &str = "an invented passphrase, ä ß 漢";

fn main() {
    let folder = PathBuf::from(std::env::args().nth(1).expect("a folder"));
    let path = folder.join("store");
    let mut store =
        Store::create(&path, PASSPHRASE, Options::new("Tablet 1").kdf(Kdf::LEAST)).expect("create");
    let photo_bytes = b"not even a picture: pixel pixel pixel ".repeat(9000);
    let photo = store
        .add_photo(&mut Cursor::new(&photo_bytes))
        .expect("photo");
    let mut ids = Vec::new();
    for number in 0..40 {
        let id = format!("visit-{number}");
        let visit = json!({"id": id, "reason": "trips over carpets", "person": {"name": "Quirinius Zwetschgenbaum"},
            "readings": [{"id": "r1", "kind": "resting_heel_deg", "repeats": [1.5, 2, -3]}],
            "casts": [{"id": "c", "side": "left", "rock_mm": {"typed": "1 mm", "value": 1.0}, "measurement": {"photos": [photo.sha256]}}],
            "big": 9_007_199_254_740_991_i64, "yes": true, "none": null, "empty": [], "text": "ä ß 漢 🦶"});
        let mut opened: Opened<Value> = store.begin(&id, VISIT, &visit, "Ada").expect("begin");
        for entry in 0..number % 20 {
            opened.value["reason"] = format!("entry {entry}").into();
            opened.value["readings"][0]["repeats"]
                .as_array_mut()
                .expect("list")
                .push(entry.into());
            store.save(&mut opened, "Ada", "").expect("save");
        }
        store.finish(&id).expect("finish");
        ids.push(id);
    }
    let documents: Vec<Value> = ids
        .iter()
        .map(|id| {
            let document = store.document(id).expect("document");
            let (packed, pieces) = (
                folder.join(format!("{id}.packed")),
                folder.join(format!("{id}.pieces")),
            );
            std::fs::write(&packed, document.save()).expect("write");
            std::fs::write(&pieces, document.changes_since(&[])).expect("write");
            let heads: Vec<String> = document.heads().iter().map(ToString::to_string).collect();
            json!({"packed": packed, "pieces": pieces, "value": document.value().expect("value"),
                "heads": heads, "changes": document.changes()})
        })
        .collect();
    let backup = folder.join("backup.tar");
    store
        .backup(&backup, "Ada", &mut |_, _| {
            std::ops::ControlFlow::Continue(())
        })
        .expect("backup");
    // A draft stays in the log beside the file: that must be unreadable too.
    let mut opened: Opened<Value> = store.open_record("visit-3").expect("open");
    opened.value["reason"] = "Quirinius Zwetschgenbaum again".into();
    store.save(&mut opened, "Ada", "").expect("save");
    std::fs::copy(folder.join("store-wal"), folder.join("log")).expect("log");
    store.lock().expect("lock");
    let told = json!({"store": path, "backup": backup, "log": folder.join("log"), "passphrase": PASSPHRASE,
        "plaintext": ["Zwetschgenbaum", "carpets", "pixel pixel", "resting_heel_deg", "SQLite format", "CREATE TABLE"],
        "photo": {"sha256": photo.sha256, "size": photo.size}, "visits": ids.len(), "documents": documents});
    println!("{told}");
}
