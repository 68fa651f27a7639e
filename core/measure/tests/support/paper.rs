//! The plane of the paper round the marks, over which points are stated, from the simulator's own sheet.

use super::{Seen, World};
use nalgebra::{Matrix3, Rotation3, Vector3};
use std::collections::BTreeSet;

/// Points of the mat frame over the plane that fits the paper round them: a tag at distance d mm from
/// a mark counts (1 + (d/50)²)⁻², summed over the marks.
pub fn over_paper(world: &World, seen: &Seen, points: &[Vector3<f64>]) -> Vec<Vector3<f64>> {
    let middle = points.iter().sum::<Vector3<f64>>() / points.len() as f64;
    let (mut normal, mut pull) = (Matrix3::zeros(), Vector3::zeros());
    let tags: BTreeSet<usize> = seen.0.iter().map(|(_, tag)| *tag).collect();
    for tag in tags {
        let corners = (0..4).map(|k| world.corner(tag, k));
        let centre = corners.sum::<Vector3<f64>>() / 4.0;
        let weight: f64 = points
            .iter()
            .map(|p| (1.0 + (p - centre).xy().norm_squared() / 2500.0).powi(-2))
            .sum();
        let arm = Vector3::new(1.0, centre.x - middle.x, centre.y - middle.y);
        normal += weight * arm * arm.transpose();
        pull += weight * arm * centre.z;
    }
    let plane = normal.try_inverse().expect("tags all round") * pull;
    let up = Vector3::new(-plane[1], -plane[2], 1.0);
    let level = Rotation3::rotation_between(&up, &Vector3::z()).expect("nearly upright");
    let onto = Vector3::new(middle.x, middle.y, 0.0);
    let from = onto + Vector3::z() * plane[0];
    points.iter().map(|p| level * (p - from) + onto).collect()
}
