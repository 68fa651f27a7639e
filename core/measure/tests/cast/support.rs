//! Casts made for the tests.

use nalgebra::DMatrix;
use plinthside_measure::cast::{
    CastPoints, MeasuredPoint, ResultName, Results, Settings, Source, Wall, results,
};
use plinthside_measure::leg::Leg;
use plinthside_measure::marks::{MarkName as M, Side, Surface};

/// A left cast with every angle different, worked by hand from the definitions.
pub const WORKED_LEFT: [(&str, [f64; 3]); 8] = [
    (M::HEEL_LOWER, [0.0, 0.0, 14.0]),
    (M::HEEL_UPPER, [-2.99, 2.52, 62.0]),
    (M::MALLEOLUS_MEDIAL, [44.82, -35.23, 86.0]),
    (M::MALLEOLUS_LATERAL, [36.18, 33.81, 73.0]),
    (M::MTP_1, [147.80, -37.77, 20.0]),
    (M::MTP_5, [136.21, 40.29, 11.0]),
    (M::CALF_LOWER, [10.01, 0.95, 120.0]),
    (M::CALF_UPPER, [12.02, 3.94, 170.0]),
];

/// The worked cast of one side; the right one is its mirror image.
pub fn worked(side: Side) -> Vec<(String, [f64; 3])> {
    let mirror = |p: [f64; 3]| [p[0], side.sign() * p[1], p[2]];
    WORKED_LEFT
        .iter()
        .map(|(mark, p)| ((*mark).to_owned(), mirror(*p)))
        .collect()
}

/// Points with equal, independent instrument sd.
pub fn cast_with(
    points: &[(String, [f64; 3])],
    sd_mm: f64,
    source: Source,
    surface: Surface,
    wall: Option<Wall>,
) -> CastPoints {
    let n = 3 * points.len();
    let points = points
        .iter()
        .map(|(mark, mm)| MeasuredPoint {
            mark: M(mark.clone()),
            mm: *mm,
            surface,
            views: 4,
            worst_residual_px: Some(1.0),
        })
        .collect();
    CastPoints::new(
        points,
        DMatrix::identity(n, n) * sd_mm * sd_mm,
        40.0,
        0.002,
        source,
        wall,
    )
    .unwrap()
}

/// Inner marks from photographs, 0.2 mm.
pub fn cast(points: &[(String, [f64; 3])]) -> CastPoints {
    cast_with(points, 0.2, Source::Photographs, Surface::Inside, None)
}

pub fn measure(points: &[(String, [f64; 3])], side: Side) -> Results {
    results(&cast(points), side, &Settings::default(), &Leg::default()).unwrap()
}

pub fn value(results: &Results, name: ResultName) -> f64 {
    results.quantities[&name].value
}

/// `points` turned about X by `deg` (a rock about the long direction), then lifted.
pub fn rocked(points: &[(String, [f64; 3])], deg: f64) -> Vec<(String, [f64; 3])> {
    let (s, c) = deg.to_radians().sin_cos();
    let turn = |p: [f64; 3]| [p[0], c * p[1] - s * p[2], s * p[1] + c * p[2] + 60.0];
    points
        .iter()
        .map(|(mark, p)| (mark.clone(), turn(*p)))
        .collect()
}

/// The most that rounding every coordinate of the worked cast to 0.01 mm can move `result`.
pub fn rounding(side: Side, result: impl Fn(&[(String, [f64; 3])]) -> f64) -> f64 {
    let points = worked(side);
    let at = |i: usize, step: f64| {
        let mut moved = points.clone();
        moved[i / 3].1[i % 3] += step;
        result(&moved)
    };
    (0..3 * points.len())
        .map(|i| 0.5 * (at(i, 0.005) - at(i, -0.005)).abs())
        .sum()
}
