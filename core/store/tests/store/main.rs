//! The store as a user meets it.
#![allow(clippy::expect_used)]

mod backups;
mod checking;
#[path = "../common/child.rs"]
mod child;
#[path = "../common/mod.rs"]
mod common;
mod exchanging;
mod finding;
mod opening;
mod photographs;
mod records;

/// Not a test by itself: what another test starts.
#[test]
#[ignore = "started by another test"]
fn the_child() {
    child::run();
}
