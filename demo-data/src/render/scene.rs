//! The shell on its printed mat, on a board, on a couch: what a ray of sight meets and its colour.

use super::V3;
use super::bvh::{Hit, Ray};
use super::ink::{Ink, Tint};
use super::light::{Light, PLASTER};
use super::mesh::{Face, Mesh};
use super::noise::{fbm, noise, smoothstep};
use super::print::Print;
use super::raster::{LABEL_MM, Raster};

/// Everything in view. All places are in the mat frame.
#[derive(Debug)]
pub struct Scene {
    /// The shell.
    pub mesh: Mesh,
    /// What is written on it.
    pub ink: Ink,
    /// The print it stands on.
    pub print: Print,
    /// The label's picture, its middle and its turn in degrees.
    pub label: (Raster, [f64; 2], f64),
    /// Light on all that.
    pub light: Light,
}

/// White of the board beyond the paper's edge, mm.
const BOARD_MARGIN_MM: f64 = 26.0;
/// Couch below the board's top, mm.
const BOARD_MM: f64 = 9.0;

impl Scene {
    /// Linear light that comes along `ray`; paper in the open gives about 0.7.
    #[must_use]
    pub fn look(&self, ray: &Ray) -> V3 {
        let exposure = 0.76 / (self.light.open.mean() * super::print::PAPER);
        let to_ground = if ray.dir.z < 0.0 {
            -ray.origin.z / ray.dir.z
        } else {
            f64::INFINITY
        };
        let light = match self.mesh.tree.nearest(ray, to_ground) {
            Some(hit) => self.plaster(ray.at(hit.t), &hit),
            None if to_ground.is_finite() => self.ground(ray, ray.at(to_ground)),
            None => V3::new(0.30, 0.29, 0.27) * self.light.open.mean(),
        };
        light * exposure
    }

    fn plaster(&self, p: V3, hit: &Hit) -> V3 {
        let face = self.mesh.faces[self.mesh.triangles[hit.triangle][0] as usize];
        let normal = self.mesh.mix(hit, &self.mesh.normals).normalize();
        let weave = self.mesh.mix(hit, &self.mesh.weave_mm);
        let received = self.mesh.mix(hit, &self.light.on_shell);
        let slope = self.mesh.mix(hit, &self.light.slope);
        let (down, over) = self.mesh.weave_directions(hit);
        let height = |q: V3| {
            let off = q - p;
            relief(q, weave.x + off.dot(&down), weave.y + off.dot(&over), face)
        };
        let tilt = gradient(p, height);
        let tilt = tilt - normal * normal.dot(&tilt);
        let bumped = (normal - tilt).normalize();
        let mean = received.mean().max(1e-6);
        let gain = (1.0 + slope.dot(&(bumped - normal)) / mean).clamp(0.35, 1.6);
        let mottle = 1.0 + 0.035 * fbm(p / 9.0, 3) + 0.02 * noise(p / 1.1);
        let mut colour: Tint = (PLASTER * mottle).into();
        if face != Face::Rim {
            self.ink.stain(p, normal, face, &mut colour);
        }
        received.component_mul(&V3::from(colour)) * gain
    }

    fn ground(&self, ray: &Ray, p: V3) -> V3 {
        let light = self.light.on_ground(p.x, p.y);
        let (label, gap_mm) = self.label_grey(p);
        if let Some(grey) = label {
            return light * grey;
        }
        if let Some(grey) = self.print.grey(p.x, p.y) {
            let shade = 1.0 - 0.35 * (-gap_mm / 0.35).exp();
            return light.component_mul(&V3::new(1.0, 0.995, 0.985)) * grey * shade;
        }
        let [width, height] = self.print.size_mm;
        let beyond = |v: f64, size: f64| (-v).max(v - size);
        let out = beyond(p.x, width).max(beyond(p.y, height));
        if out < BOARD_MARGIN_MM {
            let grain = fbm(V3::new(p.x / 70.0, p.y / 3.5, 1.0), 3);
            let ply = V3::new(0.66, 0.53, 0.37) * (1.0 + 0.07 * grain);
            let edge = 1.0 - 0.25 * smoothstep(BOARD_MARGIN_MM - 1.5, BOARD_MARGIN_MM, out);
            return light.component_mul(&ply) * edge;
        }
        // The couch lies a little lower; the board shades it along its edge.
        let q = ray.at(-(ray.origin.z + BOARD_MM) / ray.dir.z);
        let out = beyond(q.x, width).max(beyond(q.y, height)) - BOARD_MARGIN_MM;
        let vinyl = V3::new(0.10, 0.17, 0.21) * (1.0 + 0.04 * fbm(q / 45.0, 2));
        if out < 0.0 {
            return self.light.open.component_mul(&V3::new(0.50, 0.40, 0.28)) * 0.55;
        }
        let shade = 1.0 - 0.55 * (-out / 11.0).exp();
        let far = smoothstep(500.0, 900.0, out);
        let couch = self.light.open.component_mul(&vinyl) * shade;
        couch * (1.0 - far) + V3::new(0.10, 0.095, 0.09) * self.light.open.mean() * far
    }

    /// Reflectance of the label at a place of the mat, and how far beside the label that is, mm.
    fn label_grey(&self, p: V3) -> (Option<f64>, f64) {
        let (raster, middle, turn_deg) = &self.label;
        let (sin, cos) = turn_deg.to_radians().sin_cos();
        let (dx, dy) = (p.x - middle[0], p.y - middle[1]);
        let (x, y) = (dx * cos + dy * sin, dy * cos - dx * sin);
        let gap = (x.abs() - LABEL_MM[0] / 2.0)
            .max(y.abs() - LABEL_MM[1] / 2.0)
            .max(0.0);
        let grey = raster.at_mm(x + LABEL_MM[0] / 2.0, LABEL_MM[1] / 2.0 - y);
        (grey.map(|g| 0.04 + 0.86 * g), gap)
    }
}

/// Height of the fine relief in mm: threads of the bandage half drowned in plaster, trowelled
/// smears and pits outside; the smoother print of the skin inside.
fn relief(p: V3, along_mm: f64, across_mm: f64, face: Face) -> f64 {
    match face {
        Face::Inner => 0.10 * fbm(p / 7.0, 2) + 0.025 * fbm(p / 1.6, 2),
        Face::Rim => 0.35 * fbm(p / 3.0, 3),
        Face::Outer => {
            let drowned = smoothstep(-0.25, 0.55, fbm(p / 16.0 + V3::repeat(9.0), 3));
            let thread = |mm: f64| (mm * std::f64::consts::TAU / 2.0).sin();
            let net = thread(along_mm + 0.6 * fbm(p / 12.0, 2)).max(thread(across_mm));
            let smear = fbm(V3::new(p.x / 14.0, p.y / 14.0, p.z / 4.0), 3);
            0.05 * net * drowned + 0.42 * smear * 0.6 + 0.05 * fbm(p / 1.7, 2)
        }
    }
}

fn gradient(p: V3, height: impl Fn(V3) -> f64) -> V3 {
    const STEP_MM: f64 = 0.25;
    let here = height(p);
    V3::from_fn(|i, _| {
        let mut q = p;
        q[i] += STEP_MM;
        (height(q) - here) / STEP_MM
    })
}
