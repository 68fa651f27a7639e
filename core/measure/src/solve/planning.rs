//! What a photograph not taken yet would add.

use super::model::{self, PRINT, Pose, SHEETS};
use super::problem::LENS;
use super::report::Fitted;
use super::start;
use nalgebra::{DMatrix, Matrix3, Vector3};

/// Share of the picture kept free at its edge.
const EDGE: f64 = 0.02;
/// Fewest tags that place a camera.
const FEWEST_TAGS: usize = 3;
/// Sd of a tap, pixels.
const TAP_SD_PX: f64 = 1.5;

/// Covariance of one lens, the print and the marks.
pub(crate) struct Known {
    covariance: DMatrix<f64>,
    frame: usize,
}

/// A camera that might be set up.
pub(crate) struct Candidate<'a> {
    fitted: &'a Fitted,
    pose: Pose,
    lens: usize,
    /// Box round the cast in the mat frame: low and high corner.
    cast: (Vector3<f64>, Vector3<f64>),
}

impl Known {
    pub fn new(fitted: &Fitted) -> Self {
        let layout = fitted.layout();
        let lens = usual_lens(fitted);
        let mut rows: Vec<usize> = (0..LENS).map(|i| layout.lens(lens) + i).collect();
        rows.extend((0..layout.print_len()).map(|i| layout.print() + i));
        let frame = rows.len();
        rows.extend((0..3 * layout.marks).map(|i| layout.frame() + layout.mark(0) + i));
        let n = rows.len();
        let covariance = DMatrix::from_fn(n, n, |i, j| fitted.covariance[(rows[i], rows[j])]);
        Self { covariance, frame }
    }

    /// Adds a mark of which only the rough place is known.
    pub fn add_mark(&mut self, sd_mm: f64) {
        let n = self.size();
        self.covariance.resize_mut(n + 3, n + 3, 0.0);
        (n..n + 3).for_each(|i| self.covariance[(i, i)] = sd_mm.powi(2));
    }

    pub fn size(&self) -> usize {
        self.covariance.nrows()
    }

    pub fn mark(&self, mark: usize) -> usize {
        self.frame + 3 * mark
    }

    pub fn covariance(&self) -> &DMatrix<f64> {
        &self.covariance
    }

    /// The covariance with a candidate's photograph of the `seen` marks; `None` if it shows too few
    /// tags.
    pub fn with(
        &self,
        candidate: &Candidate<'_>,
        marks: &[Vector3<f64>],
        seen: &[usize],
    ) -> Option<DMatrix<f64>> {
        let (fitted, n) = (candidate.fitted, self.size());
        let (problem, state) = (&fitted.problem, &fitted.state);
        let lens = &state.lenses[candidate.lens];
        let pose_len = model::POSE;
        let mut h = DMatrix::<f64>::zeros(pose_len + n, pose_len + n);
        let mut add = |row: &[(usize, [f64; 2])], weight: f64| {
            for (i, a) in row {
                for (j, b) in row {
                    h[(*i, *j)] += weight * (a[0] * b[0] + a[1] * b[1]);
                }
            }
        };
        // Pose, then lens: F, c, k stand where the pose's own e and dc have their copies.
        let camera = |by: &[[f64; PRINT]; 2]| -> Vec<(usize, [f64; 2])> {
            let column = |i: usize| [by[0][i], by[1][i]];
            let own = (0..pose_len).map(|i| (i, column(i)));
            let shared = (0..LENS).map(|i| (pose_len + i, column(6 + i)));
            own.chain(shared).collect()
        };
        let sd_px = start::median(problem.shots.iter().map(|shot| shot.sd_px).collect());
        let mut tags = 0;
        for (tag, height) in problem.tags.iter().zip(&state.heights) {
            let placed = tag.each_ref().map(|corner| {
                let mut placed = problem.drawing.place(corner, &state.print);
                placed.p.z += height;
                placed
            });
            let middle = problem.drawing.middle;
            if !placed
                .iter()
                .all(|p| candidate.shows(&(p.p + middle)) && !candidate.hidden(&(p.p + middle)))
            {
                continue;
            }
            tags += 1;
            for (corner, placed) in tag.iter().zip(&placed) {
                let seen = model::project_with(lens, &candidate.pose, &placed.p)?;
                let mut row = camera(&seen.by_camera);
                let mut push = |i: usize, by: Vector3<f64>| {
                    let column = seen.by_point * by;
                    row.push((pose_len + LENS + i, [column.x, column.y]));
                };
                push(0, placed.by_aspect);
                (0..3).for_each(|i| push(1 + i, Vector3::z() * placed.by_bow[i]));
                if corner.sheet > 0 {
                    let at = SHEETS - PRINT + 3 * (corner.sheet - 1);
                    (0..3).for_each(|i| push(at + i, placed.by_sheet[i]));
                }
                add(&row, sd_px.powi(-2));
            }
        }
        if tags < FEWEST_TAGS {
            return None;
        }
        for mark in seen {
            let p = marks[*mark] - problem.drawing.middle;
            let view = model::project_with(lens, &candidate.pose, &p)?;
            let mut row = camera(&view.by_camera);
            for k in 0..3 {
                let column = [view.by_point[(0, k)], view.by_point[(1, k)]];
                row.push((pose_len + self.mark(*mark) + k, column));
            }
            add(&row, TAP_SD_PX.powi(-2) / problem.tap_factor);
        }
        let priors = &problem.priors;
        let own = [priors.e, priors.dc_px, priors.dc_px];
        own.iter()
            .enumerate()
            .for_each(|(i, sd)| h[(6 + i, 6 + i)] += sd.powi(-2));
        let pose = h
            .view((0, 0), (pose_len, pose_len))
            .into_owned()
            .cholesky()?;
        let cross = h.view((0, pose_len), (pose_len, n)).into_owned();
        let gain = h.view((pose_len, pose_len), (n, n)) - cross.tr_mul(&pose.solve(&cross));
        // C' = C·(I + ΛC)⁻¹ = ((I + CΛ)⁻¹·C): C may be singular where something is fixed.
        let system = DMatrix::identity(n, n) + &self.covariance * gain;
        system.lu().solve(&self.covariance)
    }
}

fn usual_lens(fitted: &Fitted) -> usize {
    let shots = &fitted.problem.shots;
    let count = |lens: usize| shots.iter().filter(|shot| shot.lens == lens).count();
    (0..fitted.state.lenses.len())
        .max_by_key(|lens| count(*lens))
        .unwrap_or(0)
}

impl<'a> Candidate<'a> {
    /// A camera as far away as those before, aimed at the middle of the marks.
    pub fn new(
        fitted: &'a Fitted,
        marks: &[Vector3<f64>],
        azimuth_deg: f64,
        elevation_deg: f64,
        quarter_turn: bool,
    ) -> Self {
        let target = marks.iter().sum::<Vector3<f64>>() / marks.len() as f64;
        let middle = fitted.problem.drawing.middle;
        let distances = fitted
            .state
            .poses
            .iter()
            .map(|p| (p.centre() + middle - target).norm());
        let distance = start::median(distances.collect());
        let (azimuth, elevation) = (azimuth_deg.to_radians(), elevation_deg.to_radians());
        let back = Vector3::new(
            azimuth.cos() * elevation.cos(),
            azimuth.sin() * elevation.cos(),
            elevation.sin(),
        );
        let right = (-back).cross(&Vector3::z()).normalize();
        let down = (-back).cross(&right);
        let rows = if quarter_turn {
            [down, -right, -back]
        } else {
            [right, down, -back]
        };
        let camera_from_mat = Matrix3::from_rows(&rows.map(|row| row.transpose()));
        let centre = target + back * distance - middle;
        let pose = Pose {
            camera_from_mat,
            t: -(camera_from_mat * centre),
            e: 0.0,
            dc: [0.0; 2],
        };
        let low = marks.iter().fold(marks[0], |a, p| a.inf(p));
        let high = marks.iter().fold(marks[0], |a, p| a.sup(p));
        let cast = (Vector3::new(low.x, low.y, 0.0), high);
        Self {
            fitted,
            pose,
            lens: usual_lens(fitted),
            cast,
        }
    }

    /// Whether a mat point falls into the picture.
    pub fn shows(&self, mat: &Vector3<f64>) -> bool {
        let fitted = self.fitted;
        let lens = &fitted.state.lenses[self.lens];
        let p = mat - fitted.problem.drawing.middle;
        if !model::in_field(lens, &(self.pose.camera_from_mat * p + self.pose.t)) {
            return false;
        }
        let own = fitted
            .problem
            .shots
            .iter()
            .find(|shot| shot.lens == self.lens);
        let Some([w, h]) = own.map(|shot| shot.turn.sensor_px) else {
            return false;
        };
        model::project(lens, &self.pose, &p).is_some_and(|px| {
            (EDGE * w..(1.0 - EDGE) * w).contains(&px.x)
                && (EDGE * h..(1.0 - EDGE) * h).contains(&px.y)
        })
    }

    /// Angle between a face's normal and the way to the camera, degrees.
    pub fn angle_deg(&self, mat: &Vector3<f64>, normal: &Vector3<f64>) -> f64 {
        self.way(mat).angle(normal).to_degrees()
    }

    /// From a mat point to the camera.
    pub fn way(&self, mat: &Vector3<f64>) -> Vector3<f64> {
        self.pose.centre() + self.fitted.problem.drawing.middle - mat
    }

    /// Whether the cast, taken as the box of its marks, stands between a mat point and the camera.
    fn hidden(&self, mat: &Vector3<f64>) -> bool {
        let (way, (low, high)) = (self.way(mat), &self.cast);
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        for k in 0..3 {
            let (a, b) = ((low[k] - mat[k]) / way[k], (high[k] - mat[k]) / way[k]);
            if a.is_nan() || b.is_nan() {
                return false;
            }
            enter = enter.max(a.min(b));
            leave = leave.min(a.max(b));
        }
        enter < leave
    }
}
