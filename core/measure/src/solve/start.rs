//! Starting values: corner order, homographies, focal length, poses, first places of marks.

use super::model::{self, Lens, Pose};
use super::problem::Problem;
use super::rays::Ray;
use super::solution::CornerOrder;
use nalgebra::{DMatrix, Matrix3, SMatrix, SymmetricEigen, Vector3};

/// Focal length over the longer side of the sensor of a usual phone: 26 mm on a 36 mm frame.
const PHONE_FOCAL: f64 = 26.0 / 36.0;
/// Corners further than this share of a tag's side from a homography mean another corner order.
const ORDER_MISFIT: f64 = 0.2;
/// A target thicker than this share of its extent is not treated as a plane.
const RELIEF: f64 = 0.08;

/// Corresponding places of one photograph: tag corners in the mat frame and on the sensor.
pub(crate) struct Pairs {
    pub mat: Vec<Vector3<f64>>,
    pub px: Vec<[f64; 2]>,
}

/// The best plane of the points: rows of the rotation are its axes (third the normal, kept on the
/// side of +Z), and the thickness as a share of the extent.
pub(crate) fn plane(points: &[Vector3<f64>]) -> (Matrix3<f64>, Vector3<f64>, f64) {
    let middle = points.iter().sum::<Vector3<f64>>() / points.len().max(1) as f64;
    if points.iter().all(|p| (p.z - points[0].z).abs() < 1e-9) {
        return (Matrix3::identity(), middle, 0.0);
    }
    let scatter: Matrix3<f64> = points
        .iter()
        .map(|p| (p - middle) * (p - middle).transpose())
        .sum();
    let eigen = SymmetricEigen::new(scatter);
    let least = eigen.eigenvalues.imin();
    let most = eigen.eigenvalues.imax();
    let mut normal: Vector3<f64> = eigen.eigenvectors.column(least).into();
    if normal.z < 0.0 {
        normal = -normal;
    }
    let x: Vector3<f64> = eigen.eigenvectors.column(most).into();
    let y = normal.cross(&x);
    let thick = (eigen.eigenvalues[least].max(0.0) / eigen.eigenvalues[most]).sqrt();
    (
        Matrix3::from_rows(&[x.transpose(), y.transpose(), normal.transpose()]),
        middle,
        thick,
    )
}

/// Smallest right singular vector of a tall matrix, through its normal matrix.
fn null_vector<const N: usize>(rows: &[[f64; N]]) -> [f64; N] {
    let mut normal = SMatrix::<f64, N, N>::zeros();
    for row in rows {
        for i in 0..N {
            for j in 0..N {
                normal[(i, j)] += row[i] * row[j];
            }
        }
    }
    let eigen = SymmetricEigen::new(DMatrix::from_column_slice(N, N, normal.as_slice()));
    let least = eigen.eigenvalues.imin();
    std::array::from_fn(|i| eigen.eigenvectors[(i, least)])
}

/// Shift and scale that bring points to mean 0 and mean distance 1.
fn conditioning(points: &[[f64; 2]]) -> ([f64; 2], f64) {
    let n = points.len() as f64;
    let mean = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / n);
    let spread = points
        .iter()
        .map(|p| (p[0] - mean[0]).hypot(p[1] - mean[1]))
        .sum::<f64>()
        / n;
    (mean, if spread > 0.0 { 1.0 / spread } else { 1.0 })
}

/// Homography px ~ H·(x, y, 1), corners far from it given ever less weight (Cauchy).
fn homography(plane_mm: &[[f64; 2]], px: &[[f64; 2]]) -> (Matrix3<f64>, Vec<f64>) {
    let ((m, s), (n, q)) = (conditioning(plane_mm), conditioning(px));
    let mut weight = vec![1.0; px.len()];
    let mut h = Matrix3::identity();
    let mut distances = Vec::new();
    for _ in 0..6 {
        let mut rows = Vec::with_capacity(2 * px.len());
        for ((p, x), w) in plane_mm.iter().zip(px).zip(&weight) {
            let (a, b) = ((p[0] - m[0]) * s, (p[1] - m[1]) * s);
            let (u, v) = ((x[0] - n[0]) * q, (x[1] - n[1]) * q);
            rows.push([a, b, 1.0, 0.0, 0.0, 0.0, -u * a, -u * b, -u].map(|e| e * w));
            rows.push([0.0, 0.0, 0.0, a, b, 1.0, -v * a, -v * b, -v].map(|e| e * w));
        }
        let k = null_vector(&rows);
        let local = Matrix3::from_row_slice(&k);
        let to = Matrix3::new(s, 0.0, -s * m[0], 0.0, s, -s * m[1], 0.0, 0.0, 1.0);
        let from = Matrix3::new(1.0 / q, 0.0, n[0], 0.0, 1.0 / q, n[1], 0.0, 0.0, 1.0);
        h = from * local * to;
        distances = plane_mm
            .iter()
            .zip(px)
            .map(|(p, x)| {
                let y = h * Vector3::new(p[0], p[1], 1.0);
                let d = (y.x / y.z - x[0]).hypot(y.y / y.z - x[1]);
                if d.is_finite() { d } else { f64::MAX }
            })
            .collect();
        let scale = 2.0 * median(distances.clone()).max(1e-6);
        weight = distances
            .iter()
            .map(|d| 1.0 / (1.0 + (d / scale).powi(2)))
            .collect();
    }
    (h, distances)
}

/// Median; 0 of nothing.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

fn on_plane(pairs: &Pairs, axes: &Matrix3<f64>, middle: &Vector3<f64>) -> Vec<[f64; 2]> {
    pairs
        .mat
        .iter()
        .map(|p| axes * (p - middle))
        .map(|p| [p.x, p.y])
        .collect()
}

/// Which way the file's corners run: the order under which tags lie on one homography. `pairs` are
/// in the file's own order, four to a tag, corner by corner.
pub(crate) fn corner_order(photos: &[Pairs]) -> CornerOrder {
    let misfit = |order: CornerOrder| {
        let of = |pairs: &Pairs| {
            let file = |i: usize| 4 * (i / 4) + order.file_index(i % 4);
            let mat = (0..pairs.mat.len()).map(|i| pairs.mat[file(i)]).collect();
            let (distance, side) = plane_misfit(&Pairs {
                mat,
                px: pairs.px.clone(),
            });
            distance / side.max(1e-6)
        };
        median(photos.iter().map(of).collect())
    };
    let agreed = misfit(CornerOrder::AS_AGREED);
    if agreed < ORDER_MISFIT {
        return CornerOrder::AS_AGREED;
    }
    let others = (0..8).map(|i| CornerOrder {
        start: i % 4,
        reversed: i >= 4,
    });
    let scored = others.map(|order| (misfit(order), order));
    let best = scored.min_by(|a, b| a.0.total_cmp(&b.0));
    // Another order only where it explains the corners: else the mat is simply another one.
    best.filter(|(m, _)| *m < 0.3 * agreed)
        .map_or(CornerOrder::AS_AGREED, |(_, order)| order)
}

/// Median distance of the corners from one homography, and median side of the tags, pixels.
pub(crate) fn plane_misfit(pairs: &Pairs) -> (f64, f64) {
    let (axes, middle, _) = plane(&pairs.mat);
    let (_, distances) = homography(&on_plane(pairs, &axes, &middle), &pairs.px);
    (median(distances), median(sides(&pairs.px)))
}

/// Side lengths of the tags, pixels.
pub(crate) fn sides(px: &[[f64; 2]]) -> Vec<f64> {
    let side = |tag: &[[f64; 2]], i: usize| {
        (tag[i][0] - tag[(i + 1) % 4][0]).hypot(tag[i][1] - tag[(i + 1) % 4][1])
    };
    px.chunks_exact(4)
        .flat_map(|tag| (0..4).map(|i| side(tag, i)).collect::<Vec<_>>())
        .collect()
}

/// Focal length from homographies of a plane with the principal point known: the two axes of the
/// plane are seen at right angles and equally long (Zhang, IEEE PAMI 22, 2000, eq. 3 and 4).
fn focal_from_plane(homographies: &[Matrix3<f64>], c: [f64; 2]) -> Option<f64> {
    let shift = Matrix3::new(1.0, 0.0, -c[0], 0.0, 1.0, -c[1], 0.0, 0.0, 1.0);
    let (mut num, mut den) = (0.0, 0.0);
    for h in homographies {
        let h = shift * h;
        let h = h / h.column(0).xy().norm();
        let (p, q) = (h.column(0), h.column(1));
        for (a, b) in [
            (p.x * q.x + p.y * q.y, p.z * q.z),
            (
                p.x * p.x + p.y * p.y - q.x * q.x - q.y * q.y,
                p.z * p.z - q.z * q.z,
            ),
        ] {
            // a/f² + b = 0
            num -= a * b;
            den += a * a;
        }
    }
    let inverse_square = num / den;
    (inverse_square > 0.0 && inverse_square.is_finite()).then(|| inverse_square.powf(-0.5))
}

/// Pose from a homography of the plane (axes, middle) and the lens's f and c.
fn pose_from_plane(
    h: &Matrix3<f64>,
    f: f64,
    c: [f64; 2],
    axes: &Matrix3<f64>,
    middle: &Vector3<f64>,
) -> Option<Pose> {
    let k_inverse = Matrix3::new(
        1.0 / f,
        0.0,
        -c[0] / f,
        0.0,
        1.0 / f,
        -c[1] / f,
        0.0,
        0.0,
        1.0,
    );
    let m = k_inverse * h;
    let scale = 2.0 / (m.column(0).norm() + m.column(1).norm());
    let m = m * if m[(2, 2)] < 0.0 { -scale } else { scale };
    let (x, y): (Vector3<f64>, Vector3<f64>) = (m.column(0).into(), m.column(1).into());
    let raw = Matrix3::from_columns(&[x, y, x.cross(&y)]);
    let camera_from_plane = nearest_rotation(&raw)?;
    let t: Vector3<f64> = m.column(2).into();
    let camera_from_mat = camera_from_plane * axes;
    Some(Pose {
        camera_from_mat,
        t: t - camera_from_mat * middle,
        e: 0.0,
        dc: [0.0; 2],
    })
}

fn nearest_rotation(raw: &Matrix3<f64>) -> Option<Matrix3<f64>> {
    let svd = raw.try_svd(true, true, 1e-12, 100)?;
    let (u, v_t) = (svd.u?, svd.v_t?);
    let sign = (u * v_t).determinant().signum();
    let rotation = u * Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, sign)) * v_t;
    rotation.iter().all(|v| v.is_finite()).then_some(rotation)
}

/// Pose of a target with relief: the 3 × 4 camera matrix of normalised pixels (direct linear
/// transform, Hartley & Zisserman, 2nd ed., algorithm 7.1, with the calibration known).
fn pose_from_relief(pairs: &Pairs, f: f64, c: [f64; 2]) -> Option<Pose> {
    let middle = pairs.mat.iter().sum::<Vector3<f64>>() / pairs.mat.len() as f64;
    let spread =
        pairs.mat.iter().map(|p| (p - middle).norm()).sum::<f64>() / pairs.mat.len() as f64;
    let mut rows = Vec::with_capacity(2 * pairs.px.len());
    for (p, px) in pairs.mat.iter().zip(&pairs.px) {
        let q = (p - middle) / spread;
        let (u, v) = ((px[0] - c[0]) / f, (px[1] - c[1]) / f);
        let (a, b, d) = (q.x, q.y, q.z);
        rows.push([a, b, d, 1.0, 0.0, 0.0, 0.0, 0.0, -u * a, -u * b, -u * d, -u]);
        rows.push([0.0, 0.0, 0.0, 0.0, a, b, d, 1.0, -v * a, -v * b, -v * d, -v]);
    }
    let k = null_vector(&rows);
    let m = Matrix3::new(k[0], k[1], k[2], k[4], k[5], k[6], k[8], k[9], k[10]);
    let m = m * if k[11] < 0.0 { -1.0 } else { 1.0 };
    let t = Vector3::new(k[3], k[7], k[11]) * if k[11] < 0.0 { -1.0 } else { 1.0 };
    let size = m.determinant().abs().cbrt();
    let camera_from_mat = nearest_rotation(&(m / size))?;
    let t = t * (spread / size);
    Some(Pose {
        camera_from_mat,
        t: t - camera_from_mat * middle,
        e: 0.0,
        dc: [0.0; 2],
    })
}

/// Focal length and poses of the photographs of one camera, whose principal point is taken in the
/// middle: several focal lengths are tried and the one that leaves the least misfit is kept.
pub(crate) fn lens_and_poses(
    photos: &[Pairs],
    sensor_px: [f64; 2],
    exif_focal_px: Option<f64>,
) -> Option<(Lens, Vec<Pose>)> {
    let c = [sensor_px[0] / 2.0, sensor_px[1] / 2.0];
    let usual = PHONE_FOCAL * sensor_px[0].max(sensor_px[1]);
    let planes: Vec<_> = photos.iter().map(|pairs| plane(&pairs.mat)).collect();
    let homographies: Vec<_> = photos
        .iter()
        .zip(&planes)
        .map(|(pairs, (axes, middle, _))| homography(&on_plane(pairs, axes, middle), &pairs.px).0)
        .collect();
    let flat = planes.iter().all(|(_, _, thick)| *thick < RELIEF);
    let from_plane = if flat {
        focal_from_plane(&homographies, c)
    } else {
        None
    };
    let range = 0.3 * usual..5.0 * usual;
    let candidates = [
        from_plane,
        exif_focal_px,
        Some(usual),
        Some(0.7 * usual),
        Some(1.5 * usual),
    ];
    let mut best: Option<(f64, Lens, Vec<Pose>)> = None;
    for f in candidates
        .into_iter()
        .flatten()
        .filter(|f| range.contains(f))
    {
        let lens = Lens::plain(f, c);
        let pose =
            |((pairs, h), (axes, middle, thick)): ((&Pairs, &Matrix3<f64>), &(_, _, f64))| {
                if *thick < RELIEF {
                    pose_from_plane(h, f, c, axes, middle)
                } else {
                    pose_from_relief(pairs, f, c)
                }
            };
        let poses: Option<Vec<Pose>> = photos
            .iter()
            .zip(&homographies)
            .zip(&planes)
            .map(pose)
            .collect();
        let Some(poses) = poses else {
            continue;
        };
        let misfit = misfit(photos, &lens, &poses);
        if best.as_ref().is_none_or(|(least, ..)| misfit < *least) {
            best = Some((misfit, lens, poses));
        }
    }
    best.map(|(_, lens, poses)| (lens, poses))
}

fn misfit(photos: &[Pairs], lens: &Lens, poses: &[Pose]) -> f64 {
    let mut distances = Vec::new();
    for (pairs, pose) in photos.iter().zip(poses) {
        for (p, px) in pairs.mat.iter().zip(&pairs.px) {
            let seen = model::project(lens, pose, p);
            distances.push(seen.map_or(f64::MAX, |q| (q.x - px[0]).hypot(q.y - px[1])));
        }
    }
    median(distances)
}

/// Ray of a tap in the mat frame to start from: the camera's centre and a unit direction.
pub(crate) fn tap_ray(
    problem: &Problem,
    state: &super::problem::State,
    shot: usize,
    px: [f64; 2],
) -> Ray {
    let (pose, lens) = problem.camera(state, shot);
    let direction = model::rough_ray(lens, pose, px);
    (pose.centre(), pose.camera_from_mat.tr_mul(&direction))
}
