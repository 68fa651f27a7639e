//! Inside and outside faces, hinge points with offsets, and the patient's own dimensions.

use crate::support::{cast, cast_with, worked};
use plinthside_measure::cast::{
    CastError, CastPoints, HingeFrom, HingeOffset, Reference, Refusal, ResultName as R, Settings,
    Source, Wall, results,
};
use plinthside_measure::leg::{Leg, LegDimension, Readings};
use plinthside_measure::marks::{MarkName as M, Side, Surface};

const WALL: Wall = Wall {
    mm: 5.0,
    sd_mm: 0.8,
};

fn without(points: &[(String, [f64; 3])], mark: &str) -> Vec<(String, [f64; 3])> {
    points.iter().filter(|(m, _)| m != mark).cloned().collect()
}

/// HU and HL drawn on the outside, the rest inked inside.
fn heel_line_outside(points: &[(String, [f64; 3])]) -> CastPoints {
    let inside = cast_with(
        points,
        0.2,
        Source::Photographs,
        Surface::Inside,
        Some(WALL),
    );
    let mut marked = inside.points().to_vec();
    for point in &mut marked {
        if [M::HEEL_UPPER, M::HEEL_LOWER].contains(&point.mark.as_str()) {
            point.surface = Surface::Outside;
        }
    }
    CastPoints::new(
        marked,
        inside.covariance_mm2().clone(),
        40.0,
        0.002,
        Source::Photographs,
        Some(WALL),
    )
    .unwrap()
}

#[test]
fn hinge_points_stand_over_both_faces() {
    let results = results(
        &heel_line_outside(&worked(Side::Left)),
        Side::Left,
        &Settings::default(),
        &Leg::default(),
    )
    .unwrap();
    let medial = results.medial_hinge.unwrap();
    let value = |q: Option<plinthside_measure::quantity::Quantity>| q.unwrap().value;
    assert!((value(medial.outside.height) - 86.0).abs() < 1e-9);
    assert!((value(medial.outside.forward) - 44.82).abs() < 1e-9);
    assert!(
        (value(medial.inside.height) - 81.0).abs() < 1e-9,
        "outer face plus wall"
    );
    assert!(
        (value(medial.inside.forward) - 39.82).abs() < 1e-9,
        "a wall behind the heel too"
    );
    // The wall's own ± comes in: hypot(0.2, 0.8).
    let sd = medial.inside.height.unwrap().instrument_sd;
    assert!((sd - 0.2_f64.hypot(0.8)).abs() < 1e-9, "{sd}");
    assert!((medial.outside.height.unwrap().instrument_sd - 0.2).abs() < 1e-9);
}

#[test]
fn the_inner_plantar_heel_is_the_height_datum_when_marked() {
    let mut points = worked(Side::Left);
    points.push((M::HEEL_PLANTAR.to_owned(), [20.0, 0.0, 4.2]));
    let with_mark = results(
        &cast(&points),
        Side::Left,
        &Settings::default(),
        &Leg::default(),
    )
    .unwrap();
    let height = with_mark.quantities[&R::MedialHingeHeightInside];
    assert!((height.value - 81.8).abs() < 1e-9);
    // Neither mark nor wall: no inner height is invented.
    let plain = results(
        &cast(&worked(Side::Left)),
        Side::Left,
        &Settings::default(),
        &Leg::default(),
    )
    .unwrap();
    assert!(!plain.quantities.contains_key(&R::MedialHingeHeightInside));
    assert!(
        !plain.quantities.contains_key(&R::MedialHingeForward),
        "outer back of the heel unknown"
    );
    assert!(plain.medial_hinge.unwrap().inside.forward.is_some());
}

#[test]
fn offsets_and_lower_poles_as_ordered() {
    let mut points = worked(Side::Right);
    points.push((M::MALLEOLUS_LATERAL_LOWER.to_owned(), [34.0, -33.0, 66.0]));
    let settings = Settings {
        medial_hinge_offset: HingeOffset {
            down_mm: 5.0,
            forward_mm: 2.0,
        },
        lateral_hinge_from: HingeFrom::LowerPole,
        ..Settings::default()
    };
    let results = results(&cast(&points), Side::Right, &settings, &Leg::default()).unwrap();
    let (medial, lateral) = (
        results.medial_hinge.unwrap(),
        results.lateral_hinge.unwrap(),
    );
    assert!((medial.outside.height.unwrap().value - 81.0).abs() < 1e-9);
    assert!((medial.inside.forward.unwrap().value - 46.82).abs() < 1e-9);
    assert_eq!(lateral.mark.as_str(), M::MALLEOLUS_LATERAL_LOWER);
    assert!((lateral.outside.height.unwrap().value - 66.0).abs() < 1e-9);
    for bad in [f64::NAN, f64::INFINITY, 400.0] {
        let settings = Settings {
            lateral_hinge_offset: HingeOffset {
                down_mm: bad,
                forward_mm: 0.0,
            },
            ..Settings::default()
        };
        let refused = plinthside_measure::cast::results(
            &cast(&points),
            Side::Right,
            &settings,
            &Leg::default(),
        );
        assert!(matches!(refused, Err(CastError::Setting { .. })));
    }
}

/// A shell squeezed on removal: 8 mm under the calliper between the inner malleolar marks.
#[test]
fn a_squeezed_shell_shows_beside_the_leg() {
    let leg = Leg {
        bimalleolar_breadth_mm: Readings(vec![78.0, 79.0, 79.5]),
        medial_malleolus_height_mm: Readings(vec![81.0]),
        ball_breadth_mm: Readings(vec![95.0]),
        ..Leg::default()
    };
    let cast = cast_with(
        &worked(Side::Left),
        0.2,
        Source::Photographs,
        Surface::Inside,
        Some(WALL),
    );
    let results = results(&cast, Side::Left, &Settings::default(), &leg).unwrap();
    let find = |d| results.comparisons.iter().find(|c| c.dimension == d);
    let breadth = find(LegDimension::BimalleolarBreadth).unwrap();
    assert!(
        (breadth.cast.value - 70.78).abs() < 0.01,
        "between the marks in space"
    );
    assert!((breadth.difference.value + 8.05).abs() < 0.01 && breadth.readings == 3);
    assert!(breadth.difference.instrument_sd > breadth.cast.instrument_sd);
    assert!(
        find(LegDimension::MedialMalleolusHeight)
            .unwrap()
            .difference
            .value
            .abs()
            < 1e-9
    );
    // Plantar dots lie inside what a calliper spans: no comparison that would cry wolf.
    assert!(find(LegDimension::BallBreadth).is_none());
}

#[test]
fn breadth_over_outer_marks_takes_off_the_walls() {
    let outside = cast_with(
        &worked(Side::Left),
        0.2,
        Source::Photographs,
        Surface::Outside,
        Some(WALL),
    );
    let results = results(&outside, Side::Left, &Settings::default(), &Leg::default()).unwrap();
    let [over, between] =
        [R::Bimalleolar, R::BimalleolarInside].map(|n| results.quantities[&n].value);
    assert!((over - between - 10.0).abs() < 1e-9);
}

#[test]
fn lesser_planes_leave_a_dropped_first_ray_out() {
    // Second to fifth level, first 7 mm lower: everted by the first ray alone.
    let points: Vec<(String, [f64; 3])> = [
        (M::HEEL_LOWER, [0.0, 0.0, 14.0]),
        (M::HEEL_UPPER, [0.0, 0.0, 64.0]),
        (M::MTP_1, [145.0, -38.0, 3.0]),
        (M::MTP_2, [150.0, -18.0, 10.0]),
        (M::MTP_4, [143.0, 22.0, 10.0]),
        (M::MTP_5, [137.0, 40.0, 10.0]),
    ]
    .map(|(m, p)| (m.to_owned(), p))
    .to_vec();
    let results = results(
        &cast(&points),
        Side::Left,
        &Settings::default(),
        &Leg::default(),
    )
    .unwrap();
    assert!(results.quantities[&R::ForefootToRearfoot].value < -5.0);
    assert!(results.words[&R::ForefootToRearfoot].starts_with("everted forefoot"));
    assert!(results.quantities[&R::ForefootToRearfootM2M5].value.abs() < 1e-9);
    assert!(results.quantities[&R::ForefootToRearfootM2M4].value.abs() < 1e-9);
    assert!(results.quantities[&R::ForefootToRearfootM1M4].value < -5.0);
}

#[test]
fn the_reference_is_a_choice_and_named() {
    let mut points = worked(Side::Left);
    // A midfoot abducted: the second MTP mark off the mid-point line.
    points.push((M::MTP_2.to_owned(), [150.0, -20.0, 8.0]));
    let with = |reference| {
        let settings = Settings {
            reference,
            ..Settings::default()
        };
        results(&cast(&points), Side::Left, &settings, &Leg::default()).unwrap()
    };
    let (middle, second) = (with(Reference::MtpMidpoint), with(Reference::Mtp2));
    let turn = |r: &plinthside_measure::cast::Results| r.quantities[&R::HingeTurnTransverse].value;
    // atan(21.26/151.5) = 8.0° between the two references.
    assert!((turn(&middle) - turn(&second)).abs() > 7.5);
    assert_ne!(middle.reference.words(), second.reference.words());
}

#[test]
fn missing_and_coinciding_marks_are_named() {
    let refuse = |points: &[(String, [f64; 3])]| {
        results(
            &cast(points),
            Side::Left,
            &Settings::default(),
            &Leg::default(),
        )
    };
    for mark in [M::HEEL_LOWER, M::MTP_1, M::MTP_5] {
        let error = refuse(&without(&worked(Side::Left), mark)).unwrap_err();
        assert!(matches!(&error, CastError::NoFrame { mark: m, .. } if m.as_str() == mark));
        assert!(error.to_string().contains(mark), "{error}");
    }
    let some = refuse(&without(&worked(Side::Left), M::CALF_UPPER)).unwrap();
    assert!(some.refused.iter().any(
        |r| matches!(r, Refusal::Missing { marks, .. } if marks.contains(&M::CALF_UPPER.into()))
    ));
    assert!(!some.quantities.contains_key(&R::FootToLeg));
    assert!(some.quantities.contains_key(&R::ForefootToRearfoot));
    // Only the upper heel mark lost: the frame still stands, and says so.
    let no_upper = refuse(&without(&worked(Side::Left), M::HEEL_UPPER)).unwrap();
    assert!(
        no_upper
            .warnings
            .iter()
            .any(|w| w.contains("upper heel mark"))
    );
    assert!(!no_upper.quantities.contains_key(&R::ForefootToRearfoot));

    let mut same = worked(Side::Left);
    same[3].1 = same[2].1; // LM on MM
    let same = refuse(&same).unwrap();
    assert!(
        same.refused
            .iter()
            .any(|r| matches!(r, Refusal::Undefined { .. }))
    );
    assert!(!same.quantities.contains_key(&R::HingeFrontal));
    let stacked: Vec<_> = worked(Side::Left)
        .into_iter()
        .map(|(m, p)| (m, [0.0, 0.0, p[2]]))
        .collect();
    assert!(matches!(
        refuse(&stacked),
        Err(CastError::NoDirection { .. })
    ));
}
