//! Lines of sight and where they meet.

use nalgebra::{Matrix3, Vector3};

/// A camera's centre and the unit direction in which it sees something, in one common frame, mm.
pub type Ray = (Vector3<f64>, Vector3<f64>);

/// The point with the least sum of squared angles from all rays, mm; `None` if they are
/// parallel. The start of every mark: the joint fit then weighs pixels.
#[must_use]
pub fn meet(rays: &[Ray]) -> Option<Vector3<f64>> {
    let mut weights = vec![1.0; rays.len()];
    let mut place = None;
    // A pixel spans more millimetres the farther away it is: weigh by the distance found.
    for _ in 0..3 {
        let (mut normal, mut pull) = (Matrix3::zeros(), Vector3::zeros());
        for ((centre, direction), weight) in rays.iter().zip(&weights) {
            let across = (Matrix3::identity() - direction * direction.transpose()) * *weight;
            normal += across;
            pull += across * centre;
        }
        let scale = normal.trace();
        let found = (normal / scale).cholesky()?.solve(&(pull / scale));
        place = Some(found).filter(|p| p.iter().all(|v| v.is_finite()));
        let near = |(centre, _): &Ray| (found - centre).norm_squared().max(1.0).recip();
        weights = rays.iter().map(near).collect();
    }
    place
}

/// Widest angle between two of the rays, degrees.
#[must_use]
pub fn widest_deg(rays: &[Ray]) -> f64 {
    let mut widest: f64 = 0.0;
    for (i, (_, a)) in rays.iter().enumerate() {
        for (_, b) in &rays[i + 1..] {
            widest = widest.max(a.cross(b).norm().atan2(a.dot(b)));
        }
    }
    widest.to_degrees()
}
