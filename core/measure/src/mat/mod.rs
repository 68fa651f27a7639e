//! The mat: a sheet of AprilTag squares of known place and size on which the cast stands.
//!
//! [`mod@file`] reads and checks a mat file, [`sheet`] holds the layouts Plinthside prints itself.

pub mod file;
mod print;
pub mod sheet;

pub use file::{Bar, Mat, MatError, MatTag, Printed};
pub use print::PrintFault;
pub use sheet::{Paper, SheetLayout};
