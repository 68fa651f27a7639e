//! Forward-mode differentiation: a number and its derivative along one input.
//!
//! A general crate was tried (num-dual 0.15): its `atan2` differentiates `(y/x).atan()`, which is
//! NaN wherever x = 0, that is for every upright line. This one holds what the formulas need.

use nalgebra::{DMatrix, Vector3};
use num_traits::{One, Zero};
use std::ops::{Add, AddAssign, Div, Mul, MulAssign, Neg, Sub, SubAssign};

/// A value and its derivative.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Dual {
    pub value: f64,
    pub slope: f64,
}

/// A vector of dual numbers.
pub(crate) type Vec3 = Vector3<Dual>;

impl Dual {
    pub fn constant(value: f64) -> Self {
        Self { value, slope: 0.0 }
    }

    fn chain(self, value: f64, derivative: f64) -> Self {
        Self {
            value,
            slope: derivative * self.slope,
        }
    }

    pub fn sin(self) -> Self {
        self.chain(self.value.sin(), self.value.cos())
    }

    pub fn cos(self) -> Self {
        self.chain(self.value.cos(), -self.value.sin())
    }

    /// Square root of a positive number; callers refuse zero beforehand.
    pub fn sqrt(self) -> Self {
        let root = self.value.sqrt();
        self.chain(root, 0.5 / root)
    }

    /// `self` = y.
    pub fn atan2(self, x: Self) -> Self {
        let square = self.value * self.value + x.value * x.value;
        Self {
            value: self.value.atan2(x.value),
            slope: (x.value * self.slope - self.value * x.slope) / square,
        }
    }

    pub fn hypot(self, other: Self) -> Self {
        (self * self + other * other).sqrt()
    }

    pub fn degrees(self) -> Self {
        self * Self::constant(180.0 / std::f64::consts::PI)
    }
}

impl From<f64> for Dual {
    fn from(value: f64) -> Self {
        Self::constant(value)
    }
}

impl Add for Dual {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        Self {
            value: self.value + o.value,
            slope: self.slope + o.slope,
        }
    }
}

impl Sub for Dual {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        Self {
            value: self.value - o.value,
            slope: self.slope - o.slope,
        }
    }
}

impl Mul for Dual {
    type Output = Self;
    fn mul(self, o: Self) -> Self {
        Self {
            value: self.value * o.value,
            slope: self.slope * o.value + self.value * o.slope,
        }
    }
}

impl Div for Dual {
    type Output = Self;
    fn div(self, o: Self) -> Self {
        let value = self.value / o.value;
        Self {
            value,
            slope: (self.slope - value * o.slope) / o.value,
        }
    }
}

impl Neg for Dual {
    type Output = Self;
    fn neg(self) -> Self {
        Self {
            value: -self.value,
            slope: -self.slope,
        }
    }
}

impl AddAssign for Dual {
    fn add_assign(&mut self, o: Self) {
        *self = *self + o;
    }
}

impl SubAssign for Dual {
    fn sub_assign(&mut self, o: Self) {
        *self = *self - o;
    }
}

impl MulAssign for Dual {
    fn mul_assign(&mut self, o: Self) {
        *self = *self * o;
    }
}

impl Zero for Dual {
    fn zero() -> Self {
        Self::constant(0.0)
    }
    fn is_zero(&self) -> bool {
        self.value == 0.0 && self.slope == 0.0
    }
}

impl One for Dual {
    fn one() -> Self {
        Self::constant(1.0)
    }
}

/// A constant vector.
pub(crate) fn fixed(v: Vector3<f64>) -> Vec3 {
    v.map(Dual::constant)
}

/// The values of a vector.
pub(crate) fn values(v: &Vec3) -> Vector3<f64> {
    v.map(|d| d.value)
}

/// Length of a vector that is not zero.
pub(crate) fn length(v: &Vec3) -> Dual {
    v.dot(v).sqrt()
}

/// Unit vector of a vector that is not zero.
pub(crate) fn unit(v: &Vec3) -> Vec3 {
    let one_over = Dual::one() / length(v);
    v.map(|d| d * one_over)
}

/// Derivatives of every output of `f` (rows) along every input (columns).
pub(crate) fn jacobian<E>(
    inputs: &[f64],
    f: impl Fn(&[Dual]) -> Result<Vec<Dual>, E>,
) -> Result<DMatrix<f64>, E> {
    let mut seeded: Vec<Dual> = inputs.iter().copied().map(Dual::constant).collect();
    let mut columns = Vec::with_capacity(inputs.len());
    for i in 0..inputs.len() {
        seeded[i].slope = 1.0;
        columns.push(f(&seeded)?);
        seeded[i].slope = 0.0;
    }
    let rows = columns.first().map_or(0, Vec::len);
    Ok(DMatrix::from_fn(rows, inputs.len(), |row, column| {
        columns[column][row].slope
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn derivatives_agree_with_central_differences() {
        let f = |d: &[Dual]| -> Result<Vec<Dual>, ()> {
            let (x, y) = (d[0], d[1]);
            Ok(vec![
                x * y - x / y,
                x.sin() * y.cos(),
                (x * x + y * y).sqrt(),
                y.atan2(x).degrees(),
                x.hypot(-y),
            ])
        };
        for (x, y) in [(0.7, -1.3), (-2.0, 0.4), (0.0, 1.5), (1e-9, -3.0)] {
            let exact = jacobian(&[x, y], f).unwrap();
            for input in 0..2 {
                let step = 1e-6;
                let shifted = |sign: f64| {
                    let mut at = [x, y];
                    at[input] += sign * step;
                    f(&at.map(Dual::constant)).unwrap()
                };
                let (up, down) = (shifted(1.0), shifted(-1.0));
                for row in 0..up.len() {
                    let numeric = (up[row].value - down[row].value) / (2.0 * step);
                    assert!(
                        (numeric - exact[(row, input)]).abs() < 1e-7 * numeric.abs().max(1.0),
                        "output {row}, input {input} at ({x}, {y}): {numeric} {}",
                        exact[(row, input)]
                    );
                }
            }
        }
    }
}
