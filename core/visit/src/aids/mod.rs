//! Casting aids: check lists and the timer from dip to photographs.

mod checklists;
mod timer;

pub use checklists::{CheckItem, CheckList, CheckLists};
pub use timer::{Plaster, Stage, StageKind, Timers};
