//! From derivatives to the two kinds of ±.

use super::frame::Placement;
use super::marking;
use super::{CastError, CastPoints, Settings};
use crate::marks::Side;
use crate::quantity::{NORMAL_95, Quantity, Unit};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Covariance of the inputs (coordinates, then wall), split by cause.
pub(crate) struct Spread {
    instrument: DMatrix<f64>,
    marking: DMatrix<f64>,
    /// One step of the common print scale.
    scale: DVector<f64>,
    dof: f64,
}

/// Variances of one output.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sd {
    pub instrument: f64,
    pub total: f64,
}

impl Spread {
    pub fn new(cast: &CastPoints, side: Side, settings: &Settings) -> Result<Self, CastError> {
        let n = 3 * cast.points().len();
        let mut instrument = DMatrix::zeros(n + 1, n + 1);
        instrument
            .view_mut((0, 0), (n, n))
            .copy_from(cast.covariance_mm2());
        instrument[(n, n)] = cast.wall().map_or(0.0, |wall| wall.sd_mm * wall.sd_mm);
        let mut marking = DMatrix::zeros(n + 1, n + 1);
        let cast_from_measured = Placement::new(cast, settings.reference)?.rotation;
        for (i, point) in cast.points().iter().enumerate() {
            let in_cast = marking::covariance_in_cast(&point.mark, side, settings)?;
            let measured = cast_from_measured.transpose() * in_cast * cast_from_measured;
            marking
                .fixed_view_mut::<3, 3>(3 * i, 3 * i)
                .copy_from(&measured);
        }
        let coordinates = cast.points().iter().flat_map(|point| point.mm);
        let scale = coordinates.map(|c| c * cast.scale_rel_sd()).chain([0.0]);
        let scale = DVector::from_iterator(n + 1, scale);
        Ok(Self {
            instrument,
            marking,
            scale,
            dof: cast.dof(),
        })
    }

    /// Sd of the output whose derivatives are row `row`.
    pub fn sd(&self, jacobian: &DMatrix<f64>, row: usize) -> Sd {
        let row = jacobian.row(row);
        let variance = |covariance: &DMatrix<f64>| (row * covariance).dot(&row).max(0.0);
        let instrument = variance(&self.instrument);
        let scale = (row * &self.scale)[0];
        let total = instrument + variance(&self.marking) + scale * scale;
        Sd {
            instrument: instrument.sqrt(),
            total: total.sqrt(),
        }
    }

    /// The output `value` as a quantity.
    pub fn quantity(
        &self,
        jacobian: &DMatrix<f64>,
        row: usize,
        value: f64,
        unit: Unit,
    ) -> Quantity {
        Quantity::new(value, unit, self.sd(jacobian, row), self.dof)
    }
}

impl Quantity {
    /// The 95 % interval is Student's t; only the instrument part has limited degrees of freedom
    /// (Welch, Biometrika 1947;34:28-35; Satterthwaite, Biometrics Bull 1946;2:110-4).
    pub(crate) fn new(value: f64, unit: Unit, sd: Sd, instrument_dof: f64) -> Self {
        let half = if sd.total > 0.0 {
            let share = (sd.instrument / sd.total).powi(4);
            student_t_95(if share > 0.0 {
                instrument_dof / share
            } else {
                f64::INFINITY
            }) * sd.total
        } else {
            0.0
        };
        Self {
            value,
            unit,
            instrument_sd: sd.instrument,
            total_sd: sd.total,
            low95: value - half,
            high95: value + half,
        }
    }

    /// The acute angle 90 − |x| of the signed departure x (this quantity). It folds at 90°, so
    /// its interval ends there.
    pub(crate) fn folded(self) -> Self {
        // A departure beyond 90° is the same line seen from its other end.
        let fold = |x: f64| 90.0 - if x > 90.0 { 180.0 - x } else { x };
        let size = self.value.abs();
        let half = 0.5 * (self.high95 - self.low95);
        let departure = 90.0 - fold(size);
        Self {
            value: fold(size),
            low95: 90.0 - (departure + half),
            high95: 90.0 - (departure - half).max(0.0),
            ..self
        }
    }
}

/// Two-sided 95 % point of Student's t.
pub(crate) fn student_t_95(dof: f64) -> f64 {
    /// Beyond this the normal distribution is the same to 6 digits.
    const NORMAL_FROM: f64 = 1e6;
    if dof.is_nan() || dof >= NORMAL_FROM {
        return NORMAL_95;
    }
    StudentsT::new(0.0, 1.0, dof.max(1.0)).map_or(NORMAL_95, |t| t.inverse_cdf(0.975))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Student's t, upper 2.5 % point: NIST/SEMATECH e-Handbook of Statistical Methods,
    /// section 1.3.6.7.2 (table from memory, 3 decimals).
    #[test]
    fn student_t_agrees_with_the_printed_table() {
        for (dof, t) in [
            (1.0, 12.706),
            (2.0, 4.303),
            (6.0, 2.447),
            (10.0, 2.228),
            (30.0, 2.042),
            (100.0, 1.984),
        ] {
            assert!(
                (student_t_95(dof) - t).abs() < 6e-4,
                "{dof}: {}",
                student_t_95(dof)
            );
        }
        assert!((student_t_95(1e5) - student_t_95(f64::INFINITY)).abs() < 1e-4);
    }

    #[test]
    fn a_folded_angle_never_passes_90() {
        let tilt = |value| {
            Quantity::new(
                value,
                Unit::Deg,
                Sd {
                    instrument: 0.5,
                    total: 2.0,
                },
                20.0,
            )
        };
        for value in [-0.3, 0.0, 0.7, 10.0, -170.0, 179.0] {
            let folded = tilt(value).folded();
            assert!(
                folded.high95 <= 90.0
                    && folded.low95 <= folded.value
                    && folded.value <= folded.high95
            );
        }
        assert!((tilt(-170.0).folded().value - 80.0).abs() < 1e-12);
        assert!((tilt(10.0).folded().value - 80.0).abs() < 1e-12);
    }
}
