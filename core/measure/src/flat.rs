//! An angle or a length between taps in one photograph, squared up by any tags in view.
//!
//! With tags the photograph's plane is theirs: what was tapped must lie in it. Without tags an
//! angle can still be read in the image plane, as if the camera looked at it squarely.

mod homography;

use crate::cast::student_t_95;
use crate::dual::{Dual, jacobian};
use crate::observed::Px;
use crate::quantity::{Quantity, Unit};
use homography::Homography;
use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// A point whose place in the plane is known: a corner of a tag.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanePoint {
    /// In the photograph.
    pub px: Px,
    /// In the plane, mm.
    pub plane_mm: [f64; 2],
}

/// What is tapped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Taps {
    /// The angle at the middle tap between the lines to the other two, 0-180°.
    Angle([Px; 3]),
    /// The acute angle between two lines, each through two taps.
    Lines([[Px; 2]; 2]),
    /// The distance between two taps.
    Length([Px; 2]),
}

/// A flat measurement.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flat {
    /// The angle or length; instrument and total ± are one, for nothing else is known of the taps.
    pub quantity: Quantity,
    /// Whether tags squared it up.
    pub squared_up: bool,
    /// What must hold for it to be right.
    pub caution: String,
}

/// Why there is no flat measurement.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum FlatError {
    /// A tap that is no position in a photograph.
    #[error("a tap lies at ({x}, {y}) px, which is in no photograph; tap again")]
    NoPosition {
        /// Position.
        x: f64,
        /// Position.
        y: f64,
    },
    /// Taps that give no line.
    #[error(
        "two taps lie within {LEAST_PX} px of each other and give no line; tap farther apart or zoom in"
    )]
    TooClose,
    /// A length without anything of known size.
    #[error(
        "a length needs something of known size: lay the mat in the same plane and photograph it again"
    )]
    NoScale,
    /// Tags that span no plane.
    #[error(
        "the tags in view don't span a plane; bring one whole tag, better two, into the photograph"
    )]
    NoPlane,
    /// A tap beyond the plane's horizon.
    #[error(
        "a tap lies beyond the horizon of the tags' plane; what is measured must lie in that plane"
    )]
    BeyondHorizon,
    /// An sd that is none.
    #[error("the ± of a tap is {0} px; enter pixels from 0.1 to 100")]
    TapSd(f64),
}

/// Two taps nearer than this give no direction.
const LEAST_PX: f64 = 4.0;
/// A camera thought to be square on may be tilted by 15°, which turns an angle by 2° at most.
const NOT_SQUARE_SD_DEG: f64 = 1.0;

/// Measures between `taps`, each with `tap_sd_px`, in the plane of `plane` (empty without tags).
///
/// # Errors
/// [`FlatError`] in words.
pub fn flat(taps: &Taps, tap_sd_px: f64, plane: &[PlanePoint]) -> Result<Flat, FlatError> {
    if !(0.1..=100.0).contains(&tap_sd_px) {
        return Err(FlatError::TapSd(tap_sd_px));
    }
    let pixels = taps.pixels();
    let known = plane.iter().flat_map(|p| [p.px, p.plane_mm]);
    for [x, y] in pixels.iter().copied().chain(known) {
        if !(x.abs() <= 1e6 && y.abs() <= 1e6) {
            return Err(FlatError::NoPosition { x, y });
        }
    }
    for [a, b] in taps.lines() {
        if (pixels[a][0] - pixels[b][0]).hypot(pixels[a][1] - pixels[b][1]) < LEAST_PX {
            return Err(FlatError::TooClose);
        }
    }
    let homography = if plane.is_empty() {
        None
    } else {
        Some(Homography::fit(plane)?)
    };
    let mut inputs: Vec<f64> = pixels.iter().flatten().copied().collect();
    let mut variances = vec![tap_sd_px * tap_sd_px; inputs.len()];
    let (unit, squared_up) = (taps.unit(), homography.is_some());
    let Some(homography) = homography else {
        if unit == Unit::Mm {
            return Err(FlatError::NoScale);
        }
        let measure = |d: &[Dual]| Ok::<_, FlatError>(vec![taps.measure(d)]);
        let covariance = DMatrix::from_diagonal(&DVector::from_vec(variances));
        let sd = spread(&jacobian(&inputs, measure)?, &covariance).hypot(NOT_SQUARE_SD_DEG);
        let value = measure(&constants(&inputs))?[0].value;
        return Ok(taps.result(value, sd, f64::INFINITY, squared_up));
    };
    let taps_len = inputs.len();
    inputs.extend(homography.free.iter());
    let mut covariance = DMatrix::zeros(inputs.len(), inputs.len());
    for (i, variance) in variances.drain(..).enumerate() {
        covariance[(i, i)] = variance;
    }
    covariance
        .view_mut((taps_len, taps_len), (8, 8))
        .copy_from(&homography.covariance);
    let measure = |d: &[Dual]| -> Result<Vec<Dual>, FlatError> {
        let (taps_px, free) = d.split_at(taps_len);
        let mut in_plane = Vec::with_capacity(taps_len);
        for px in taps_px.chunks_exact(2) {
            in_plane.extend(homography.plane_from_px(free, [px[0], px[1]])?);
        }
        // Two taps may fall together once squared up.
        for [a, b] in taps.lines() {
            let apart = |k: usize| in_plane[2 * a + k].value - in_plane[2 * b + k].value;
            if apart(0).hypot(apart(1)) < 1e-6 {
                return Err(FlatError::TooClose);
            }
        }
        Ok(vec![taps.measure(&in_plane)])
    };
    let value = measure(&constants(&inputs))?[0].value;
    let sd = spread(&jacobian(&inputs, measure)?, &covariance);
    if !(value.is_finite() && sd.is_finite()) {
        return Err(FlatError::NoPlane);
    }
    Ok(taps.result(value, sd, homography.dof, squared_up))
}

fn constants(inputs: &[f64]) -> Vec<Dual> {
    inputs.iter().copied().map(Dual::constant).collect()
}

fn spread(jacobian: &DMatrix<f64>, covariance: &DMatrix<f64>) -> f64 {
    (jacobian * covariance * jacobian.transpose())[0]
        .max(0.0)
        .sqrt()
}

impl Taps {
    fn pixels(&self) -> Vec<Px> {
        match self {
            Self::Angle(taps) => taps.to_vec(),
            Self::Lines(lines) => lines.concat(),
            Self::Length(taps) => taps.to_vec(),
        }
    }

    /// Pairs of taps that span a line.
    fn lines(&self) -> Vec<[usize; 2]> {
        match self {
            Self::Angle(_) => vec![[1, 0], [1, 2]],
            Self::Lines(_) => vec![[0, 1], [2, 3]],
            Self::Length(_) => vec![[0, 1]],
        }
    }

    fn unit(&self) -> Unit {
        if matches!(self, Self::Length(_)) {
            Unit::Mm
        } else {
            Unit::Deg
        }
    }

    /// The result from x, y of each tap.
    fn measure(&self, xy: &[Dual]) -> Dual {
        let lines = self.lines();
        let along = |k: usize| {
            let [a, b] = lines[k];
            [xy[2 * b] - xy[2 * a], xy[2 * b + 1] - xy[2 * a + 1]]
        };
        let [ux, uy] = along(0);
        if lines.len() == 1 {
            return ux.hypot(uy);
        }
        let [vx, vy] = along(1);
        let turn = (ux * vy - uy * vx).atan2(ux * vx + uy * vy).degrees();
        let angle = if turn.value < 0.0 { -turn } else { turn };
        match self {
            Self::Lines(_) if angle.value > 90.0 => Dual::constant(180.0) - angle,
            _ => angle,
        }
    }

    fn result(&self, value: f64, sd: f64, dof: f64, squared_up: bool) -> Flat {
        let half = student_t_95(dof) * sd;
        let most = match self {
            Self::Angle(_) => 180.0,
            Self::Lines(_) => 90.0,
            Self::Length(_) => f64::INFINITY,
        };
        let quantity = Quantity {
            value,
            unit: self.unit(),
            instrument_sd: sd,
            total_sd: sd,
            low95: (value - half).max(0.0),
            high95: (value + half).min(most),
        };
        let caution = if squared_up {
            "Right only for points in the plane of the tags; what stands above it is read too large."
        } else {
            "Without a tag in view this is right only if the camera looked squarely at it; the ± allows for a tilt of 15°."
        };
        Flat {
            quantity,
            squared_up,
            caution: caution.to_owned(),
        }
    }
}
