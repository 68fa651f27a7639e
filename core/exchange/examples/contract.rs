//! Runs the contract of targets on a real server: `contract SPEC.json`.
//!
//! `contract refuse SPEC.json` expects the target to be refused and prints the sentence a user would
//! read. `contract interrupted SPEC.json` joins two devices, says `ready` and waits for a line on
//! its input, synchronises expecting a failure, prints the sentence, waits for another line, and
//! then expects that everything arrives and nothing was lost.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[allow(dead_code)] // it needs a part of what the tests share
#[path = "../tests/exchange/common/mod.rs"]
mod common;
#[allow(dead_code)] // it needs a part of what the tests share
#[path = "../tests/exchange/contract.rs"]
mod contract;

use plinthside_exchange::{Target, TargetSpec, answers, connect};

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let spec = std::fs::read(arguments.last().expect("spec")).expect("spec");
    let spec: TargetSpec = serde_json::from_slice(&spec).expect("spec");
    match arguments[0].as_str() {
        "refuse" => {
            let target = connect(&spec).expect("connect");
            println!("{}", target.put("contract/x", b"x").expect_err("refused"));
            assert!(!answers(&spec), "a target that refuses does not answer");
        }
        "interrupted" => interrupted(&*connect(&spec).expect("connect")),
        _ => {
            assert!(answers(&spec));
            let target = connect(&spec).expect("connect");
            contract::verbs(&*target);
            contract::together(&*target);
            contract::exchange(&*target);
            println!("holds");
        }
    }
}

fn interrupted(target: &dyn Target) {
    let wait = || {
        std::io::stdin()
            .read_line(&mut String::new())
            .expect("line")
    };
    let folder = tempfile::tempdir().expect("folder");
    let (a, b) = common::pair(folder.path(), target);
    let photographs: Vec<Vec<u8>> = (0..6_u64).map(noise).collect();
    for (i, photograph) in photographs.iter().enumerate() {
        common::add(&a, &format!("v{i}"), "trips", &[photograph]);
    }
    println!("ready");
    wait();
    let error = common::try_sync(&a, target).expect_err("interrupted");
    println!("{error}");
    wait();
    let sent = common::run(&a, target);
    assert_eq!(sent.photos_to_send, 0);
    for device in [&b, &a, &b] {
        common::run(device, target);
    }
    let last = common::run(&b, target);
    assert!(last.problems.is_empty(), "{:?}", last.problems);
    for i in 0..photographs.len() {
        assert_eq!(common::reason(&b, &format!("v{i}")), "trips");
    }
    let b = b.lock().expect("lock");
    assert!(b.missing_photos().expect("missing").is_empty());
    println!("holds");
}

/// A photograph's worth of bytes that do not compress.
fn noise(seed: u64) -> Vec<u8> {
    let mut x = seed + 1;
    let byte = |_| {
        x = x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (x >> 56) as u8
    };
    (0..3_000_000).map(byte).collect()
}
