//! Cast code, labels, mats, orders and bench sheets as PDF and PNG.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod code;
mod error;
pub mod qr;

pub use code::CastCode;
pub use error::PaperError;
