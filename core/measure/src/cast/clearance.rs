//! How far a traced outline reaches from its apex.
//!
//! An outline is a line, not a set of nameable points, so its points can't be matched between
//! photographs. Each photograph's outline is laid by its viewing rays onto the plane through the
//! apex square to the nominal surface normal, and its reach is read there in four directions.
//! Over the reach r the surface falls away from that plane by about r²/(2R); seen at an angle γ to
//! the normal this shifts the point by r²·tan γ/(2R), which is carried as part of the instrument's
//! ±. Photographs are averaged by their ±; where they disagree by more, half their spread counts.

use super::frame::Placement;
use super::points::FARTHEST_MM;
use super::spread::Sd;
use super::{CastError, CastPoints, Settings, marking, nominal_normal};
use crate::frames::Turn;
use crate::marks::{MarkName, Outline, Side};
use crate::observed::{PhotoTags, Px};
use crate::quantity::{Quantity, Unit};
use crate::solve::model::{Lens, Pose, Projection, ray};
use crate::solve::{Camera, Intrinsics, Solution};
use nalgebra::{Matrix3, Matrix4, Vector3};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Radius of the surface around a bony landmark, millimetres. Common practice, no source.
const SURFACE_RADIUS_MM: f64 = 40.0;
/// Beyond this angle between ray and normal a photograph says nothing about the outline.
const STEEPEST_DEG: f64 = 70.0;
/// Sd of a traced line, pixels.
const TRACE_SD_PX: f64 = 3.0;
/// Outlines with fewer usable points are no area.
const LEAST_POINTS: usize = 3;

/// A viewing ray in the frame of measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ray {
    /// Centre of the camera, mm.
    pub origin_mm: Vector3<f64>,
    /// Direction; any length.
    pub direction: Vector3<f64>,
    /// Sd of the direction across the ray, radians.
    pub sd_rad: f64,
}

/// One photograph's outline as rays.
#[derive(Debug, Clone, PartialEq)]
pub struct OutlineRays {
    /// The mark it surrounds.
    pub mark: MarkName,
    /// Name of the photograph.
    pub photo: String,
    /// Its line.
    pub rays: Vec<Ray>,
}

/// A direction on the foot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs)] // the names say it
pub enum Direction {
    Forward,
    Behind,
    Up,
    Down,
    Medial,
    Lateral,
}

/// How far one traced area reaches from its apex.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Clearance {
    /// The mark it surrounds.
    pub mark: MarkName,
    /// Reach in the four directions along the surface.
    pub reach: Vec<(Direction, Quantity)>,
    /// Photographs it was read from.
    pub photos: Vec<String>,
    /// The line as the surest photograph shows it, laid on the surface, in the cast frame.
    pub line_cast_mm: Vec<[f64; 3]>,
}

/// Why an outline gives no clearance.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ClearanceError {
    /// The apex is not measured.
    #[error(
        "the area around {0} can't be measured without its apex; mark {0} in at least two photographs"
    )]
    NoApex(MarkName),
    /// The surface's direction at this mark is not known.
    #[error(
        "an area can be traced around the malleoli, the MTP joints, the heel and the calf line; {0} is none of them"
    )]
    NoSurface(MarkName),
    /// No photograph looks at it squarely enough.
    #[error(
        "the area around {mark} is seen too obliquely in {photo}, or its line has fewer than three points; trace it in a photograph that looks onto it"
    )]
    Oblique {
        /// Which mark.
        mark: MarkName,
        /// The photograph.
        photo: String,
    },
    /// A photograph that was not solved.
    #[error(
        "the area around {mark} is traced in {photo}, which is not among the photographs solved; add it"
    )]
    UnknownPhoto {
        /// Which mark.
        mark: MarkName,
        /// The photograph.
        photo: String,
    },
    /// No cast frame.
    #[error(transparent)]
    Cast(#[from] CastError),
}

impl Ray {
    /// The ray of a pixel of the photograph that `camera` took through `lens`.
    #[must_use]
    pub fn of_pixel(camera: &Camera, lens: &Intrinsics, photo: &PhotoTags, px: Px) -> Option<Self> {
        let turn = Turn::new(photo.orientation, photo.width, photo.height)?;
        let mat_from_camera = Matrix4::from_fn(|i, j| camera.mat_from_camera[i][j]);
        let rotation: Matrix3<f64> = mat_from_camera.fixed_view::<3, 3>(0, 0).into();
        let origin_mm: Vector3<f64> = mat_from_camera.fixed_view::<3, 1>(0, 3).into();
        let further = lens.further.as_ref();
        let model = Lens {
            ln_f: camera.f_px.ln(),
            c: camera.principal_px,
            k: [lens.k1, lens.k2, further.map_or(0.0, |l| l.k3)],
            p: further.map_or([0.0; 2], |l| [l.p1, l.p2]),
            s: further.map_or(0.0, |l| l.fx_over_fy.ln()),
            form: further.map_or(Projection::Perspective, |l| l.projection),
        };
        let pose = Pose {
            camera_from_mat: rotation.transpose(),
            t: -rotation.tr_mul(&origin_mm),
            e: 0.0,
            dc: [0.0, 0.0],
        };
        let in_camera = ray(&model, &pose, turn.sensor_from_photo(px))?;
        Some(Self {
            origin_mm,
            direction: rotation * in_camera,
            sd_rad: TRACE_SD_PX / camera.f_px,
        })
    }
}

impl OutlineRays {
    /// A traced outline as rays of its solved photograph.
    ///
    /// # Errors
    /// The photograph is not among those solved.
    pub fn of_outline(
        solution: &Solution,
        photos: &[PhotoTags],
        outline: &Outline,
    ) -> Result<Self, ClearanceError> {
        let unknown = || ClearanceError::UnknownPhoto {
            mark: outline.mark.clone(),
            photo: outline.photo.clone(),
        };
        let name = &outline.photo;
        let photo = photos
            .iter()
            .find(|p| p.photo == *name)
            .ok_or_else(unknown)?;
        let camera = solution
            .cameras
            .iter()
            .find(|c| c.photo == *name)
            .ok_or_else(unknown)?;
        let lens = solution
            .intrinsics
            .iter()
            .find(|l| l.photos.contains(name))
            .ok_or_else(unknown)?;
        let oblique = || ClearanceError::Oblique {
            mark: outline.mark.clone(),
            photo: name.clone(),
        };
        let ray = |px: &Px| Ray::of_pixel(camera, lens, photo, *px).ok_or_else(oblique);
        let rays = outline
            .points_px
            .iter()
            .map(ray)
            .collect::<Result<_, _>>()?;
        Ok(Self {
            mark: outline.mark.clone(),
            photo: outline.photo.clone(),
            rays,
        })
    }
}

/// One photograph's reach in one direction.
#[derive(Clone, Copy)]
struct Reach {
    mm: f64,
    variance: f64,
}

/// The area traced around `mark` in one or more photographs.
///
/// # Errors
/// [`ClearanceError`] in words.
pub fn clearance(
    cast: &CastPoints,
    side: Side,
    settings: &Settings,
    mark: &MarkName,
    outlines: &[OutlineRays],
) -> Result<Clearance, ClearanceError> {
    let placement = Placement::new(cast, settings.reference)?;
    let index = cast
        .index(mark.as_str())
        .ok_or_else(|| ClearanceError::NoApex(mark.clone()))?;
    let normal = nominal_normal(mark.as_str(), settings.side_of_joint.contains(mark))
        .ok_or_else(|| ClearanceError::NoSurface(mark.clone()))?;
    let sided = |v: Vector3<f64>| Vector3::new(v.x, side.sign() * v.y, v.z);
    let in_cast = |p: Vector3<f64>| placement.rotation * (p - placement.origin);
    let apex = in_cast(Vector3::from(cast.points()[index].mm));

    let directions = directions_along(normal);
    let mut per_photo: Vec<[Reach; 4]> = Vec::new();
    let mut photos = Vec::new();
    let mut oblique = Vec::new();
    let mut surest: Option<(f64, Vec<[f64; 3]>)> = None;
    for outline in outlines.iter().filter(|outline| outline.mark == *mark) {
        let rays = outline.rays.iter().map(|ray| Ray {
            origin_mm: in_cast(ray.origin_mm),
            direction: placement.rotation * ray.direction,
            sd_rad: ray.sd_rad,
        });
        let hits: Vec<Hit> = rays
            .filter_map(|ray| hit(&ray, &apex, &sided(normal)))
            .collect();
        if hits.len() < LEAST_POINTS {
            oblique.push(outline.photo.clone());
            continue;
        }
        let variance = hits.iter().map(|hit| hit.variance).sum::<f64>() / hits.len() as f64;
        if surest.as_ref().is_none_or(|(least, _)| variance < *least) {
            let line = hits.iter().map(|hit| (apex + hit.at).into()).collect();
            surest = Some((variance, line));
        }
        per_photo.push(directions.map(|(_, along)| farthest(&hits, &sided(along))));
        photos.push(outline.photo.clone());
    }
    if per_photo.is_empty() {
        return Err(ClearanceError::Oblique {
            mark: mark.clone(),
            photo: match oblique.as_slice() {
                [] => "every photograph".to_owned(),
                photos => photos.join(", "),
            },
        });
    }

    let measured = cast
        .covariance_mm2()
        .fixed_view::<3, 3>(3 * index, 3 * index);
    let apex_covariance = placement.rotation * measured * placement.rotation.transpose();
    let marked = marking::covariance_in_cast(mark, side, settings)?;
    let mut reach = Vec::with_capacity(4);
    for (k, (direction, along)) in directions.into_iter().enumerate() {
        let along = sided(along);
        let all: Vec<Reach> = per_photo.iter().map(|reaches| reaches[k]).collect();
        let combined = combine(&all);
        let instrument = (combined.variance + along.dot(&(apex_covariance * along))).max(0.0);
        let scale = cast.scale_rel_sd() * combined.mm;
        let total = instrument + along.dot(&(marked * along)).max(0.0) + scale * scale;
        let sd = Sd {
            instrument: instrument.sqrt(),
            total: total.sqrt(),
        };
        reach.push((
            direction,
            Quantity::new(combined.mm, Unit::Mm, sd, cast.dof()),
        ));
    }
    Ok(Clearance {
        mark: mark.clone(),
        reach,
        photos,
        line_cast_mm: surest.map(|(_, line)| line).unwrap_or_default(),
    })
}

/// Directions (forward, lateral, up) in which an area is read.
fn directions_along(normal: Vector3<f64>) -> [(Direction, Vector3<f64>); 4] {
    let (x, y, z) = (Vector3::x(), Vector3::y(), Vector3::z());
    let pair = |plus, minus, axis: Vector3<f64>| [(plus, axis), (minus, -axis)];
    let forward = pair(Direction::Forward, Direction::Behind, x);
    let sideways = pair(Direction::Lateral, Direction::Medial, y);
    let upright = pair(Direction::Up, Direction::Down, z);
    let [[a, b], [c, d]] = if normal.x != 0.0 {
        [upright, sideways]
    } else if normal.y != 0.0 {
        [upright, forward]
    } else {
        [forward, sideways]
    };
    [a, b, c, d]
}

/// A point of the outline on the plane, relative to the apex.
struct Hit {
    at: Vector3<f64>,
    variance: f64,
}

fn hit(ray: &Ray, apex: &Vector3<f64>, normal: &Vector3<f64>) -> Option<Hit> {
    let direction = ray.direction.try_normalize(1e-12)?;
    let cos = direction.dot(normal);
    if cos.abs() < STEEPEST_DEG.to_radians().cos() {
        return None;
    }
    let range = (apex - ray.origin_mm).dot(normal) / cos;
    if !(range > 0.0 && range < FARTHEST_MM) {
        return None;
    }
    let at = ray.origin_mm + direction * range - apex;
    // NaN fails every comparison.
    if !(at.norm() < FARTHEST_MM && (0.0..=0.1).contains(&ray.sd_rad)) {
        return None;
    }
    let sag = at.norm_squared() / (2.0 * SURFACE_RADIUS_MM);
    let tan = (1.0 - cos * cos).max(0.0).sqrt() / cos.abs();
    let traced = range * ray.sd_rad / cos.abs();
    Some(Hit {
        at,
        variance: traced * traced + (sag * tan).powi(2),
    })
}

/// The outline's farthest point along `along`; never behind the apex.
fn farthest(hits: &[Hit], along: &Vector3<f64>) -> Reach {
    let reaches = hits.iter().map(|hit| Reach {
        mm: hit.at.dot(along),
        variance: hit.variance,
    });
    let nothing = Reach {
        mm: 0.0,
        variance: hits.first().map_or(0.0, |hit| hit.variance),
    };
    reaches.fold(
        nothing,
        |best, next| if next.mm > best.mm { next } else { best },
    )
}

/// Mean weighted by the variances; half the spread where that is larger.
fn combine(all: &[Reach]) -> Reach {
    let weight = |reach: &Reach| 1.0 / reach.variance.max(1e-12);
    let total: f64 = all.iter().map(weight).sum();
    let mm = all
        .iter()
        .map(|reach| weight(reach) * reach.mm)
        .sum::<f64>()
        / total;
    let (low, high) = all
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), reach| {
            (low.min(reach.mm), high.max(reach.mm))
        });
    Reach {
        mm,
        variance: (1.0 / total).max((0.5 * (high - low)).powi(2)),
    }
}
