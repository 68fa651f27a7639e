//! QR codes (ISO/IEC 18004): drawn for our labels, read from any photograph.

pub mod write;

pub use write::{Symbol, cast_symbol};
