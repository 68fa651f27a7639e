//! What happens at the calf when the brace's hinge line is not the leg's own.
//!
//! Leg and brace are taken as rigid, the foot as fixed in the foot shell, and both turn by the
//! same angle θ from the cast's own pose, each about its own line:
//! D(P, θ) = [a + R(u_a, θ)(P − a)] − [b + R(u_b, θ)(P − b)], leg minus brace, with
//! R(u, θ) = I + sin θ·[u]× + (1 − cos θ)·[u]×². For parallel lines |D| = 2·d·sin(θ/2).

use super::frame::{InCast, LEAST_DISTANCE_MM, jacobian_in_cast};
use super::spread::Spread;
use super::{CastError, CastPoints, Settings};
use crate::dual::{Dual, Vec3, fixed, unit, values};
use crate::marks::{MarkName, Side};
use crate::quantity::{Quantity, Unit};
use nalgebra::{Point3, Vector3};
use serde::{Deserialize, Serialize};

/// A hinge line in the cast frame; its direction points to the patient's left on both sides, so
/// that a positive turn is dorsiflexion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HingeLine {
    /// A point of the line.
    pub through: Point3<f64>,
    /// Unit vector to the patient's left.
    pub direction: Vector3<f64>,
}

/// The line the brace is ordered with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum OrderedLine {
    /// Through the mid-point of MM and LM, level, turned by so many degrees external rotation
    /// (lateral end behind).
    Level {
        /// External rotation.
        external_deg: f64,
    },
    /// Through two typed points in the cast frame.
    Typed {
        /// Medial hinge.
        medial_mm: [f64; 3],
        /// Lateral hinge.
        lateral_mm: [f64; 3],
    },
}

/// The calf band, on the leg.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CalfBand {
    /// Height of the band in the cast frame (above the mat).
    pub height_mm: f64,
    /// Width of the leg there.
    pub width_mm: f64,
    /// Depth of the leg there.
    pub depth_mm: f64,
}

/// Range of motion of the hinge from the pose of the cast.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MotionRange {
    /// Degrees of plantarflexion.
    pub plantarflexion_deg: f64,
    /// Degrees of dorsiflexion.
    pub dorsiflexion_deg: f64,
}

/// A point of the calf band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs)] // the names say it
pub enum BandPlace {
    Back,
    Front,
    Medial,
    Lateral,
}

/// How one point of the leg moves in the brace at one angle.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Movement {
    /// Where on the band.
    pub place: BandPlace,
    /// Turn from the pose of the cast, dorsiflexion +.
    pub turn_deg: f64,
    /// Forward +.
    pub forward_mm: f64,
    /// Lateral +.
    pub lateral_mm: f64,
    /// Up +.
    pub up_mm: f64,
}

impl Movement {
    /// Length of the movement.
    #[must_use]
    pub fn size_mm(&self) -> f64 {
        Vector3::new(self.forward_mm, self.lateral_mm, self.up_mm).norm()
    }
}

/// The largest movement of the leg in the band, and the largest at each end of the range.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mismatch {
    /// Size of the largest movement with its ±.
    pub largest: Quantity,
    /// Where and when it happens.
    pub at: Movement,
    /// Largest movement at full plantarflexion.
    pub plantarflexed: Movement,
    /// Largest movement at full dorsiflexion.
    pub dorsiflexed: Movement,
}

type Line = (Vec3, Vec3);

/// Leg minus brace at `p`.
fn movement_of(own: &Line, brace: &Line, p: &Vec3, turn_deg: f64) -> Vec3 {
    let angle = Dual::constant(turn_deg.to_radians());
    let (sin, versine) = (angle.sin(), Dual::constant(1.0) - angle.cos());
    let carried = |(through, u): &Line| {
        let arm = p - through;
        let across = u.cross(&arm);
        p + across.map(|d| d * sin) + u.cross(&across).map(|d| d * versine)
    };
    carried(own) - carried(brace)
}

/// How far the point `p` of the leg moves in the brace (leg minus brace) when both turn by
/// `turn_deg` (dorsiflexion +); cast frame, millimetres.
#[must_use]
pub fn movement_mm(
    own: &HingeLine,
    brace: &HingeLine,
    p: &Point3<f64>,
    turn_deg: f64,
) -> Vector3<f64> {
    let line = |l: &HingeLine| (fixed(l.through.coords), fixed(l.direction));
    values(&movement_of(
        &line(own),
        &line(brace),
        &fixed(p.coords),
        turn_deg,
    ))
}

impl HingeLine {
    /// From the medial to the lateral point; `None` where they coincide.
    #[must_use]
    pub fn between(medial: Point3<f64>, lateral: Point3<f64>, side: Side) -> Option<Self> {
        let line = lateral - medial;
        (line.norm() >= LEAST_DISTANCE_MM).then(|| Self {
            through: medial + line * 0.5,
            direction: line.normalize() * side.sign(),
        })
    }

    /// Level through `through`, turned by `external_deg` external rotation.
    #[must_use]
    pub fn level(through: Point3<f64>, external_deg: f64, side: Side) -> Self {
        let (sin, cos) = external_deg.to_radians().sin_cos();
        let s = side.sign();
        Self {
            through,
            direction: Vector3::new(-sin, s * cos, 0.0) * s,
        }
    }
}

/// The own line (offsets as ordered are the brace's, so they are left out) and the brace's line.
fn lines(points: &InCast, ordered: &OrderedLine) -> Option<(Line, Line)> {
    let mm = points.get(MarkName::MALLEOLUS_MEDIAL)?;
    let lm = points.get(MarkName::MALLEOLUS_LATERAL)?;
    let across = lm - mm;
    if values(&across).norm() < LEAST_DISTANCE_MM {
        return None;
    }
    let s = Dual::constant(points.side.sign());
    let middle = (mm + lm).map(|d| d * Dual::constant(0.5));
    let own = (middle, unit(&across).map(|d| d * s));
    let brace = match ordered {
        OrderedLine::Level { external_deg } => {
            let level = HingeLine::level(Point3::origin(), *external_deg, points.side);
            (middle, fixed(level.direction))
        }
        OrderedLine::Typed {
            medial_mm,
            lateral_mm,
        } => {
            let [medial, lateral] = [medial_mm, lateral_mm].map(|p| Point3::from(*p));
            let line = HingeLine::between(medial, lateral, points.side)?;
            (fixed(line.through.coords), fixed(line.direction))
        }
    };
    Some((own, brace))
}

/// The four points of the band; its back lies on the calf line.
fn band(points: &InCast, band: &CalfBand) -> Option<[(BandPlace, Vec3); 4]> {
    let upper = points.get(MarkName::CALF_UPPER)?;
    let lower = points.get(MarkName::CALF_LOWER)?;
    let line = upper - lower;
    if line.z.value.abs() < LEAST_DISTANCE_MM {
        return None;
    }
    let share = (Dual::constant(band.height_mm) - lower.z) / line.z;
    let back = lower + line.map(|d| d * share);
    let (half_depth, half_width) = (0.5 * band.depth_mm, 0.5 * band.width_mm);
    let at = |forward: f64, lateral: f64| {
        back + fixed(Vector3::new(forward, points.side.sign() * lateral, 0.0))
    };
    Some([
        (BandPlace::Back, back),
        (BandPlace::Front, at(band.depth_mm, 0.0)),
        (BandPlace::Medial, at(half_depth, -half_width)),
        (BandPlace::Lateral, at(half_depth, half_width)),
    ])
}

fn check(ordered: &OrderedLine, calf: &CalfBand, range: &MotionRange) -> Result<(), CastError> {
    let mut numbers = vec![
        (
            "the height of the calf band",
            calf.height_mm,
            20.0,
            1000.0,
            "enter millimetres from 20 to 1000",
        ),
        (
            "the width at the calf band",
            calf.width_mm,
            20.0,
            400.0,
            "enter millimetres from 20 to 400",
        ),
        (
            "the depth at the calf band",
            calf.depth_mm,
            20.0,
            400.0,
            "enter millimetres from 20 to 400",
        ),
        (
            "the plantarflexion",
            range.plantarflexion_deg,
            0.0,
            90.0,
            "enter degrees from 0 to 90",
        ),
        (
            "the dorsiflexion",
            range.dorsiflexion_deg,
            0.0,
            90.0,
            "enter degrees from 0 to 90",
        ),
    ];
    match ordered {
        OrderedLine::Level { external_deg } => numbers.push((
            "the external rotation",
            *external_deg,
            -45.0,
            45.0,
            "enter degrees from -45 to 45",
        )),
        OrderedLine::Typed {
            medial_mm,
            lateral_mm,
        } => {
            for value in medial_mm.iter().chain(lateral_mm) {
                numbers.push((
                    "a typed hinge point",
                    *value,
                    -1000.0,
                    1000.0,
                    "enter millimetres within 1000",
                ));
            }
        }
    }
    match numbers
        .into_iter()
        .find(|(_, value, low, high, _)| !(*low..=*high).contains(value))
    {
        Some((what, value, _, _, remedy)) => Err(CastError::Setting {
            what: what.to_owned(),
            value,
            remedy,
        }),
        None => Ok(()),
    }
}

/// The largest movement over the four points of the band, every degree of the range and both
/// ends: own hinge line against the one ordered.
///
/// # Errors
/// Malleolar, calf, heel or MTP marks missing or coinciding; numbers out of range.
pub fn hinge_mismatch(
    cast: &CastPoints,
    side: Side,
    settings: &Settings,
    ordered: &OrderedLine,
    calf: &CalfBand,
    range: &MotionRange,
) -> Result<Mismatch, CastError> {
    check(ordered, calf, range)?;
    let inputs: Vec<Dual> = InCast::inputs(cast)
        .into_iter()
        .map(Dual::constant)
        .collect();
    let points = InCast::new(cast, side, settings, &inputs)?;
    let not_defined = || CastError::NoHingeComparison;
    let (own, brace) = lines(&points, ordered).ok_or_else(not_defined)?;
    let places = band(&points, calf).ok_or_else(not_defined)?;

    let largest_at = |turn_deg: f64| {
        let movements = places.iter().map(|(place, p)| {
            let d = values(&movement_of(&own, &brace, p, turn_deg));
            Movement {
                place: *place,
                turn_deg,
                forward_mm: d.x,
                lateral_mm: side.sign() * d.y,
                up_mm: d.z,
            }
        });
        movements.reduce(larger)
    };
    let ends = [-range.plantarflexion_deg, range.dorsiflexion_deg];
    let degrees = (ends[0].ceil() as i32..=ends[1].floor() as i32).map(f64::from);
    let at = degrees
        .chain(ends)
        .filter_map(largest_at)
        .reduce(larger)
        .ok_or_else(not_defined)?;
    let [plantarflexed, dorsiflexed] = ends.map(largest_at);

    let spread = Spread::new(cast, side, settings)?;
    let jacobian = jacobian_in_cast(cast, side, settings, |points| {
        let size = || {
            let (own, brace) = lines(points, ordered)?;
            let (_, p) = band(points, calf)?
                .into_iter()
                .find(|(place, _)| *place == at.place)?;
            let d = movement_of(&own, &brace, &p, at.turn_deg);
            // At no movement at all the size has a corner and no derivative.
            (values(&d).norm() > 1e-9).then(|| crate::dual::length(&d))
        };
        vec![size().unwrap_or(Dual::constant(0.0))]
    })?;
    let mut largest = spread.quantity(&jacobian, 0, at.size_mm(), Unit::Mm);
    largest.low95 = largest.low95.max(0.0);
    Ok(Mismatch {
        largest,
        at,
        plantarflexed: plantarflexed.unwrap_or(at),
        dorsiflexed: dorsiflexed.unwrap_or(at),
    })
}

fn larger(best: Movement, next: Movement) -> Movement {
    if best.size_mm() >= next.size_mm() {
        best
    } else {
        next
    }
}
