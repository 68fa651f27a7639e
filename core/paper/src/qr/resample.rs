//! Modules measured in the grey picture, for symbols that the black and white one spoils.

use super::luma::Luma;
use rxing::common::BitMatrix;

/// The symbol with these corners (top-left, top-right, bottom-right, bottom-left), read from the
/// grey picture with a threshold for the whole symbol and with one that follows the light.
pub(super) fn modules_from_grey(
    picture: &Luma<'_>,
    corners: &[[f64; 2]; 4],
    size: usize,
) -> Vec<BitMatrix> {
    let Some(map) = square_to_quad(corners) else {
        return Vec::new();
    };
    modules(picture, size, |x, y| {
        map.at(x / size as f64, y / size as f64)
    })
}

/// The symbol of `size` modules whose point (x, y), in modules, lies at `place(x, y)`, read with
/// two thresholds.
pub(super) fn modules(
    picture: &Luma<'_>,
    size: usize,
    place: impl Fn(f64, f64) -> [f64; 2],
) -> Vec<BitMatrix> {
    let grey: Vec<f64> = (0..size * size)
        .map(|i| {
            const OFFSETS: [f64; 3] = [0.3, 0.5, 0.7];
            let mut sum = 0.0;
            for dy in OFFSETS {
                for dx in OFFSETS {
                    let [x, y] = place((i % size) as f64 + dx, (i / size) as f64 + dy);
                    sum += picture.at(x, y);
                }
            }
            sum / 9.0
        })
        .collect();
    let whole = otsu(&grey);
    let local = |x: usize, y: usize| {
        const REACH: usize = 4;
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for yy in y.saturating_sub(REACH)..(y + REACH + 1).min(size) {
            for xx in x.saturating_sub(REACH)..(x + REACH + 1).min(size) {
                low = low.min(grey[yy * size + xx]);
                high = high.max(grey[yy * size + xx]);
            }
        }
        f64::midpoint(low, high)
    };
    let bits = |dark: &dyn Fn(usize, usize) -> bool| {
        let mut bits = BitMatrix::new(size as u32, size as u32).ok()?;
        for y in 0..size {
            for x in 0..size {
                if dark(x, y) {
                    bits.set(x as u32, y as u32);
                }
            }
        }
        Some(bits)
    };
    [
        bits(&|x, y| grey[y * size + x] < local(x, y)),
        bits(&|x, y| grey[y * size + x] < whole),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// A projective map of the unit square.
#[derive(Debug, Clone, Copy)]
pub(super) struct Projection([f64; 8]);

impl Projection {
    /// Where the point (u, v) of the square lies.
    pub(super) fn at(&self, u: f64, v: f64) -> [f64; 2] {
        let map = &self.0;
        let w = map[6] * u + map[7] * v + 1.0;
        [
            (map[0] * u + map[1] * v + map[2]) / w,
            (map[3] * u + map[4] * v + map[5]) / w,
        ]
    }
}

/// The projective map of the unit square to a quadrilateral (Heckbert 1989, "Fundamentals of
/// Texture Mapping and Image Warping", section 2.2.3); `None` for a degenerate one.
pub(super) fn square_to_quad(corners: &[[f64; 2]; 4]) -> Option<Projection> {
    let [[x0, y0], [x1, y1], [x2, y2], [x3, y3]] = *corners;
    let (sx, sy) = (x0 - x1 + x2 - x3, y0 - y1 + y2 - y3);
    let (dx1, dx2) = (x1 - x2, x3 - x2);
    let (dy1, dy2) = (y1 - y2, y3 - y2);
    let det = dx1 * dy2 - dx2 * dy1;
    if !det.is_finite() || det.abs() < 1e-9 {
        return None;
    }
    let g = (sx * dy2 - dx2 * sy) / det;
    let h = (dx1 * sy - sx * dy1) / det;
    Some(Projection([
        x1 - x0 + g * x1,
        x3 - x0 + h * x3,
        x0,
        y1 - y0 + g * y1,
        y3 - y0 + h * y3,
        y0,
        g,
        h,
    ]))
}

/// Otsu's threshold: the split with the largest variance between the two sides.
fn otsu(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let total: f64 = sorted.iter().sum();
    let n = sorted.len() as f64;
    let (mut below, mut best, mut at) = (0.0, -1.0, 127.5);
    for (i, pair) in sorted.windows(2).enumerate() {
        below += pair[0];
        let k = (i + 1) as f64;
        let gap = below / k - (total - below) / (n - k);
        let between = k * (n - k) * gap * gap;
        if between > best {
            best = between;
            at = f64::midpoint(pair[0], pair[1]);
        }
    }
    at
}
