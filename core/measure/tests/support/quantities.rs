//! The angles of the worked example, written apart from the library's results.

use nalgebra::{DVector, Vector3};

/// Names of [`angles_deg`].
pub const ANGLES: [&str; 6] = [
    "hinge tilt",
    "hinge turn",
    "heel",
    "forefoot",
    "alpha",
    "lean",
];

/// Angles of a left cast from its marks in the mat frame, in the order of `super::marks`.
pub fn angles_deg(p: &[Vector3<f64>]) -> [f64; 6] {
    let [hl, hu, mm, lm, m1, m5, cl, cu] = std::array::from_fn(|i| p[i]);
    let mut x = (m1 + m5 - hl - hu) / 2.0;
    x.z = 0.0;
    let x = x.normalize();
    let y = Vector3::z().cross(&x);
    let to_cast = |v: Vector3<f64>| Vector3::new(v.dot(&x), v.dot(&y), v.z);
    let hinge = to_cast(lm - mm);
    let heel = to_cast(hu - hl);
    let fore = to_cast(m1 - m5);
    let calf = to_cast(cu - cl);
    let tilt = (-hinge.z).atan2(hinge.y);
    let turn = (-hinge.x).atan2(hinge.y);
    let phi = heel.y.atan2(heel.z);
    let psi = fore.z.atan2(-fore.y);
    let lean = calf.x.atan2(calf.z);
    [tilt, turn, phi, psi, psi - phi, lean].map(f64::to_degrees)
}

/// Gradient of each angle by all mark coordinates.
pub fn angle_gradients(p: &[Vector3<f64>]) -> Vec<DVector<f64>> {
    let step = 1e-4;
    let moved = |i: usize, by: f64| {
        let mut q = p.to_vec();
        q[i / 3][i % 3] += by;
        angles_deg(&q)
    };
    let n = 3 * p.len();
    let differences: Vec<[f64; 6]> = (0..n)
        .map(|i| {
            let (up, down) = (moved(i, step), moved(i, -step));
            std::array::from_fn(|k| (up[k] - down[k]) / (2.0 * step))
        })
        .collect();
    (0..6)
        .map(|k| DVector::from_fn(n, |i, _| differences[i][k]))
        .collect()
}

/// Marks in the cast frame: Z = mat normal, X from the heel marks' middle to the MTP marks' middle,
/// origin below HL.
pub fn in_cast_frame(p: &[Vector3<f64>]) -> Vec<Vector3<f64>> {
    let mut x = (p[4] + p[5] - p[0] - p[1]) / 2.0;
    x.z = 0.0;
    let x = x.normalize();
    let y = Vector3::z().cross(&x);
    let origin = Vector3::new(p[0].x, p[0].y, 0.0);
    p.iter()
        .map(|q| q - origin)
        .map(|d| Vector3::new(d.dot(&x), d.dot(&y), d.z))
        .collect()
}
