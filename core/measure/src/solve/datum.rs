//! Where height zero is, and which way is up: the paper that the cast stands on.
//!
//! Bow and tag heights are measured from a plane which only their priors hold. A sheet curled at its
//! far end lifts and tilts that plane, and every mark by up to 0.5 mm against it, while the paper under
//! the cast lies flat. Points are therefore stated over the plane that fits the paper round the marks:
//! weighted least squares over the tags seen, of bow plus height, a tag counting Σ (1 + d²/r²)⁻² over
//! its distances d from the marks. Its height h and slopes (a, b) at the middle (x₀, y₀) are linear in
//! the parameters, and to first order
//!
//! ```text
//! x' = x + a·z,   y' = y + b·z,   z' = z − h − a·(x − x₀) − b·(y − y₀)
//! ```

use super::problem::{Problem, State};
use super::report::Fitted;
use nalgebra::{DMatrix, Matrix3, Rotation3, Vector3};

/// How near a mark a tag must lie to count, mm.
const REACH_MM: f64 = 50.0;
/// Tags reaching out less far than this, mm, say nothing of the slope.
const LEAST_ARM_MM: f64 = 10.0;

/// The plane of the paper round the marks, in the centred frame.
pub(crate) struct Datum {
    middle: [f64; 2],
    /// Height, slope along x, slope along y.
    plane: Vector3<f64>,
    /// Place of a parameter in the covariance, and what it adds to the plane.
    factors: Vec<(usize, Vector3<f64>)>,
}

/// A tag that was seen: its place from the middle, how much it counts, what the bow does there.
struct Near {
    tag: usize,
    arm: Vector3<f64>,
    weight: f64,
    bow: [f64; 3],
}

impl Datum {
    pub fn new(problem: &Problem, state: &State) -> Self {
        let n = state.marks.len().max(1) as f64;
        let middle = [0, 1].map(|k| state.marks.iter().map(|m| m[k]).sum::<f64>() / n);
        let mut datum = Self {
            middle,
            plane: Vector3::zeros(),
            factors: Vec::new(),
        };
        let tags = tags_near(problem, state, middle);
        let all: f64 = tags.iter().map(|t| t.weight).sum();
        if problem.heights_fixed() || all <= 0.0 {
            return datum;
        }
        let ridge = all * LEAST_ARM_MM * LEAST_ARM_MM;
        let mut normal = Matrix3::from_diagonal(&Vector3::new(0.0, ridge, ridge));
        for tag in &tags {
            normal += tag.weight * tag.arm * tag.arm.transpose();
        }
        let Some(inverse) = normal.try_inverse() else {
            return datum;
        };
        let layout = problem.layout();
        let by_height = |t: &Near| inverse * t.arm * t.weight;
        for k in 0..3 {
            let by_bow: Vector3<f64> = tags.iter().map(|t| by_height(t) * t.bow[k]).sum();
            datum.plane += by_bow * state.print.bow[k];
            datum.factors.push((layout.print() + 1 + k, by_bow));
        }
        for tag in &tags {
            datum.plane += by_height(tag) * state.heights[tag.tag];
            datum
                .factors
                .push((layout.frame() + tag.tag, by_height(tag)));
        }
        datum
    }

    /// Lays the plane flat: cameras, marks and mat alike.
    pub fn level(&self, problem: &mut Problem, state: &mut State) {
        let [x, y] = self.middle;
        let normal = Vector3::new(-self.plane[1], -self.plane[2], 1.0);
        let turn = Rotation3::rotation_between(&normal, &Vector3::z()).unwrap_or_default();
        let pivot = Vector3::new(x, y, self.plane[0]);
        let onto = Vector3::new(x, y, 0.0);
        let level = |p: Vector3<f64>| turn * (p - pivot) + onto;
        state.marks.iter_mut().for_each(|mark| *mark = level(*mark));
        for pose in &mut state.poses {
            let centre = level(pose.centre());
            pose.camera_from_mat *= turn.matrix().transpose();
            pose.t = -pose.camera_from_mat * centre;
        }
        let middle = problem.drawing.middle;
        for corner in problem.tags.iter_mut().flatten() {
            corner.drawn = level(corner.drawn - middle) + middle;
        }
    }

    /// Covariance of all mark coordinates over the plane, from that of everything.
    pub fn covariance_of_marks(&self, fitted: &Fitted) -> DMatrix<f64> {
        let (layout, [x, y]) = (fitted.layout(), self.middle);
        let at = layout.frame() + layout.mark(0);
        let mut jacobian = DMatrix::zeros(3 * layout.marks, fitted.covariance.nrows());
        for (m, mark) in fitted.state.marks.iter().enumerate() {
            for k in 0..3 {
                jacobian[(3 * m + k, at + 3 * m + k)] = 1.0;
            }
            for (column, by) in &self.factors {
                jacobian[(3 * m, *column)] = mark.z * by[1];
                jacobian[(3 * m + 1, *column)] = mark.z * by[2];
                jacobian[(3 * m + 2, *column)] =
                    -by.dot(&Vector3::new(1.0, mark.x - x, mark.y - y));
            }
        }
        &jacobian * &fitted.covariance * jacobian.transpose()
    }
}

fn tags_near(problem: &Problem, state: &State, [x, y]: [f64; 2]) -> Vec<Near> {
    let mut seen = vec![false; problem.tags.len()];
    let views = problem.views.iter().filter(|view| !view.dropped);
    views.for_each(|view| seen[view.tag] = true);
    let origin = problem.drawing.middle;
    let tags = problem.tags.iter().enumerate().filter(|(i, _)| seen[*i]);
    tags.map(|(tag, corners)| {
        let mean = |value: &dyn Fn(usize) -> f64| (0..4).map(value).sum::<f64>() / 4.0;
        let centre = [0, 1].map(|k| mean(&|i| corners[i].drawn[k]) - origin[k]);
        let near = |mark: &Vector3<f64>| {
            let d2 = (mark.x - centre[0]).powi(2) + (mark.y - centre[1]).powi(2);
            (1.0 + d2 / (REACH_MM * REACH_MM)).powi(-2)
        };
        let by = |a: i32, b: i32| mean(&|i| corners[i].uv[0].powi(a) * corners[i].uv[1].powi(b));
        Near {
            tag,
            arm: Vector3::new(1.0, centre[0] - x, centre[1] - y),
            weight: state.marks.iter().map(near).sum(),
            bow: [by(2, 0), by(1, 1), by(0, 2)],
        }
    })
    .collect()
}
