//! Shared by the store's tests: a cheap passphrase cost, a clock that is told the time, visits.
#![allow(dead_code, clippy::expect_used)]

use plinthside_store::{Clock, Kdf, Options, Store};
use serde_json::{Value, json};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

pub const PASSPHRASE: &str = "plaster sets in minutes";
pub const CHEAP: Kdf = Kdf {
    memory_kib: 64,
    passes: 1,
    lanes: 1,
};

/// A clock that stands until it is set.
#[derive(Clone)]
pub struct Hands(pub Arc<AtomicI64>);

impl Hands {
    pub fn at(now_ms: i64) -> Self {
        Self(Arc::new(AtomicI64::new(now_ms)))
    }
    pub fn add(&self, ms: i64) {
        self.0.fetch_add(ms, Ordering::Relaxed);
    }
}

impl Clock for Hands {
    fn now_ms(&self) -> i64 {
        self.0.load(Ordering::Relaxed)
    }
}

pub fn options(device: &str) -> Options {
    Options::new(device).kdf(CHEAP)
}

pub fn create(path: &Path) -> Store {
    Store::create(path, PASSPHRASE, options("Tablet 1")).expect("create")
}

pub fn open(path: &Path) -> Store {
    Store::open(path, PASSPHRASE, options("Tablet 1")).expect("open")
}

/// An invented visit as JSON.
pub fn visit(id: &str, patient: &str) -> Value {
    json!({
        "schema": 1, "id": id, "at": "2026-03-05T09:30:00+01:00", "clinician": "Ada Invented", "place": "clinic",
        "sides": ["left"], "reason": "trips when tired", "person": {"code": format!("P-{id}"), "name": patient, "born": "1951-04-02"},
        "readings": [], "legs": [], "casts": [], "checked": {}, "orders": [], "follow_up": [],
        "deferred": null, "previous_visit": null
    })
}

pub fn read(store: &mut Store, id: &str) -> Value {
    store.read(id).expect("read")
}

/// An order with one revision, signed or not.
pub fn order(signed: bool) -> Value {
    json!([{"id": "o1", "side": "left", "cast": "c1", "history": [{"to": if signed { "signed" } else { "draft" }, "at": "2026-03-05T10:00:00+01:00", "by": "Ada", "revision": 1}],
        "revisions": [{"number": 1, "prescription": {"note": "relieve the navicular", "identity": {"lab": "Gipswerk Musterstadt"}},
            "because": {}, "overrides": {}, "reason": "",
            "signature": if signed { json!({"at": "2026-03-05T10:00:00+01:00", "prescriber": {"name": "Ada"}, "cautions": []}) } else { Value::Null }}]}])
}

pub fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("folder")
}

/// An invented picture.
pub fn jpeg(seed: u32, width: u32, height: u32) -> Vec<u8> {
    let picture = image::RgbImage::from_fn(width, height, |x, y| {
        image::Rgb([(x * 7 + seed) as u8, (y * 5) as u8, (x * y / 50) as u8])
    });
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 90)
        .encode_image(&picture)
        .expect("jpeg");
    bytes
}
