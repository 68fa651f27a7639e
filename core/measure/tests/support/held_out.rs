//! Tags kept out of the camera solution and given as marks, against where their target says they lie.

use nalgebra::Vector3;
use plinthside_measure::marks::Surface;
use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::solve::Solution;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// What came back.
#[derive(Debug)]
pub struct Found {
    /// Of the distances between all held-out points: found, and as their own ± has it.
    pub rms_mm: f64,
    pub stated_rms_mm: f64,
    /// Shares inside their 95 % intervals.
    pub distances_held: f64,
    pub places_held: f64,
    /// Of the places.
    pub space_rms_mm: f64,
}

/// Takes the held-out tags out of the photographs; their corners as marks named id-corner.
pub fn split(photos: &mut [PhotoTags], held_out: &[u32], sd_px: f64) -> Vec<MarkView> {
    let mut taps = Vec::new();
    for photo in photos {
        let (held, kept) = std::mem::take(&mut photo.tags)
            .into_iter()
            .partition(|tag| held_out.contains(&tag.id));
        photo.tags = kept;
        let held: Vec<plinthside_measure::observed::SeenTag> = held;
        for tag in held {
            taps.extend(tag.corners_px.iter().enumerate().map(|(k, px)| MarkView {
                mark: format!("{}-{k}", tag.id).as_str().into(),
                photo: photo.photo.clone(),
                px: *px,
                sd_px,
                surface: Surface::Outside,
            }));
        }
    }
    taps
}

/// Compares with the target; `target_sd_mm` is the target's own, a coordinate in its plane.
pub fn judge(
    solution: &Solution,
    truth: impl Fn(u32, usize) -> Vector3<f64>,
    target_sd_mm: f64,
) -> Found {
    let n = solution.points.len();
    let truth: Vec<Vector3<f64>> = (0..n)
        .map(|i| {
            let name = solution.points[i].mark.as_str();
            let (id, k) = name.split_once('-').expect("ours");
            truth(id.parse().expect("ours"), k.parse().expect("ours"))
        })
        .collect();
    let found = |i: usize| Vector3::from(solution.points[i].mat_mm);
    let t95 = StudentsT::new(0.0, 1.0, solution.dof)
        .expect("dof")
        .inverse_cdf(0.975);
    let mut c = solution.covariance_mm2.clone();
    (0..3 * n)
        .filter(|k| k % 3 < 2)
        .for_each(|k| c[(k, k)] += target_sd_mm.powi(2));
    let (mut squares, mut stated, mut inside, mut pairs) = (0.0, 0.0, 0.0, 0.0);
    for i in 0..n {
        for j in 0..i {
            let way = found(i) - found(j);
            let error = way.norm() - (truth[i] - truth[j]).norm();
            let u = way.normalize();
            let block = |a: usize, b: usize| c.view((3 * a, 3 * b), (3, 3));
            let between = block(i, i) + block(j, j) - block(i, j) - block(j, i);
            let sd = (u.transpose() * between * u)[0].sqrt();
            squares += error * error;
            stated += sd * sd;
            inside += f64::from(error.abs() < t95 * sd);
            pairs += 1.0;
        }
    }
    let space: f64 = (0..n).map(|i| (found(i) - truth[i]).norm_squared()).sum();
    let covered = (0..3 * n)
        .filter(|k| (found(k / 3)[k % 3] - truth[k / 3][k % 3]).abs() < t95 * c[(*k, *k)].sqrt())
        .count();
    Found {
        rms_mm: f64::sqrt(squares / pairs),
        stated_rms_mm: f64::sqrt(stated / pairs),
        distances_held: inside / pairs,
        places_held: covered as f64 / (3 * n) as f64,
        space_rms_mm: (space / n as f64).sqrt(),
    }
}

/// The corners' own scatter: the median photograph's sd, pixels.
pub fn corner_sd_px(solution: &Solution) -> f64 {
    let mut sds: Vec<f64> = solution.cameras.iter().map(|c| c.sd_px).collect();
    sds.sort_by(f64::total_cmp);
    sds[sds.len() / 2]
}
