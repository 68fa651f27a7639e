//! A plane of brightness over part of a photograph, by least squares.

use nalgebra::{Matrix3, Vector3};

/// What the fit needs of the points seen so far.
#[derive(Default)]
pub(crate) struct PlaneSums {
    normal: Matrix3<f64>,
    right: Vector3<f64>,
}

/// value = a·x + b·y + c.
#[derive(Clone, Copy)]
pub(crate) struct Plane(Vector3<f64>);

impl PlaneSums {
    pub(crate) fn add(&mut self, x: f64, y: f64, value: f64) {
        let row = Vector3::new(x, y, 1.0);
        self.normal += row * row.transpose();
        self.right += row * value;
    }

    /// The plane; `None` with too few points, or all on one line.
    pub(crate) fn fit(&self) -> Option<Plane> {
        let factor = self.normal.cholesky()?;
        Some(Plane(factor.solve(&self.right)))
    }
}

impl Plane {
    pub(crate) fn at(self, x: f64, y: f64) -> f64 {
        self.0.x * x + self.0.y * y + self.0.z
    }
}
