//! Ink and pencil on the plaster: dots, lines and letters.

use super::V3;
use super::mesh::Face;
use super::noise::{fbm, smoothstep};
use super::raster::Raster;

/// Colour that full ink leaves of the light, linear red, green, blue.
pub type Tint = [f64; 3];

/// Indelible violet pencil, printed off from the skin.
pub const VIOLET: Tint = [0.22, 0.045, 0.46];
/// Graphite on plaster.
pub const PENCIL: Tint = [0.24, 0.24, 0.27];

/// A dot (one point) or a line on one face of the shell.
#[derive(Debug, Clone)]
pub struct Stroke {
    /// Points along the line in the mat frame, on the surface.
    pub points: Vec<V3>,
    /// Breadth of the line, diameter of a dot, mm.
    pub breadth_mm: f64,
    /// Face that carries it.
    pub face: Face,
    /// Colour.
    pub tint: Tint,
    /// How far the edge is smeared, mm.
    pub smear_mm: f64,
    centre: V3,
    radius: f64,
}

impl Stroke {
    /// A stroke through `points`.
    #[must_use]
    pub fn new(points: Vec<V3>, breadth_mm: f64, face: Face, tint: Tint, smear_mm: f64) -> Self {
        let centre = points.iter().sum::<V3>() / points.len().max(1) as f64;
        let reach = points
            .iter()
            .map(|p| (p - centre).norm())
            .fold(0.0, f64::max);
        let radius = reach + breadth_mm + 3.0 * smear_mm;
        Self {
            points,
            breadth_mm,
            face,
            tint,
            smear_mm,
            centre,
            radius,
        }
    }

    fn cover(&self, p: V3) -> f64 {
        if (p - self.centre).norm_squared() > self.radius * self.radius {
            return 0.0;
        }
        let nearest = if let [dot] = self.points[..] {
            (p - dot).norm()
        } else {
            self.points
                .windows(2)
                .map(|s| to_segment(p, s[0], s[1]))
                .fold(f64::MAX, f64::min)
        };
        // A transferred line is uneven: its edge wanders, and skin furrows leave gaps.
        let edge = nearest + 0.35 * self.smear_mm * fbm(p / 1.3, 2);
        let half = self.breadth_mm / 2.0;
        let body = smoothstep(half + self.smear_mm, half - self.smear_mm, edge);
        body * (0.80 + 0.20 * fbm(p / 0.9 + V3::repeat(40.0), 2)).clamp(0.0, 1.0)
    }
}

fn to_segment(p: V3, a: V3, b: V3) -> f64 {
    let along = b - a;
    let t = ((p - a).dot(&along) / along.norm_squared().max(1e-12)).clamp(0.0, 1.0);
    (p - a - along * t).norm()
}

/// A letter or word written on the shell, laid on by parallel projection.
#[derive(Debug, Clone)]
pub struct Writing {
    /// Top-left corner of the picture in the mat frame, mm.
    pub corner: V3,
    /// Unit vector along the writing.
    pub right: V3,
    /// Unit vector down the page.
    pub down: V3,
    /// The writing; 0 is ink.
    pub raster: Raster,
    /// Face that carries it.
    pub face: Face,
    /// Only where the surface faces this way.
    pub toward: V3,
    /// Colour.
    pub tint: Tint,
    /// Share of ink that holds.
    pub strength: f64,
}

impl Writing {
    fn cover(&self, p: V3, normal: V3) -> f64 {
        if normal.dot(&self.toward) < 0.25 {
            return 0.0;
        }
        let from = p - self.corner;
        let wander = 0.35 * fbm(p / 3.0, 2);
        let (x, y) = (
            from.dot(&self.right) + wander,
            from.dot(&self.down) - wander,
        );
        let ink = 1.0 - self.raster.at_mm(x, y).unwrap_or(1.0);
        ink * self.strength * (0.78 + 0.30 * fbm(p / 0.8, 2)).clamp(0.0, 1.0)
    }
}

/// All that is written on a shell.
#[derive(Debug, Default)]
pub struct Ink {
    /// Dots and lines.
    pub strokes: Vec<Stroke>,
    /// Letters.
    pub writing: Vec<Writing>,
}

impl Ink {
    /// Multiplies the plaster's colour at `p` by the ink there.
    pub fn stain(&self, p: V3, normal: V3, face: Face, colour: &mut Tint) {
        let mut lay = |cover: f64, tint: &Tint| {
            if cover > 0.0 {
                for (c, t) in colour.iter_mut().zip(tint) {
                    *c *= 1.0 - cover * (1.0 - t);
                }
            }
        };
        for s in self.strokes.iter().filter(|s| s.face == face) {
            lay(s.cover(p), &s.tint);
        }
        for w in self.writing.iter().filter(|w| w.face == face) {
            lay(w.cover(p, normal), &w.tint);
        }
    }
}
