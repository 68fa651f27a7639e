//! Published axes and published marking errors.

use crate::support::{cast, measure, value};
use plinthside_measure::cast::{MarkingSd, ResultName as R, Settings, results};
use plinthside_measure::leg::Leg;
use plinthside_measure::marks::{MarkName as M, Side};

/// A foot whose malleolar line has the direction (forward, up, lateral) and whose calf line stands
/// upright.
fn foot_with_axis([forward, up, lateral]: [f64; 3], side: Side) -> Vec<(String, [f64; 3])> {
    let s = side.sign();
    let half = 35.0;
    let middle = [40.0, 0.0, 80.0];
    let end = |k: f64| {
        [
            middle[0] + k * forward,
            middle[1] + k * s * lateral,
            middle[2] + k * up,
        ]
    };
    let plain = |x: f64, lateral: f64, z: f64| [x, s * lateral, z];
    [
        (M::HEEL_LOWER, plain(0.0, 0.0, 10.0)),
        (M::HEEL_UPPER, plain(0.0, 0.0, 60.0)),
        (M::MALLEOLUS_MEDIAL, end(-half)),
        (M::MALLEOLUS_LATERAL, end(half)),
        (M::MTP_1, plain(140.0, -38.0, 5.0)),
        (M::MTP_5, plain(140.0, 38.0, 5.0)),
        (M::CALF_LOWER, plain(5.0, 0.0, 120.0)),
        (M::CALF_UPPER, plain(5.0, 0.0, 180.0)),
    ]
    .map(|(mark, p)| (mark.to_owned(), p))
    .to_vec()
}

/// Right ankle axis of the generic lower-limb model of Delp et al., IEEE Trans Biomed Eng
/// 1990;37:757-767, as its public model file prints it (x forward, y up, z to the right, that is
/// lateral): (−0.10501355, −0.17402245, 0.97912632).
const ANKLE_AXIS: [f64; 3] = [-0.105_013_55, -0.174_022_45, 0.979_126_32];
/// Its right subtalar axis: (0.78717961, 0.60474746, −0.12094949).
const SUBTALAR_AXIS: [f64; 3] = [0.787_179_61, 0.604_747_46, -0.120_949_49];

#[test]
fn the_published_ankle_axis_comes_out_on_both_sides() {
    for side in [Side::Left, Side::Right] {
        let results = measure(&foot_with_axis(ANKLE_AXIS, side), side);
        for (name, degrees) in [
            (R::HingeFrontal, 79.92),
            (R::HingeToLeg, 79.92),
            (R::HingeToVertical3d, 79.98),
            (R::HingeToLeg3d, 79.98),
            (R::HingeTransverse, 83.88),
        ] {
            let found = value(&results, name);
            assert!(
                (found - degrees).abs() <= 5e-3,
                "{side} {name}: {found}, not {degrees}"
            );
        }
        assert_eq!(results.words[&R::HingeFrontal], "lateral end lower");
        assert!(results.words[&R::HingeTransverse].starts_with("lateral end behind"));
    }
}

/// An angle needs its reference: the model's subtalar axis rises 37.21° in space and 37.53° seen
/// from the side, neither of them the 42° often quoted against another reference.
#[test]
fn the_subtalar_axis_shows_that_an_angle_needs_its_frame() {
    let [x, y, z] = SUBTALAR_AXIS;
    assert!((y.atan2(x.hypot(z)).to_degrees() - 37.21).abs() < 5e-3);
    assert!((y.atan2(x).to_degrees() - 37.53).abs() < 5e-3);
    let results = measure(&foot_with_axis([x, y, z], Side::Right), Side::Right);
    // In space it is unambiguous…
    assert!((value(&results, R::HingeToVertical3d) - (90.0 - 37.21)).abs() < 5e-3);
    // …while the frontal projection of the same line is another number altogether, and this
    // "hinge line" has its lateral end on the medial side: the side check stops it.
    assert!((value(&results, R::HingeFrontal) - 37.21_f64).abs() > 20.0);
    assert!(results.side_check.stops);
}

/// Two marks 48 mm apart, 3 mm each: sd atan(3·√2/48) = 5.05°, that is ±9.9°.
#[test]
fn heel_marks_48_mm_apart_and_3_mm_each_give_9_9_degrees() {
    let mut points = foot_with_axis(ANKLE_AXIS, Side::Left);
    points[1].1[2] = 58.0;
    let heel = measure(&points, Side::Left).quantities[&R::Heel];
    assert!(
        (0.5 * (heel.high95 - heel.low95) - 9.9).abs() < 0.1,
        "{heel:?}"
    );
    assert!(heel.total_sd > 10.0 * heel.instrument_sd);
}

/// 2.9 mm marks 50 mm apart: sd 4.7° (2.9 mm is the within-therapist error of heel marks reported
/// by Deschamps et al., J Am Podiatr Med Assoc 2014;104:43). Re-marking shrinks only that part.
#[test]
fn remarking_shrinks_only_the_within_person_part() {
    let points = foot_with_axis(ANKLE_AXIS, Side::Left);
    let sd = |within_mm, between_mm, repeats| {
        let mut settings = Settings::default();
        for mark in [M::HEEL_LOWER, M::HEEL_UPPER] {
            settings.marking.sd.insert(
                mark.into(),
                MarkingSd {
                    within_mm,
                    between_mm,
                },
            );
            settings.marking.repeats.insert(mark.into(), repeats);
        }
        let results = results(&cast(&points), Side::Left, &settings, &Leg::default()).unwrap();
        results.quantities[&R::Heel].total_sd
    };
    assert!((sd(2.9, 0.0, 1) - 4.7).abs() < 0.05);
    assert!((sd(2.9, 0.0, 4) - 4.7 / 2.0).abs() < 0.05);
    assert!((sd(0.0, 2.9, 4) - sd(0.0, 2.9, 1)).abs() < 1e-9);
}
