//! What must not change when the cast is moved, turned, rocked or scaled.

use crate::support::{cast, measure, rocked, value, worked};
use plinthside_measure::cast::{CastPoints, ResultName as R, Settings, Source, results};
use plinthside_measure::leg::Leg;
use plinthside_measure::marks::{MarkName as M, Side};

fn moved(
    points: &[(String, [f64; 3])],
    turn_deg: f64,
    dx: f64,
    dy: f64,
) -> Vec<(String, [f64; 3])> {
    let (s, c) = turn_deg.to_radians().sin_cos();
    let place = |p: [f64; 3]| [c * p[0] - s * p[1] + dx, s * p[0] + c * p[1] + dy, p[2]];
    points
        .iter()
        .map(|(mark, p)| (mark.clone(), place(*p)))
        .collect()
}

#[test]
fn where_the_cast_stands_on_the_mat_does_not_matter() {
    for side in [Side::Left, Side::Right] {
        let still = measure(&worked(side), side);
        for turn in [0.0, 37.0, 90.0, 180.0, -123.0] {
            let other = measure(&moved(&worked(side), turn, 210.0, -77.0), side);
            for (name, q) in &still.quantities {
                let p = other.quantities[name];
                assert!((q.value - p.value).abs() < 1e-9, "{name} at {turn}°");
                assert!(
                    (q.instrument_sd - p.instrument_sd).abs() < 1e-9,
                    "{name} at {turn}°"
                );
                assert!((q.total_sd - p.total_sd).abs() < 1e-9, "{name} at {turn}°");
            }
        }
    }
}

/// Forefoot to rearfoot survives rocking the cast: exactly about the X axis itself, and within
/// 0.25° at 10° when the rocked marks lay a new X.
#[test]
fn rocking_the_cast_leaves_forefoot_to_rearfoot() {
    let points = worked(Side::Left);
    let alpha = |points: &[_]| value(&measure(points, Side::Left), R::ForefootToRearfoot);
    let still = alpha(&points);
    let (mut worst, mut heel_change) = (0.0_f64, 0.0_f64);
    for rock in [-10.0, -5.0, 5.0, 10.0] {
        let rocked = rocked(&points, rock);
        worst = worst.max((alpha(&rocked) - still).abs());
        let heel = value(&measure(&rocked, Side::Left), R::Heel);
        heel_change = heel_change.max((heel - value(&measure(&points, Side::Left), R::Heel)).abs());
    }
    assert!(worst <= 0.25, "{worst}");
    assert!(
        heel_change > 9.0,
        "heel to vertical alone must follow the rock"
    );
}

/// With X frozen (heel and MTP mid-points on the axis of the rock) α is exact.
#[test]
fn rocking_about_a_frozen_x_is_exact() {
    let mut points = worked(Side::Left);
    // Bring the heel and MTP mid-points into one vertical plane that the rock keeps: the mid-point
    // of the heel marks and of the MTP marks then lie on the axis.
    let set = |points: &mut Vec<(String, [f64; 3])>, mark: &str, p: [f64; 3]| {
        points.iter_mut().find(|(m, _)| m == mark).unwrap().1 = p;
    };
    set(&mut points, M::HEEL_LOWER, [0.0, -1.5, -24.0]);
    set(&mut points, M::HEEL_UPPER, [-3.0, 1.5, 24.0]);
    set(&mut points, M::MTP_1, [147.0, -39.0, 4.5]);
    set(&mut points, M::MTP_5, [136.0, 39.0, -4.5]);
    let alpha = |points: &[_]| value(&measure(points, Side::Left), R::ForefootToRearfoot);
    let still = alpha(&points);
    for rock in [-10.0, 3.0, 10.0, 25.0] {
        assert!((alpha(&rocked(&points, rock)) - still).abs() < 1e-9);
    }
}

#[test]
fn the_scale_of_the_print_moves_lengths_only_and_is_carried_once() {
    let points = worked(Side::Left);
    let at = |scale_sd| {
        let plain = cast(&points);
        let n = plain.points().len();
        let cast = CastPoints::new(
            plain.points().to_vec(),
            nalgebra::DMatrix::zeros(3 * n, 3 * n),
            40.0,
            scale_sd,
            Source::Photographs,
            None,
        )
        .unwrap();
        let mut settings = Settings::default();
        for point in cast.points() {
            let none = plinthside_measure::cast::MarkingSd {
                within_mm: 0.0,
                between_mm: 0.0,
            };
            settings.marking.sd.insert(point.mark.clone(), none);
        }
        results(&cast, Side::Left, &settings, &Leg::default()).unwrap()
    };
    let results = at(0.03);
    for (name, q) in &results.quantities {
        let expected = if name.as_str().ends_with("_mm") {
            0.03 * q.value.abs()
        } else {
            0.0
        };
        assert!(
            (q.total_sd - expected).abs() < 1e-9,
            "{name}: {} {expected}",
            q.total_sd
        );
        assert_eq!(q.instrument_sd, 0.0, "{name}");
    }
}

/// Foot to leg is measured against the sole, so pitching the whole cast leaves it; 0 is the 90°
/// position, a leg leaning forward dorsiflexed.
#[test]
fn pitching_the_cast_leaves_foot_to_leg() {
    for side in [Side::Left, Side::Right] {
        let mut points = worked(side);
        for (mark, p) in &mut points {
            let (s, c) = 10_f64.to_radians().sin_cos();
            match mark.as_str() {
                M::HEEL_LOWER => *p = [0.0, 0.0, 0.0],
                M::MTP_1 => *p = [145.0, -38.0 * side.sign(), 0.0],
                M::MTP_5 => *p = [135.0, 40.0 * side.sign(), 0.0],
                M::CALF_LOWER => *p = [10.0, 0.0, 120.0],
                M::CALF_UPPER => *p = [10.0 + 50.0 * s, 0.0, 120.0 + 50.0 * c],
                _ => {}
            }
        }
        let lean = |points: &[(String, [f64; 3])]| value(&measure(points, side), R::FootToLeg);
        // X runs to the mid-point of the MTP marks, a little off the X of these coordinates.
        assert!((lean(&points) - 10.0).abs() < 0.01, "{}", lean(&points));
        let still = lean(&points);
        for pitch in [-12.0_f64, 5.0, 12.0] {
            let (s, c) = pitch.to_radians().sin_cos();
            let pitched: Vec<_> = points
                .iter()
                .map(|(m, [x, y, z])| (m.clone(), [c * x + s * z, *y, -s * x + c * z + 80.0]))
                .collect();
            assert!(
                (lean(&pitched) - still).abs() < 0.02,
                "{side} {pitch}: {}",
                lean(&pitched)
            );
        }
    }
}
