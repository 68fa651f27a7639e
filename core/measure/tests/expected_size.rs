//! How sharp the marks become from 12 megapixels and taps of 1.5 px, and what distance does to it.
//! Source: the design's own sizes, and the Cramér-Rao bound of `support/bound.rs`.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use nalgebra::{DMatrix, DVector, Vector3};
use plinthside_measure::solve::{SolveOptions, solve};
use support::quantities::{ANGLES, angle_gradients, in_cast_frame};
use support::{Stand, World, bound, four_corners, six_views};

/// The design gives its sizes to two decimals.
const HALF_A_DIGIT: f64 = 0.005;

/// Mean and largest standard deviation of a coordinate of a mark, mm: of each mark the mean over
/// its three axes.
#[derive(Debug, Clone, Copy)]
struct Size {
    mean: f64,
    most: f64,
}

impl Size {
    fn of(covariance: &DMatrix<f64>) -> Self {
        let marks = covariance.nrows() / 3;
        let per_axis = |m| (covariance.view((3 * m, 3 * m), (3, 3)).trace() / 3.0).sqrt();
        let all: Vec<f64> = (0..marks).map(per_axis).collect();
        Self {
            mean: all.iter().sum::<f64>() / marks as f64,
            most: all.iter().copied().fold(0.0, f64::max),
        }
    }
}

/// One set of photographs: what the solver states, and the least there can be.
struct Sizes {
    from_hl: Size,
    /// With the marks laid onto where they are by shift, turn and scale: what is left is their shape.
    /// Place and scale are stated apart, the scale as one factor common to all.
    of_shape: Size,
    least_from_hl: Size,
    /// Of [`ANGLES`].
    angles_deg: [f64; 6],
}

fn sizes(stands: Vec<Stand>, distance_mm: f64) -> Sizes {
    let stands = stands.into_iter().map(|s| Stand { distance_mm, ..s });
    let world = World::new(stands.collect());
    let (photos, taps) = world.noisy(2);
    let solution = solve(&world.mat, &photos, &taps, &SolveOptions::default()).expect("solved");
    let truth = world.truth();
    let marks = support::marks();
    let row = |i: usize| 3 * solution.point(marks[i / 3].name).expect("placed").0 + i % 3;
    let n = 3 * marks.len();
    let covariance = DMatrix::from_fn(n, n, |i, j| solution.covariance_mm2[(row(i), row(j))])
        / solution.tap_factor;
    let cast = DMatrix::from_fn(n, n, |i, k| {
        let moved = |by: f64| {
            let mut p = truth.clone();
            p[k / 3][k % 3] += by;
            in_cast_frame(&p)[i / 3][i % 3]
        };
        (moved(1e-4) - moved(-1e-4)) / 2e-4
    });
    let shape = of_shape(&truth);
    let least = bound::mark_covariance(&world, &world.visible());
    let gradients = angle_gradients(&truth);
    Sizes {
        from_hl: Size::of(&(&cast * &covariance * cast.transpose())),
        of_shape: Size::of(&(&shape * &covariance * &shape)),
        least_from_hl: Size::of(&(&cast * &least * cast.transpose())),
        angles_deg: std::array::from_fn(|k| {
            let g = &gradients[k];
            (g.transpose() * &covariance * g)[0].sqrt()
        }),
    }
}

/// Takes out of small errors what shifts, turns or scales all marks alike.
fn of_shape(truth: &[Vector3<f64>]) -> DMatrix<f64> {
    let middle = truth.iter().sum::<Vector3<f64>>() / truth.len() as f64;
    let arm = |i: usize| truth[i / 3] - middle;
    let n = 3 * truth.len();
    let mut alike = vec![DVector::from_fn(n, |i, _| arm(i)[i % 3])];
    for axis in 0..3 {
        let unit = Vector3::ith(axis, 1.0);
        alike.push(DVector::from_fn(n, |i, _| unit[i % 3]));
        alike.push(DVector::from_fn(n, |i, _| unit.cross(&arm(i))[i % 3]));
    }
    let alike = DMatrix::from_columns(&alike);
    let normal = alike
        .tr_mul(&alike)
        .try_inverse()
        .expect("marks not in line");
    DMatrix::identity(n, n) - &alike * normal * alike.transpose()
}

fn print(name: &str, sizes: &Sizes) {
    println!(
        "{name}: from HL {:.3} mean {:.3} most, of shape {:.3} and {:.3} mm; {ANGLES:?} {:.2?}",
        sizes.from_hl.mean,
        sizes.from_hl.most,
        sizes.of_shape.mean,
        sizes.of_shape.most,
        sizes.angles_deg
    );
}

/// The design's sizes are those of the marks' shape, from as near as still shows the sheet.
#[test]
fn the_expected_size_is_kept() {
    let expected = [
        ("four corners", four_corners(), [0.20, 0.28, 0.26, 0.41]),
        ("six views", six_views(), [0.16, 0.22, 0.24, 0.31]),
    ];
    for (name, stands, [mean_mm, most_mm, hinge_deg, alpha_deg]) in expected {
        let sizes = sizes(stands, 420.0);
        print(name, &sizes);
        assert!(sizes.of_shape.mean < mean_mm + HALF_A_DIGIT, "{name}");
        assert!(sizes.of_shape.most < most_mm + HALF_A_DIGIT, "{name}");
        let [tilt, turn, _, _, alpha, _] = sizes.angles_deg;
        assert!(tilt.max(turn) < hinge_deg + HALF_A_DIGIT, "{name}");
        assert!(alpha < alpha_deg + HALF_A_DIGIT, "{name}");
    }
}

/// No unbiased estimator makes more of these photographs, whatever the distance; help says what
/// distance does.
#[test]
fn nothing_is_wasted_near_or_far() {
    for (name, stands) in [("four corners", four_corners()), ("six views", six_views())] {
        let mut last = 0.0;
        for distance_mm in [420.0, 450.0, 480.0, 600.0] {
            let sizes = sizes(stands.clone(), distance_mm);
            print(&format!("{name} from {distance_mm} mm"), &sizes);
            // The sheet is flat and its tags lie in it: where the solver finds that out it states
            // less than the bound, which takes the heights' sd for the one expected.
            let over_least = [
                sizes.from_hl.mean / sizes.least_from_hl.mean,
                sizes.from_hl.most / sizes.least_from_hl.most,
            ];
            let near = |ratio: &f64| (0.90..1.02).contains(ratio);
            assert!(over_least.iter().all(near), "{name}: {over_least:?}");
            assert!(sizes.from_hl.mean > last, "{name}: farther is not sharper");
            last = sizes.from_hl.mean;
        }
    }
}
