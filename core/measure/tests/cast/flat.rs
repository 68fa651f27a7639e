//! Flat measurement: a plane seen obliquely, its tags known.

use plinthside_measure::flat::{FlatError, PlanePoint, Taps, flat};
use rand::{SeedableRng, rngs::StdRng};
use rand_distr::{Distribution, StandardNormal};

/// A pinhole 500 mm away, tilted by 40° and turned.
fn seen([x, y]: [f64; 2]) -> [f64; 2] {
    let camera_from_plane = nalgebra::Rotation3::from_euler_angles(0.7, 0.15, 0.4);
    let p = camera_from_plane * nalgebra::Vector3::new(x - 60.0, y - 60.0, 0.0)
        + nalgebra::Vector3::new(0.0, 0.0, 500.0);
    [3000.0 * p.x / p.z + 2000.0, 3000.0 * p.y / p.z + 1500.0]
}

fn tags(squares: &[[f64; 2]]) -> Vec<PlanePoint> {
    let corners = [[0.0, 0.0], [30.0, 0.0], [30.0, 30.0], [0.0, 30.0]];
    let corner = |[x, y]: &[f64; 2]| corners.map(|[u, v]| [x + u, y + v]);
    squares
        .iter()
        .flat_map(corner)
        .map(|plane_mm| PlanePoint {
            px: seen(plane_mm),
            plane_mm,
        })
        .collect()
}

/// Lines at 63° from (50, 40).
fn angle_of_63() -> Taps {
    let (s, c) = 63_f64.to_radians().sin_cos();
    Taps::Angle(
        [
            [110.0, 40.0],
            [50.0, 40.0],
            [50.0 + 55.0 * c, 40.0 + 55.0 * s],
        ]
        .map(seen),
    )
}

#[test]
fn tags_square_the_photograph_up() {
    let plane = tags(&[[0.0, 0.0], [100.0, 5.0], [10.0, 110.0]]);
    let angle = flat(&angle_of_63(), 1.5, &plane).unwrap();
    assert!(
        angle.squared_up && (angle.quantity.value - 63.0).abs() < 1e-6,
        "{angle:?}"
    );
    let length = flat(
        &Taps::Length([[20.0, 20.0], [80.0, 100.0]].map(seen)),
        1.5,
        &plane,
    )
    .unwrap();
    assert!((length.quantity.value - 100.0).abs() < 1e-6, "{length:?}");
    let lines = Taps::Lines([
        [[0.0, 0.0], [100.0, 0.0]].map(seen),
        [[90.0, 90.0], [0.0, 0.0]].map(seen),
    ]);
    assert!((flat(&lines, 1.5, &plane).unwrap().quantity.value - 45.0).abs() < 1e-6);
    // Read straight off the picture the same angle is far off.
    let plain = flat(&angle_of_63(), 1.5, &[]).unwrap();
    assert!(!plain.squared_up && (plain.quantity.value - 63.0).abs() > 3.0);
    assert!(plain.quantity.total_sd >= 1.0);
}

#[test]
fn the_interval_covers_tap_and_corner_noise() {
    let plane = tags(&[[0.0, 0.0], [100.0, 5.0], [10.0, 110.0]]);
    let mut rng = StdRng::seed_from_u64(3);
    let mut noise = |sd: f64| -> f64 {
        sd * <StandardNormal as Distribution<f64>>::sample(&StandardNormal, &mut rng)
    };
    let (mut inside, draws) = (0, 2000);
    for _ in 0..draws {
        let noisy: Vec<PlanePoint> = plane
            .iter()
            .map(|p| PlanePoint {
                px: [p.px[0] + noise(0.5), p.px[1] + noise(0.5)],
                ..*p
            })
            .collect();
        let Taps::Angle(taps) = angle_of_63() else {
            unreachable!()
        };
        let taps = taps.map(|[x, y]| [x + noise(1.5), y + noise(1.5)]);
        let q = flat(&Taps::Angle(taps), 1.5, &noisy).unwrap().quantity;
        inside += usize::from(q.low95 <= 63.0 && 63.0 <= q.high95);
    }
    let cover = f64::from(inside as u32) / f64::from(draws);
    assert!((0.93..=0.97).contains(&cover), "{cover}");
}

#[test]
fn what_gives_no_flat_measurement_is_refused() {
    let plane = tags(&[[0.0, 0.0]]);
    let length = Taps::Length([[100.0, 100.0], [200.0, 100.0]]);
    assert_eq!(flat(&length, 1.5, &[]), Err(FlatError::NoScale));
    assert_eq!(
        flat(&Taps::Length([[1.0, 1.0], [2.0, 1.0]]), 1.5, &plane),
        Err(FlatError::TooClose)
    );
    for sd in [f64::NAN, -1.0, 0.0] {
        assert!(matches!(
            flat(&length, sd, &plane),
            Err(FlatError::TapSd(_))
        ));
    }
    assert!(matches!(
        flat(&Taps::Length([[f64::NAN, 1.0], [20.0, 1.0]]), 1.5, &plane),
        Err(FlatError::NoPosition { .. })
    ));
    let line: Vec<PlanePoint> = (0..6)
        .map(|i| {
            let plane_mm = [f64::from(i) * 10.0, f64::from(i) * 5.0];
            PlanePoint {
                px: seen(plane_mm),
                plane_mm,
            }
        })
        .collect();
    assert_eq!(flat(&length, 1.5, &line), Err(FlatError::NoPlane));
    assert_eq!(flat(&length, 1.5, &plane[..3]), Err(FlatError::NoPlane));
    // Far up the picture lies the horizon of a plane seen at 40°.
    let beyond = Taps::Length([[2000.0, -4000.0], [2000.0, -9000.0]]);
    let beyond_other = Taps::Length([[2000.0, 9000.0], [2000.0, 14000.0]]);
    assert!(
        [beyond, beyond_other]
            .iter()
            .any(|taps| flat(taps, 1.5, &plane) == Err(FlatError::BeyondHorizon))
    );
}
