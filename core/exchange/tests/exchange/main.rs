//! Synchronising and packages from outside, in one program: linking each part alone took longer than
//! running them all.
#![allow(clippy::expect_used)]

mod carrying_on;
mod common;
mod contract;
mod erasing;
mod order;
mod package;
mod sim;
mod simulate;
mod sync;
mod targets;
