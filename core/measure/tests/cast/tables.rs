//! Plain geometry: hinge mismatch, posting and skiving tables.

use crate::support::{cast, rounding, worked};
use nalgebra::{Point3, Vector3};
use plinthside_measure::cast::{
    BandPlace, CalfBand, HingeLine, MotionRange, OrderedLine, Settings, SkiveError, hinge_mismatch,
    movement_mm, plan_skive, posting_height_mm,
};
use plinthside_measure::marks::Side;

fn line(through: [f64; 3], direction: [f64; 3]) -> HingeLine {
    HingeLine {
        through: Point3::from(through),
        direction: Vector3::from(direction).normalize(),
    }
}

/// Two bodies that turn equally about parallel lines a distance d apart: 2·d·sin(θ/2) whatever the
/// height, the chord of a circle.
#[test]
fn parallel_lines_move_by_the_chord() {
    let table = [
        (5.0, [0.436, 0.872, 1.305, 1.736, 2.164, 2.588]),
        (10.0, [0.872, 1.743, 2.611, 3.473, 4.329, 5.176]),
        (20.0, [1.745, 3.486, 5.221, 6.946, 8.658, 10.353]),
    ];
    let own = line([0.0, 0.0, 80.0], [0.0, 1.0, 0.0]);
    for (d, row) in table {
        for (step, size) in row.into_iter().enumerate() {
            let turn = 5.0 * (step + 1) as f64;
            for offset in [
                [d, 0.0, 0.0],
                [0.0, 0.0, d],
                [-d / 2.0_f64.sqrt(), 0.0, d / 2.0_f64.sqrt()],
            ] {
                let brace = line([offset[0], 0.0, 80.0 + offset[2]], [0.0, 1.0, 0.0]);
                for p in [
                    Point3::new(-30.0, 10.0, 380.0),
                    Point3::new(60.0, -40.0, 200.0),
                ] {
                    let moved = movement_mm(&own, &brace, &p, turn).norm();
                    assert!(
                        (moved - size).abs() <= 5e-4,
                        "{d} mm, {turn}°: {moved}, not {size}"
                    );
                }
            }
        }
    }
}

/// A hinge 10 mm behind pistons (leg up 3.42, forward 0.60 at 20°); 10 mm too high presses (leg
/// forward 3.42, down 0.60). Forward and backward errors moving the calf band along the leg and
/// vertical ones across it: Fatone S, Hansen AH, J Rehabil Res Dev 2007;44:513-520.
#[test]
fn behind_pistons_and_above_presses() {
    let own = line([0.0, 0.0, 80.0], [0.0, 1.0, 0.0]);
    let p = Point3::new(0.0, 0.0, 380.0);
    let behind = movement_mm(&own, &line([-10.0, 0.0, 80.0], [0.0, 1.0, 0.0]), &p, 20.0);
    assert!(
        (behind - Vector3::new(0.60, 0.0, 3.42)).amax() < 5e-3,
        "{behind}"
    );
    let above = movement_mm(&own, &line([0.0, 0.0, 90.0], [0.0, 1.0, 0.0]), &p, 20.0);
    assert!(
        (above - Vector3::new(3.42, 0.0, -0.60)).amax() < 5e-3,
        "{above}"
    );
    let flexed = movement_mm(&own, &line([-10.0, 0.0, 80.0], [0.0, 1.0, 0.0]), &p, -20.0);
    assert!(flexed.z < 0.0, "plantarflexion turns the sign");
}

/// Transverse misalignment displaces far more than frontal (Fatone S, Johnson WB, Tucker K,
/// Prosthet Orthot Int 2016;40:240-246): a hinge turned about the vertical, calf band 300 mm above,
/// 20° of motion, against the same angles in the frontal plane.
#[test]
fn turned_and_tilted_hinges_move_the_calf_as_printed() {
    let own = line([0.0, 0.0, 80.0], [0.0, 1.0, 0.0]);
    let p = Point3::new(0.0, 0.0, 380.0);
    let table = [
        (5.0_f64, 8.95, 1.62),
        (10.0, 17.89, 3.51),
        (15.0, 26.79, 5.84),
        (20.0, 35.63, 8.75),
    ];
    for (psi, turned, tilted) in table {
        let (s, c) = psi.to_radians().sin_cos();
        let about_vertical = movement_mm(&own, &line([0.0, 0.0, 80.0], [s, c, 0.0]), &p, 20.0);
        assert!(
            (about_vertical.norm() - turned).abs() <= 5e-3,
            "{psi}: {}",
            about_vertical.norm()
        );
        assert!(
            about_vertical.y.abs() > 0.98 * about_vertical.norm(),
            "nearly all sideways"
        );
        let frontal = movement_mm(&own, &line([0.0, 0.0, 80.0], [0.0, c, s]), &p, 20.0);
        assert!(
            (frontal.norm() - tilted).abs() <= 5e-3,
            "{psi}: {}",
            frontal.norm()
        );
    }
}

/// The worked cast: own line against level with 10° external rotation, at the upper calf mark.
#[test]
fn the_worked_cast_against_ten_degrees_external() {
    for side in [Side::Left, Side::Right] {
        let size = |points: &[(String, [f64; 3])], turn: f64| {
            let at = |mark: &str| Point3::from(points.iter().find(|(m, _)| m == mark).unwrap().1);
            let (mm, lm) = (at("malleolus-medial"), at("malleolus-lateral"));
            let own = HingeLine::between(mm, lm, side).unwrap();
            let brace = HingeLine::level(nalgebra::center(&mm, &lm), 10.0, side);
            movement_mm(&own, &brace, &at("calf-upper"), turn).norm()
        };
        for (turn, expected) in [(20.0, 0.900), (-20.0, 1.278)] {
            let moved = size(&worked(side), turn);
            let allowed = 5e-4 + rounding(side, |points| size(points, turn));
            assert!(
                (moved - expected).abs() <= allowed,
                "{side} {turn}°: {moved}, not {expected}"
            );
            assert!(allowed < 0.03);
        }
    }
}

#[test]
fn the_largest_movement_is_found_over_band_and_range() {
    let calf = CalfBand {
        height_mm: 170.0,
        width_mm: 80.0,
        depth_mm: 90.0,
    };
    let range = MotionRange {
        plantarflexion_deg: 20.0,
        dorsiflexion_deg: 12.5,
    };
    let ordered = OrderedLine::Level { external_deg: 10.0 };
    let [left, right] = [Side::Left, Side::Right].map(|side| {
        let cast = cast(&worked(side));
        hinge_mismatch(&cast, side, &Settings::default(), &ordered, &calf, &range).unwrap()
    });
    assert!((left.largest.value - right.largest.value).abs() < 1e-9);
    assert_eq!(left.at.place, right.at.place);
    assert!((left.at.lateral_mm - right.at.lateral_mm).abs() < 1e-9);
    assert!(
        (left.dorsiflexed.turn_deg - 12.5).abs() < 1e-12,
        "a broken degree at the end counts"
    );
    assert!(left.largest.value >= left.dorsiflexed.size_mm());
    assert!(left.largest.value >= left.plantarflexed.size_mm());
    // The back of the band at CU's height is CU itself: 1.278 mm at 20° plantarflexion.
    assert!(left.plantarflexed.size_mm() >= 1.278 - 1e-3);
    assert!(left.largest.total_sd > left.largest.instrument_sd && left.largest.instrument_sd > 0.0);
    let _: BandPlace = left.at.place;
}

/// Posting height = width × tan(angle).
#[test]
fn posting_heights_are_those_of_the_table() {
    let per_degree = [
        (60.0, 1.05),
        (65.0, 1.13),
        (70.0, 1.22),
        (80.0, 1.40),
        (90.0, 1.57),
        (100.0, 1.75),
    ];
    for (width, mm) in per_degree {
        assert!(
            (posting_height_mm(width, 1.0) - mm).abs() <= 5.1e-3,
            "{width}"
        );
    }
    for (width, angle, mm) in [(70.0, 4.0, 4.89), (80.0, 6.0, 8.41), (90.0, 10.0, 15.87)] {
        assert!(
            (posting_height_mm(width, angle) - mm).abs() <= 5e-3,
            "{width} {angle}"
        );
    }
}

/// Reach d/tan 15° and slope d/sin 15° of a heel skive (the technique: Kirby KA, J Am Podiatr Med
/// Assoc 1992;82:177-188).
#[test]
fn skives_reach_as_far_as_the_table_says() {
    for (depth, reach, slope) in [
        (2.0, 7.46, 7.73),
        (3.0, 11.20, 11.59),
        (4.0, 14.93, 15.45),
        (6.0, 22.39, 23.18),
    ] {
        let plan = plan_skive(depth, 15.0, 70.0).unwrap();
        assert!(
            (plan.reach_mm - reach).abs() <= 5e-3 && (plan.slope_mm - slope).abs() <= 5.1e-3,
            "{plan:?}"
        );
    }
    assert!((plan_skive(6.0, 15.0, 70.0).unwrap().share_of_heel - 0.32).abs() < 5e-3);
    let Err(SkiveError::BeyondHalf { deepest_mm, .. }) = plan_skive(9.5, 15.0, 70.0) else {
        panic!("more than half the heel must be refused");
    };
    assert!((deepest_mm - 9.4).abs() < 0.05);
    assert!(plan_skive(9.3, 15.0, 70.0).is_ok());
    for (depth, angle, breadth) in [
        (f64::NAN, 15.0, 70.0),
        (-1.0, 15.0, 70.0),
        (4.0, 0.0, 70.0),
        (4.0, 15.0, f64::INFINITY),
    ] {
        assert!(matches!(
            plan_skive(depth, angle, breadth),
            Err(SkiveError::OutOfRange { .. })
        ));
    }
}
