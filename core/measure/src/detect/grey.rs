//! Brightness of a photograph between its pixels.

use crate::observed::Px;

/// Brightness over a photograph with pixel centres at whole + ½.
#[derive(Clone, Copy)]
pub(super) struct Grey<'a> {
    pub pixels: &'a [u8],
    pub width: usize,
    pub height: usize,
}

impl Grey<'_> {
    /// Bilinear brightness at a point, `None` outside the outermost pixel centres.
    pub(super) fn at(&self, [x, y]: Px) -> Option<f64> {
        let (x, y) = (x - 0.5, y - 0.5);
        let inside =
            x >= 0.0 && y >= 0.0 && x < (self.width - 1) as f64 && y < (self.height - 1) as f64;
        if !inside {
            return None;
        }
        let (column, row) = (x as usize, y as usize);
        let (fx, fy) = (x - column as f64, y - row as f64);
        let at = row * self.width + column;
        let pixel = |offset: usize| f64::from(self.pixels[at + offset]);
        let top = pixel(0) * (1.0 - fx) + pixel(1) * fx;
        let bottom = pixel(self.width) * (1.0 - fx) + pixel(self.width + 1) * fx;
        Some(top * (1.0 - fy) + bottom * fy)
    }
}
