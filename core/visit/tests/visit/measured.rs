//! From marks on a cast through its results to verdict and order, nothing made up in between.

use crate::common::{complete, day, entry, number};
use nalgebra::DMatrix;
use plinthside_measure::cast::{
    self, CalfBand, CastPoints, MeasuredPoint, MotionRange, OrderedLine, ResultName, Results,
    Settings, Source, Wall, hinge_mismatch,
};
use plinthside_measure::marks::{Side, Surface};
use plinthside_visit::order::{HingeLineKind, MotionKind, fillable, line_cost};
use plinthside_visit::rules::Case;
use plinthside_visit::verdict::{Advice, Call, Evidence, Tolerances, verdict};
use plinthside_visit::{Clinic, Dimension, Lang, LegDimensions, Visit};

/// A left cast: name, x forward, y to the left, z up (mm). Bimalleolar distance 69.6 mm.
const MARKS: [(&str, [f64; 3]); 8] = [
    ("heel-lower", [0.0, 0.0, 14.0]),
    ("heel-upper", [-2.99, 2.52, 62.0]),
    ("malleolus-medial", [44.82, -35.23, 86.0]),
    ("malleolus-lateral", [36.18, 33.81, 73.0]),
    ("mtp-1", [147.80, -37.77, 20.0]),
    ("mtp-5", [136.21, 40.29, 11.0]),
    ("calf-lower", [10.01, 0.95, 120.0]),
    ("calf-upper", [12.02, 3.94, 170.0]),
];

fn measure(visit: &Visit, marks: &[(&str, [f64; 3])]) -> Results {
    let point = |(mark, mm): &(&str, [f64; 3])| MeasuredPoint {
        mark: (*mark).into(),
        mm: *mm,
        surface: Surface::Inside,
        views: 3,
        worst_residual_px: None,
    };
    let covariance = DMatrix::identity(3 * marks.len(), 3 * marks.len()) * 0.04;
    let wall = Some(Wall {
        mm: 5.0,
        sd_mm: 0.5,
    });
    let points = marks.iter().map(point).collect();
    let cast = CastPoints::new(points, covariance, 60.0, 0.0, Source::Photographs, wall).unwrap();
    let leg = visit.leg(Side::Left).unwrap().to_leg();
    cast::results(&cast, Side::Left, &Settings::default(), &leg).unwrap()
}

fn visit_with_calliper(bimalleolar_mm: f64) -> Visit {
    let mut visit = complete(Side::Left);
    let mut leg = LegDimensions::new(Side::Left);
    leg.values
        .insert(Dimension::BimalleolarBreadthMm, vec![entry(bimalleolar_mm)]);
    visit.legs.push(leg);
    visit
}

fn judge(visit: &Visit, results: &Results) -> plinthside_visit::verdict::Verdict {
    let evidence = Evidence::of_visit(visit, &visit.casts[0], Some(results));
    verdict(&evidence, &Tolerances::shipped().unwrap())
}

#[test]
fn the_calliper_proves_the_cast() {
    let good = visit_with_calliper(70.0);
    let results = measure(&good, &MARKS);
    let v = judge(&good, &results);
    assert_eq!(v.call, Call::Keep, "{}", v.text.get(Lang::En));
    let breadth = |v: &plinthside_visit::verdict::Verdict| {
        v.findings
            .iter()
            .find(|f| f.check == "bimalleolar_breadth_difference_mm")
            .unwrap()
            .clone()
    };
    let f = breadth(&v);
    assert!(f.instrument_sd.unwrap() < 0.5 && f.marking_sd.is_some());
    // The measurement alone, with the leg given to it, says the same.
    let alone = verdict(
        &Evidence::of_results(&results),
        &Tolerances::shipped().unwrap(),
    );
    assert_eq!(breadth(&alone).value, f.value);
    // Squeezed by 8 mm on removal.
    let mut squeezed = MARKS;
    squeezed[2].1[1] += 4.0;
    squeezed[3].1[1] -= 4.0;
    let v = judge(&good, &measure(&good, &squeezed));
    let f = breadth(&v);
    assert_eq!(f.call, Call::Recast);
    assert_ne!(
        f.advice,
        Some(Advice::AnotherPhotograph),
        "0.2 mm points settle it"
    );
    assert!(
        f.text.get(Lang::En).contains("narrower than on the leg"),
        "{}",
        f.text.get(Lang::En)
    );
}

#[test]
fn a_moved_mark_moves_the_order() {
    let visit = visit_with_calliper(70.0);
    let at = |marks: &[(&str, [f64; 3])]| -> Vec<(&'static str, f64)> {
        let results = measure(&visit, marks);
        let case = Case::of_visit(&visit, Side::Left, day());
        fillable(&case.measured(&results), &Clinic::default())
            .into_iter()
            .filter_map(|f| Some((f.field, f.value.as_f64()?)))
            .collect()
    };
    let before = at(&MARKS);
    assert_eq!(
        before.len(),
        4,
        "two hinge points, height and distance each: {before:?}"
    );
    let mut moved = MARKS;
    for mark in [2, 3] {
        moved[mark].1[0] += 3.0;
        moved[mark].1[2] += 5.0;
    }
    for ((field, old), (_, new)) in before.iter().zip(at(&moved)) {
        let by = if field.contains("height") { 5.0 } else { 3.0 };
        assert!((new - old - by).abs() < 0.11, "{field}: {old} became {new}");
    }
}

/// The marks' own uncertainty makes a small forefoot angle no ground for a balance.
#[test]
fn a_small_angle_is_no_ground_for_a_balance() {
    let mut visit = visit_with_calliper(70.0);
    let p = &mut visit.orders[0].draft_mut().unwrap().prescription;
    p.set("correction.forefoot", "balance".into()).unwrap();
    let results = measure(&visit, &MARKS);
    let alpha = results.quantities[&ResultName::ForefootToRearfoot];
    // The example's coordinates are rounded to 0.01 mm, which moves the angle by up to 0.02°.
    assert!((alpha.value - 3.577).abs() < 0.02 && alpha.low95 < 0.0);
    let case = Case::of_visit(&visit, Side::Left, day());
    let filled = fillable(&case.measured(&results), &Clinic::default());
    assert!(!filled.iter().any(|f| f.field.starts_with("correction.")));
}

/// The figure said on the bench sheet is that of the measurement, whose own tables are published
/// ones (`core/measure/tests/cast/tables.rs`).
#[test]
fn what_a_level_hinge_line_costs_is_said_from_cast_band_and_range() {
    let mut visit = visit_with_calliper(70.0);
    for (dimension, mm) in [
        (Dimension::FloorToBandMm, 170.0),
        (Dimension::BandWidthMm, 80.0),
        (Dimension::BandDepthMm, 90.0),
    ] {
        visit.legs[0].values.insert(dimension, vec![entry(mm)]);
    }
    let motion = &mut visit.orders[0].draft_mut().unwrap().prescription.motion;
    for (direction, stop_deg) in [
        (&mut motion.plantarflexion, 20.0),
        (&mut motion.dorsiflexion, 15.0),
    ] {
        direction.kind = Some(MotionKind::Stopped);
        direction.stop_deg = Some(entry(stop_deg));
    }
    motion.hinge_line.kind = Some(HingeLineKind::OwnMarks);
    let results = measure(&visit, &MARKS);
    let said = |visit: &Visit| {
        let case = Case::of_visit(visit, Side::Left, day());
        line_cost(&case.measured(&results))
    };
    assert_eq!(said(&visit), None, "the leg's own line costs nothing");
    let motion = &mut visit.orders[0].draft_mut().unwrap().prescription.motion;
    motion.hinge_line.kind = Some(HingeLineKind::Level);
    motion.hinge_line.external_rotation_deg = Some(entry(10.0));
    let pose_deg = results.quantities[&ResultName::FootToLeg].value;
    let expected = hinge_mismatch(
        &CastPoints::from_results(&results).unwrap(),
        Side::Left,
        &Settings::default(),
        &OrderedLine::Level { external_deg: 10.0 },
        &CalfBand {
            height_mm: 170.0,
            width_mm: 80.0,
            depth_mm: 90.0,
        },
        &MotionRange {
            plantarflexion_deg: 20.0 + pose_deg,
            dorsiflexion_deg: 15.0 - pose_deg,
        },
    )
    .unwrap();
    let text = said(&visit).unwrap();
    let mm = format!("up to {:.0} ± ", expected.largest.value);
    assert!(text.get(Lang::En).contains(&mm), "{text:?}, {mm}");
    assert!(expected.largest.value > 1.0 && expected.largest.value < 10.0);
    // Free motion ends where the patient's own does; without that reading nothing is said.
    let motion = &mut visit.orders[0].draft_mut().unwrap().prescription.motion;
    motion.dorsiflexion.kind = Some(MotionKind::Free);
    assert_eq!(said(&visit), None);
    let reading = number("ankle_dorsiflexion_knee_bent_deg", Side::Left, 15.0);
    visit.readings.push(reading);
    assert_eq!(said(&visit), Some(text));
}
