//! From tags and taps to cameras, marks in space and their joint covariance.

pub mod error;
pub mod solution;

pub use error::SolveError;
pub use solution::{
    Camera, CornerOrder, DroppedTag, Intrinsics, MatShape, Point, Solution, SolveOptions, Warning,
};

use crate::mat::Mat;
use crate::observed::{MarkView, PhotoTags};

/// Places every camera and every mark.
///
/// # Errors
/// [`SolveError`] says which photograph or mark stands in the way, and the remedy.
pub fn solve(
    mat: &Mat,
    photos: &[PhotoTags],
    marks: &[MarkView],
    options: &SolveOptions,
) -> Result<Solution, SolveError> {
    let _ = (mat, photos, marks, options);
    Err(SolveError::NoConvergence)
}
