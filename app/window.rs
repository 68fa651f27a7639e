//! The window.

use crate::error::AppError;

/// Opens the window on the invented clinic.
///
/// # Errors
/// There is no screen.
pub fn open_demo() -> Result<(), AppError> {
    Err(AppError::Request("no window yet".into()))
}
