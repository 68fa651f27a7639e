//! The Cramér-Rao bound of the fitted model, nuisances included, by numeric differences of the
//! simulator's own projection: a check of the library's derivatives, elimination and covariance.

use super::{Seen, World};
use nalgebra::{DMatrix, Matrix2, Rotation3, Vector3};

/// The fit at its best.
struct Best {
    /// Of everything fitted: lens and paper, a height for each tag, poses, marks.
    covariance: DMatrix<f64>,
    /// Corners and then taps, each by its own sd, by everything fitted.
    jacobian: DMatrix<f64>,
    /// First column of the marks.
    points: usize,
}

fn best(world: &World, seen: &Seen) -> Best {
    let (shots, tags, marks) = (
        world.stands.len(),
        world.mat.tags.len(),
        super::marks().len(),
    );
    let (poses, points) = (9 + tags, 9 + tags + 9 * shots);
    let n = points + 3 * marks;
    let predicted = |v: &[f64]| {
        let mut w = world.clone();
        w.f *= 1.0 + v[0];
        w.c = [w.c[0] + v[1], w.c[1] + v[2]];
        w.k = [w.k[0] + v[3], w.k[1] + v[4]];
        w.aspect += v[5];
        (0..3).for_each(|i| w.bow[i] += v[6 + i]);
        (0..tags).for_each(|i| w.heights[i] += v[9 + i]);
        for i in 0..shots {
            let d = &v[poses + 9 * i..];
            w.e[i] += d[6];
            w.dc[i] = [w.dc[i][0] + d[7], w.dc[i][1] + d[8]];
        }
        let pixel = |i: usize, p: &Vector3<f64>| {
            let d = &v[poses + 9 * i..];
            let (rotation, centre) = w.camera(i);
            let turn = Rotation3::new(Vector3::new(d[0], d[1], d[2]));
            let target = super::Vector3::new(0.0, 0.0, world.stands[i].distance_mm);
            let q = rotation * (p - centre) - target;
            w.pixel_from(i, &(turn * q + target + Vector3::new(d[3], d[4], d[5])))
        };
        let truth = world.truth();
        let mut all = Vec::new();
        for &(i, tag) in &seen.0 {
            for k in 0..4 {
                all.extend(
                    pixel(i, &w.corner(tag, k))
                        .iter()
                        .map(|p| p / world.corner_sd_px),
                );
            }
        }
        for &(i, m) in &seen.1 {
            let d = &v[points + 3 * m..];
            let p = truth[m] + Vector3::new(d[0], d[1], d[2]);
            all.extend(pixel(i, &p).iter().map(|p| p / world.tap_sd_px));
        }
        all
    };
    let rows = predicted(&vec![0.0; n]).len();
    let mut jacobian = DMatrix::zeros(rows, n);
    for j in 0..n {
        let step = 1e-4;
        let mut v = vec![0.0; n];
        v[j] = step;
        let up = predicted(&v);
        v[j] = -step;
        let down = predicted(&v);
        for i in 0..rows {
            jacobian[(i, j)] = (up[i] - down[i]) / (2.0 * step);
        }
    }
    let mut information = jacobian.tr_mul(&jacobian);
    let mut prior = |i: usize, sd: f64| information[(i, i)] += sd.powi(-2);
    prior(0, 0.3);
    (1..3).for_each(|i| prior(i, 0.02 * super::WIDTH));
    (3..5).for_each(|i| prior(i, 0.2));
    prior(5, 0.01);
    (6..9).for_each(|i| prior(i, 1.0));
    (9..9 + tags).for_each(|i| prior(i, 0.1));
    for i in 0..shots {
        prior(poses + 9 * i + 6, 0.015);
        prior(poses + 9 * i + 7, 20.0);
        prior(poses + 9 * i + 8, 20.0);
    }
    Best {
        covariance: information.cholesky().expect("determined").inverse(),
        jacobian,
        points,
    }
}

/// What of each tap's error the other taps can check: I less the share of its variance that the fit
/// takes up; in the order of `seen`, in the tap's own variance.
pub fn checked(world: &World, seen: &Seen) -> Vec<Matrix2<f64>> {
    let best = best(world, seen);
    let first = best.jacobian.nrows() - 2 * seen.1.len();
    let taken_up = |tap: usize| {
        let rows = best.jacobian.rows(first + 2 * tap, 2);
        let used = rows * &best.covariance * rows.transpose();
        Matrix2::identity() - used.fixed_view::<2, 2>(0, 0)
    };
    (0..seen.1.len()).map(taken_up).collect()
}

/// Covariance of all mark coordinates over the paper round them, mm².
pub fn mark_covariance(world: &World, seen: &Seen) -> DMatrix<f64> {
    let Best {
        covariance, points, ..
    } = best(world, seen);
    let (tags, n) = (world.mat.tags.len(), covariance.nrows());
    let marks = (n - points) / 3;
    // Over the paper: by bow, heights and marks.
    let over = |v: &[f64]| {
        let mut w = world.clone();
        (0..3).for_each(|i| w.bow[i] += v[6 + i]);
        (0..tags).for_each(|i| w.heights[i] += v[9 + i]);
        let moved = |(m, p): (usize, Vector3<f64>)| {
            p + Vector3::from_column_slice(&v[points + 3 * m..points + 3 * m + 3])
        };
        let moved: Vec<_> = world.truth().into_iter().enumerate().map(moved).collect();
        super::paper::over_paper(&w, seen, &moved)
    };
    let step = 1e-4;
    let mut by_all = DMatrix::zeros(3 * marks, n);
    for j in (6..9 + tags).chain(points..n) {
        let mut v = vec![0.0; n];
        v[j] = step;
        let up = over(&v);
        v[j] = -step;
        for (i, (a, b)) in up.iter().zip(over(&v)).enumerate() {
            let by = (a - b) / (2.0 * step);
            (0..3).for_each(|k| by_all[(3 * i + k, j)] = by[k]);
        }
    }
    &by_all * covariance * by_all.transpose()
}
