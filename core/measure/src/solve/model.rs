//! The measurement model: from parameters to pixels, with analytic derivatives.
//!
//! A point P of the mat frame (origin moved to the mat's middle) is seen at
//!
//! ```text
//! Pc = R·P + t,  x = X/Z, y = Y/Z,  r² = x² + y²,  d = 1 + k1·r² + k2·r⁴ + k3·r⁶
//! u = f·e^(+s/2)·(d·x + 2·p1·x·y + p2·(r² + 2x²)) + cx,  f = F·(1 + e)
//! v = f·e^(−s/2)·(d·y + p1·(r² + 2y²) + 2·p2·x·y) + cy
//! ```
//!
//! F, c, k1, k2 belong to the camera, and so do k3, p1, p2, s, which stay zero unless the
//! photographs call for them ([`super::lens_terms`]); e (autofocus) and the offset of c (stabiliser)
//! to one photograph. A wide lens may be described from the equidistant projection instead: then
//! x and y are first shortened by atan(r)/r. A tag's corner lies at the drawn place, stretched by the aspect, moved with its
//! sheet, and raised by bow and tag height. Every column below is checked against differences.

pub(crate) use super::lens::{Lens, Projection};
use nalgebra::{Matrix2, Matrix2x3, Matrix3, Rotation3, Vector2, Vector3};

/// Parameters of one photograph.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pose {
    pub camera_from_mat: Matrix3<f64>,
    pub t: Vector3<f64>,
    /// Relative change of the focal length.
    pub e: f64,
    /// Offset of the principal point, pixels.
    pub dc: [f64; 2],
}

impl Pose {
    /// The camera's centre in the (centred) mat frame.
    pub fn centre(&self) -> Vector3<f64> {
        -self.camera_from_mat.tr_mul(&self.t)
    }
}

/// Parameters of the print.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Print {
    pub aspect: f64,
    /// Bow: z = q·(u², uv, v²), mm.
    pub bow: [f64; 3],
    /// Sheets 1, 2, …: shift x, y (mm) and turn (rad) about the sheet's middle.
    pub sheets: Vec<[f64; 3]>,
}

/// Numbers of the local parameters of one corner: pose 6, e, dc 2, the lens's k1 k2 k3 p1 p2 s,
/// aspect, bow 3, sheets 3 each.
pub(crate) const POSE: usize = 9;
pub(crate) const K: usize = POSE;
pub(crate) const PRINT: usize = K + 6;
pub(crate) const SHEETS: usize = PRINT + 4;

/// A drawn corner and what the print does to it.
#[derive(Debug, Clone)]
pub(crate) struct Corner {
    /// Place with the measured bars applied, mat frame, mm.
    pub drawn: Vector3<f64>,
    /// Place over half the mat's extent, about its middle: −1..1.
    pub uv: [f64; 2],
    pub sheet: usize,
}

/// What all corners of a mat share.
#[derive(Debug, Clone)]
pub(crate) struct Drawing {
    /// Middle of the mat, the origin of the solution.
    pub middle: Vector3<f64>,
    pub aspect_share: [f64; 2],
    /// Middle of every sheet.
    pub sheet_middles: Vec<Vector3<f64>>,
}

/// Place of a corner (without its tag's height) and its derivatives by aspect, bow, own sheet.
pub(crate) struct Placed {
    pub p: Vector3<f64>,
    pub by_aspect: Vector3<f64>,
    pub by_bow: [f64; 3],
    /// By shift x, shift y, turn; zero for sheet 0.
    pub by_sheet: [Vector3<f64>; 3],
}

impl Drawing {
    pub fn place(&self, corner: &Corner, print: &Print) -> Placed {
        let [wx, wy] = self.aspect_share;
        let drawn = &corner.drawn;
        let stretch = Vector3::new(wx * drawn.x, -wy * drawn.y, 0.0);
        let mut p = drawn + stretch * print.aspect;
        let mut by_aspect = stretch;
        let mut by_sheet = [Vector3::zeros(); 3];
        if corner.sheet > 0 {
            let [dx, dy, turn] = print.sheets[corner.sheet - 1];
            let middle = self.sheet_middles[corner.sheet];
            let (s, c) = turn.sin_cos();
            let rotated =
                |v: &Vector3<f64>| Vector3::new(c * v.x - s * v.y, s * v.x + c * v.y, v.z);
            let arm = rotated(&(p - middle));
            p = middle + arm + Vector3::new(dx, dy, 0.0);
            by_aspect = rotated(&stretch);
            by_sheet = [Vector3::x(), Vector3::y(), Vector3::new(-arm.y, arm.x, 0.0)];
        }
        let [u, v] = corner.uv;
        let by_bow = [u * u, u * v, v * v];
        p.z += by_bow
            .iter()
            .zip(&print.bow)
            .map(|(b, q)| b * q)
            .sum::<f64>();
        Placed {
            p: p - self.middle,
            by_aspect,
            by_bow,
            by_sheet,
        }
    }
}

/// Least depth in front of a camera, mm.
const NEAREST_MM: f64 = 1.0;

/// A projection and its derivatives.
pub(crate) struct Seen {
    pub px: Vector2<f64>,
    /// By pose (turn 3, shift 3, e, dc 2) and k: columns 0 to [`PRINT`].
    pub by_camera: [[f64; PRINT]; 2],
    /// By the point.
    pub by_point: Matrix2x3<f64>,
}

/// Normalised coordinates; `None` behind the camera.
fn normalised(pc: &Vector3<f64>) -> Option<(f64, f64)> {
    (pc.z > NEAREST_MM).then(|| (pc.x / pc.z, pc.y / pc.z))
}

/// Where a point is seen; `None` behind the camera.
pub(crate) fn project(lens: &Lens, pose: &Pose, p: &Vector3<f64>) -> Option<Vector2<f64>> {
    let (x, y) = normalised(&(pose.camera_from_mat * p + pose.t))?;
    let f = lens.ln_f.exp() * (1.0 + pose.e);
    let (w, _) = lens.shortening(x, y);
    let ([across, down], [u, v]) = (lens.stretch(), lens.bent(w * x, w * y));
    Some(Vector2::new(
        f * across * u + lens.c[0] + pose.dc[0],
        f * down * v + lens.c[1] + pose.dc[1],
    ))
}

/// [`project`] with derivatives.
pub(crate) fn project_with(lens: &Lens, pose: &Pose, p: &Vector3<f64>) -> Option<Seen> {
    let arm = pose.camera_from_mat * p;
    let pc = arm + pose.t;
    let (x, y) = normalised(&pc)?;
    let own = lens.ln_f.exp() * (1.0 + pose.e);
    let (w, slope) = lens.shortening(x, y);
    let (a, b) = (w * x, w * y);
    let r2 = a * a + b * b;
    let (bent, [xx, xy, yy]) = (lens.bent(a, b), lens.bending(a, b));
    let shortened = Matrix2::new(
        w + slope * x * x,
        slope * x * y,
        slope * x * y,
        w + slope * y * y,
    );
    let f = lens.stretch().map(|stretch| own * stretch);
    let by_xy = Matrix2::new(f[0] * xx, f[0] * xy, f[1] * xy, f[1] * yy) * shortened;
    let by_pc = [0, 1].map(|row| {
        let (u, v) = (by_xy[(row, 0)] / pc.z, by_xy[(row, 1)] / pc.z);
        [u, v, -(u * x + v * y)]
    });
    let decentred = [
        [2.0 * a * b, r2 + 2.0 * a * a],
        [r2 + 2.0 * b * b, 2.0 * a * b],
    ];
    let mut by_camera = [[0.0; PRINT]; 2];
    for (row, n) in [a, b].into_iter().enumerate() {
        let ([a, b, c], f, seen) = (by_pc[row], f[row], f[row] * bent[row]);
        by_camera[row] = [
            c * arm.y - b * arm.z,
            a * arm.z - c * arm.x,
            b * arm.x - a * arm.y,
            a,
            b,
            c,
            seen / (1.0 + pose.e),
            if row == 0 { 1.0 } else { 0.0 },
            if row == 1 { 1.0 } else { 0.0 },
            f * n * r2,
            f * n * r2 * r2,
            f * n * r2 * r2 * r2,
            f * decentred[row][0],
            f * decentred[row][1],
            if row == 0 { 0.5 * seen } else { -0.5 * seen },
        ];
    }
    let px = Vector2::new(
        f[0] * bent[0] + lens.c[0] + pose.dc[0],
        f[1] * bent[1] + lens.c[1] + pose.dc[1],
    );
    let by_pc = Matrix2x3::from_row_slice(by_pc.as_flattened());
    Some(Seen {
        px,
        by_camera,
        by_point: by_pc * pose.camera_from_mat,
    })
}

/// Unit direction in the camera frame of a sensor pixel: the distortion is undone by Newton steps,
/// along the radius first.
pub(crate) fn ray(lens: &Lens, pose: &Pose, px: [f64; 2]) -> Option<Vector3<f64>> {
    let f = lens.ln_f.exp() * (1.0 + pose.e);
    let [across, down] = lens.stretch();
    let n = Vector2::new(
        (px[0] - lens.c[0] - pose.dc[0]) / (f * across),
        (px[1] - lens.c[1] - pose.dc[1]) / (f * down),
    );
    let target = n.norm();
    let mut r = target;
    for _ in 0..20 {
        let slope = lens.growth(r * r);
        if slope < 0.05 {
            return None;
        }
        r -= (r * lens.radial(r * r) - target) / slope;
    }
    let mut found = n * if target > 0.0 { r / target } else { 1.0 };
    if lens.p != [0.0; 2] {
        for _ in 0..10 {
            let [xx, xy, yy] = lens.bending(found.x, found.y);
            let off = n - Vector2::from(lens.bent(found.x, found.y));
            found += Matrix2::new(xx, xy, xy, yy).try_inverse()? * off;
        }
    }
    let direction = lens.direction(found)?;
    direction.iter().all(|v| v.is_finite()).then_some(direction)
}

/// [`ray`], or where the pixel lies beyond the distortion's last one-to-one radius, the direction
/// at that radius: good to start from.
pub(crate) fn rough_ray(lens: &Lens, pose: &Pose, px: [f64; 2]) -> Vector3<f64> {
    const STEP: f64 = 0.01;
    const FARTHEST: f64 = 1.5;
    ray(lens, pose, px).unwrap_or_else(|| {
        let n = Vector2::from(px) - Vector2::from(lens.c) - Vector2::from(pose.dc);
        let mut r = STEP;
        while r < FARTHEST && lens.growth((r + STEP).powi(2)) > 0.05 {
            r += STEP;
        }
        let n = n * (r / n.norm().max(f64::MIN_POSITIVE));
        lens.direction(n).unwrap_or(Vector3::z())
    })
}

/// Whether a point of the camera frame lies in front, where the distortion is one to one: the
/// distorted radius grows all the way out to it.
pub(crate) fn in_field(lens: &Lens, pc: &Vector3<f64>) -> bool {
    const STEPS: u32 = 32;
    let (x, y) = (pc.x / pc.z, pc.y / pc.z);
    let r2 = (x * x + y * y) * lens.shortening(x, y).0.powi(2);
    pc.z > 0.0 && (1..=STEPS).all(|i| lens.growth(r2 * f64::from(i) / f64::from(STEPS)) > 0.0)
}

/// exp([w]×)·R.
pub(crate) fn turned(w: &Vector3<f64>, rotation: &Matrix3<f64>) -> Matrix3<f64> {
    Rotation3::new(*w).matrix() * rotation
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scene() -> (Lens, Pose, Print, Drawing, Corner) {
        let lens = Lens {
            ln_f: 3000.0_f64.ln(),
            c: [2010.0, 1490.0],
            k: [0.08, -0.05, 0.03],
            p: [0.004, -0.006],
            s: 0.012,
            form: Projection::Equidistant,
        };
        let pose = Pose {
            camera_from_mat: *Rotation3::from_euler_angles(2.6, 0.3, -0.7).matrix(),
            t: Vector3::new(20.0, -30.0, 560.0),
            e: 0.011,
            dc: [7.0, -9.0],
        };
        let print = Print {
            aspect: 0.004,
            bow: [0.6, -0.3, 0.8],
            sheets: vec![[1.5, -0.7, 0.02]],
        };
        let drawing = Drawing {
            middle: Vector3::new(150.0, 100.0, 0.0),
            aspect_share: [0.3, 0.7],
            sheet_middles: vec![Vector3::zeros(), Vector3::new(250.0, 110.0, 0.0)],
        };
        let corner = Corner {
            drawn: Vector3::new(270.0, 40.0, 2.0),
            uv: [0.8, -0.4],
            sheet: 1,
        };
        (lens, pose, print, drawing, corner)
    }

    /// Central differences with the step at which truncation and rounding balance.
    #[test]
    fn every_derivative_agrees_with_differences() {
        derivatives_agree(Projection::Perspective);
        derivatives_agree(Projection::Equidistant);
    }

    fn derivatives_agree(form: Projection) {
        const BOW: usize = PRINT + 1;
        const HEIGHT: usize = SHEETS + 3;
        let (lens, pose, print, drawing, corner) = scene();
        let lens = Lens { form, ..lens };
        let at = |v: &[f64]| {
            let mut lens = lens.clone();
            let mut pose = pose.clone();
            let mut print = print.clone();
            pose.camera_from_mat = turned(&Vector3::new(v[0], v[1], v[2]), &pose.camera_from_mat);
            pose.t += Vector3::new(v[3], v[4], v[5]);
            pose.e += v[6];
            pose.dc[0] += v[7];
            pose.dc[1] += v[8];
            (0..3).for_each(|i| lens.k[i] += v[K + i]);
            (0..2).for_each(|i| lens.p[i] += v[K + 3 + i]);
            lens.s += v[K + 5];
            print.aspect += v[PRINT];
            (0..3).for_each(|i| print.bow[i] += v[PRINT + 1 + i]);
            (0..3).for_each(|i| print.sheets[0][i] += v[SHEETS + i]);
            let mut p = drawing.place(&corner, &print).p;
            p.z += v[HEIGHT];
            project(&lens, &pose, &p).expect("in front")
        };
        let placed = drawing.place(&corner, &print);
        let seen = project_with(&lens, &pose, &placed.p).expect("in front");
        assert_eq!(seen.px, at(&[0.0; HEIGHT + 1]));
        let column = |i: usize| {
            let by = |d: Vector3<f64>| seen.by_point * d;
            match i {
                0..PRINT => Vector2::new(seen.by_camera[0][i], seen.by_camera[1][i]),
                PRINT => by(placed.by_aspect),
                BOW..SHEETS => by(Vector3::z() * placed.by_bow[i - BOW]),
                SHEETS..HEIGHT => by(placed.by_sheet[i - SHEETS]),
                _ => by(Vector3::z()),
            }
        };
        for i in 0..=HEIGHT {
            let step = 1e-5;
            let (mut up, mut down) = ([0.0; HEIGHT + 1], [0.0; HEIGHT + 1]);
            up[i] = step;
            down[i] = -step;
            let numeric = (at(&up) - at(&down)) / (2.0 * step);
            let error = (numeric - column(i)).norm();
            assert!(error < 1e-6 * (1.0 + numeric.norm()), "column {i}: {error}");
        }
    }

    #[test]
    fn a_ray_is_the_inverse_of_the_projection() {
        let (lens, pose, ..) = scene();
        for p in [
            [10.0, 20.0, 30.0],
            [-140.0, 95.0, 0.0],
            [130.0, -60.0, 170.0],
        ] {
            let p = Vector3::from(p);
            let px = project(&lens, &pose, &p).expect("in front");
            let direction = ray(&lens, &pose, [px.x, px.y]).expect("one to one");
            let expected = (pose.camera_from_mat * p + pose.t).normalize();
            assert!((direction - expected).norm() < 1e-12);
        }
    }
}
