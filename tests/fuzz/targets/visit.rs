//! A visit as a file: taken in, and packed for a lab with its FHIR bundle where an order is signed.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_exchange::{Devices, PackInputs, SecretKey, Sender, pack};
use plinthside_store::{Kdf, Options, Store};
use plinthside_visit::person::Lab;
use plinthside_visit::{Clinic, Lang, Visit};
use std::sync::{LazyLock, Mutex};

static PRACTICE: LazyLock<(tempfile::TempDir, Sender, Lab)> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder");
    let options = Options::new("fuzz").kdf(Kdf::LEAST);
    let store = Store::create(folder.path().join("a"), "plaster sets", options);
    let store = Mutex::new(store.expect("a store"));
    let sender = Devices(&store).sender("fuzz").expect("a practice");
    let lab = Lab {
        name: "Kiln Row Workshop".into(),
        public_key: SecretKey::generate().public().expect("a key"),
        ..Lab::default()
    };
    (folder, sender, lab)
});

fuzz_target!(|text: &str| {
    let Ok(visit) = serde_json::from_str::<Visit>(text) else {
        return;
    };
    let (_, sender, lab) = &*PRACTICE;
    let clinic = Clinic::default();
    for order in &visit.orders {
        let _ = pack(&PackInputs {
            visit: &visit,
            order: &order.id,
            clinic: &clinic,
            lab,
            sender,
            order_pdf: b"%PDF-1.7\n%%EOF\n",
            bench_pdf: None,
            photographs: &[],
            with_name: true,
            at: chrono::DateTime::UNIX_EPOCH.fixed_offset(),
            lang: Lang::De,
        });
    }
});
