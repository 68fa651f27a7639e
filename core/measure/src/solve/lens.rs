//! What a lens does to normalised coordinates, with derivatives.

use nalgebra::{Vector2, Vector3};

/// Widest angle from the axis, radians: 87°.
const MOST_ANGLE: f64 = 1.52;
/// Parameters of one camera body and lens.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Lens {
    /// ln F; F in pixels.
    pub ln_f: f64,
    /// Principal point on the sensor, pixels.
    pub c: [f64; 2],
    /// Radial distortion: r², r⁴, r⁶.
    pub k: [f64; 3],
    /// Decentring.
    pub p: [f64; 2],
    /// ln of a pixel's height over its width: fx = f·e^(s/2), fy = f·e^(−s/2).
    pub s: f64,
    pub form: Projection,
}

/// What the distortion starts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Projection {
    /// r = tan θ: straight lines stay straight.
    Perspective,
    /// r = θ: a wide-angle lens.
    Equidistant,
}

impl Lens {
    /// A lens without distortion.
    pub fn plain(f_px: f64, c: [f64; 2]) -> Self {
        Self {
            ln_f: f_px.ln(),
            c,
            k: [0.0; 3],
            p: [0.0; 2],
            s: 0.0,
            form: Projection::Perspective,
        }
    }

    /// Factor on normalised coordinates before distortion, and its derivative by r over r.
    pub fn shortening(&self, x: f64, y: f64) -> (f64, f64) {
        let r2 = x * x + y * y;
        match self.form {
            Projection::Perspective => (1.0, 0.0),
            // The series of atan(r)/r where its closed form loses digits.
            Projection::Equidistant if r2 < 1e-6 => (1.0 - r2 / 3.0, 2.0 * (r2 / 5.0 - 1.0 / 3.0)),
            Projection::Equidistant => {
                let w = r2.sqrt().atan() / r2.sqrt();
                (w, (1.0 / (1.0 + r2) - w) / r2)
            }
        }
    }

    /// Distortion factor d at r².
    pub fn radial(&self, r2: f64) -> f64 {
        1.0 + r2 * (self.k[0] + r2 * (self.k[1] + r2 * self.k[2]))
    }

    /// How the distorted radius grows with r: the derivative of r·d.
    pub fn growth(&self, r2: f64) -> f64 {
        1.0 + r2 * (3.0 * self.k[0] + r2 * (5.0 * self.k[1] + r2 * 7.0 * self.k[2]))
    }

    /// Normalised coordinates as the lens bends them.
    pub fn bent(&self, x: f64, y: f64) -> [f64; 2] {
        let (r2, [p1, p2]) = (x * x + y * y, self.p);
        let d = self.radial(r2);
        [
            d * x + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            d * y + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        ]
    }

    /// Derivatives of [`Self::bent`]: by x of the first, the mixed one (they agree), by y of the second.
    pub fn bending(&self, x: f64, y: f64) -> [f64; 3] {
        let (r2, [p1, p2]) = (x * x + y * y, self.p);
        let d = self.radial(r2);
        let g2 = 2.0 * (self.k[0] + r2 * (2.0 * self.k[1] + r2 * 3.0 * self.k[2]));
        [
            d + g2 * x * x + 2.0 * p1 * y + 6.0 * p2 * x,
            g2 * x * y + 2.0 * p1 * x + 2.0 * p2 * y,
            d + g2 * y * y + 6.0 * p1 * y + 2.0 * p2 * x,
        ]
    }

    /// Unit direction of undistorted coordinates; `None` from the side or behind.
    pub fn direction(&self, n: Vector2<f64>) -> Option<Vector3<f64>> {
        let angle = n.norm();
        match self.form {
            Projection::Perspective => Some(Vector3::new(n.x, n.y, 1.0).normalize()),
            Projection::Equidistant if angle >= MOST_ANGLE => None,
            Projection::Equidistant => {
                let side = if angle > 0.0 {
                    angle.sin() / angle
                } else {
                    1.0
                };
                Some(Vector3::new(n.x * side, n.y * side, angle.cos()))
            }
        }
    }

    /// Focal lengths across and down, over the photograph's own f.
    pub fn stretch(&self) -> [f64; 2] {
        [(0.5 * self.s).exp(), (-0.5 * self.s).exp()]
    }
}
