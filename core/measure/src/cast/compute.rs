//! Puts the results together.

use super::frame::{InCast, jacobian_in_cast};
use super::hinge::{self, Hinge};
use super::spread::{Sd, Spread};
use super::{
    CastError, CastPoint, CastPoints, Datum, HingePoint, Refusal, ResultName, Results, Settings,
    Source, compare, formulas, side, words,
};
use crate::dual::{Dual, values};
use crate::leg::Leg;
use crate::marks::{MarkName, Side};
use crate::quantity::{Quantity, Unit};
use std::collections::BTreeMap;

/// Sd of a height read off a ruler by hand. Common practice, no source.
const RULER_READING_SD_MM: f64 = 0.5;

/// Everything the marks of one cast allow, beside the patient's own dimensions.
///
/// # Errors
/// The marks that lay the cast frame are missing or coincide, or a setting is unusable. A quantity
/// that can't be computed for itself is named in [`Results::refused`].
pub fn results(
    cast: &CastPoints,
    side: Side,
    settings: &Settings,
    leg: &Leg,
) -> Result<Results, CastError> {
    hinge::check_offsets(settings)?;
    let inputs: Vec<Dual> = InCast::inputs(cast)
        .into_iter()
        .map(Dual::constant)
        .collect();
    let points = InCast::new(cast, side, settings, &inputs)?;
    let found = formulas::all(&points);
    let spread = Spread::new(cast, side, settings)?;
    let jacobian = jacobian_in_cast(cast, side, settings, |points| {
        let quantities = formulas::all(points)
            .values
            .into_iter()
            .map(|(_, value)| value);
        quantities
            .chain(points.at.iter().flat_map(|p| [p.x, p.y, p.z]))
            .collect()
    })?;

    let mut quantities: BTreeMap<ResultName, Quantity> = BTreeMap::new();
    for (row, (name, value)) in found.values.iter().enumerate() {
        let q = spread.quantity(&jacobian, row, value.value, name.unit());
        quantities.insert(*name, if hinge::folds(*name) { q.folded() } else { q });
    }
    if let Some(rock) = rock(settings)? {
        quantities.insert(ResultName::Rock, rock);
    }

    let first_point_row = found.values.len();
    let cast_points = cast.points().iter().enumerate().map(|(i, point)| {
        let sd = [0, 1, 2].map(|axis| spread.sd(&jacobian, first_point_row + 3 * i + axis));
        CastPoint {
            mark: point.mark.clone(),
            cast_mm: values(&points.at[i]).into(),
            instrument_sd_mm: sd.map(|sd| sd.instrument),
            total_sd_mm: sd.map(|sd| sd.total),
            surface: point.surface,
            views: point.views,
        }
    });
    let hinge = |which: Hinge| {
        let (mark, from, _) = which.choice(settings);
        let [height, forward, height_inside, forward_inside] =
            which.names().map(|name| quantities.get(&name).copied());
        which.place(&points).map(|place| HingePoint {
            mark: mark.into(),
            from,
            cast_mm: values(&place).into(),
            outside: Datum { height, forward },
            inside: Datum {
                height: height_inside,
                forward: forward_inside,
            },
        })
    };
    Ok(Results {
        side,
        source: cast.source(),
        reference: settings.reference,
        side_check: side::check(side, cast.source(), &quantities, settings),
        words: words::all(&quantities),
        points: cast_points.collect(),
        medial_hinge: hinge(Hinge::Medial),
        lateral_hinge: hinge(Hinge::Lateral),
        comparisons: compare::all(&quantities, cast, settings, leg),
        warnings: warnings(cast, settings, &found.refused),
        refused: found.refused,
        quantities,
    })
}

/// The rock entered by hand, as a quantity.
fn rock(settings: &Settings) -> Result<Option<Quantity>, CastError> {
    let Some(value) = settings.rock_mm else {
        return Ok(None);
    };
    if !(0.0..=100.0).contains(&value) {
        return Err(CastError::Setting {
            what: "the rock at the edge".to_owned(),
            value,
            remedy: "enter millimetres from 0 to 100",
        });
    }
    let sd = Sd {
        instrument: RULER_READING_SD_MM,
        total: RULER_READING_SD_MM,
    };
    Ok(Some(Quantity::new(value, Unit::Mm, sd, f64::INFINITY)))
}

fn warnings(cast: &CastPoints, settings: &Settings, refused: &[Refusal]) -> Vec<String> {
    use MarkName as M;
    let mut warnings: Vec<String> = refused.iter().map(Refusal::to_string).collect();
    if cast.index(M::HEEL_UPPER).is_none() {
        warnings.push(
            "Without the upper heel mark the long direction starts at the lower one.".to_owned(),
        );
    }
    let [first, fifth] = [M::MTP_1, M::MTP_5].map(|m| settings.side_of_joint.contains(&m.into()));
    if cast.index(M::MTP_1).is_some() && cast.index(M::MTP_5).is_some() && (first || fifth) {
        warnings.push(
            "MTP marks at the side of the joint sit at different heights and can fake 4-6° of forefoot angle; plantar marks are better."
                .to_owned(),
        );
    }
    if cast.source() == Source::Ruler {
        warnings.push("Measured by ruler and calliper, not from photographs.".to_owned());
    }
    warnings
}
