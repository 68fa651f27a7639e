//! How far from the landmark the dot may sit: tangential to the surface, Σ = σ²(I − nnᵀ).

use super::{CastError, MarkingSd, Settings};
use crate::marks::{MarkName, Side};
use nalgebra::{Matrix3, Vector3};
use std::f64::consts::FRAC_1_SQRT_2;

/// One direction, one marking. Common practice, no source.
const MALLEOLI_AND_MTP_MM: f64 = 2.0;
const HEEL_AND_CALF_MM: f64 = 3.0;

impl MarkingSd {
    /// Total sd of one marking, half its variance within one person. Common practice, no source.
    #[must_use]
    pub fn half_within(total_mm: f64) -> Self {
        let part = total_mm * FRAC_1_SQRT_2;
        Self {
            within_mm: part,
            between_mm: part,
        }
    }

    /// Variance, one direction, of the mean of `repeats` markings by one person.
    #[must_use]
    pub fn variance_mm2(self, repeats: u32) -> f64 {
        self.between_mm.powi(2) + self.within_mm.powi(2) / f64::from(repeats.max(1))
    }
}

/// Outward normal of the foot at a landmark (forward, lateral, up), for a marked landmark.
#[must_use]
pub fn nominal_normal(mark: &str, side_of_joint: bool) -> Option<Vector3<f64>> {
    let (medial, lateral) = (-Vector3::y(), Vector3::y());
    let (behind, below) = (-Vector3::x(), -Vector3::z());
    Some(match mark {
        MarkName::MALLEOLUS_MEDIAL | MarkName::MALLEOLUS_MEDIAL_LOWER | MarkName::HEEL_MEDIAL => {
            medial
        }
        MarkName::MALLEOLUS_LATERAL
        | MarkName::MALLEOLUS_LATERAL_LOWER
        | MarkName::HEEL_LATERAL => lateral,
        MarkName::MTP_1 if side_of_joint => medial,
        MarkName::MTP_5 if side_of_joint => lateral,
        MarkName::MTP_1
        | MarkName::MTP_2
        | MarkName::MTP_4
        | MarkName::MTP_5
        | MarkName::HEEL_PLANTAR => below,
        MarkName::HEEL_UPPER
        | MarkName::HEEL_LOWER
        | MarkName::CALF_UPPER
        | MarkName::CALF_LOWER => behind,
        _ => return None,
    })
}

/// Marking sd shipped for a landmark; plain points have none.
#[must_use]
pub fn default_sd(mark: &str) -> Option<MarkingSd> {
    Some(MarkingSd::half_within(match mark {
        MarkName::HEEL_UPPER
        | MarkName::HEEL_LOWER
        | MarkName::HEEL_PLANTAR
        | MarkName::HEEL_MEDIAL
        | MarkName::HEEL_LATERAL
        | MarkName::CALF_UPPER
        | MarkName::CALF_LOWER => HEEL_AND_CALF_MM,
        _ if nominal_normal(mark, false).is_some() => MALLEOLI_AND_MTP_MM,
        _ => return None,
    }))
}

/// Marking covariance of a mark in the cast frame.
pub(crate) fn covariance_in_cast(
    mark: &MarkName,
    side: Side,
    settings: &Settings,
) -> Result<Matrix3<f64>, CastError> {
    let chosen = settings.marking.sd.get(mark).copied();
    let Some(sd) = chosen.or_else(|| default_sd(mark.as_str())) else {
        return Ok(Matrix3::zeros());
    };
    for value in [sd.within_mm, sd.between_mm] {
        if !(0.0..=100.0).contains(&value) {
            return Err(CastError::Setting {
                what: format!("the marking uncertainty of {mark}"),
                value,
                remedy: "enter millimetres from 0 to 100",
            });
        }
    }
    let repeats = settings.marking.repeats.get(mark).copied().unwrap_or(1);
    let side_of_joint = settings.side_of_joint.contains(mark);
    // A plain point that was given a marking sd has no known surface: every direction.
    let tangential =
        nominal_normal(mark.as_str(), side_of_joint).map_or(Matrix3::identity(), |n| {
            let n = Vector3::new(n.x, side.sign() * n.y, n.z);
            Matrix3::identity() - n * n.transpose()
        });
    Ok(tangential * sd.variance_mm2(repeats))
}
