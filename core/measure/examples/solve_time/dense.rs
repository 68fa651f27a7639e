//! The same photographs by a general-purpose solver: the `levenberg-marquardt` crate on poses, one lens
//! and marks. It is given true poses a little off to start from, knows no autofocus, no paper that is
//! not flat, no wrong tags, and gives no covariance.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Matrix2x3, Matrix3, Owned, Rotation3, Vector2, Vector3};

/// Parameters of the lens: f, cx, cy in thousands of pixels, k1, k2.
const LENS: usize = 5;
const POSE: usize = 6;

/// What is seen where, weighted.
pub struct Sight {
    pub shot: usize,
    /// A corner's place, or which mark.
    pub what: Result<Vector3<f64>, usize>,
    pub px: [f64; 2],
    pub sd_px: f64,
}

pub struct Dense {
    pub sights: Vec<Sight>,
    /// Rotation and shift of each photograph to start from.
    pub poses: Vec<(Matrix3<f64>, Vector3<f64>)>,
    params: DVector<f64>,
}

impl Dense {
    pub fn new(sights: Vec<Sight>, poses: Vec<(Matrix3<f64>, Vector3<f64>)>, marks: usize) -> Self {
        let mut params = DVector::zeros(LENS + POSE * poses.len() + 3 * marks);
        params.rows_mut(0, 3).copy_from_slice(&[3.3, 2.0, 1.5]);
        let first = LENS + POSE * poses.len();
        (0..marks).for_each(|m| {
            params
                .rows_mut(first + 3 * m, 3)
                .copy_from_slice(&[195.0, 148.0, 60.0]);
        });
        Self {
            sights,
            poses,
            params,
        }
    }

    /// Fits; root mean square of the weighted residuals.
    pub fn fit(self) -> Option<f64> {
        let count = 2.0 * self.sights.len() as f64;
        let (fitted, report) = LevenbergMarquardt::new().minimize(self);
        let residuals = fitted.residuals()?;
        (report.termination.was_successful()).then(|| (residuals.norm_squared() / count).sqrt())
    }

    /// Residual of one sight and its derivatives by lens, pose and point.
    fn look(&self, sight: &Sight) -> (Vector2<f64>, [[f64; LENS + POSE]; 2], Matrix2x3<f64>) {
        let at = LENS + POSE * sight.shot;
        let (turn, shift) = &self.poses[sight.shot];
        let w = Vector3::from_column_slice(&self.params.as_slice()[at..at + 3]);
        let rotation = Rotation3::new(w).into_inner() * turn;
        let point = self.point(sight);
        let arm = rotation * point;
        let q = arm + shift + Vector3::from_column_slice(&self.params.as_slice()[at + 3..at + 6]);
        let [f, cx, cy, k1, k2] = std::array::from_fn(|i| self.params[i]);
        let (x, y) = (q.x / q.z, q.y / q.z);
        let r2 = x * x + y * y;
        let (d, g) = (1.0 + r2 * (k1 + r2 * k2), 2.0 * (k1 + 2.0 * r2 * k2));
        let scale = 1000.0 / sight.sd_px;
        let seen = Vector2::new(f * d * x + cx, f * d * y + cy) * scale;
        let residual = seen - Vector2::from(sight.px) / sight.sd_px;
        let by_xy = [
            [f * (d + g * x * x), f * g * x * y],
            [f * g * x * y, f * (d + g * y * y)],
        ];
        let by_q = Matrix2x3::from_fn(|i, j| {
            let [a, b] = by_xy[i];
            scale
                * match j {
                    0 => a / q.z,
                    1 => b / q.z,
                    _ => -(a * x + b * y) / q.z,
                }
        });
        let by_turn = -by_q * arm.cross_matrix() * left_jacobian(&w);
        let own = [x, y];
        let rows = [0, 1].map(|i| {
            let mut row = [0.0; LENS + POSE];
            row[0] = scale * d * own[i];
            row[1 + i] = scale;
            row[3] = scale * f * own[i] * r2;
            row[4] = scale * f * own[i] * r2 * r2;
            (0..3).for_each(|k| {
                row[LENS + k] = by_turn[(i, k)];
                row[LENS + 3 + k] = by_q[(i, k)];
            });
            row
        });
        (residual, rows, by_q * rotation)
    }

    fn point(&self, sight: &Sight) -> Vector3<f64> {
        match sight.what {
            Ok(place) => place,
            Err(mark) => {
                let at = LENS + POSE * self.poses.len() + 3 * mark;
                Vector3::from_column_slice(&self.params.as_slice()[at..at + 3])
            }
        }
    }
}

/// Derivative of a turn's effect by its rotation vector (SO(3)'s left Jacobian).
fn left_jacobian(w: &Vector3<f64>) -> Matrix3<f64> {
    let angle = w.norm();
    let x = w.cross_matrix();
    if angle < 1e-6 {
        return Matrix3::identity() + x * 0.5;
    }
    let (s, c) = angle.sin_cos();
    Matrix3::identity() + x * ((1.0 - c) / angle.powi(2)) + x * x * ((angle - s) / angle.powi(3))
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Dense {
    type ParameterStorage = Owned<f64, Dyn>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, params: &DVector<f64>) {
        self.params.copy_from(params);
    }

    fn params(&self) -> DVector<f64> {
        self.params.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let mut all = DVector::zeros(2 * self.sights.len());
        for (i, sight) in self.sights.iter().enumerate() {
            all.rows_mut(2 * i, 2).copy_from(&self.look(sight).0);
        }
        Some(all)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let mut all = DMatrix::zeros(2 * self.sights.len(), self.params.len());
        for (i, sight) in self.sights.iter().enumerate() {
            let (_, rows, by_point) = self.look(sight);
            for (k, row) in rows.iter().enumerate() {
                (0..LENS).for_each(|j| all[(2 * i + k, j)] = row[j]);
                let at = LENS + POSE * sight.shot;
                (0..POSE).for_each(|j| all[(2 * i + k, at + j)] = row[LENS + j]);
                if let Err(mark) = sight.what {
                    let at = LENS + POSE * self.poses.len() + 3 * mark;
                    (0..3).for_each(|j| all[(2 * i + k, at + j)] = by_point[(k, j)]);
                }
            }
        }
        Some(all)
    }
}
