//! Sync between a practice's devices without a server, and sealed packages for a lab.
//!
//! ```text
//! ROOT/PRACTICE/heads/STREAM-COUNTER      empty; the highest is how far a device has published
//! ROOT/PRACTICE/changes/STREAM/COUNTER    a batch: sealed (age), signed (Ed25519), written once
//! ROOT/PRACTICE/photos/NA/ME              a sealed photograph, written once
//! ROOT/PRACTICE/wanted/…                  empty; a file that somebody found damaged or missing
//! ROOT/joining/…                          a welcome and its answer, while a code is shown
//! ROOT/labs/LAB/CODE-rN.age               a sealed package; CODE-rN.receipt.age the lab's answer
//! ```
//!
//! **Invariants.** Nothing at a target needs a lock or compare-and-swap. What is published carries
//! everything it needs: files may come late, twice, in any order or half. A file that is not what
//! it should be changes nothing and is named. A synchronisation can end anywhere and be repeated.
//! The store is never held while a target is waited for. This crate draws nothing and asks nobody.
//!
//! **Start at** [`sync`] for the way to the other devices, at [`package`] for the way to the lab.

mod batch;
mod error;
mod local;
pub mod package;
mod practice;
mod seal;
mod sync;
pub mod target;

pub use error::{ExchangeError, Result};
pub use local::{Holder, Local, Taken, Whole};
pub use package::{Answer, Opened, PackInputs, Package, open, pack, read_receipts};
pub use practice::{Card, Device, Devices, Invitation, Sender, Targets};
pub use seal::{SecretKey, is_public_key};
pub use sync::{
    Problem, ProblemKind, Progress, Report, Step, Sync, VisitState, meet, sync, visit_state,
};
pub use target::{Memory, Target, TargetError, TargetSpec, answers, connect};
