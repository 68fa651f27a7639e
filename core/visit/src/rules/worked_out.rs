//! Facts worked out of several others.

use super::condition::Value;
use super::facts::Case;
use crate::entry::Entry;
use crate::examination::Dimension;
use crate::order::Skive;
use plinthside_measure::cast::{
    ResultName as Name, SKIVE_ANGLE_DEG, SkiveError, plan_skive, posting_height_mm,
};
use plinthside_measure::marks::Side;
use serde_json::Value as Json;

pub(super) fn get(case: &Case<'_>, fact: &str) -> Option<Value> {
    match fact {
        "side_conflict" => Some(Value::Flag(side_conflict(case))),
        "insensate" => insensate(case).map(Value::Flag),
        "tone_raised" => tone_raised(case).map(Value::Flag),
        "forefoot_angle_spans_zero" => forefoot_spans_zero(case).map(Value::Flag),
        "forefoot_inverted" => forefoot_inverted(case).map(Value::Flag),
        // The six items count before a typed total; half of them gives none.
        "foot_posture_index" => crate::norms::foot_posture_of(case.visit, case.side)
            .map(f64::from)
            .map(Value::Number),
        "forefoot_height_by_angle_mm" => forefoot_height(case).map(Value::Number),
        "skive_reach_share" => skive_reach_share(case).map(Value::Number),
        "entries_in_question" => Some(Value::Number(f64::from(
            typed_about(case)
                .iter()
                .map(entries_in_question)
                .sum::<u32>(),
        ))),
        "copies_unconfirmed" => {
            let copies = case
                .visit
                .readings
                .iter()
                .filter(|r| r.is_unconfirmed_copy());
            Some(Value::Number(copies.count() as f64))
        }
        "order_copies_unconfirmed" => {
            let revision = case.revision?;
            let copies = revision.because.keys();
            let copies = copies.filter(|path| revision.is_unconfirmed_copy(path));
            Some(Value::Number(copies.count() as f64))
        }
        _ => None,
    }
}

/// Facts of the cast that are not fields: `None` leaves the name to the fields.
pub(super) fn of_cast(case: &Case<'_>, name: &str) -> Option<Option<Value>> {
    let cast = case.cast;
    Some(match name {
        "taken" => Some(Value::Flag(cast.is_some())),
        "measured" => cast.map(|_| Value::Flag(case.results.is_some())),
        "minutes_to_photographs" => cast
            .and_then(|c| c.record.minutes_to_photographs())
            .map(Value::Number),
        "marks_missing_count" => cast.map(|c| {
            let lost = crate::verdict::lost_marks(case.results, Some(&c.inspection));
            Value::Number(lost.len() as f64)
        }),
        _ => return None,
    })
}

/// Whether visit, cast, measurement, label and order speak of different sides.
fn side_conflict(case: &Case<'_>) -> bool {
    let cast = case.cast;
    let said: [Option<Side>; 5] = [
        case.order.map(|o| o.side),
        cast.map(|c| c.side),
        cast.and_then(|c| c.record.side_written),
        case.results.map(|r| r.side),
        case.label_side,
    ];
    let differ = said.into_iter().flatten().any(|side| side != case.side);
    let not_of_visit = !case.visit.sides.is_empty() && !case.visit.sides.contains(&case.side);
    let other_cast = match (case.order.and_then(|o| o.cast.as_deref()), cast) {
        (Some(id), Some(cast)) => cast.id != id,
        _ => false,
    };
    differ || not_of_visit || other_cast || case.results.is_some_and(|r| r.side_check.stops)
}

fn number(case: &Case<'_>, kind: &str) -> Option<f64> {
    case.visit.reading(kind, case.side)?.mean()
}

fn says(case: &Case<'_>, kind: &str, word: &str) -> Option<bool> {
    let reading = case.visit.reading(kind, case.side)?;
    (!reading.choices.is_empty()).then(|| reading.choices.iter().any(|c| c == word))
}

/// Any site tested and not felt, or the heel without feeling.
fn insensate(case: &Case<'_>) -> Option<bool> {
    let sites = match (
        number(case, "sensation_sites_felt"),
        number(case, "sensation_sites_tested"),
    ) {
        (Some(felt), Some(tested)) => Some(felt < tested),
        _ => None,
    };
    let heel = says(case, "heel_sensation", "absent");
    match (sites, heel) {
        (Some(true), _) | (_, Some(true)) => Some(true),
        (None, None) => None,
        _ => Some(false),
    }
}

fn tone_raised(case: &Case<'_>) -> Option<bool> {
    let clonus = says(case, "clonus", "yes");
    let catch = says(case, "tone_catch", "none").map(|none| !none);
    match (clonus, catch) {
        (Some(true), _) | (_, Some(true)) => Some(true),
        (Some(false), Some(false)) => Some(false),
        _ => None,
    }
}

/// What the ordered forefoot angle makes across the ordered width, mm.
fn forefoot_height(case: &Case<'_>) -> Option<f64> {
    let correction = &case.revision?.prescription.correction;
    let usable = |entry: &Option<Entry>| entry.as_ref().and_then(Entry::usable);
    let width_mm = usable(&correction.forefoot_width_mm)?;
    let angle_deg = usable(&correction.forefoot_deg)?;
    Some(posting_height_mm(width_mm, angle_deg))
}

/// The angle by any plane of the forefoot that was marked includes 0 in its 95 % interval: a
/// plantarflexed or raised ray alone can make the others look tilted.
pub(crate) fn forefoot_spans_zero(case: &Case<'_>) -> Option<bool> {
    let results = case.results?;
    let planes = [
        Name::ForefootToRearfoot,
        Name::ForefootToRearfootM2M5,
        Name::ForefootToRearfootM1M4,
        Name::ForefootToRearfootM2M4,
    ];
    let found: Vec<_> = planes
        .iter()
        .filter_map(|name| results.quantities.get(name))
        .collect();
    (!found.is_empty()).then(|| {
        let spans = found.iter().any(|q| q.low95 <= 0.0 && q.high95 >= 0.0);
        spans
            || found
                .iter()
                .any(|q| (q.value > 0.0) != (found[0].value > 0.0))
    })
}

fn forefoot_inverted(case: &Case<'_>) -> Option<bool> {
    let cast = case
        .results
        .and_then(|r| r.quantities.get(&Name::ForefootToRearfoot))
        .map(|q| q.value > 0.0);
    cast.or_else(|| number(case, "forefoot_to_rearfoot_deg").map(|v| v > 0.0))
}

/// How far across the heel a skive reaches, as a share of the heel's breadth.
fn skive_reach_share(case: &Case<'_>) -> Option<f64> {
    let correction = &case.revision?.prescription.correction;
    if correction.skive.as_ref()? == &Skive::None {
        return None;
    }
    let depth_mm = correction.skive_mm.as_ref()?.usable()?;
    let angle_deg = correction
        .skive_deg
        .as_ref()
        .and_then(crate::Entry::usable)
        .unwrap_or(SKIVE_ANGLE_DEG);
    let measured = || {
        let quantities = &case.results?.quantities;
        quantities
            .get(&Name::HeelBreadthInside)
            .or_else(|| quantities.get(&Name::HeelBreadth))
    };
    let breadth_mm = case
        .visit
        .leg(case.side)
        .and_then(|leg| leg.get(Dimension::HeelBreadthMm))
        .or_else(|| Some(measured()?.value))?;
    match plan_skive(depth_mm, angle_deg, breadth_mm) {
        Ok(plan) => Some(plan.share_of_heel),
        Err(SkiveError::BeyondHalf {
            reach_mm,
            heel_breadth_mm,
            ..
        }) => Some(reach_mm / heel_breadth_mm),
        Err(_) => None,
    }
}

/// Everything typed about this foot, as JSON.
fn typed_about(case: &Case<'_>) -> Vec<Json> {
    let visit = case.visit;
    let readings: Vec<_> = visit
        .readings
        .iter()
        .filter(|r| r.side.is_none_or(|s| s == case.side))
        .collect();
    let parts = [
        serde_json::to_value((&visit.person.body_mass_kg, &visit.person.stature_mm)),
        serde_json::to_value(readings),
        serde_json::to_value(visit.leg(case.side)),
        serde_json::to_value(case.cast.map(|c| (&c.record, &c.inspection))),
        serde_json::to_value(case.revision.map(|r| &r.prescription)),
    ];
    parts.into_iter().filter_map(Result::ok).collect()
}

fn entries_in_question(json: &Json) -> u32 {
    match json {
        Json::Object(fields) if fields.contains_key("typed") => {
            let confirmed = fields.get("confirmed") == Some(&Json::Bool(true));
            let problem = fields.get("problem").is_some_and(|p| !p.is_null());
            let unread = fields.get("value").is_none_or(Json::is_null);
            u32::from(unread || (problem && !confirmed))
        }
        Json::Object(fields) => fields.values().map(entries_in_question).sum(),
        Json::Array(items) => items.iter().map(entries_in_question).sum(),
        _ => 0,
    }
}
