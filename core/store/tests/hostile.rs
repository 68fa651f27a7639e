//! Bytes nobody should send: changes from another device and backup files, damaged and made up.
//! Nothing panics, what is refused leaves no trace, and what is taken in can be read.
//!
//! `HOSTILE_SECONDS` sets how long each test goes on (3), `HOSTILE_SEED` where it starts; every
//! test prints its executions.
#![allow(clippy::expect_used)]

mod common;

use automerge::ActorId;
use common::{PASSPHRASE, create, folder, jpeg, open, options, read, visit};
use plinthside_store::{Document, Incoming, Stamp, StoreError, VISIT, restore};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::io::Cursor;
use std::time::{Duration, Instant};

const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
const DOCUMENT: u8 = 0;

fn number(name: &str, otherwise: u64) -> u64 {
    let told = std::env::var(name).ok().and_then(|text| text.parse().ok());
    told.unwrap_or(otherwise)
}

/// Runs `once` over and over for the time it has; prints how often, and how often it was taken in.
fn for_its_time(what: &str, mut once: impl FnMut(&mut StdRng) -> bool) {
    let time = Duration::from_secs(number("HOSTILE_SECONDS", 3));
    let (started, seed) = (Instant::now(), number("HOSTILE_SEED", 1));
    let (mut executions, mut taken) = (0_u64, 0_u64);
    while started.elapsed() < time {
        let mut dice = StdRng::seed_from_u64(seed.wrapping_add(executions));
        taken += u64::from(once(&mut dice));
        executions += 1;
    }
    println!("{what}: {executions} executions from seed {seed}, {taken} taken in");
    assert!(executions > 0);
}

/// One of `good`, damaged in one to four places, or made up.
fn damaged(good: &[Vec<u8>], dice: &mut StdRng) -> Vec<u8> {
    let mut bytes = good[dice.random_range(0..good.len())].clone();
    if dice.random_ratio(1, 20) {
        bytes = (0..dice.random_range(0..400))
            .map(|_| dice.random())
            .collect();
    }
    for _ in 0..dice.random_range(1..5) {
        if bytes.is_empty() {
            break;
        }
        let at = dice.random_range(0..bytes.len());
        let end = dice.random_range(at..bytes.len().min(at + 64)) + 1;
        match dice.random_range(0..7) {
            0 => bytes[at] ^= 1 << dice.random_range(0..8),
            1 => bytes[at] = [0, 1, 0x7f, 0x80, 0xff][dice.random_range(0..5)],
            2 => bytes.truncate(at),
            3 => drop(bytes.drain(at..end)),
            4 => {
                let piece = bytes[at..end].to_vec();
                let to = dice.random_range(0..=bytes.len());
                bytes.splice(to..to, piece);
            }
            5 => {
                let other = &good[dice.random_range(0..good.len())];
                let from = dice.random_range(0..other.len());
                bytes.splice(at.., other[from..].iter().copied());
            }
            _ => bytes[at..end].fill(0xff),
        }
    }
    bytes
}

/// Gives each change the checksum that its bytes ask for, so that damage gets past it. Not whole
/// documents: automerge hands out as much memory as a run length in one asks for, so a forged one
/// can end the program. Nobody can send one but a device that is in the practice.
fn with_checksums(mut bytes: Vec<u8>) -> Vec<u8> {
    let mut at = 0;
    while bytes.get(at..at + 4) == Some(&MAGIC) && at + 10 <= bytes.len() {
        let (mut length, mut header) = (0_usize, 9);
        while let Some(byte) = bytes.get(at + header).filter(|_| header < 14) {
            length |= usize::from(byte & 0x7f) << (7 * (header - 9));
            header += 1;
            if byte & 0x80 == 0 {
                break;
            }
        }
        let end = (at + header).saturating_add(length);
        let Some(hashed) = bytes.get(at + 8..end) else {
            break;
        };
        let sum = Sha256::digest(hashed);
        if hashed[0] != DOCUMENT {
            bytes[at + 4..at + 8].copy_from_slice(&sum[..4]);
        }
        at = end;
    }
    bytes
}

/// A visit with every kind of edit (lists, a signed order, a removal, two hands at once) and its
/// changes in pieces of every kind. Always the same bytes, so that a seed finds again what it found.
fn corpus() -> (Document, Vec<Vec<u8>>) {
    let stamp = Stamp {
        by: "Ada".into(),
        device: "Tablet".into(),
        at_ms: 1_780_000_000_000,
        why: "why".into(),
    };
    let mut a = Document::new(ActorId::from(&[1; 16][..]));
    let mut first = visit("v1", "Anna");
    first["readings"] =
        json!([{"id": "r1", "kind": "resting_heel_deg", "side": "left", "repeats": [4.0, 5.0]}]);
    first["orders"] = common::order(true);
    let first = a.edit(&[], &Value::Null, &first, &stamp).expect("edit");
    let mut good = vec![first.expect("a change").1, a.save()];
    let mut b = Document::load(&a.save(), ActorId::from(&[2; 16][..])).expect("load");
    for (i, document) in [&mut a, &mut b].into_iter().enumerate() {
        for round in 0..4 {
            let before = document.value().expect("value");
            let mut after = before.clone();
            after["reason"] = format!("reason {i} {round}").into();
            after["readings"][0]["repeats"][0] = (f64::from(round) + 0.5).into();
            if round == 3 {
                after["readings"] = json!([]);
            }
            let edited = document.edit(&document.heads(), &before, &after, &stamp);
            good.push(edited.expect("edit").expect("a change").1);
        }
    }
    good.push(b.save());
    a.apply(&b.save()).expect("merge");
    good.push(a.save());
    (a, good)
}

#[test]
fn damaged_changes_are_refused_or_can_be_read() {
    let (known, good) = corpus();
    let before = known.value().expect("value");
    for_its_time("changes into a document", |dice| {
        let mut bytes = damaged(&good, dice);
        if dice.random_ratio(3, 4) {
            bytes = with_checksums(bytes);
        }
        let mut document = match dice.random_range(0..2) {
            0 => known.clone(),
            _ => Document::new(ActorId::from(&[7; 16][..])),
        };
        let heads = document.heads();
        if document.apply(&bytes).is_err() {
            assert_eq!(document.heads(), heads, "refused without a trace");
            return false;
        }
        // Taken in: everything that is asked of a document can be answered.
        document.value().expect("value");
        document.conflicts().expect("conflicts");
        assert_eq!(document.history().is_empty(), document.heads().is_empty());
        let again = Document::load(&document.save(), ActorId::from(&[8; 16][..]));
        assert_eq!(again.expect("load").heads(), document.heads());
        true
    });
    assert_eq!(known.value().expect("value"), before);
}

#[test]
fn damaged_batches_leave_the_store_whole() {
    let folder = folder();
    let (known, good) = corpus();
    let mut store = create(&folder.path().join("store"));
    store.receive("v1", VISIT, &known.save()).expect("receive");
    store
        .import("v2", VISIT, &visit("v2", "Berta"), "Ada")
        .expect("import");
    let untouched = read(&mut store, "v2");
    let mut made_up = 0;
    for_its_time("batches into a store", |dice| {
        let records: Vec<Incoming> = (0..dice.random_range(1..4))
            .map(|_| {
                made_up += 1;
                let id = match dice.random_range(0..3) {
                    0 => format!("x{made_up}"),
                    _ => "v1".to_owned(),
                };
                let changes = with_checksums(damaged(&good, dice));
                let kind = VISIT.to_owned();
                Incoming { id, kind, changes }
            })
            .collect();
        let became = store.receive_all(&records).expect("the store itself works");
        for (record, became) in records.iter().zip(&became) {
            if became.is_ok() {
                store.read(&record.id).expect("taken in and readable");
            }
        }
        became.iter().any(Result::is_ok)
    });
    assert_eq!(read(&mut store, "v2"), untouched);
    let report = store.check().expect("check");
    assert!(report.is_clean(), "{report}");
}

#[test]
fn a_damaged_backup_is_refused_or_restored_whole() {
    let folder = folder();
    let mut store = create(&folder.path().join("store"));
    let known = corpus().0.save();
    store.receive("v1", VISIT, &known).expect("receive");
    store
        .add_photo(&mut Cursor::new(jpeg(1, 64, 48)))
        .expect("photo");
    let file = folder.path().join("backup");
    let go_on = &mut |_, _| std::ops::ControlFlow::Continue(());
    store.backup(&file, "Ada", go_on).expect("backup");
    let value = read(&mut store, "v1");
    let good = [std::fs::read(&file).expect("backup")];
    let (hurt, copy) = (folder.path().join("hurt"), folder.path().join("copy"));
    for_its_time("backup files", |dice| {
        // Half of them in the archive's first blocks, where names, lengths and the key are.
        let mut bytes = if dice.random() {
            let (head, rest) = good[0].split_at(4096);
            let mut head = damaged(&[head.to_vec()], dice);
            head.extend_from_slice(rest);
            head
        } else {
            damaged(&good, dice)
        };
        if dice.random_ratio(1, 50) {
            bytes.clear();
        }
        std::fs::write(&hurt, bytes).expect("write");
        match restore(&hurt, &copy, PASSPHRASE, options("t")) {
            Err(error) => {
                assert!(!error.to_string().is_empty());
                assert!(!copy.exists(), "nothing is left of it: {error}");
                false
            }
            Ok(report) => {
                let mut restored = open(&copy);
                let readable = restored.read("v1");
                assert!(
                    !report.is_clean() || readable.as_ref().is_ok_and(|read| *read == value),
                    "{report}"
                );
                drop(restored);
                plinthside_store::remove_store(&copy).expect("remove");
                true
            }
        }
    });
    assert!(matches!(
        restore(&file, &file, PASSPHRASE, options("t")),
        Err(StoreError::Exists { .. })
    ));
}
