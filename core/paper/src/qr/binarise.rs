//! From grey to black and white: the step that decides whether a code is found.

use super::luma::Luma;
use rxing::common::{BitArray, BitMatrix, GlobalHistogramBinarizer};
use rxing::{Binarizer, Luma8Source};

/// One way of telling dark from bright.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Threshold {
    /// Means of blocks of 8 pixels, smoothed over 5 × 5 blocks (the ZXing project's method).
    Blocks,
    /// One threshold for the whole picture, from its histogram.
    Histogram,
    /// Darker than the mean around, over a square of this radius, by this much.
    Around {
        /// Radius of the square as a share of the longer edge.
        share: f64,
        /// How much darker, of 255.
        bias: i32,
    },
}

/// The dark pixels of a picture; `None` for a picture with no contrast or no size.
pub(super) fn dark_pixels(picture: &Luma<'_>, threshold: Threshold) -> Option<BitMatrix> {
    let (width, height) = (picture.width as u32, picture.height as u32);
    match threshold {
        Threshold::Blocks if width >= 40 && height >= 40 => blocks(picture),
        Threshold::Blocks | Threshold::Histogram => {
            let source = Luma8Source::new_with_slice(&picture.pixels, width, height).ok()?;
            let binarizer = GlobalHistogramBinarizer::new(source);
            binarizer.get_black_matrix().ok().cloned()
        }
        Threshold::Around { share, bias } => {
            let radius = ((picture.longest() as f64 * share) as usize).max(2);
            let mean = picture.box_mean(radius);
            let mut bits = BitMatrix::new(width, height).ok()?;
            let rows = picture
                .pixels
                .chunks_exact(picture.width)
                .zip(mean.chunks_exact(picture.width));
            for (y, (row, mean)) in (0_u32..).zip(rows) {
                for (x, (&p, &m)) in (0_u32..).zip(row.iter().zip(mean)) {
                    if i32::from(p) + bias < i32::from(m) {
                        bits.set(x, y);
                    }
                }
            }
            Some(bits)
        }
    }
}

const BLOCK: usize = 8;
/// A block with less contrast than this is taken as all bright or all dark.
const LEAST_CONTRAST: u8 = 24;

/// Thresholds by blocks: the method of the ZXing project's `HybridBinarizer` (Apache-2.0), written
/// row by row so that a photograph of 12 megapixels takes tens of milliseconds.
fn blocks(picture: &Luma<'_>) -> Option<BitMatrix> {
    let (columns, rows) = (
        picture.width.div_ceil(BLOCK),
        picture.height.div_ceil(BLOCK),
    );
    let black = smoothed(&black_points(picture, columns, rows), columns, rows);
    let mut bits = BitMatrix::new(picture.width as u32, picture.height as u32).ok()?;
    const WORD: usize = usize::BITS as usize;
    let mut row_bits = BitArray::with_size(picture.width);
    for (y, row) in picture.pixels.chunks_exact(picture.width).enumerate() {
        let black = &black[y / BLOCK * columns..][..columns];
        let words = row.chunks(WORD).zip(black.chunks(WORD / BLOCK));
        for (i, (pixels, black)) in words.enumerate() {
            let mut word = 0_usize;
            let (whole, rest) = pixels.as_chunks::<BLOCK>();
            for (j, (block, &threshold)) in whole.iter().zip(black).enumerate() {
                word |= (not_above(*block, threshold) as usize) << (j * BLOCK);
            }
            if let Some(&threshold) = black.get(whole.len()) {
                for (k, &p) in rest.iter().enumerate() {
                    word |= usize::from(p <= threshold) << (whole.len() * BLOCK + k);
                }
            }
            row_bits.setBulk(i * WORD, word);
        }
        bits.setRow(y as u32, &row_bits);
    }
    Some(bits)
}

/// Which of eight pixels are not brighter than a threshold, the first in the lowest bit: all eight
/// compared in one word.
fn not_above(block: [u8; BLOCK], threshold: u8) -> u8 {
    const HIGH: u64 = 0x8080_8080_8080_8080;
    let (p, t) = (
        u64::from_le_bytes(block),
        u64::from_le_bytes([threshold; BLOCK]),
    );
    // High bit of each byte: whether the low seven bits of t are at least those of p.
    let low = (t | HIGH) - (p & !HIGH);
    let not_above = ((!p & t) | (!(p ^ t) & low)) & HIGH;
    // The high bits of the eight bytes gathered into one.
    ((not_above >> 7).wrapping_mul(0x0102_0408_1020_4080) >> 56) as u8
}

/// The level between dark and bright in each block of 8 × 8 pixels; blocks at the right and lower
/// edge are moved inward to be whole.
fn black_points(picture: &Luma<'_>, columns: usize, rows: usize) -> Vec<u8> {
    let (width, height) = (picture.width, picture.height);
    let mut points = vec![0_u8; columns * rows];
    // Down the columns first: whole rows are taken many pixels at a time.
    let mut sums = vec![0_u16; width];
    let (mut lows, mut highs) = (vec![u8::MAX; width], vec![u8::MIN; width]);
    for by in 0..rows {
        let top = (by * BLOCK).min(height - BLOCK);
        sums.fill(0);
        lows.fill(u8::MAX);
        highs.fill(u8::MIN);
        for row in picture.pixels[top * width..(top + BLOCK) * width].chunks_exact(width) {
            let columns = sums.iter_mut().zip(&mut lows).zip(&mut highs);
            for (((sum, low), high), &p) in columns.zip(row) {
                *sum += u16::from(p);
                *low = (*low).min(p);
                *high = (*high).max(p);
            }
        }
        for bx in 0..columns {
            let left = (bx * BLOCK).min(width - BLOCK);
            let sum: u16 = sums[left..left + BLOCK].iter().sum();
            let low = lows[left..left + BLOCK]
                .iter()
                .copied()
                .fold(u8::MAX, u8::min);
            let high = highs[left..left + BLOCK]
                .iter()
                .copied()
                .fold(u8::MIN, u8::max);
            let mut point = (sum / (BLOCK * BLOCK) as u16) as u8;
            if high - low <= LEAST_CONTRAST {
                // Nothing to split: bright, unless the neighbours' level says it is dark.
                point = low / 2;
                if by > 0 && bx > 0 {
                    let at = |x: usize, y: usize| u16::from(points[y * columns + x]);
                    let around = (at(bx, by - 1) + 2 * at(bx - 1, by) + at(bx - 1, by - 1)) / 4;
                    if u16::from(low) < around {
                        point = around as u8;
                    }
                }
            }
            points[by * columns + bx] = point;
        }
    }
    points
}

/// Means over 5 × 5 blocks, the window moved inward at the edges.
fn smoothed(points: &[u8], columns: usize, rows: usize) -> Vec<u8> {
    let mut out = Vec::with_capacity(points.len());
    for y in 0..rows {
        let top = y.clamp(2, rows - 3) - 2;
        for x in 0..columns {
            let left = x.clamp(2, columns - 3) - 2;
            let sum: u32 = (top..top + 5)
                .flat_map(|yy| &points[yy * columns + left..yy * columns + left + 5])
                .map(|&p| u32::from(p))
                .sum();
            out.push((sum / 25) as u8);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_pixels_at_once_are_as_one_by_one() {
        for threshold in 0..=255_u8 {
            for start in 0..=255_u8 {
                let block = [0, 1, 2, 64, 127, 128, 129, 255].map(|d: u8| start.wrapping_add(d));
                let one_by_one =
                    (0..BLOCK).fold(0, |bits, i| bits | u8::from(block[i] <= threshold) << i);
                assert_eq!(not_above(block, threshold), one_by_one);
            }
        }
    }
}
