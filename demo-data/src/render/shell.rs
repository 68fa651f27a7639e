//! The skin of a foot and lower leg, and the open-fronted plaster shell taken from it.
//!
//! Drawn as a left foot: x from the heel to the toes, y to the lateral side, z up, millimetres,
//! the mat at z = 0. A right shell is the mirror image. The skin is a stack of sections: across
//! the foot ahead of the ankle, fanned about the front of the ankle round the heel, and level up
//! the calf. Each section is open towards the instep or the shin, as the plaster is.

use super::V3;
use super::noise::{fbm, noise, smoothstep};

/// What makes one patient's shell.
#[derive(Debug, Clone)]
pub struct ShellSpec {
    /// Right shells are mirrored.
    pub right: bool,
    /// Length, breadth and height relative to the drawn foot (about 242 mm long).
    pub scale: V3,
    /// Lean of the heel, inverted positive, degrees.
    pub heel_deg: f64,
    /// Twist of the forefoot, first ray higher positive, degrees.
    pub forefoot_deg: f64,
    /// Lean of the shank forward of the drawn one, degrees.
    pub shank_deg: f64,
    /// How much nearer the two sides stand at the ankle than on the leg, mm.
    pub squeeze_mm: f64,
    /// Mean thickness of the plaster, mm.
    pub wall_mm: f64,
    /// Changes the small irregularities.
    pub seed: f64,
}

/// One section: distances in mm from its origin on the open side, along its direction.
#[derive(Debug, Clone, Copy)]
struct Section([f64; 11]);

impl Section {
    fn origin(&self) -> V3 {
        V3::new(self.0[0], 0.0, self.0[1])
    }
    /// Direction from the open side to the sole or the back.
    fn outward(&self) -> V3 {
        let angle = self.0[2].to_radians();
        V3::new(angle.cos(), 0.0, angle.sin())
    }
}

/// x, z of the origin; direction in degrees; distance to the sole or back; to the widest place;
/// depth of the open half; half breadth medial, lateral; trim edge medial, lateral; squareness.
const SECTIONS: [Section; 15] = [
    Section([
        212.0, 108.0, -90.0, 101.0, 86.0, 44.0, 36.0, 42.0, 84.0, 86.0, 3.0,
    ]),
    Section([
        197.0, 108.0, -90.0, 102.3, 86.0, 50.0, 43.0, 45.0, 80.0, 83.0, 3.2,
    ]),
    Section([
        176.0, 108.0, -90.0, 103.0, 84.0, 56.0, 46.0, 46.5, 73.0, 78.0, 3.2,
    ]),
    Section([
        150.0, 108.0, -90.0, 103.0, 81.0, 64.0, 42.0, 46.5, 66.0, 72.0, 3.0,
    ]),
    Section([
        120.0, 108.0, -90.0, 102.8, 76.0, 72.0, 36.5, 41.0, 61.0, 66.0, 2.7,
    ]),
    Section([
        96.0, 108.0, -90.0, 103.0, 70.0, 76.0, 33.5, 37.0, 52.0, 55.0, 2.5,
    ]),
    Section([
        93.0, 108.0, -108.0, 108.5, 70.0, 72.0, 32.0, 34.0, 38.0, 43.0, 2.4,
    ]),
    Section([
        92.0, 108.0, -128.0, 122.0, 64.0, 68.0, 30.0, 31.5, 28.0, 35.0, 2.3,
    ]),
    Section([
        92.0, 108.0, -147.0, 107.0, 45.0, 54.0, 27.5, 29.0, 26.0, 30.0, 2.2,
    ]),
    Section([
        92.0, 108.0, -165.0, 84.5, 35.0, 46.0, 26.5, 28.0, 22.0, 24.0, 2.0,
    ]),
    Section([
        92.0, 114.0, -180.0, 74.5, 35.0, 44.0, 27.5, 29.0, 17.5, 18.0, 1.9,
    ]),
    Section([
        92.0, 145.0, -180.0, 75.5, 39.0, 42.0, 33.0, 34.0, 11.0, 11.0, 1.9,
    ]),
    Section([
        92.0, 185.0, -180.0, 78.5, 40.0, 44.0, 41.0, 41.5, 8.0, 9.0, 2.0,
    ]),
    Section([
        92.0, 225.0, -180.0, 81.5, 41.0, 48.0, 47.5, 48.0, 6.0, 7.0, 2.0,
    ]),
    Section([
        92.0, 268.0, -180.0, 83.5, 42.0, 50.0, 51.5, 51.5, 8.0, 8.0, 2.0,
    ]),
];

/// Section at place `t`, counted in sections from the toes, by Catmull-Rom.
fn section(t: f64) -> Section {
    let last = SECTIONS.len() - 1;
    let i = (t.floor().max(0.0) as usize).min(last - 1);
    let f = t - i as f64;
    let at = |k: usize| &SECTIONS[k.min(last)].0;
    let (a, b, c, d) = (at(i.saturating_sub(1)), at(i), at(i + 1), at(i + 2));
    Section(std::array::from_fn(|k| {
        let (p, q) = (0.5 * (c[k] - a[k]), 0.5 * (d[k] - b[k]));
        let (f2, f3) = (f * f, f * f * f);
        (2.0 * f3 - 3.0 * f2 + 1.0) * b[k]
            + (f3 - 2.0 * f2 + f) * p
            + (3.0 * f2 - 2.0 * f3) * c[k]
            + (f3 - f2) * q
    }))
}

/// Half a section from the middle of the sole or back to the trim edge, in even steps.
fn half_section(s: &Section, lateral: bool, steps: usize, edge_shift: f64) -> Vec<V3> {
    let [
        _,
        _,
        _,
        back,
        widest,
        front,
        medial,
        lateral_half,
        edge_m,
        edge_l,
        square,
    ] = s.0;
    let (half, edge, sign) = if lateral {
        (lateral_half, edge_l, 1.0)
    } else {
        (medial, edge_m, -1.0)
    };
    let edge = edge + edge_shift;
    let place = |phi: f64| {
        let (sin, cos) = phi.sin_cos();
        let depth = if cos > 0.0 {
            widest + (back - widest) * cos.powf(2.0 / square)
        } else {
            widest - front * cos.abs().powf(0.9)
        };
        let power = if cos > 0.0 { 2.0 / square } else { 0.9 };
        (depth, half * sin.max(0.0).powf(power))
    };
    let mut line: Vec<(f64, f64)> = Vec::with_capacity(400);
    for k in 0..=600 {
        // Finer near the middle, where the power makes the breadth grow fast.
        let share = f64::from(k) / 600.0;
        let here = place(std::f64::consts::PI * share * share.sqrt());
        if here.0 < edge {
            break;
        }
        line.push(here);
    }
    let mut length = vec![0.0];
    for pair in line.windows(2) {
        let step = (pair[1].0 - pair[0].0).hypot(pair[1].1 - pair[0].1);
        length.push(length[length.len() - 1] + step);
    }
    let whole = length[length.len() - 1];
    (0..=steps)
        .map(|k| {
            let want = whole * k as f64 / steps as f64;
            let i = length
                .partition_point(|l| *l < want)
                .clamp(1, line.len() - 1);
            let f = (want - length[i - 1]) / (length[i] - length[i - 1]).max(1e-12);
            let depth = line[i - 1].0 + (line[i].0 - line[i - 1].0) * f.clamp(0.0, 1.0);
            let breadth = line[i - 1].1 + (line[i].1 - line[i - 1].1) * f.clamp(0.0, 1.0);
            s.origin() + s.outward() * depth + V3::new(0.0, sign * breadth, 0.0)
        })
        .collect()
}

fn bump(p: V3, centre: V3, spread: V3) -> f64 {
    (-0.5 * (p - centre).component_div(&spread).norm_squared()).exp()
}

/// The drawn tube becomes a foot: malleoli, arch, pads, twist, lean, squeeze.
fn shape(mut p: V3, spec: &ShellSpec) -> V3 {
    let out = p.y.signum() * smoothstep(5.0, 22.0, p.y.abs());
    let medial = p.y < 0.0;
    let malleolus = if medial {
        6.6 * bump(p, V3::new(64.0, -33.0, 88.0), V3::new(10.0, 30.0, 11.5))
    } else {
        6.2 * bump(p, V3::new(54.5, 34.0, 76.0), V3::new(10.5, 30.0, 11.5))
    };
    let fifth_base = if medial {
        0.0
    } else {
        2.0 * bump(p, V3::new(104.0, 38.0, 22.0), V3::new(14.0, 20.0, 9.0))
    };
    let first_head = if medial {
        2.5 * bump(p, V3::new(172.0, -45.0, 24.0), V3::new(13.0, 20.0, 12.0))
    } else {
        0.0
    };
    p.y += out * (malleolus + fifth_base + first_head);
    // Longitudinal arch under the medial side; the hollow behind the metatarsal heads.
    let low = 1.0 - smoothstep(14.0, 48.0, p.z);
    p.z += low
        * (13.5
            * bump(
                V3::new(p.x, 0.0, 0.0),
                V3::new(104.0, 0.0, 0.0),
                V3::new(23.0, 1.0, 1.0),
            )
            * smoothstep(26.0, -24.0, p.y)
            + 2.2 * bump(p, V3::new(140.0, 4.0, 5.0), V3::new(12.0, 26.0, 9.0)));
    // Hollows between heel cord and malleoli.
    p.y -= out
        * 2.4
        * bump(
            V3::new(p.x, 0.0, p.z),
            V3::new(30.0, 0.0, 92.0),
            V3::new(9.0, 1.0, 22.0),
        );
    let toes = smoothstep(165.0, 212.0, p.x);
    p.x += toes
        * (2.5 * noise(V3::new(p.y / 14.0, spec.seed, 3.0)) - 20.0 * (p.y / 48.0).powi(4).min(1.2));
    p.z += 2.5 * noise(V3::new(p.y / 17.0, p.x / 17.0, spec.seed)) * smoothstep(245.0, 268.0, p.z);
    // Twist and lean come last of the foot's own shape: they set the angles.
    p.z -= p.y * spec.forefoot_deg.to_radians().tan() * smoothstep(95.0, 140.0, p.x);
    let rear = 1.0 - smoothstep(80.0, 118.0, p.x);
    p.y += rear * lean_mm(p.z, spec);
    p.x += (p.z - 95.0).max(0.0) * spec.shank_deg.to_radians().tan();
    p.y -= p.y.signum()
        * (0.5 * spec.squeeze_mm / spec.scale.y)
        * smoothstep(0.0, 16.0, p.y.abs())
        * smoothstep(12.0, 66.0, p.z)
        * (1.0 - smoothstep(105.0, 150.0, p.x));
    p
}

/// How far the heel's mid-line has moved to the lateral side at height `z_mm`: straight along the
/// heel, fading up the leg.
#[must_use]
pub fn lean_mm(z_mm: f64, spec: &ShellSpec) -> f64 {
    let height = (z_mm - 15.0).max(0.0);
    135.0 * (1.0 - (-height / 100.0).exp()) * spec.heel_deg.to_radians().tan()
}

/// Skin and shell as two sheets of the same grid, from the toes up to the calf, medial to lateral.
#[derive(Debug)]
pub struct Sheets {
    /// Number of sections.
    pub rows: usize,
    /// Points in a section; the middle one lies on the sole's or the back's mid-line.
    pub columns: usize,
    /// Inner face, row by row.
    pub inner: Vec<V3>,
    /// Outer face, row by row.
    pub outer: Vec<V3>,
}

impl Sheets {
    /// The two faces of the shell; points about `step_mm` apart.
    #[must_use]
    pub fn new(spec: &ShellSpec, step_mm: f64) -> Self {
        let half = (105.0 / step_mm) as usize;
        let columns = 2 * half + 1;
        let places = even_places(step_mm);
        let mut inner = Vec::with_capacity(places.len() * columns);
        for &t in &places {
            let s = section(t);
            let ragged = |side: f64| 1.3 * fbm(V3::new(t * 2.1, side * 9.0, spec.seed), 3);
            let medial = half_section(&s, false, half, ragged(-1.0));
            let lateral = half_section(&s, true, half, ragged(1.0));
            let line = medial.into_iter().rev().chain(lateral.into_iter().skip(1));
            inner.extend(line.map(|p| shape(p, spec).component_mul(&spec.scale)));
        }
        let rows = places.len();
        let mut sheets = Self {
            rows,
            columns,
            inner,
            outer: Vec::new(),
        };
        sheets.outer = (0..rows * columns)
            .map(|i| sheets.outside(i, spec))
            .collect();
        if spec.right {
            for p in sheets.inner.iter_mut().chain(&mut sheets.outer) {
                p.y = -p.y;
            }
        }
        sheets
    }

    /// Moves both faces.
    pub fn place(&mut self, target_from_here: &nalgebra::Isometry3<f64>) {
        for p in self.inner.iter_mut().chain(&mut self.outer) {
            *p = (target_from_here * nalgebra::Point3::from(*p)).coords;
        }
    }

    /// Plaster on the skin at grid point `i`: uneven, with the steps of overlapping slabs, thin at
    /// the trim edge and flattened where it stood while setting.
    fn outside(&self, i: usize, spec: &ShellSpec) -> V3 {
        let (row, column) = (i / self.columns, i % self.columns);
        let at = |r: usize, c: usize| self.inner[r * self.columns + c];
        let along = at((row + 1).min(self.rows - 1), column) - at(row.saturating_sub(1), column);
        let across =
            at(row, (column + 1).min(self.columns - 1)) - at(row, column.saturating_sub(1));
        let p = at(row, column);
        let normal = along.cross(&across).normalize();
        let drift = 9.0 * fbm(p / 40.0 + V3::repeat(spec.seed), 2);
        let strip = ((p.x * 0.55 + p.z * 0.9 + drift + p.y * 0.25) / 46.0).rem_euclid(1.0);
        let overlap = 0.9 * smoothstep(0.0, 0.05, strip) * (1.0 - smoothstep(0.35, 1.0, strip));
        let lumps = 0.75 * fbm(p / 21.0 + V3::repeat(3.0 * spec.seed), 3);
        let rim = column
            .min(self.columns - 1 - column)
            .min(row)
            .min(self.rows - 1 - row) as f64;
        let wall =
            (spec.wall_mm - 0.35 + overlap + lumps) * (0.72 + 0.28 * smoothstep(0.0, 6.0, rim));
        let mut q = p + normal * wall.max(2.8);
        q.z = 0.5 * (q.z + q.z.hypot(0.7));
        q
    }
}

/// Places along the sections whose mid-line points lie evenly.
fn even_places(step_mm: f64) -> Vec<f64> {
    const FINE: usize = 4000;
    let last = (SECTIONS.len() - 1) as f64;
    let mid = |t: f64| {
        let s = section(t);
        s.origin() + s.outward() * s.0[3]
    };
    let mut length = vec![0.0];
    for k in 1..=FINE {
        let step = mid(last * k as f64 / FINE as f64) - mid(last * (k - 1) as f64 / FINE as f64);
        length.push(length[k - 1] + step.norm());
    }
    let count = (length[FINE] / step_mm) as usize;
    (0..=count)
        .map(|k| {
            let want = length[FINE] * k as f64 / count as f64;
            let i = length.partition_point(|l| *l < want).clamp(1, FINE);
            let f = (want - length[i - 1]) / (length[i] - length[i - 1]);
            last * (i as f64 - 1.0 + f) / FINE as f64
        })
        .collect()
}
