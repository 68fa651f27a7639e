//! The plane of a printed symbol: from its unit square to the photograph.

use crate::observed::Px;

/// Projective map from the unit square (0, 0), (1, 0), (1, 1), (0, 1) to four pixels in that order.
#[derive(Debug, Clone, Copy)]
pub struct PhotoFromSquare([f64; 8]);

impl PhotoFromSquare {
    /// The map onto `corners`, `None` where three of them lie on a line.
    /// Closed form: P. Heckbert, Fundamentals of Texture Mapping and Image Warping, 1989, §2.2.3.
    #[must_use]
    pub fn new(corners: &[Px; 4]) -> Option<Self> {
        let [[x0, y0], [x1, y1], [x2, y2], [x3, y3]] = *corners;
        let (sx, sy) = (x0 - x1 + x2 - x3, y0 - y1 + y2 - y3);
        let (dx1, dx2) = (x1 - x2, x3 - x2);
        let (dy1, dy2) = (y1 - y2, y3 - y2);
        let det = dx1 * dy2 - dx2 * dy1;
        if det.abs() < 1e-9 {
            return None;
        }
        let (g, h) = ((sx * dy2 - dx2 * sy) / det, (dx1 * sy - sx * dy1) / det);
        let map = [
            x1 - x0 + g * x1,
            x3 - x0 + h * x3,
            x0,
            y1 - y0 + g * y1,
            y3 - y0 + h * y3,
            y0,
            g,
            h,
        ];
        map.iter().all(|v| v.is_finite()).then_some(Self(map))
    }

    /// The pixel of a point of the square's plane.
    #[must_use]
    pub fn at(&self, [u, v]: [f64; 2]) -> Px {
        let [a, b, c, d, e, f, g, h] = self.0;
        let w = g * u + h * v + 1.0;
        [(a * u + b * v + c) / w, (d * u + e * v + f) / w]
    }
}
