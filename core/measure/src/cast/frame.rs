//! The cast frame: Z the mat's normal, X horizontal from the heel towards the MTP marks, origin on
//! the mat below HL.

use super::{CastError, CastPoints, Reference, Settings};
use crate::dual::{Dual, Vec3, fixed, jacobian, values};
use crate::marks::{MarkName, Side};
use nalgebra::{Matrix3, Vector3};

/// Two points closer than this give no direction.
pub(crate) const LEAST_DISTANCE_MM: f64 = 1.0;

/// The points in the cast frame, with their derivative along one input.
pub(crate) struct InCast<'a> {
    pub cast: &'a CastPoints,
    pub side: Side,
    pub settings: &'a Settings,
    /// In the order of `cast.points()`.
    pub at: Vec<Vec3>,
    /// Thickness of the wall, an input like the coordinates.
    pub wall: Option<Dual>,
}

impl<'a> InCast<'a> {
    /// The inputs everything is differentiated by: the coordinates, then the wall (0 if unknown).
    pub fn inputs(cast: &CastPoints) -> Vec<f64> {
        let coordinates = cast.points().iter().flat_map(|point| point.mm);
        coordinates
            .chain([cast.wall().map_or(0.0, |wall| wall.mm)])
            .collect()
    }

    /// The frame laid through `inputs`.
    pub fn new(
        cast: &'a CastPoints,
        side: Side,
        settings: &'a Settings,
        inputs: &[Dual],
    ) -> Result<Self, CastError> {
        let measured: Vec<Vec3> = inputs
            .chunks_exact(3)
            .take(cast.points().len())
            .map(Vec3::from_column_slice)
            .collect();
        let (origin, x) = origin_and_x(cast, settings.reference, &measured)?;
        let at = measured
            .iter()
            .map(|p| {
                let d = p - origin;
                Vec3::new(d.x * x.x + d.y * x.y, d.y * x.x - d.x * x.y, d.z)
            })
            .collect();
        let wall = cast.wall().and_then(|_| inputs.last().copied());
        Ok(Self {
            cast,
            side,
            settings,
            at,
            wall,
        })
    }

    /// A mark in the cast frame.
    pub fn get(&self, mark: &str) -> Option<Vec3> {
        self.cast.index(mark).map(|i| self.at[i])
    }

    /// How far `v` points to the lateral side.
    pub fn lateral(&self, v: &Vec3) -> Dual {
        v.y * Dual::constant(self.side.sign())
    }
}

/// The cast frame as laid at the estimate: p_in_cast = rotation·(p − origin).
pub(crate) struct Placement {
    pub rotation: Matrix3<f64>,
    pub origin: Vector3<f64>,
}

impl Placement {
    pub fn new(cast: &CastPoints, reference: Reference) -> Result<Self, CastError> {
        let measured: Vec<Vec3> = cast
            .points()
            .iter()
            .map(|point| fixed(Vector3::from(point.mm)))
            .collect();
        let (origin, x) = origin_and_x(cast, reference, &measured)?;
        let (c, s) = (x.x.value, x.y.value);
        let rotation = Matrix3::new(c, s, 0.0, -s, c, 0.0, 0.0, 0.0, 1.0);
        Ok(Self {
            rotation,
            origin: values(&origin),
        })
    }
}

/// Origin (at height 0) and the horizontal unit vector X.
fn origin_and_x(
    cast: &CastPoints,
    reference: Reference,
    measured: &[Vec3],
) -> Result<(Vec3, Vec3), CastError> {
    let find = |mark: &str| {
        let missing = || CastError::NoFrame {
            mark: mark.into(),
            reference,
        };
        cast.index(mark).map(|i| measured[i]).ok_or_else(missing)
    };
    let half = |a: Vec3, b: Vec3| (a + b).map(|d| d * Dual::constant(0.5));
    let lower = find(MarkName::HEEL_LOWER)?;
    // Without the upper heel mark the lower one alone stands for the heel; the results say so.
    let heel = find(MarkName::HEEL_UPPER).map_or(lower, |upper| half(lower, upper));
    let target = match reference {
        Reference::MtpMidpoint => half(find(MarkName::MTP_1)?, find(MarkName::MTP_5)?),
        Reference::Mtp2 => find(MarkName::MTP_2)?,
    };
    let direction = target - heel;
    if direction.x.value.hypot(direction.y.value) < LEAST_DISTANCE_MM {
        return Err(CastError::NoDirection { reference });
    }
    let norm = direction.x.hypot(direction.y);
    let zero = Dual::constant(0.0);
    let x = Vec3::new(direction.x / norm, direction.y / norm, zero);
    Ok((Vec3::new(lower.x, lower.y, zero), x))
}

/// Derivatives of the outputs of `f`, a function of the points in the cast frame.
pub(crate) fn jacobian_in_cast(
    cast: &CastPoints,
    side: Side,
    settings: &Settings,
    f: impl Fn(&InCast) -> Vec<Dual>,
) -> Result<nalgebra::DMatrix<f64>, CastError> {
    jacobian(&InCast::inputs(cast), |inputs| {
        InCast::new(cast, side, settings, inputs).map(|points| f(&points))
    })
}
