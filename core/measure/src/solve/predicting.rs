//! The fitted cameras as predictions and advice use them.

use super::model;
use super::recipe;
use super::report::Fitted;
use crate::observed::Px;
use nalgebra::{Matrix2, Vector2, Vector3};

fn inside(fitted: &Fitted, shot: usize, [x, y]: Px) -> bool {
    let [w, h] = fitted.problem.shots[shot].turn.sensor_px;
    (0.0..=w).contains(&x) && (0.0..=h).contains(&y)
}

/// Photo pixel of a mat point, if the picture shows it.
pub(crate) fn photo_px(fitted: &Fitted, shot: usize, mat: &Vector3<f64>) -> Option<Px> {
    let (pose, lens) = fitted.problem.camera(&fitted.state, shot);
    let p = mat - fitted.problem.drawing.middle;
    if !model::in_field(lens, &(pose.camera_from_mat * p + pose.t)) {
        return None;
    }
    let px = model::project(lens, pose, &p)?;
    let px = [px.x, px.y];
    inside(fitted, shot, px).then(|| fitted.problem.shots[shot].turn.photo_from_sensor(px))
}

/// The ray of a photo pixel in the mat frame: centre and unit direction.
pub(crate) fn mat_ray(
    fitted: &Fitted,
    shot: usize,
    photo_px: Px,
) -> Option<(Vector3<f64>, Vector3<f64>)> {
    let px = fitted.problem.shots[shot].turn.sensor_from_photo(photo_px);
    let (pose, lens) = fitted.problem.camera(&fitted.state, shot);
    let direction = pose.camera_from_mat.tr_mul(&model::ray(lens, pose, px)?);
    Some((pose.centre() + fitted.problem.drawing.middle, direction))
}

/// Photo pixel of a placed mark, the covariance of that prediction, and whether the picture has it.
pub(crate) fn predicted(
    fitted: &Fitted,
    shot: usize,
    mark: usize,
) -> Option<(Px, Matrix2<f64>, bool)> {
    let (problem, state) = (&fitted.problem, &fitted.state);
    let (pose, lens) = problem.camera(state, shot);
    let px = model::project(lens, pose, &state.marks[mark])?;
    let spread = recipe::projected_covariance(problem, state, &fitted.covariance, shot, mark)?;
    let turn = &problem.shots[shot].turn;
    let columns = [[1.0, 0.0], [0.0, 1.0]].map(|axis| Vector2::from(turn.turned_to_photo(axis)));
    let photo_from_sensor = Matrix2::from_columns(&columns);
    let spread = photo_from_sensor * spread * photo_from_sensor.transpose();
    let px = [px.x, px.y];
    Some((turn.photo_from_sensor(px), spread, inside(fitted, shot, px)))
}
