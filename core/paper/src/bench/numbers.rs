//! The tables of the bench sheet.

use super::views::short_name;
use crate::PaperError;
use crate::language::Words;
use crate::marks::listed;
use crate::words::{printed, result, whole, whole_up};
use plinthside_measure::cast::{CastPoint, Datum, HingeFrom, HingePoint, ResultName, Results};
use plinthside_measure::marks::{MarkName, Surface};
use plinthside_measure::quantity::{NORMAL_95, Quantity};
use serde_json::{Value, json};

/// Quantities in the order a bench reads them; the rest only serve the checks.
const SHOWN: &[ResultName] = &[
    ResultName::HingeTiltFrontal,
    ResultName::HingeTurnTransverse,
    ResultName::HingeToLeg,
    ResultName::Bimalleolar,
    ResultName::Heel,
    ResultName::HeelMarkSpacing,
    ResultName::ForefootToRearfoot,
    ResultName::ForefootToRearfootM2M5,
    ResultName::ForefootToRearfootM1M4,
    ResultName::ForefootToRearfootM2M4,
    ResultName::BalanceToVertical,
    ResultName::BalanceWidth,
    ResultName::FootToLeg,
    ResultName::CalfMarkSpacing,
    ResultName::HeelToFirstMtp,
    ResultName::HeelToFifthMtp,
    ResultName::ForefootBreadth,
    ResultName::HeelBreadth,
];

pub(super) fn quantities(results: &Results, w: Words) -> Result<Vec<Value>, PaperError> {
    let mut rows = Vec::new();
    for &name in SHOWN {
        if let Some(p) = result(results, name, w)? {
            rows.push(json!({
                "name": w.say(name.label()), "value": p.value,
                "instrument": p.instrument, "total": p.total, "note": p.note,
            }));
        }
    }
    Ok(rows)
}

/// Both hinge points against the outer face (as it stands on the bench) and the inner (the skin).
pub(super) fn hinges(results: &Results, w: Words) -> Result<Vec<Value>, PaperError> {
    let named = [
        ("Medial hinge", &results.medial_hinge),
        ("Lateral hinge", &results.lateral_hinge),
    ];
    named
        .into_iter()
        .map(|(name, hinge)| {
            let Some(hinge) = hinge else {
                return Ok(json!({"name": w.say(name), "from": w.say("not marked"), "cells": null}));
            };
            Ok(json!({
                "name": w.say(name), "from": from_words(hinge, w),
                "cells": [
                    cell(name, &hinge.outside, w, |d| d.height)?, cell(name, &hinge.outside, w, |d| d.forward)?,
                    cell(name, &hinge.inside, w, |d| d.height)?, cell(name, &hinge.inside, w, |d| d.forward)?,
                ],
            }))
        })
        .collect()
}

fn from_words(hinge: &HingePoint, w: Words) -> String {
    match hinge.from {
        HingeFrom::Apex => w.say("from the apex"),
        HingeFrom::LowerPole => w.say("from the lower pole"),
    }
}

fn cell(
    name: &str,
    datum: &Datum,
    w: Words,
    pick: impl Fn(&Datum) -> Option<Quantity>,
) -> Result<Value, PaperError> {
    pick(datum)
        .map(|q| {
            let p = printed(name, &q, None, w)?;
            Ok(json!({"value": p.value, "total": p.total}))
        })
        .transpose()
        .map(|cell| json!(cell))
}

pub(super) fn comparisons(results: &Results, w: Words) -> Result<Vec<Value>, PaperError> {
    results
        .comparisons
        .iter()
        .map(|c| {
            let label = c.dimension.label();
            let cast = printed(label, &c.cast, None, w)?;
            let difference = printed(label, &c.difference, None, w)?;
            crate::words::finite(label, &[c.leg_mm])?;
            let sign = if c.difference.value.round() > 0.0 {
                "+"
            } else {
                ""
            };
            Ok(json!({
                "name": w.say(label), "cast": cast.value, "total": cast.total,
                "leg": format!("{} mm", whole(c.leg_mm)), "readings": c.readings,
                "difference": format!("{sign}{}", difference.value),
            }))
        })
        .collect()
}

/// Three distances between marks that a calliper reaches, to check the cast in hand against the
/// photographs: as far as possible from one another in what they span.
pub(super) fn calliper(results: &Results, w: Words) -> Result<Vec<Value>, PaperError> {
    use MarkName as M;
    const PAIRS: [(&str, &str); 9] = [
        (M::MALLEOLUS_MEDIAL, M::MALLEOLUS_LATERAL),
        (M::MTP_1, M::MTP_5),
        (M::HEEL_LOWER, M::MTP_1),
        (M::HEEL_LOWER, M::MTP_5),
        (M::HEEL_LOWER, M::CALF_UPPER),
        (M::MALLEOLUS_MEDIAL, M::MTP_1),
        (M::MALLEOLUS_LATERAL, M::MTP_5),
        (M::HEEL_LOWER, M::MALLEOLUS_MEDIAL),
        (M::HEEL_LOWER, M::MALLEOLUS_LATERAL),
    ];
    let get = |mark: &str| results.points.iter().find(|p| p.mark.as_str() == mark);
    let mut rows = Vec::new();
    for (a, b) in PAIRS {
        if let (Some(p), Some(q)) = (get(a), get(b)) {
            let (mm, sd_mm) = distance(p, q);
            crate::words::finite(a, &[mm, sd_mm])?;
            rows.push(json!({
                "name": w.with("{} to {}", &[short_name(a), short_name(b)]),
                "value": format!("{} mm", whole(mm)),
                "instrument": format!("± {}", whole_up(NORMAL_95 * sd_mm)),
            }));
        }
        if rows.len() == 3 {
            break;
        }
    }
    Ok(rows)
}

/// Distance of two points and its instrument sd, their errors taken as independent.
fn distance(p: &CastPoint, q: &CastPoint) -> (f64, f64) {
    let d: Vec<f64> = (0..3).map(|i| q.cast_mm[i] - p.cast_mm[i]).collect();
    let mm = d.iter().map(|c| c * c).sum::<f64>().sqrt();
    if mm <= 0.0 {
        return (0.0, 0.0);
    }
    let variance: f64 = (0..3)
        .map(|i| {
            let sd2 = p.instrument_sd_mm[i].powi(2) + q.instrument_sd_mm[i].powi(2);
            (d[i] / mm).powi(2) * sd2
        })
        .sum();
    (mm, variance.sqrt())
}

/// Every point, side-neutrally: forward, lateral, up from below the lower heel mark.
pub(super) fn points(results: &Results, w: Words) -> Vec<Value> {
    let s = results.side.sign();
    results
        .points
        .iter()
        .map(|p| {
            let [x, y, z] = p.cast_mm;
            let largest = p.total_sd_mm.iter().copied().fold(0.0, f64::max);
            json!({
                "short": short_name(p.mark.as_str()), "mark": w.say(&listed(p.mark.as_str())),
                "forward": whole(x), "lateral": whole(s * y), "up": whole(z),
                "total": format!("± {}", whole_up(NORMAL_95 * largest)),
                "views": p.views,
                "face": match p.surface { Surface::Inside => w.say("inside"), Surface::Outside => w.say("outside") },
            })
        })
        .collect()
}
