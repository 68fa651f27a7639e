//! A simulated cast on its mat: an opaque, open-fronted shell, cameras standing where the standing
//! instruction says, and a projection written apart from the library's.
#![allow(dead_code)] // each test file uses its own part

pub mod bound;
pub mod held_out;
pub mod paper;
pub mod quantities;

use nalgebra::{DMatrix, Matrix3, Vector2, Vector3};
use plinthside_measure::marks::Surface;
use plinthside_measure::mat::file::Printed;
use plinthside_measure::mat::{Bar, Mat, Paper};
use plinthside_measure::observed::{CameraKey, MarkView, PhotoTags, SeenTag};
use plinthside_measure::solve::Solution;
use quantities::{angle_gradients, angles_deg};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use statrs::distribution::{ContinuousCDF, StudentsT};

pub const WIDTH: f64 = 4032.0;
pub const HEIGHT: f64 = 3024.0;
/// Marks may be seen this far from their normal.
pub const GRAZING_DEG: f64 = 65.0;

/// A mark of the worked example: left cast, cast frame, with the normal of its face.
pub struct SimMark {
    pub name: &'static str,
    pub cast_mm: Vector3<f64>,
    pub normal: Vector3<f64>,
}

/// The worked example of the design: heel line, malleoli and calf line on the outer face, MTP
/// joints on the inner face of the sole.
pub fn marks() -> Vec<SimMark> {
    let mark = |name, p: [f64; 3], n: [f64; 3]| SimMark {
        name,
        cast_mm: Vector3::from(p),
        normal: Vector3::from(n).normalize(),
    };
    vec![
        mark("heel-lower", [0.0, 0.0, 14.0], [-1.0, 0.0, 0.1]),
        mark("heel-upper", [-2.99, 2.52, 62.0], [-1.0, 0.0, 0.1]),
        mark("malleolus-medial", [44.82, -35.23, 86.0], [0.0, -1.0, 0.2]),
        mark("malleolus-lateral", [36.18, 33.81, 73.0], [0.0, 1.0, 0.2]),
        mark("mtp-1", [147.80, -37.77, 20.0], [0.0, 0.0, 1.0]),
        mark("mtp-5", [136.21, 40.29, 11.0], [0.0, 0.0, 1.0]),
        mark("calf-lower", [10.01, 0.95, 120.0], [-1.0, 0.0, 0.0]),
        mark("calf-upper", [12.02, 3.94, 170.0], [-1.0, 0.0, 0.0]),
    ]
}

/// The same landmarks on the inner face, where ink prints off the skin; the sole's as they are.
pub fn inner_marks() -> Vec<SimMark> {
    /// From the outer face through the wall and a little beyond, mm.
    const THROUGH_MM: f64 = 5.4;
    let turned = |m: SimMark| {
        if m.normal.z > 0.9 {
            return m;
        }
        let inward = -Vector3::new(m.normal.x, m.normal.y, 0.0).normalize();
        SimMark {
            cast_mm: m.cast_mm + inward * THROUGH_MM,
            normal: (inward + Vector3::z() * 0.1).normalize(),
            ..m
        }
    };
    marks().into_iter().map(turned).collect()
}

/// Whether a place of the cast frame lies in the plaster: a wall 5 mm thick round the heel and
/// along the sides, open in front and above, high behind the leg and low beside the forefoot.
fn in_plaster(p: &Vector3<f64>) -> bool {
    const BACK_MM: [[f64; 2]; 5] = [
        [0.0, 0.0],
        [14.0, 0.0],
        [62.0, -3.0],
        [120.0, 10.0],
        [170.0, 12.0],
    ];
    let above = BACK_MM
        .iter()
        .position(|b| p.z < b[0])
        .unwrap_or(BACK_MM.len() - 1)
        .max(1);
    let ([z0, x0], [z1, x1]) = (BACK_MM[above - 1], BACK_MM[above]);
    let back = x0 + (x1 - x0) * (p.z - z0) / (z1 - z0);
    let half = 33.0 + 0.13 * (p.x - 30.0).max(0.0);
    if p.x < back || p.x > 165.0 || p.y.abs() > half {
        return false;
    }
    let wall = p.y.abs() > half - 5.0 || p.x < back + 5.0;
    let edge = if wall {
        ((55.0 - p.x) * 6.0 + 45.0).clamp(30.0, 200.0)
    } else {
        5.0
    };
    p.z < edge
}

/// Whether the shell lets light pass from a point of its face to a camera.
fn free(from: &Vector3<f64>, normal: &Vector3<f64>, to: &Vector3<f64>) -> bool {
    let start = from + normal * 4.0;
    let way = to - start;
    let step = 1.5 / way.norm();
    !(0..240)
        .map(|i| start + way * (step * f64::from(i)))
        .any(|p| in_plaster(&p))
}

/// Where a camera stands, from the toes and the mat; all degrees.
#[derive(Clone, Copy)]
pub struct Stand {
    pub azimuth_deg: f64,
    pub elevation_deg: f64,
    pub roll_deg: f64,
    pub distance_mm: f64,
}

const fn stand(azimuth_deg: f64, elevation_deg: f64, roll_deg: f64) -> Stand {
    Stand {
        azimuth_deg,
        elevation_deg,
        roll_deg,
        distance_mm: 480.0,
    }
}

/// The four-corner instruction: heights at least 10° apart, one turned a quarter turn.
pub fn four_corners() -> Vec<Stand> {
    vec![
        stand(135.0, 37.0, 0.0),
        stand(-135.0, 27.0, 90.0),
        stand(34.0, 34.0, 0.0),
        stand(-36.0, 44.0, 0.0),
    ]
}

/// The four corners and two more.
pub fn six_views() -> Vec<Stand> {
    let mut stands = four_corners();
    stands.extend([stand(90.0, 35.0, 0.0), stand(180.0, 40.0, 0.0)]);
    stands
}

/// Into the open front, for marks inside the shell: three from either side of the toes, steeper the
/// farther round, and one from behind that shows tags.
pub fn through_the_front() -> Vec<Stand> {
    vec![
        stand(24.0, 29.0, 0.0),
        stand(-19.0, 36.0, 0.0),
        stand(47.0, 57.0, 90.0),
        stand(-47.0, 37.0, 0.0),
        stand(62.0, 41.0, 0.0),
        stand(-75.0, 52.0, 0.0),
        stand(158.0, 38.0, 0.0),
    ]
}

/// Everything true about one session.
#[derive(Clone)]
pub struct World {
    pub mat: Mat,
    pub cast_origin_mm: Vector3<f64>,
    pub stands: Vec<Stand>,
    pub f: f64,
    pub c: [f64; 2],
    pub k: [f64; 2],
    pub e: Vec<f64>,
    pub dc: Vec<[f64; 2]>,
    pub aspect: f64,
    pub bow: [f64; 3],
    pub heights: Vec<f64>,
    pub corner_sd_px: f64,
    pub tap_sd_px: f64,
    /// Extra height of the paper, for misfit the model does not hold.
    pub wrinkle: Option<fn(f64, f64) -> f64>,
    /// The cast's heading on the mat.
    pub heading_deg: f64,
    /// The landmarks are inked inside the shell.
    pub inside: bool,
    /// Plaster; otherwise glass.
    pub opaque: bool,
}

impl World {
    pub fn new(stands: Vec<Stand>) -> Self {
        let layout = Paper::A3.layout();
        let mut mat = layout.mat().expect("a layout of ours");
        let bar = |nominal_mm| {
            Some(Bar {
                nominal_mm,
                measured_mm: nominal_mm,
                // Leaves the aspect its 1 %.
                sd_mm: 0.01 / std::f64::consts::SQRT_2 * nominal_mm,
            })
        };
        mat.printed = Some(Printed {
            across: bar(200.0),
            along: bar(200.0),
        });
        let n = stands.len();
        let tags = mat.tags.len();
        Self {
            mat,
            cast_origin_mm: Vector3::new(125.0, 148.5, 0.0),
            stands,
            f: 3080.0,
            c: [WIDTH / 2.0, HEIGHT / 2.0],
            k: [0.0; 2],
            e: vec![0.0; n],
            dc: vec![[0.0; 2]; n],
            aspect: 0.0,
            bow: [0.0; 3],
            heights: vec![0.0; tags],
            corner_sd_px: 0.1,
            tap_sd_px: 1.5,
            wrinkle: None,
            heading_deg: 0.0,
            inside: false,
            opaque: true,
        }
    }

    /// Ink inside the shell, photographed through its open front.
    pub fn inked_inside() -> Self {
        Self {
            inside: true,
            ..Self::new(through_the_front())
        }
    }

    pub fn marks(&self) -> Vec<SimMark> {
        if self.inside { inner_marks() } else { marks() }
    }

    /// Nuisances drawn from the fitted model's priors.
    pub fn draw_nuisances(&mut self, rng: &mut StdRng) {
        let mut normal = |sd: f64| sd * Distribution::<f64>::sample(&StandardNormal, rng);
        self.c = [WIDTH / 2.0, HEIGHT / 2.0].map(|c| c + normal(0.02 * WIDTH));
        self.k = [normal(0.2), normal(0.2)].map(|k| k.clamp(-0.3, 0.3));
        self.e.iter_mut().for_each(|e| *e = normal(0.015));
        self.dc.iter_mut().flatten().for_each(|d| *d = normal(20.0));
        self.aspect = normal(0.01);
        self.heights.iter_mut().for_each(|h| *h = normal(0.1));
        self.bow = [normal(1.0), normal(1.0), normal(1.0)];
    }

    pub fn mat_from_cast(&self, p: &Vector3<f64>) -> Vector3<f64> {
        let (s, c) = self.heading_deg.to_radians().sin_cos();
        self.cast_origin_mm + Vector3::new(c * p.x - s * p.y, s * p.x + c * p.y, p.z)
    }

    /// True marks in the mat frame.
    pub fn truth(&self) -> Vec<Vector3<f64>> {
        self.marks()
            .iter()
            .map(|m| self.mat_from_cast(&m.cast_mm))
            .collect()
    }

    /// Rotation (rows: right, down, forward) and centre of a camera in the mat frame.
    pub fn camera(&self, i: usize) -> (Matrix3<f64>, Vector3<f64>) {
        let stand = &self.stands[i];
        let azimuth = (stand.azimuth_deg + self.heading_deg).to_radians();
        let elevation = stand.elevation_deg.to_radians();
        let target = self.mat_from_cast(&Vector3::new(70.0, 0.0, 50.0));
        let back = Vector3::new(
            azimuth.cos() * elevation.cos(),
            azimuth.sin() * elevation.cos(),
            elevation.sin(),
        );
        let forward = -back;
        let right = forward.cross(&Vector3::z()).normalize();
        let down = forward.cross(&right);
        let (s, c) = stand.roll_deg.to_radians().sin_cos();
        let rows = [
            (right * c + down * s).transpose(),
            (down * c - right * s).transpose(),
            forward.transpose(),
        ];
        (Matrix3::from_rows(&rows), target + back * stand.distance_mm)
    }

    /// Pixel of a mat point in photograph `i`.
    pub fn pixel(&self, i: usize, p: &Vector3<f64>) -> Vector2<f64> {
        let (rotation, centre) = self.camera(i);
        self.pixel_from(i, &(rotation * (p - centre)))
    }

    pub fn pixel_from(&self, i: usize, q: &Vector3<f64>) -> Vector2<f64> {
        let (x, y) = (q.x / q.z, q.y / q.z);
        let r2 = x * x + y * y;
        let d = 1.0 + self.k[0] * r2 + self.k[1] * r2.powi(2);
        let f = self.f * (1.0 + self.e[i]);
        Vector2::new(
            f * d * x + self.c[0] + self.dc[i][0],
            f * d * y + self.c[1] + self.dc[i][1],
        )
    }

    /// Where a corner of the mat really lies.
    pub fn corner(&self, tag: usize, corner: usize) -> Vector3<f64> {
        let [x, y, z] = self.mat.tags[tag].corners_mm[corner];
        // Over half the tags' reach: 410 - 10 by 287 - 10 mm on the A3 layout.
        let (u, v) = ((x - 210.0) / 200.0, (y - 148.5) / 200.0);
        let bow = self.bow[0] * u * u + self.bow[1] * u * v + self.bow[2] * v * v;
        let wrinkle = self.wrinkle.map_or(0.0, |w| w(u, v));
        Vector3::new(
            x * (1.0 + self.aspect / 2.0),
            y * (1.0 - self.aspect / 2.0),
            z + bow + self.heights[tag] + wrinkle,
        )
    }

    /// Whether photograph `i` shows a tag: inside the picture and not behind the shell.
    pub fn shows_tag(&self, i: usize, tag: usize) -> bool {
        let (_, centre) = self.camera(i);
        (0..4).all(|k| {
            let p = self.corner(tag, k);
            let px = self.pixel(i, &p);
            let inside = (5.0..WIDTH - 5.0).contains(&px.x) && (5.0..HEIGHT - 5.0).contains(&px.y);
            let local = |p: &Vector3<f64>| self.cast_from_mat(p);
            inside && self.free(&local(&(p + Vector3::z())), &Vector3::z(), &local(&centre))
        })
    }

    fn cast_from_mat(&self, p: &Vector3<f64>) -> Vector3<f64> {
        let (s, c) = self.heading_deg.to_radians().sin_cos();
        let d = p - self.cast_origin_mm;
        Vector3::new(c * d.x + s * d.y, -s * d.x + c * d.y, d.z)
    }

    /// Whether photograph `i` shows a mark: not too grazing, not behind the shell.
    pub fn shows_mark(&self, i: usize, mark: &SimMark) -> bool {
        let (_, centre) = self.camera(i);
        let centre = self.cast_from_mat(&centre);
        let way = (centre - mark.cast_mm).normalize();
        way.dot(&mark.normal) > GRAZING_DEG.to_radians().cos()
            && self.free(&mark.cast_mm, &mark.normal, &centre)
    }

    fn free(&self, from: &Vector3<f64>, normal: &Vector3<f64>, to: &Vector3<f64>) -> bool {
        !self.opaque || free(from, normal, to)
    }

    /// What plaster alone keeps from the photographs: the pairs that a shell of glass would show.
    pub fn hidden(&self) -> Seen {
        let seen = self.visible();
        let glass = Self {
            opaque: false,
            ..self.clone()
        };
        let (mut tags, mut taps) = glass.visible();
        tags.retain(|pair| !seen.0.contains(pair));
        taps.retain(|pair| !seen.1.contains(pair));
        (tags, taps)
    }

    /// (photograph, tag) and (photograph, mark) pairs that are seen.
    pub fn visible(&self) -> Seen {
        let marks = self.marks();
        let (mut tags, mut taps) = (Vec::new(), Vec::new());
        for i in 0..self.stands.len() {
            tags.extend(
                (0..self.mat.tags.len())
                    .filter(|t| self.shows_tag(i, *t))
                    .map(|t| (i, t)),
            );
            taps.extend(
                (0..marks.len())
                    .filter(|m| self.shows_mark(i, &marks[*m]))
                    .map(|m| (i, m)),
            );
        }
        (tags, taps)
    }

    /// The photographs and taps; `seen` from [`World::visible`], noise from `rng`.
    pub fn observe(&self, seen: &Seen, rng: &mut StdRng) -> (Vec<PhotoTags>, Vec<MarkView>) {
        let mut noise = |sd: f64| sd * Distribution::<f64>::sample(&StandardNormal, rng);
        let mut photos: Vec<PhotoTags> = (0..self.stands.len())
            .map(|i| PhotoTags {
                photo: photo_name(i),
                width: WIDTH as u32,
                height: HEIGHT as u32,
                orientation: 1,
                camera: CameraKey {
                    make: "Invented".into(),
                    ..CameraKey::default()
                },
                exif_focal_px: None,
                tags: Vec::new(),
            })
            .collect();
        for &(i, tag) in &seen.0 {
            let corners_px = std::array::from_fn(|k| {
                let px = self.pixel(i, &self.corner(tag, k));
                [
                    px.x + noise(self.corner_sd_px),
                    px.y + noise(self.corner_sd_px),
                ]
            });
            photos[i].tags.push(SeenTag {
                id: self.mat.tags[tag].id,
                corners_px,
            });
        }
        let (marks, truth) = (self.marks(), self.truth());
        let taps = seen.1.iter().map(|&(i, m)| {
            let px = self.pixel(i, &truth[m]);
            MarkView {
                mark: marks[m].name.into(),
                photo: photo_name(i),
                px: [px.x + noise(self.tap_sd_px), px.y + noise(self.tap_sd_px)],
                sd_px: 1.5,
                surface: Surface::Inside,
            }
        });
        (photos, taps.collect())
    }

    /// Exact photographs and taps.
    pub fn exact(&self) -> (Vec<PhotoTags>, Vec<MarkView>) {
        let mut exact = self.clone();
        exact.corner_sd_px = 0.0;
        exact.tap_sd_px = 0.0;
        exact.observe(&exact.visible(), &mut rng(0))
    }

    /// Noisy photographs and taps.
    pub fn noisy(&self, seed: u64) -> (Vec<PhotoTags>, Vec<MarkView>) {
        self.observe(&self.visible(), &mut rng(seed))
    }
}

/// (photograph, tag) and (photograph, mark) pairs that are seen.
pub type Seen = (Vec<(usize, usize)>, Vec<(usize, usize)>);

pub fn photo_name(i: usize) -> String {
    format!("photo-{}.jpg", i + 1)
}

pub fn rng(seed: u64) -> StdRng {
    StdRng::seed_from_u64(seed)
}

pub fn uniform(rng: &mut StdRng, low: f64, high: f64) -> f64 {
    rng.random_range(low..high)
}

/// Errors and reported standard deviations of every mark coordinate (mat frame, mm) and angle
/// (degrees) of one solve.
pub struct Compared {
    pub errors: Vec<f64>,
    pub sds: Vec<f64>,
    /// Factor on the sd of the reported 95 % interval.
    pub t95: f64,
    /// Factor on the taps' variance.
    pub tap_factor: f64,
}

impl Compared {
    pub fn new(solution: &Solution, truth: &[Vector3<f64>]) -> Self {
        let marks = marks();
        let index: Vec<usize> = marks
            .iter()
            .map(|m| solution.point(m.name).expect("placed").0)
            .collect();
        let found: Vec<Vector3<f64>> = index
            .iter()
            .map(|i| Vector3::from(solution.points[*i].mat_mm))
            .collect();
        let row = |i: usize| 3 * index[i / 3] + i % 3;
        let n = 3 * marks.len();
        let covariance = DMatrix::from_fn(n, n, |i, j| solution.covariance_mm2[(row(i), row(j))]);
        let mut errors: Vec<f64> = (0..n)
            .map(|i| found[i / 3][i % 3] - truth[i / 3][i % 3])
            .collect();
        let mut sds: Vec<f64> = covariance.diagonal().iter().map(|v| v.sqrt()).collect();
        let (a, b) = (angles_deg(&found), angles_deg(truth));
        for (k, gradient) in angle_gradients(&found).iter().enumerate() {
            errors.push(a[k] - b[k]);
            sds.push((gradient.transpose() * &covariance * gradient)[0].sqrt());
        }
        let t95 = StudentsT::new(0.0, 1.0, solution.dof)
            .expect("dof")
            .inverse_cdf(0.975);
        Self {
            errors,
            sds,
            t95,
            tap_factor: solution.tap_factor,
        }
    }

    /// Share of quantities inside their reported 95 % interval.
    pub fn covered(&self) -> f64 {
        let inside = self
            .errors
            .iter()
            .zip(&self.sds)
            .filter(|(e, s)| e.abs() < self.t95 * *s);
        inside.count() as f64 / self.errors.len() as f64
    }
}

/// Names of the quantities of [`Compared`].
pub fn quantity_names() -> Vec<String> {
    let axes = ["x", "y", "z"];
    let coordinates = marks();
    let coordinates = coordinates
        .iter()
        .flat_map(|m| axes.map(|a| format!("{} {a}", m.name)));
    coordinates
        .chain(quantities::ANGLES.map(String::from))
        .collect()
}

/// Runs `f` for every seed on both cores; results in the order of the seeds.
pub fn on_both_cores<T: Send>(seeds: std::ops::Range<u64>, f: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let middle = u64::midpoint(seeds.start, seeds.end);
    let (first, second) = (seeds.start..middle, middle..seeds.end);
    std::thread::scope(|scope| {
        let other = scope.spawn(|| second.map(&f).collect::<Vec<_>>());
        let mut all: Vec<T> = first.map(&f).collect();
        all.extend(other.join().expect("a draw panicked"));
        all
    })
}
