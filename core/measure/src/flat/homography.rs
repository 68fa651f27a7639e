//! The plane's own coordinates of a pixel, from corners of known place.

use super::{FlatError, PlanePoint, constants};
use crate::dual::Dual;
use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

/// Expected sd of a tag's corner, pixels, worth 20 observations; leaves room for lens distortion.
const CORNER_SD_PX: f64 = 0.5;
const CORNER_SD_WORTH: f64 = 20.0;

/// px ~ H·(plane mm), fitted to the corners.
pub(super) struct Homography {
    /// The eight free elements, of the normalised H with its last element 1.
    pub free: SVector<f64, 8>,
    pub covariance: SMatrix<f64, 8, 8>,
    px_from_unit: Scaling,
    mm_from_unit: Scaling,
    pub dof: f64,
    /// Sign of the denominator on this side of the horizon.
    front: f64,
}

/// value = centre + size · unit.
#[derive(Clone, Copy)]
struct Scaling {
    centre: [f64; 2],
    size: f64,
}

impl Scaling {
    fn of(points: impl Iterator<Item = [f64; 2]> + Clone) -> Option<Self> {
        let n = points.clone().count() as f64;
        let sum = points
            .clone()
            .fold([0.0; 2], |s, p| [s[0] + p[0], s[1] + p[1]]);
        let centre = [sum[0] / n, sum[1] / n];
        let square: f64 = points
            .map(|p| (p[0] - centre[0]).powi(2) + (p[1] - centre[1]).powi(2))
            .sum();
        let size = (square / n).sqrt();
        (size > 1e-6).then_some(Self { centre, size })
    }

    fn unit(self, p: [f64; 2]) -> [f64; 2] {
        [
            (p[0] - self.centre[0]) / self.size,
            (p[1] - self.centre[1]) / self.size,
        ]
    }
}

impl Homography {
    /// Direct linear transform on normalised points, then Gauss-Newton on the pixel distances
    /// (Hartley and Zisserman, Multiple View Geometry, 2nd ed., section 4).
    pub fn fit(plane: &[PlanePoint]) -> Result<Self, FlatError> {
        let no_plane = || FlatError::NoPlane;
        if plane.len() < 4 {
            return Err(FlatError::NoPlane);
        }
        let px_from_unit = Scaling::of(plane.iter().map(|p| p.px)).ok_or_else(no_plane)?;
        let mm_from_unit = Scaling::of(plane.iter().map(|p| p.plane_mm)).ok_or_else(no_plane)?;
        let pairs: Vec<([f64; 2], [f64; 2])> = plane
            .iter()
            .map(|p| (mm_from_unit.unit(p.plane_mm), px_from_unit.unit(p.px)))
            .collect();
        let mut normal = SMatrix::<f64, 9, 9>::zeros();
        for &([x, y], [u, v]) in &pairs {
            for row in [
                SVector::<f64, 9>::from([x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y, -u]),
                SVector::<f64, 9>::from([0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y, -v]),
            ] {
                normal += row * row.transpose();
            }
        }
        let eigen = normal.symmetric_eigen();
        let mut order: Vec<usize> = (0..9).collect();
        order.sort_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]));
        // Corners in one line leave more than one solution.
        if eigen.eigenvalues[order[1]] < 1e-9 * eigen.eigenvalues[order[8]] {
            return Err(FlatError::NoPlane);
        }
        let h = eigen.eigenvectors.column(order[0]);
        if h[8].abs() < 1e-9 {
            return Err(FlatError::NoPlane);
        }
        let mut free = SVector::<f64, 8>::from_fn(|i, _| h[i] / h[8]);
        let mut information = SMatrix::<f64, 8, 8>::zeros();
        let mut squares = 0.0;
        for _ in 0..10 {
            information.fill(0.0);
            squares = 0.0;
            let mut gradient = SVector::<f64, 8>::zeros();
            for &([x, y], seen) in &pairs {
                let w = free[6] * x + free[7] * y + 1.0;
                if w.abs() < 1e-9 {
                    return Err(FlatError::NoPlane);
                }
                let p = [
                    (free[0] * x + free[1] * y + free[2]) / w,
                    (free[3] * x + free[4] * y + free[5]) / w,
                ];
                let rows = [
                    SVector::<f64, 8>::from([x, y, 1.0, 0.0, 0.0, 0.0, -p[0] * x, -p[0] * y]) / w,
                    SVector::<f64, 8>::from([0.0, 0.0, 0.0, x, y, 1.0, -p[1] * x, -p[1] * y]) / w,
                ];
                for k in 0..2 {
                    let residual = seen[k] - p[k];
                    squares += residual * residual;
                    gradient += rows[k] * residual;
                    information += rows[k] * rows[k].transpose();
                }
            }
            free += information.lu().solve(&gradient).ok_or_else(no_plane)?;
        }
        let beyond = 2.0 * plane.len() as f64 - 8.0;
        let expected = (CORNER_SD_PX / px_from_unit.size).powi(2);
        let variance = (squares + CORNER_SD_WORTH * expected) / (beyond + CORNER_SD_WORTH);
        let covariance = information.try_inverse().ok_or_else(no_plane)? * variance;
        let mut fitted = Self {
            free,
            covariance,
            px_from_unit,
            mm_from_unit,
            dof: beyond + CORNER_SD_WORTH,
            front: 1.0,
        };
        let signs: Vec<f64> = pairs
            .iter()
            .map(|(_, px)| fitted.denominator(*px).signum())
            .collect();
        fitted.front = signs[0];
        if signs.iter().any(|sign| *sign != fitted.front) {
            return Err(FlatError::NoPlane);
        }
        Ok(fitted)
    }

    fn matrix(free: &[Dual]) -> Matrix3<Dual> {
        let one = Dual::constant(1.0);
        Matrix3::new(
            free[0], free[1], free[2], free[3], free[4], free[5], free[6], free[7], one,
        )
    }

    /// The plane's point up to a factor: the cross products of the columns are the rows of the
    /// inverse times the determinant.
    fn homogeneous(free: &[Dual], [u, v]: [Dual; 2]) -> Vector3<Dual> {
        let h = Self::matrix(free).transpose();
        let (a, b, c) = (
            h.row(0).transpose(),
            h.row(1).transpose(),
            h.row(2).transpose(),
        );
        let p = Vector3::new(u, v, Dual::constant(1.0));
        Vector3::new(
            b.cross(&c).dot(&p),
            c.cross(&a).dot(&p),
            a.cross(&b).dot(&p),
        )
    }

    fn denominator(&self, [u, v]: [f64; 2]) -> f64 {
        let free: Vec<Dual> = constants(self.free.as_slice());
        Self::homogeneous(&free, [u, v].map(Dual::constant)).z.value
    }

    /// The plane's point under a pixel, mm.
    pub fn plane_from_px(&self, free: &[Dual], [x, y]: [Dual; 2]) -> Result<[Dual; 2], FlatError> {
        let size = Dual::constant(self.px_from_unit.size);
        let unit = [
            (x - Dual::constant(self.px_from_unit.centre[0])) / size,
            (y - Dual::constant(self.px_from_unit.centre[1])) / size,
        ];
        let p = Self::homogeneous(free, unit);
        // Near the horizon a pixel spans metres.
        if p.z.value * self.front <= 1e-3 * self.denominator([0.0, 0.0]).abs() {
            return Err(FlatError::BeyondHorizon);
        }
        let scale = Dual::constant(self.mm_from_unit.size);
        Ok([
            p.x / p.z * scale + Dual::constant(self.mm_from_unit.centre[0]),
            p.y / p.z * scale + Dual::constant(self.mm_from_unit.centre[1]),
        ])
    }
}
