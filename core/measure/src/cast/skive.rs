//! Posting and skiving: plain geometry of wedges.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Height of a wedge of `angle_deg` under a `width_mm` wide foot: w·tan.
#[must_use]
pub fn posting_height_mm(width_mm: f64, angle_deg: f64) -> f64 {
    width_mm * angle_deg.to_radians().tan()
}

/// Customary angle of a heel skive to the transverse plane (Kirby KA, J Am Podiatr Med Assoc
/// 1992;82:177-188; from memory, unverified).
pub const SKIVE_ANGLE_DEG: f64 = 15.0;

/// How far a heel skive reaches.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SkivePlan {
    /// Depth at the edge of the heel.
    pub depth_mm: f64,
    /// Angle to the transverse plane.
    pub angle_deg: f64,
    /// Reach across the heel: depth / tan(angle).
    pub reach_mm: f64,
    /// Width of the cut face: depth / sin(angle).
    pub slope_mm: f64,
    /// Reach as a share of the heel's breadth.
    pub share_of_heel: f64,
}

/// Why a skive can't be planned.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SkiveError {
    /// It would cut away more than half the heel.
    #[error(
        "a skive of {depth_mm} mm at {angle_deg}° reaches {reach_mm:.1} mm across a heel of {heel_breadth_mm:.0} mm, beyond its middle; the deepest here is {deepest_mm:.1} mm"
    )]
    BeyondHalf {
        /// Depth asked for.
        depth_mm: f64,
        /// Angle asked for.
        angle_deg: f64,
        /// Its reach.
        reach_mm: f64,
        /// Breadth of the heel.
        heel_breadth_mm: f64,
        /// Depth that reaches the middle.
        deepest_mm: f64,
    },
    /// A number that makes no wedge.
    #[error("{what} is {value}; enter {range}")]
    OutOfRange {
        /// Which number.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What is possible.
        range: &'static str,
    },
}

/// Plans a skive `depth_mm` deep at `angle_deg` on a heel `heel_breadth_mm` broad.
///
/// # Errors
/// A skive beyond the middle of the heel; numbers that make no wedge.
pub fn plan_skive(
    depth_mm: f64,
    angle_deg: f64,
    heel_breadth_mm: f64,
) -> Result<SkivePlan, SkiveError> {
    let checks = [
        (
            "the skive's depth",
            depth_mm,
            0.0 < depth_mm && depth_mm <= 50.0,
            "millimetres above 0, up to 50",
        ),
        (
            "the skive's angle",
            angle_deg,
            (5.0..=45.0).contains(&angle_deg),
            "degrees from 5 to 45",
        ),
        (
            "the heel's breadth",
            heel_breadth_mm,
            (20.0..=200.0).contains(&heel_breadth_mm),
            "millimetres from 20 to 200",
        ),
    ];
    if let Some((what, value, _, range)) = checks.into_iter().find(|(_, _, possible, _)| !possible)
    {
        return Err(SkiveError::OutOfRange { what, value, range });
    }
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    let reach_mm = depth_mm * cos / sin;
    let half = 0.5 * heel_breadth_mm;
    if reach_mm > half {
        let deepest_mm = half * sin / cos;
        return Err(SkiveError::BeyondHalf {
            depth_mm,
            angle_deg,
            reach_mm,
            heel_breadth_mm,
            deepest_mm,
        });
    }
    Ok(SkivePlan {
        depth_mm,
        angle_deg,
        reach_mm,
        slope_mm: depth_mm / sin,
        share_of_heel: reach_mm / heel_breadth_mm,
    })
}
