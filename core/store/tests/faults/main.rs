//! Kills, full and failing disks, flipped bits: nothing acknowledged is lost, and it is said so.
//!
//! `FAULT_KILLS` sets the number of random kills (300).
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::panic)]

#[path = "../common/child.rs"]
mod child;
#[path = "../common/mod.rs"]
mod common;
mod disks;
mod erasure;
mod kills;
mod writes;

use common::{create, order, visit};
use plinthside_store::{Store, VISIT};
use std::collections::HashMap;
use std::io::Cursor;
use std::path::Path;

/// Not a test by itself: what the others start.
#[test]
#[ignore = "started by the other tests"]
fn the_child() {
    child::run();
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
