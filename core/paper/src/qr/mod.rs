//! QR codes (ISO/IEC 18004): drawn for our labels, read from any photograph.

mod binarise;
mod fit;
mod luma;
mod outline;
pub mod read;
mod resample;
pub mod write;

pub use luma::Luma;
pub use read::{FoundCode, read_codes};
pub use write::{Symbol, cast_symbol, text_symbol};
