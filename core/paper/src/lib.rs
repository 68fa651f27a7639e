//! Cast code, labels, mats, orders and bench sheets as PDF and PNG.
//!
//! Every document is a plain function from data to a [`Document`], which is then written as PDF or
//! PNG: [`label()`], [`labels`](label::labels). The caller gives the date; the same data gives the
//! same bytes.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod code;
mod error;
pub mod label;
mod mat;
mod page;
pub mod qr;
pub mod tag36h11;
mod typeset;

pub use code::CastCode;
pub use error::PaperError;
pub use label::{Label, LabelSize, PrinterDots, label, labels};
pub use mat::mat;
pub use page::Paper;
pub use typeset::Document;
