//! Runs the contract of targets on a real server: `contract SPEC.json`. With `refuse`, expects the
//! target to be refused and prints the sentence a user would read.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "../tests/common/mod.rs"]
mod common;
#[path = "../tests/common/contract.rs"]
mod contract;

use plinthside_exchange::{TargetSpec, connect};

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let spec = std::fs::read(arguments.last().expect("spec")).expect("spec");
    let spec: TargetSpec = serde_json::from_slice(&spec).expect("spec");
    let target = connect(&spec).expect("connect");
    if arguments[0] == "refuse" {
        let error = target.put("contract/x", b"x").expect_err("refused");
        println!("{error}");
        return;
    }
    contract::verbs(&*target);
    contract::exchange(&*target);
    println!("holds");
}
