//! Lengths of the cast beside the patient's own: a squeezed or spread shell shows here.

use super::spread::Sd;
use super::{CastPoints, Comparison, ResultName, Settings};
use crate::leg::{Leg, LegDimension};
use crate::marks::MarkName;
use crate::quantity::{Quantity, Unit};
use std::collections::BTreeMap;

/// Which result stands beside a dimension of the leg; inner faces, because they were the skin.
fn result_of(dimension: LegDimension) -> ResultName {
    match dimension {
        LegDimension::BimalleolarBreadth => ResultName::BimalleolarInside,
        LegDimension::HeelBreadth => ResultName::HeelBreadthInside,
        LegDimension::BallBreadth => ResultName::ForefootBreadth,
        LegDimension::HeelToFirstMtp => ResultName::HeelToFirstMtpInside,
        LegDimension::MedialMalleolusHeight => ResultName::MedialHingeHeightInside,
        LegDimension::LateralMalleolusHeight => ResultName::LateralHingeHeightInside,
        LegDimension::MedialMalleolusForward => ResultName::MedialHingeForwardInside,
        LegDimension::LateralMalleolusForward => ResultName::LateralHingeForwardInside,
    }
}

/// Whether the marks stand for what the calliper spans.
fn comparable(dimension: LegDimension, settings: &Settings) -> bool {
    use super::{HingeFrom, HingeOffset};
    let at_apex = |from, offset| from == HingeFrom::Apex && offset == HingeOffset::default();
    match dimension {
        // A calliper spans the sides of the joints; plantar dots lie nearer together.
        LegDimension::BallBreadth => [MarkName::MTP_1, MarkName::MTP_5]
            .iter()
            .all(|mark| settings.side_of_joint.contains(&MarkName::from(*mark))),
        LegDimension::MedialMalleolusHeight | LegDimension::MedialMalleolusForward => {
            at_apex(settings.medial_hinge_from, settings.medial_hinge_offset)
        }
        LegDimension::LateralMalleolusHeight | LegDimension::LateralMalleolusForward => {
            at_apex(settings.lateral_hinge_from, settings.lateral_hinge_offset)
        }
        _ => true,
    }
}

/// Every dimension that was taken on the leg and on the cast.
pub(crate) fn all(
    quantities: &BTreeMap<ResultName, Quantity>,
    cast: &CastPoints,
    settings: &Settings,
    leg: &Leg,
) -> Vec<Comparison> {
    let mut comparisons = Vec::new();
    for dimension in LegDimension::ALL {
        let readings = leg.readings(dimension);
        let (Some(leg_mm), Some(leg_sd_mm), Some(cast_length)) = (
            readings.mean(),
            readings.sd_of_mean(),
            quantities.get(&result_of(dimension)),
        ) else {
            continue;
        };
        if !comparable(dimension, settings) {
            continue;
        }
        let sd = Sd {
            instrument: cast_length.instrument_sd.hypot(leg_sd_mm),
            total: cast_length.total_sd.hypot(leg_sd_mm),
        };
        comparisons.push(Comparison {
            dimension,
            cast: *cast_length,
            leg_mm,
            leg_sd_mm,
            readings: readings.0.len(),
            difference: Quantity::new(cast_length.value - leg_mm, Unit::Mm, sd, cast.dof()),
        });
    }
    comparisons
}
