//! From tags and taps to cameras, marks in space and their joint covariance.
//!
//! [`solve`] reads from top to bottom as the measurement goes: `input` checks and starts, `recipe`
//! decides which tags to trust and fits, `taps` refuses wrong taps and moved casts, `report` says
//! what was found. `model` is the camera, `problem` the bookkeeping of parameters, `normal` the
//! least squares. Derivations are in `notes/estimation.md`.

mod alike;
mod datum;
pub mod error;
mod input;
mod lens;
mod lens_terms;
pub(crate) mod model;
mod normal;
pub(crate) mod planning;
pub(crate) mod predicting;
mod problem;
pub mod rays;
mod recipe;
pub(crate) mod report;
pub mod solution;
mod start;
mod taps;

pub use error::SolveError;
pub use lens::Projection;
pub use solution::{
    Camera, CornerOrder, DroppedTag, FurtherTerms, Intrinsics, MatShape, Point, Solution,
    SolveOptions, Warning,
};

use crate::mat::Mat;
use crate::observed::{MarkView, PhotoTags};

/// Places every camera and every mark.
///
/// The mat's corners must be in the mat frame and the photographs' in the photo frame, see
/// [`crate::frames`]. With no marks at all the cameras alone are placed.
///
/// # Errors
/// [`SolveError`] says which photograph or mark stands in the way, and the remedy.
pub fn solve(
    mat: &Mat,
    photos: &[PhotoTags],
    marks: &[MarkView],
    options: &SolveOptions,
) -> Result<Solution, SolveError> {
    let mut input = input::prepare(mat, photos, marks, options)?;
    recipe::trust_tags(&mut input.problem, &mut input.state)?;
    report::refuse_bowed(&mut input.problem, &mut input.state)?;
    report::refuse_misfit(mat, &input.problem, &input.state, photos)?;
    report::refuse_mirrored(&input.problem, &input.state, photos)?;
    let angles_deg = input.place_marks(options)?;
    taps::refuse_gross(&input.problem, &mut input.state, &input.marks)?;
    let mut fit = recipe::refit(&mut input.problem, &mut input.state)?;
    if report::refuse_bowed(&mut input.problem, &mut input.state)? {
        fit = recipe::refit(&mut input.problem, &mut input.state)?;
    }
    taps::refuse_wrong(&input.problem, &input.state, &fit, &input.marks)?;
    Ok(report::report(mat, photos, input, &angles_deg, fit))
}
