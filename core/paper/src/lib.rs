//! Cast code, labels, mats, orders, bench sheets and leaflets as PDF and PNG.
//!
//! Start at [`order()`]: every document is such a plain function from data to a [`Document`], which
//! is then written as PDF or PNG: [`mat()`], [`label()`], [`labels`], [`bench()`],
//! [`packing_list`], [`leaflet()`], [`couch_card`]. Templates are the files in `templates/`.
//! [`CastCode`] is the code itself, [`qr`] draws it and reads it from photographs.
//!
//! **Invariants.** The same data gives the same bytes: the caller gives the date. A drawing to scale
//! is never scaled. What someone typed is text on the paper and never markup. A ± is rounded up.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod bench;
mod card;
pub mod code;
mod error;
pub mod label;
mod language;
mod leaflet;
mod marks;
mod mat;
mod order;
mod packing;
mod page;
pub mod qr;
pub mod tag36h11;
mod typeset;
mod words;

pub use bench::{Bench, Outline, bench};
pub use card::{CouchCard, couch_card};
pub use code::CastCode;
pub use error::PaperError;
pub use label::{Label, LabelSize, PrinterDots, label, labels};
pub use language::GERMAN;
pub use leaflet::{LeafletSheet, leaflet};
pub use marks::name_marks;
pub use mat::mat;
pub use order::{OrderSheet, order};
pub use packing::{PackedCast, Packing, packing_list};
pub use page::Paper;
pub use typeset::Document;
