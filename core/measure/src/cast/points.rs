//! The named points of one cast, wherever they come from.

use super::Results;
use crate::marks::{MarkName, Surface};
use crate::solve::Solution;
use nalgebra::{DMatrix, Point3};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Where the points come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// Photographs on the mat.
    Photographs,
    /// Ruler and calliper.
    Ruler,
}

/// Thickness of the shell's wall, as measured by hand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Wall {
    /// Thickness.
    pub mm: f64,
    /// Its standard deviation.
    pub sd_mm: f64,
}

/// One point of the cast in the frame it was measured in: Z up from the surface the cast stands
/// on, which is Z = 0. The mat frame for photographs; the ruler's own for a ruler.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasuredPoint {
    /// Which mark.
    pub mark: MarkName,
    /// Position.
    pub mm: [f64; 3],
    /// The face of the shell that carries the mark.
    pub surface: Surface,
    /// Number of photographs (or, by ruler, readings) behind it.
    pub views: usize,
    /// Largest residual among its views; photographs only.
    pub worst_residual_px: Option<f64>,
}

/// The points of one cast with their joint instrument covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct CastPoints {
    pub(crate) points: Vec<MeasuredPoint>,
    pub(crate) covariance_mm2: DMatrix<f64>,
    pub(crate) dof: f64,
    pub(crate) scale_rel_sd: f64,
    pub(crate) source: Source,
    pub(crate) wall: Option<Wall>,
}

/// Coordinates beyond this are no cast: it keeps every formula far from overflow.
pub(crate) const FARTHEST_MM: f64 = 10_000.0;

/// Why points can't be taken.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum PointsError {
    /// A coordinate is not a number or out of all proportion.
    #[error("{mark} lies at {mm:?} mm, which no cast can reach; measure it again")]
    OutOfRange {
        /// Which mark.
        mark: MarkName,
        /// Its coordinates.
        mm: [f64; 3],
    },
    /// A mark occurs twice.
    #[error("{0} is given twice; keep one")]
    Twice(MarkName),
    /// The covariance does not belong to the points.
    #[error("the uncertainty of the points can't be used: {0}; solve the photographs again")]
    Covariance(&'static str),
    /// Degrees of freedom or scale are not positive numbers.
    #[error("{what} is {value}, which is no possible value")]
    Impossible {
        /// Which number.
        what: &'static str,
        /// Its value.
        value: f64,
    },
}

impl CastPoints {
    /// Points with their joint covariance (3n × 3n, x y z of each point in turn, mm², without the
    /// print scale), Student t degrees of freedom and relative sd of the common print scale.
    ///
    /// # Errors
    /// Numbers that are not finite, marks given twice, a covariance of the wrong size.
    pub fn new(
        points: Vec<MeasuredPoint>,
        covariance_mm2: DMatrix<f64>,
        dof: f64,
        scale_rel_sd: f64,
        source: Source,
        wall: Option<Wall>,
    ) -> Result<Self, PointsError> {
        for (i, point) in points.iter().enumerate() {
            if !point.mm.iter().all(|c| c.abs() <= FARTHEST_MM) {
                return Err(PointsError::OutOfRange {
                    mark: point.mark.clone(),
                    mm: point.mm,
                });
            }
            if points[..i].iter().any(|other| other.mark == point.mark) {
                return Err(PointsError::Twice(point.mark.clone()));
            }
        }
        if covariance_mm2.shape() != (3 * points.len(), 3 * points.len()) {
            return Err(PointsError::Covariance("it has the wrong size"));
        }
        let largest = FARTHEST_MM * FARTHEST_MM;
        if !covariance_mm2.iter().all(|c| c.abs() <= largest) {
            return Err(PointsError::Covariance("it is not finite"));
        }
        if covariance_mm2.diagonal().iter().any(|v| *v < 0.0) {
            return Err(PointsError::Covariance("a variance is negative"));
        }
        let possible = [
            ("the number of degrees of freedom", dof, dof >= 1.0),
            (
                "the print scale's uncertainty",
                scale_rel_sd,
                (0.0..=0.5).contains(&scale_rel_sd),
            ),
            (
                "the wall's thickness",
                wall.map_or(1.0, |w| w.mm),
                wall.is_none_or(|w| w.mm > 0.0 && w.mm <= 100.0),
            ),
            (
                "the wall's ±",
                wall.map_or(0.0, |w| w.sd_mm),
                wall.is_none_or(|w| w.sd_mm >= 0.0 && w.sd_mm <= 100.0),
            ),
        ];
        if let Some((what, value, _)) = possible.into_iter().find(|(_, _, ok)| !ok) {
            return Err(PointsError::Impossible { what, value });
        }
        Ok(Self {
            points,
            covariance_mm2,
            dof,
            scale_rel_sd,
            source,
            wall,
        })
    }

    /// The points of solved photographs.
    ///
    /// # Errors
    /// As [`CastPoints::new`].
    pub fn from_solution(solution: &Solution, wall: Option<Wall>) -> Result<Self, PointsError> {
        let points = solution.points.iter().map(|point| MeasuredPoint {
            mark: point.mark.clone(),
            mm: point.mat_mm,
            surface: point.surface,
            views: point.views,
            worst_residual_px: Some(point.worst_residual_px),
        });
        Self::new(
            points.collect(),
            solution.covariance_mm2.clone(),
            solution.dof,
            solution.scale_sd,
            Source::Photographs,
            wall,
        )
    }

    /// The points as results keep them, in the cast frame, for what is asked of them later. How
    /// their errors go together is not kept: they are taken as independent.
    ///
    /// # Errors
    /// As [`CastPoints::new`].
    pub fn from_results(results: &Results) -> Result<Self, PointsError> {
        let points = results.points.iter().map(|point| MeasuredPoint {
            mark: point.mark.clone(),
            mm: point.cast_mm,
            surface: point.surface,
            views: point.views,
            worst_residual_px: None,
        });
        let sds = results.points.iter().flat_map(|p| p.instrument_sd_mm);
        let variances: Vec<f64> = sds.map(|sd| sd * sd).collect();
        Self::new(
            points.collect(),
            DMatrix::from_diagonal(&variances.into()),
            f64::INFINITY,
            0.0,
            results.source,
            None,
        )
    }

    /// The points.
    #[must_use]
    pub fn points(&self) -> &[MeasuredPoint] {
        &self.points
    }

    /// Joint instrument covariance, 3n × 3n, mm².
    #[must_use]
    pub fn covariance_mm2(&self) -> &DMatrix<f64> {
        &self.covariance_mm2
    }

    /// Student t degrees of freedom of the instrument covariance.
    #[must_use]
    pub fn dof(&self) -> f64 {
        self.dof
    }

    /// Relative standard deviation of the scale common to all points.
    #[must_use]
    pub fn scale_rel_sd(&self) -> f64 {
        self.scale_rel_sd
    }

    /// Where the points come from.
    #[must_use]
    pub fn source(&self) -> Source {
        self.source
    }

    /// Thickness of the wall, if measured.
    #[must_use]
    pub fn wall(&self) -> Option<Wall> {
        self.wall
    }

    /// Index of a mark among the points.
    #[must_use]
    pub fn index(&self, mark: &str) -> Option<usize> {
        self.points
            .iter()
            .position(|point| point.mark.as_str() == mark)
    }

    /// Where a mark lies in the frame of measurement.
    #[must_use]
    pub fn get(&self, mark: &str) -> Option<Point3<f64>> {
        self.index(mark).map(|i| Point3::from(self.points[i].mm))
    }
}
