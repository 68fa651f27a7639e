//! Where a mark must lie in a photograph in which it has not been marked yet.
//!
//! After one view: the line on which it lies in every other photograph. After two: its place and
//! an ellipse. Both are in the photo frame.

use crate::marks::MarkName;
use crate::observed::{MarkView, Px};
use crate::solve::Solution;
use crate::solve::predicting as fitted;
use nalgebra::{Matrix2, SymmetricEigen, Vector3};
use std::ops::RangeInclusive;
use thiserror::Error;

/// 95 % of a two-dimensional Gaussian lies within √5.991 standard deviations.
const ELLIPSE_95: f64 = 2.447_7;
/// Height between two points of a ghost line, mm.
const LINE_STEP_MM: f64 = 2.0;
/// Tallest line drawn, mm.
const TALLEST_MM: f64 = 2000.0;

/// Why nothing can be predicted.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PredictError {
    /// The photograph is not part of the solution.
    #[error("{0} is not among the photographs that were measured; add it and measure again")]
    NoSuchPhotograph(String),
    /// The mark has no place yet.
    #[error("mark {0} has no place in space yet; mark it in two photographs first")]
    NotPlaced(MarkName),
    /// Heights that are not a range.
    #[error("the range of heights for the line is empty or not a number; give it in millimetres")]
    Heights,
}

/// The predicted place of a mark.
#[derive(Debug, Clone, PartialEq)]
pub struct PredictedPlace {
    /// Where it should be.
    pub px: Px,
    /// Covariance of a tap there, the tap's own sd included, px².
    pub covariance_px2: [[f64; 2]; 2],
    /// Half axes of the 95 % ellipse, the longer first, pixels.
    pub half_axes_px: [f64; 2],
    /// Direction of the longer axis from x towards y, degrees.
    pub direction_deg: f64,
    /// Whether it lies inside the picture.
    pub inside: bool,
}

fn shot(solution: &Solution, photo: &str) -> Result<usize, PredictError> {
    let found = solution
        .cameras
        .iter()
        .position(|camera| camera.photo == photo);
    found.ok_or_else(|| PredictError::NoSuchPhotograph(photo.to_owned()))
}

/// Where a point of the mat frame is seen in a photograph; `None` behind the camera or outside the
/// picture.
///
/// # Errors
/// An unknown photograph.
pub fn project(
    solution: &Solution,
    photo: &str,
    mat_mm: [f64; 3],
) -> Result<Option<Px>, PredictError> {
    let shot = shot(solution, photo)?;
    Ok(fitted::photo_px(
        &solution.fitted,
        shot,
        &Vector3::from(mat_mm),
    ))
}

/// The line on which the mark of `tap` must lie in `photo`, for heights over the mat within
/// `heights_mm`: the longest piece inside the picture, possibly empty.
///
/// # Errors
/// An unknown photograph or an empty range.
pub fn ghost_line(
    solution: &Solution,
    tap: &MarkView,
    photo: &str,
    heights_mm: RangeInclusive<f64>,
) -> Result<Vec<Px>, PredictError> {
    let (from, to) = (shot(solution, &tap.photo)?, shot(solution, photo)?);
    let (low, high) = (*heights_mm.start(), *heights_mm.end());
    if !(low.abs() <= TALLEST_MM && high.abs() <= TALLEST_MM && low < high) {
        return Err(PredictError::Heights);
    }
    let Some((centre, direction)) = fitted::mat_ray(&solution.fitted, from, tap.px) else {
        return Ok(Vec::new());
    };
    // A ray that hardly descends meets a height nowhere near the cast.
    if direction.z > -0.05 {
        return Ok(Vec::new());
    }
    let steps = ((high - low) / LINE_STEP_MM).ceil() as usize;
    let (mut longest, mut piece) = (Vec::new(), Vec::new());
    for i in 0..=steps {
        let height = high - (high - low) * i as f64 / steps as f64;
        let point = centre + direction * ((height - centre.z) / direction.z);
        match fitted::photo_px(&solution.fitted, to, &point) {
            Some(px) => piece.push(px),
            None => piece.clear(),
        }
        if piece.len() > longest.len() {
            longest.clone_from(&piece);
        }
    }
    Ok(longest)
}

/// Where a placed mark lies in a photograph; `tap_sd_px` is the sd of a tap there.
///
/// # Errors
/// An unknown photograph or a mark without a place.
pub fn place(
    solution: &Solution,
    mark: &MarkName,
    photo: &str,
    tap_sd_px: f64,
) -> Result<Option<PredictedPlace>, PredictError> {
    let shot = shot(solution, photo)?;
    let (index, _) = solution
        .point(mark.as_str())
        .ok_or_else(|| PredictError::NotPlaced(mark.clone()))?;
    let Some((px, spread, inside)) = fitted::predicted(&solution.fitted, shot, index) else {
        return Ok(None);
    };
    let covariance = spread + Matrix2::identity() * tap_sd_px.powi(2);
    let eigen = SymmetricEigen::new(covariance);
    let most = eigen.eigenvalues.imax();
    let axis = eigen.eigenvectors.column(most);
    Ok(Some(PredictedPlace {
        px,
        covariance_px2: [
            [covariance[(0, 0)], covariance[(0, 1)]],
            [covariance[(1, 0)], covariance[(1, 1)]],
        ],
        half_axes_px: [most, 1 - most].map(|i| ELLIPSE_95 * eigen.eigenvalues[i].max(0.0).sqrt()),
        direction_deg: axis.y.atan2(axis.x).to_degrees(),
        inside,
    }))
}
