//! Writes sealed packages of an invented order, two revisions, with the lab's key and a receipt:
//! what the checks against other people's software look at.
//!
//! `package DIR` writes; `package open FILE KEY OUT` opens and says what it found;
//! `package unseal FILE KEY` opens whatever `age` sealed.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[allow(dead_code)] // it needs a part of what the tests share
#[path = "../tests/exchange/order.rs"]
mod order;

use order::{bench, clinic, invented, signed};
use plinthside_exchange::{
    Answer, Devices, Memory, PackInputs, SecretKey, Target, open, pack, package, read_receipts,
};
use plinthside_store::{Kdf, Options, Store};
use plinthside_visit::Lang;
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
    let (lab, clinic) = (bench(&key), clinic());
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
    for line in told {
        println!("{line}");
    }
}
