//! What a person reads of a measurement: whole millimetres and degrees, both kinds of ±.

use crate::pipeline::Measured;
use plinthside_measure::cast::{ResultName, Results};
use plinthside_visit::verdict::{Call, Verdict};
use plinthside_visit::{Lang, Visit};
use std::fmt::Write;

/// Quantities a summary shows; the JSON holds all of them.
const SHOWN: [ResultName; 12] = [
    ResultName::Bimalleolar,
    ResultName::HingeTiltFrontal,
    ResultName::HingeTurnTransverse,
    ResultName::HingeToLeg,
    ResultName::Heel,
    ResultName::ForefootToRearfoot,
    ResultName::ForefootToRearfootM2M5,
    ResultName::BalanceToVertical,
    ResultName::FootToLeg,
    ResultName::HeelToFirstMtp,
    ResultName::HeelToFifthMtp,
    ResultName::ForefootBreadth,
];

/// Rounded to whole units, never "-0".
fn whole(value: f64) -> f64 {
    value.round() + 0.0
}

/// ± in whole units, tenths below one.
fn shown(half: f64) -> String {
    if half < 0.95 {
        format!("{half:.1}")
    } else {
        format!("{half:.0}")
    }
}

/// The quantities, hinge points and warnings of a measurement, then the verdict.
#[must_use]
pub fn of_measurement(measured: &Measured, verdict: Option<&Verdict>) -> String {
    let mut text = String::new();
    if let Some(solution) = &measured.solution {
        for camera in &solution.cameras {
            let _ = writeln!(
                text,
                "{}: {} tags, {:.2} px rms",
                camera.photo, camera.tags, camera.rms_px
            );
        }
    }
    match &measured.results {
        Some(results) => text += &of_results(results),
        None => {
            for point in measured.points.points() {
                let [x, y, z] = point.mm;
                let _ = writeln!(text, "{}: {x:.1} {y:.1} {z:.1} mm on the mat", point.mark);
            }
        }
    }
    let solved = measured
        .solution
        .iter()
        .flat_map(|s| &s.warnings)
        .map(ToString::to_string);
    let found = measured
        .results
        .iter()
        .flat_map(|r| r.warnings.iter().cloned());
    for warning in measured.warnings.iter().cloned().chain(solved).chain(found) {
        let _ = writeln!(text, "Note: {warning}");
    }
    if let Some(verdict) = verdict {
        text += &of_verdict(verdict);
    }
    text
}

fn of_results(results: &Results) -> String {
    let mut text = format!(
        "\n{:38} {:>8}   {:>8}  {:>8}\n",
        "", "", "± camera", "± marks"
    );
    for name in SHOWN {
        let Some(quantity) = results.quantities.get(&name) else {
            continue;
        };
        // The word says which way; the sign would say it twice.
        let word = results.words.get(&name).map_or("", String::as_str);
        let value = if word.is_empty() {
            quantity.value
        } else {
            quantity.value.abs()
        };
        let half = quantity.plus_minus();
        let _ = writeln!(
            text,
            "{:38} {:>5.0}{:<3}   {:>8}  {:>12}  {word}",
            name.label(),
            whole(value),
            quantity.unit.sign(),
            shown(half.instrument),
            shown(half.total),
        );
    }
    for (name, hinge) in [
        ("medial", &results.medial_hinge),
        ("lateral", &results.lateral_hinge),
    ] {
        let Some(hinge) = hinge else { continue };
        let datum = if hinge.inside.height.is_some() {
            ("inside", hinge.inside)
        } else {
            ("outside", hinge.outside)
        };
        if let (
            face,
            plinthside_measure::cast::Datum {
                height: Some(height),
                forward: Some(forward),
            },
        ) = datum
        {
            let _ = writeln!(
                text,
                "Hinge point, {name}: {:.0} ± {} mm high, {:.0} ± {} mm forward of the heel ({face})",
                whole(height.value),
                shown(height.plus_minus().total),
                whole(forward.value),
                shown(forward.plus_minus().total),
            );
        }
    }
    let _ = writeln!(
        text,
        "Side: {}",
        results
            .side_check
            .sentences
            .first()
            .map_or("", String::as_str)
    );
    text
}

/// The judgement and every finding that is not simply fine.
#[must_use]
pub fn of_verdict(verdict: &Verdict) -> String {
    let mut text = format!("\n{}\n", verdict.text.get(Lang::En));
    for finding in verdict.findings.iter().filter(|f| f.call > Call::Keep) {
        let _ = writeln!(
            text,
            "  {}: {}",
            finding.text.get(Lang::En),
            finding.remedy.get(Lang::En)
        );
        if let Some(advice) = finding.advice {
            let _ = writeln!(text, "    {}", advice.text().get(Lang::En));
        }
    }
    text.push_str("  The clinician decides; local codes and professional rules take precedence.\n");
    text
}

/// A visit in a few lines: who, when, what was cast and ordered, and how far it has come.
#[must_use]
pub fn of_visit(visit: &Visit) -> String {
    let mut text = String::new();
    let at = visit
        .at
        .map_or_else(String::new, |at| at.format("%Y-%m-%d %H:%M").to_string());
    let _ = writeln!(text, "Visit {}  {at}  {}", visit.id, visit.clinician);
    let _ = writeln!(text, "Patient {}  {}", visit.person.code, visit.person.name);
    if !visit.reason.is_empty() {
        let _ = writeln!(text, "Reason: {}", visit.reason);
    }
    if let Some(why) = &visit.deferred {
        let _ = writeln!(text, "Casting was put off: {why}");
    }
    let _ = writeln!(text, "Readings: {}", visit.readings.len());
    for cast in &visit.casts {
        let _ = writeln!(
            text,
            "Cast {} ({} foot): code {}; {} photographs, {} taps. {}",
            cast.id,
            cast.side,
            cast.code.as_deref().unwrap_or("none"),
            cast.sources.photographs.len(),
            cast.sources.taps.len(),
            cast.how_measured().get(Lang::En)
        );
    }
    for order in &visit.orders {
        let revision = order.newest().map_or(0, |revision| revision.number);
        let _ = writeln!(
            text,
            "Order {} ({} foot): revision {revision}, {}",
            order.id,
            order.side,
            order.state().label(Lang::En)
        );
    }
    text
}
