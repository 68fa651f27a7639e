//! Shared by the tests: stores that cost little, practices, a target that fails on demand.
#![allow(clippy::expect_used)]

use plinthside_exchange::{Devices, ExchangeError, Memory, Report, Sync, Target, sync};
use plinthside_store::{Kdf, Options, Store};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::AtomicBool;

pub fn store(folder: &Path, device: &str) -> Mutex<Store> {
    let cheap = Kdf {
        memory_kib: 64,
        passes: 1,
        lanes: 1,
    };
    let path = folder.join(device);
    Mutex::new(
        Store::create(
            path,
            "plaster sets in minutes",
            Options::new(device).kdf(cheap),
        )
        .expect("create"),
    )
}

pub fn visit(id: &str, reason: &str, photos: &[String]) -> Value {
    json!({
        "schema": 1, "id": id, "at": "2026-03-05T09:30:00+01:00", "clinician": "Ada Invented", "place": "clinic",
        "sides": ["left"], "reason": reason, "person": {"code": format!("P-{id}"), "name": "Quirin Zwetsch"},
        "casts": [{"id": "c1", "side": "left", "measurement": {"photos": photos}}]
    })
}

pub fn add(store: &Mutex<Store>, id: &str, reason: &str, photos: &[&[u8]]) {
    let mut store = store.lock().expect("lock");
    let shas: Vec<String> = photos
        .iter()
        .map(|p| {
            store
                .add_photo(&mut std::io::Cursor::new(p))
                .expect("photo")
                .sha256
        })
        .collect();
    store
        .import(id, "visit", &visit(id, reason, &shas), "Ada")
        .expect("import");
}

pub fn edit(store: &Mutex<Store>, id: &str, reason: &str) {
    let mut store = store.lock().expect("lock");
    let mut opened = store.open_record::<Value>(id).expect("open");
    opened.value["reason"] = reason.into();
    store.save(&mut opened, "Ada", "").expect("save");
    store.finish(id).expect("finish");
}

pub fn reason(store: &Mutex<Store>, id: &str) -> String {
    let value = store.lock().expect("lock").read(id).expect("read");
    value["reason"].as_str().unwrap_or_default().to_owned()
}

pub fn try_sync(store: &Mutex<Store>, target: &dyn Target) -> Result<Report, ExchangeError> {
    sync_at(store, target, "memory", true)
}

pub fn sync_at(
    store: &Mutex<Store>,
    target: &dyn Target,
    address: &str,
    photographs: bool,
) -> Result<Report, ExchangeError> {
    let go = AtomicBool::new(false);
    sync(
        store,
        target,
        Sync {
            address,
            cancel: &go,
            progress: &mut |_| {},
            photographs,
        },
    )
}

pub fn run(store: &Mutex<Store>, target: &dyn Target) -> Report {
    try_sync(store, target).expect("sync")
}

/// Two devices of one practice, joined over the target.
pub fn pair(folder: &Path, target: &dyn Target) -> (Mutex<Store>, Mutex<Store>) {
    let (a, b) = (store(folder, "A"), store(folder, "B"));
    Devices(&a).begin("Tablet A").expect("begin");
    run(&a, target);
    join(&a, &b, "Tablet B", target);
    (a, b)
}

pub fn join(member: &Mutex<Store>, newcomer: &Mutex<Store>, name: &str, target: &dyn Target) {
    let invitation = Devices(member).invite(target).expect("invite");
    Devices(newcomer)
        .join(target, &invitation.text, name)
        .expect("join");
    run(member, target);
    run(newcomer, target);
}

/// Files of batches at a target.
pub fn batches(target: &Memory) -> BTreeSet<String> {
    let files = target.files();
    let batches = files.keys().filter(|name| name.contains("/changes/"));
    batches.cloned().collect()
}

pub fn memory() -> Memory {
    Memory::default()
}
