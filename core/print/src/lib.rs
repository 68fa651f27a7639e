//! Printing over IPP (RFC 8011, IPP Everywhere: PWG 5100.14).
//!
//! [`Queue`] keeps jobs on a [`Shelf`] and takes them to printers, one step after the other, so
//! that a power cut at any instant neither loses a job nor prints it twice. [`Printer`] is a
//! printer reached by its address. Start at [`Queue::advance`].
//!
//! **Invariant.** A document is sent only after the printer's number for its job is on the shelf.
//! Whatever is cut off after that is asked back from the printer by that number; where the printer
//! cannot say whether it printed, a person decides and never the program.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

mod about;
mod address;
mod advance;
mod document;
mod job;
mod media;
mod printer;
mod queue;
pub mod raster;
mod shelf;

pub use about::{About, PrinterState};
pub use address::{Address, AddressError};
pub use document::{DocumentProblem, Images, Payload, PrintDocument};
pub use job::{Job, Stage, Wait};
pub use media::{Media, MediaProblem, Placed, size_of_name};
pub use printer::{JobReport, JobState, Printer, Remote, RemoteError, Ticket};
pub use queue::{Queue, QueueError};
pub use shelf::{Folder, Shelf, ShelfError};
