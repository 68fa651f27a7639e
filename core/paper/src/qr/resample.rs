//! Modules measured in the grey picture, for symbols that the black and white one spoils.

use super::luma::Luma;
use plinthside_measure::square::PhotoFromSquare;
use rxing::common::BitMatrix;

/// The symbol with these corners (top-left, top-right, bottom-right, bottom-left), read from the
/// grey picture with a threshold for the whole symbol and with one that follows the light.
pub(super) fn modules_from_grey(
    picture: &Luma<'_>,
    corners: &[[f64; 2]; 4],
    size: usize,
) -> Vec<BitMatrix> {
    let Some(map) = PhotoFromSquare::new(corners) else {
        return Vec::new();
    };
    modules(picture, size, |x, y| {
        map.at([x / size as f64, y / size as f64])
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
