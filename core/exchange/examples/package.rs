//! Writes sealed packages of an invented order, two revisions, with the lab's key and a receipt:
//! what the checks against other people's software look at.
//!
//! `package DIR` writes; `package open FILE KEY OUT` opens and says what it found;
//! `package unseal FILE KEY` opens whatever `age` sealed.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use plinthside_exchange::{
    Answer, Devices, Memory, PackInputs, SecretKey, Target, open, pack, package, read_receipts,
};
use plinthside_store::{Kdf, Options, Store};
use plinthside_visit::order::Signature;
use plinthside_visit::person::{Lab, Prescriber};
use plinthside_visit::words::Extra;
use plinthside_visit::{Clinic, Lang, Visit};
use serde_json::json;
use std::path::Path;
use std::sync::Mutex;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["open", file, key, out] => {
            let key = SecretKey::read(&std::fs::read_to_string(key).expect("key")).expect("key");
            match open(&std::fs::read(file).expect("file"), &key) {
                Ok(opened) => {
                    let (place, told) = opened.write(Path::new(out)).expect("write");
                    println!("{}", place.display());
                    opened
                        .words()
                        .iter()
                        .chain(&told)
                        .for_each(|line| println!("{line}"));
                }
                Err(error) => {
                    eprintln!("{error}");
                    std::process::exit(1);
                }
            }
        }
        [folder] => write(Path::new(folder)),
        _ => std::process::exit(2),
    }
}

fn invented() -> Visit {
    let q = |value: f64, unit: &str| json!({"value": value, "unit": unit, "instrument_sd": 0.2, "total_sd": 0.6, "low95": value - 1.2, "high95": value + 1.2});
    serde_json::from_value(json!({
        "schema": 1, "id": "v1", "at": "2026-03-05T09:30:00+01:00", "clinician": "Ada Invented", "sides": ["left"],
        "person": {"code": "P-0417", "name": "Quirin Zwetschgenbaum", "born": "1951-04-02", "body_mass_kg": 81.5, "stature_mm": 1765},
        "legs": [{"side": "left", "values": {"bimalleolar_breadth_mm": [72, 73], "shank_lean_deg": [4]}}],
        "casts": [{"id": "c1", "side": "left", "code": "K7Q2-M9TR-B4HX-C", "measurement": {"results": {
            "side": "left", "source": "photographs", "reference": "hinge_line",
            "side_check": {"outcome": "agrees", "stops": false, "sentences": []},
            "quantities": {"heel_deg": q(-3.25, "deg"), "heel_mark_spacing_mm": q(41.0, "mm")}, "words": {}, "points": [],
            "medial_hinge": null, "lateral_hinge": null, "comparisons": [], "refused": [], "warnings": []}}}],
        "orders": [{"id": "o1", "side": "left", "cast": "c1", "revisions": [
            {"number": 1, "prescription": {}}, {"number": 2, "prescription": {}, "reason": "shoe changed"}]}]
    }))
    .expect("visit")
}

fn signed(visit: &mut Visit, revisions: usize) {
    let order = &mut visit.orders[0];
    order.revisions.truncate(revisions);
    for (i, revision) in order.revisions.iter_mut().enumerate() {
        for (path, value) in [
            ("identity.quantity", json!(1)),
            ("motion.plantarflexion.stop_deg", json!(0)),
            ("motion.hinge_rated_mass_kg", json!(120)),
            ("shell.thickness_mm", json!(4)),
            ("shell.full_padding", json!(true)),
            ("correction.rearfoot_post_hardness_shore_a", json!(40)),
            (
                "motion.dorsiflexion.stop_deg",
                json!(if i == 0 { 10 } else { 15 }),
            ),
            ("closure.colour", json!("blue")),
        ] {
            revision.prescription.set(path, value).expect(path);
        }
        let prescriber = Prescriber {
            name: "Ada Invented".into(),
            profession: "Orthotist".into(),
            registration: "X-1".into(),
            ..Prescriber::default()
        };
        let at = format!("2026-03-{:02}T10:00:00+01:00", 5 + i)
            .parse()
            .expect("time");
        revision.signature = Some(Signature {
            prescriber,
            at,
            cautions: Vec::new(),
            extra: Extra::new(),
        });
    }
}

fn write(folder: &Path) {
    std::fs::create_dir_all(folder).expect("folder");
    let path = folder.join("store");
    let cheap = Kdf {
        memory_kib: 64,
        passes: 1,
        lanes: 1,
    };
    let store = Mutex::new(
        Store::create(
            &path,
            "plaster sets in minutes",
            Options::new("Tablet 1").kdf(cheap),
        )
        .expect("store"),
    );
    let sender = Devices(&store).sender("Tablet 1").expect("sender");
    let key = SecretKey::generate();
    std::fs::write(folder.join("lab-key.txt"), key.file().expect("key")).expect("write");
    let lab = Lab {
        name: "Bench & Sons".into(),
        public_key: key.public().expect("key"),
        ..Lab::default()
    };
    let clinic = Clinic {
        name: "Invented Clinic".into(),
        telephone: "+00 0000 0000".into(),
        ..Clinic::default()
    };
    let mut photo = vec![0xff, 0xd8, 0xff];
    photo.extend(std::iter::repeat_n(7_u8, 100_000));
    let target = Memory::default();
    for (revisions, with_name) in [(1, false), (2, false), (2, true)] {
        let mut visit = invented();
        signed(&mut visit, revisions);
        let inputs = PackInputs {
            visit: &visit,
            order: "o1",
            clinic: &clinic,
            lab: &lab,
            sender: &sender,
            order_pdf: b"%PDF-1.7\norder\n%%EOF\n",
            bench_pdf: Some(b"%PDF-1.7\nbench\n%%EOF\n"),
            photographs: &[photo.clone()],
            with_name,
            at: "2026-03-09T08:00:00+01:00".parse().expect("time"),
            lang: Lang::En,
        };
        let packed = pack(&inputs).expect("pack");
        let name = if with_name {
            format!("named-{}", packed.name)
        } else {
            packed.name.clone()
        };
        std::fs::write(folder.join(&name), &packed.bytes).expect("write");
        println!("{name} {:?}", packed.warnings);
        if !with_name {
            target
                .put(&package::lab_path(&lab.name, &packed.name), &packed.bytes)
                .expect("put");
            let opened = open(&packed.bytes, &key).expect("open");
            let (name, bytes) = opened
                .receipt(Answer::Question, "Bo", "Which blue?", inputs.at)
                .expect("receipt");
            target
                .put(&package::lab_path(&lab.name, &name), &bytes)
                .expect("put");
        }
    }
    let (receipts, told) =
        read_receipts(&target, &sender, &lab.name, "K7Q2-M9TR-B4HX-C").expect("receipts");
    for receipt in receipts {
        println!(
            "receipt r{} {:?} {} {}",
            receipt.revision, receipt.answer, receipt.by, receipt.reason
        );
    }
    told.iter().for_each(|line| println!("{line}"));
}
