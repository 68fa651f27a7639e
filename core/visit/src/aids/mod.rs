//! Casting aids: help for each step, check lists and the timer from dip to photographs.

mod checklists;
mod help;
mod timer;

pub use checklists::{CheckItem, CheckList, CheckLists};
pub use help::{Help, HelpLine, StepHelp};
pub use timer::{Plaster, Stage, StageKind, Timers};
