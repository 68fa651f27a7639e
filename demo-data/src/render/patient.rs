//! The two invented legs: their shells, where the marks sit, how the photographs were taken.

use super::V3;
use super::bvh::Ray;
use super::camera::Stand;
use super::ink::{Ink, PENCIL, Stroke, VIOLET, Writing};
use super::mesh::{Face, Mesh};
use super::raster::{LabelText, handwriting};
use super::shell::{Sheets, ShellSpec, lean_mm};
use nalgebra::{Isometry3, Translation3, UnitQuaternion};

/// One visit's cast and how it was photographed.
#[derive(Debug, Clone)]
pub struct Patient {
    /// Folder and side word.
    pub side: &'static str,
    /// The shell.
    pub shell: ShellSpec,
    /// Where HL's foot would be on the mat, mm, and the turn of the foot against +X, degrees.
    pub stands_at: ([f64; 2], f64),
    /// The label.
    pub label: LabelText,
    /// Its turn, degrees.
    pub label_turn_deg: f64,
    /// The photographs.
    pub stands: Vec<Stand>,
    /// Focal length at rest, pixels; each photograph's own differs a little.
    pub f_px: f64,
    /// What the camera claims to be: make, model, focal length mm, in 35 mm film mm.
    pub camera: (&'static str, &'static str, f64, u16),
    /// Direction of the window.
    pub window: [f64; 3],
    /// A tap that missed, in the marks file as first made.
    pub missed: Option<Missed>,
    /// Local time in the photographs' EXIF.
    pub taken: &'static str,
}

/// A tap that missed its dot.
#[derive(Debug, Clone)]
pub struct Missed {
    /// The mark.
    pub mark: &'static str,
    /// Number of the photograph from 0.
    pub photo: usize,
    /// How far off, pixels of the photo frame.
    pub off_px: [f64; 2],
}

/// Grid of the shell, mm.
pub const STEP_MM: f64 = 2.0;

/// A mark on the shell, mat frame.
#[derive(Debug, Clone)]
pub struct Mark {
    /// Name of the marks file.
    pub name: &'static str,
    /// Place on the surface, mm.
    pub at: V3,
    /// Unit normal out of the plaster.
    pub normal: V3,
    /// Traced round it, points and normals: an outline, or empty.
    pub outline: Vec<(V3, V3)>,
}

impl Patient {
    /// Left foot as drawn to the mat frame, for points; directions lose the translation.
    fn mat_from_drawn(&self) -> Isometry3<f64> {
        let ([x, y], turn_deg) = self.stands_at;
        Isometry3::from_parts(
            Translation3::new(x, y, 0.0),
            UnitQuaternion::from_axis_angle(&V3::z_axis(), turn_deg.to_radians()),
        )
    }

    fn mirror(&self) -> f64 {
        if self.shell.right { -1.0 } else { 1.0 }
    }

    /// Point of the drawn left foot in the mat frame.
    fn point(&self, p: [f64; 3]) -> V3 {
        let mut p = V3::from(p).component_mul(&self.shell.scale);
        p.y *= self.mirror();
        (self.mat_from_drawn() * nalgebra::Point3::from(p)).coords
    }

    fn direction(&self, d: [f64; 3]) -> V3 {
        self.mat_from_drawn() * V3::new(d[0], d[1] * self.mirror(), d[2])
    }

    /// The shell on the mat.
    #[must_use]
    pub fn mesh(&self) -> Mesh {
        self.mesh_with(&self.shell)
    }

    /// The shell as it would be had it not been squeezed: the leg itself.
    #[must_use]
    pub fn leg(&self) -> Mesh {
        self.mesh_with(&ShellSpec {
            squeeze_mm: 0.0,
            ..self.shell.clone()
        })
    }

    fn mesh_with(&self, spec: &ShellSpec) -> Mesh {
        let mut sheets = Sheets::new(spec, STEP_MM);
        sheets.place(&self.mat_from_drawn());
        Mesh::new(&sheets, STEP_MM)
    }

    fn hit(&self, mesh: &Mesh, from: [f64; 3], toward: [f64; 3]) -> Option<(V3, V3)> {
        let ray = Ray {
            origin: self.point(from),
            dir: self.direction(toward),
        };
        mesh.first(&ray)
            .map(|(p, hit)| (p, mesh.mix(&hit, &mesh.normals).normalize()))
    }

    /// The marks on the inner face.
    #[must_use]
    pub fn marks(&self, mesh: &Mesh) -> Vec<Mark> {
        const MEDIAL: [f64; 3] = [0.0, -1.0, 0.0];
        const LATERAL: [f64; 3] = [0.0, 1.0, 0.0];
        const SOLE: [f64; 3] = [0.0, 0.0, -1.0];
        const BACK: [f64; 3] = [-1.0, 0.0, 0.0];
        let behind = |z: f64| [66.0, lean_mm(z, &self.shell), z];
        let list = [
            ("malleolus-medial", [61.0, 0.0, 84.0], MEDIAL),
            ("malleolus-lateral", [52.0, 0.0, 71.5], LATERAL),
            ("malleolus-medial-lower", [60.0, 0.0, 72.5], MEDIAL),
            ("malleolus-lateral-lower", [52.5, 0.0, 58.5], LATERAL),
            ("mtp-1", [171.0, -34.0, 60.0], SOLE),
            ("mtp-5", [151.0, 37.0, 60.0], SOLE),
            ("mtp-2", [176.0, -10.0, 60.0], SOLE),
            ("heel-upper", behind(97.0), BACK),
            ("heel-lower", behind(15.0), BACK),
            ("calf-upper", behind(222.0), BACK),
            ("calf-lower", behind(146.0), BACK),
        ];
        let ring = |centre: [f64; 3], toward, rx: f64, rz: f64| {
            (0..=28)
                .filter_map(|k| {
                    let (sin, cos) = (std::f64::consts::TAU * f64::from(k) / 28.0).sin_cos();
                    let from = [centre[0] + rx * cos, centre[1], centre[2] + rz * sin];
                    self.hit(mesh, from, toward)
                })
                .collect()
        };
        list.into_iter()
            .filter_map(|(name, from, toward)| {
                let (at, normal) = self.hit(mesh, from, toward)?;
                let outline = match name {
                    "malleolus-medial" => ring([60.0, 0.0, 81.5], toward, 12.0, 14.5),
                    "malleolus-lateral" => ring([51.0, 0.0, 69.0], toward, 10.0, 15.0),
                    _ => Vec::new(),
                };
                Some(Mark {
                    name,
                    at,
                    normal,
                    outline,
                })
            })
            .collect()
    }

    /// Everything written on the shell: dots and outlines inside, heel line, side and code outside.
    #[must_use]
    pub fn ink(&self, mesh: &Mesh, marks: &[Mark]) -> Ink {
        let mut strokes = Vec::new();
        for m in marks {
            let size = if m.name.ends_with("lower") && m.name.starts_with("mall") {
                3.4
            } else {
                4.6
            };
            strokes.push(Stroke::new(vec![m.at], size, Face::Inner, VIOLET, 0.55));
            if !m.outline.is_empty() {
                let line = m.outline.iter().map(|(p, _)| *p).collect();
                strokes.push(Stroke::new(line, 1.5, Face::Inner, VIOLET, 0.5));
            }
        }
        let heel: Vec<V3> = (0..=22)
            .filter_map(|k| {
                let z = 18.0 + 4.0 * f64::from(k);
                self.hit(mesh, [-60.0, lean_mm(z, &self.shell), z], [1.0, 0.0, 0.0])
            })
            .map(|(p, _)| p)
            .collect();
        strokes.push(Stroke::new(heel, 1.2, Face::Outer, PENCIL, 0.45));
        // Seen from behind, the patient's right is the viewer's right on either leg.
        let letter = &self.side[..1].to_uppercase();
        let right = self.mat_from_drawn() * -V3::y();
        let write = |text: &str, size: f64, lateral: f64, top: f64, face, tint, strength| Writing {
            corner: self.point([0.0, lateral, top]) - right * (0.28 * size * text.len() as f64),
            right,
            down: -V3::z(),
            raster: handwriting(text, size),
            face,
            toward: self.direction([if face == Face::Inner { 1.0 } else { -1.0 }, 0.0, 0.0]),
            tint,
            strength,
        };
        let writing = vec![
            write(letter, 40.0, 0.0, 204.0, Face::Inner, VIOLET, 0.75),
            write(letter, 52.0, 0.0, 232.0, Face::Outer, PENCIL, 0.9),
            write(&self.label.code, 6.6, 0.0, 176.0, Face::Outer, PENCIL, 0.9),
        ];
        Ink { strokes, writing }
    }
}
