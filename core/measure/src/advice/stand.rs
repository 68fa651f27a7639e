//! Where to stand for the next photograph.
//!
//! The covariance C of lens, print and marks is kept. A candidate photograph would add information
//! Λ = JᵀWJ − JᵀWP·(PᵀWP + prior)⁻¹·PᵀWJ, its own pose P eliminated; then C' = C·(I + ΛC)⁻¹. The
//! candidate with the least worst sd over tolerance wins, after those that show a mark seen less
//! than twice.

use crate::marks::MarkName;
use crate::solve::Solution;
use crate::solve::planning::{Candidate, Known};
use nalgebra::{DVector, Vector3};
use std::fmt;
use thiserror::Error;

const AZIMUTH_STEP_DEG: f64 = 15.0;
const ELEVATIONS_DEG: [f64; 3] = [30.0, 45.0, 60.0];
/// Sd of a mark's place before it has two views, mm.
const UNPLACED_MM: f64 = 100.0;
/// A mark is seen within this angle of its face's normal, degrees.
pub const GRAZING_DEG: f64 = 65.0;

/// What is known of a mark beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct Nominal {
    /// Which mark.
    pub mark: MarkName,
    /// Rough place in the mat frame, mm; needed only for a mark without a place yet.
    pub mat_mm: Option<[f64; 3]>,
    /// Normal of the face that carries it, towards the viewer, mat frame.
    pub normal: [f64; 3],
}

/// A quantity that is wanted more precise.
#[derive(Debug, Clone, PartialEq)]
pub struct Goal {
    /// Derivative by the coordinates of each mark it depends on, per mm.
    pub gradient: Vec<(MarkName, [f64; 3])>,
    /// Standard deviation that would do, in the quantity's unit.
    pub tolerance: f64,
}

/// Why no advice can be given.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum AdviceError {
    /// A number in the question is impossible.
    #[error("advice needs {0}")]
    Impossible(&'static str),
    /// Nothing to look at.
    #[error("no mark has a place yet; mark two photographs first")]
    NoMarks,
}

/// Advice for the next photograph.
#[derive(Debug, Clone, PartialEq)]
pub struct Stand {
    /// Direction from the cast to the camera, from the toes towards the patient's left, −180..180.
    pub azimuth_deg: f64,
    /// Height of the camera over the mat as seen from the cast.
    pub elevation_deg: f64,
    /// Whether to hold the camera a quarter turn against the photographs so far.
    pub quarter_turn: bool,
    /// Marks seen less than twice that it would show.
    pub serves: Vec<MarkName>,
    /// Largest sd over tolerance now.
    pub worst_now: f64,
    /// The same with this photograph.
    pub worst_then: f64,
}

impl fmt::Display for Stand {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let side = if self.azimuth_deg > 0.0 {
            "left"
        } else {
            "right"
        };
        let place = match self.azimuth_deg.abs() {
            0.0..15.0 => "straight in front of the toes".to_owned(),
            15.0..75.0 => format!("in front, on the {side}"),
            75.0..=105.0 => format!("beside the cast, on the {side}"),
            105.0..165.0 => format!("behind, on the {side}"),
            _ => "straight behind the heel".to_owned(),
        };
        write!(
            f,
            "Stand {place}, the camera {:.0}° above the mat, aimed at the cast",
            self.elevation_deg
        )?;
        f.write_str(if self.quarter_turn {
            ", turned a quarter turn."
        } else {
            "."
        })
    }
}

/// Half the breadth of plaster that surely stands round a mark on a wall, and how far it rises
/// above the mark, mm.
const WALL_HALF_MM: f64 = 30.0;
const WALL_ABOVE_MM: f64 = 10.0;
/// A way begins this far off its own face, mm.
const OFF_FACE_MM: f64 = 4.0;

/// Whether the wall that carries another mark, taken as a panel from the mat to a little above
/// that mark, stands on the `way` from a mark to the camera.
fn behind_plaster(
    mark: usize,
    way: &Vector3<f64>,
    points: &[Vector3<f64>],
    normals: &[Option<Vector3<f64>>],
) -> bool {
    let start = points[mark] + normals[mark].unwrap_or_default() * OFF_FACE_MM;
    points
        .iter()
        .zip(normals)
        .enumerate()
        .any(|(other, (at, normal))| {
            let Some(normal) = normal.filter(|n| other != mark && n.z.abs() < 0.5) else {
                return false;
            };
            let out = Vector3::new(normal.x, normal.y, 0.0).normalize();
            let share = (at - start).dot(&out) / way.dot(&out);
            let hit = start + way * share;
            (0.0..1.0).contains(&share)
                && (hit - at).dot(&Vector3::z().cross(&out)).abs() < WALL_HALF_MM
                && hit.z < at.z + WALL_ABOVE_MM
        })
}

/// The best next photograph; `toes_deg` is the direction of the toes in the mat frame, from X
/// towards Y.
///
/// # Errors
/// Numbers that are none, or no mark to aim at.
pub fn where_next(
    solution: &Solution,
    nominal: &[Nominal],
    goals: &[Goal],
    toes_deg: f64,
) -> Result<Stand, AdviceError> {
    if !toes_deg.is_finite() {
        return Err(AdviceError::Impossible(
            "the direction of the toes as a number of degrees",
        ));
    }
    let finite = |v: &[f64; 3]| v.iter().all(|v| v.is_finite());
    let normals_good = nominal.iter().all(|n| {
        finite(&n.normal)
            && Vector3::from(n.normal).norm() > 0.0
            && n.mat_mm.is_none_or(|p| finite(&p))
    });
    if !normals_good {
        return Err(AdviceError::Impossible(
            "a normal and a place that are numbers for every mark",
        ));
    }
    if !goals
        .iter()
        .all(|g| g.tolerance > 0.0 && g.gradient.iter().all(|(_, d)| finite(d)))
    {
        return Err(AdviceError::Impossible(
            "a positive tolerance for every quantity",
        ));
    }
    let mut known = Known::new(&solution.fitted);
    let mut places: Vec<(MarkName, Vector3<f64>, bool)> = solution
        .points
        .iter()
        .map(|p| (p.mark.clone(), Vector3::from(p.mat_mm), p.views < 2))
        .collect();
    for n in nominal {
        if let (None, Some(place)) = (solution.point(n.mark.as_str()), n.mat_mm) {
            known.add_mark(UNPLACED_MM);
            places.push((n.mark.clone(), Vector3::from(place), true));
        }
    }
    if places.is_empty() {
        return Err(AdviceError::NoMarks);
    }
    let normals: Vec<Option<Vector3<f64>>> = places
        .iter()
        .map(|(mark, ..)| nominal.iter().find(|n| n.mark == *mark))
        .map(|n| n.map(|n| Vector3::from(n.normal).normalize()))
        .collect();
    let gradients: Vec<(DVector<f64>, f64)> = goals
        .iter()
        .map(|goal| {
            let mut g = DVector::zeros(known.size());
            for (mark, d) in &goal.gradient {
                if let Some(i) = places.iter().position(|(name, ..)| name == mark) {
                    (0..3).for_each(|k| g[known.mark(i) + k] += d[k]);
                }
            }
            (g, goal.tolerance)
        })
        .collect();
    let worst = |c: &nalgebra::DMatrix<f64>| {
        let of = |(g, tolerance): &(DVector<f64>, f64)| (c * g).dot(g).max(0.0).sqrt() / tolerance;
        gradients.iter().map(of).fold(0.0, f64::max)
    };
    let worst_now = worst(known.covariance());
    let points: Vec<Vector3<f64>> = places.iter().map(|(_, p, _)| *p).collect();
    let mut best: Option<Stand> = None;
    for step in 0..(360.0 / AZIMUTH_STEP_DEG) as i32 {
        let azimuth_deg = f64::from(step) * AZIMUTH_STEP_DEG - 165.0;
        for elevation_deg in ELEVATIONS_DEG {
            for quarter_turn in [false, true] {
                let candidate = Candidate::new(
                    &solution.fitted,
                    &points,
                    azimuth_deg + toes_deg,
                    elevation_deg,
                    quarter_turn,
                );
                let shows = |i: usize| {
                    candidate.shows(&points[i])
                        && normals[i].is_none_or(|n| {
                            candidate.angle_deg(&points[i], &n) < GRAZING_DEG
                                && !behind_plaster(i, &candidate.way(&points[i]), &points, &normals)
                        })
                };
                let seen: Vec<usize> = (0..points.len()).filter(|i| shows(*i)).collect();
                let Some(then) = known.with(&candidate, &points, &seen) else {
                    continue;
                };
                let serves: Vec<MarkName> = seen
                    .iter()
                    .filter(|i| places[**i].2)
                    .map(|i| places[*i].0.clone())
                    .collect();
                let stand = Stand {
                    azimuth_deg,
                    elevation_deg,
                    quarter_turn,
                    serves,
                    worst_now,
                    worst_then: worst(&then),
                };
                let better = best.as_ref().is_none_or(|b| {
                    (stand.serves.len(), b.worst_then) > (b.serves.len(), stand.worst_then)
                });
                if better {
                    best = Some(stand);
                }
            }
        }
    }
    best.ok_or(AdviceError::NoMarks)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example's malleoli and a mark on the sole between them.
    #[test]
    fn a_wall_hides_the_sole_behind_it() {
        let points =
            [[36.0, 34.0, 73.0], [45.0, -35.0, 86.0], [45.0, 0.0, 10.0]].map(Vector3::from);
        let normals = [Vector3::y(), -Vector3::y(), Vector3::z()].map(Some);
        let hidden = |way: [f64; 3]| behind_plaster(2, &Vector3::from(way), &points, &normals);
        assert!(hidden([0.0, 400.0, 230.0]) && hidden([0.0, -400.0, 230.0]));
        assert!(!hidden([350.0, 0.0, 350.0]) && !hidden([0.0, 100.0, 450.0]));
    }
}
