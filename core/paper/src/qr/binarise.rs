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
            for (j, (block, &threshold)) in pixels.chunks(BLOCK).zip(black).enumerate() {
                for (k, &p) in block.iter().enumerate() {
                    word |= usize::from(p <= threshold) << (j * BLOCK + k);
                }
            }
            row_bits.setBulk(i * WORD, word);
        }
        bits.setRow(y as u32, &row_bits);
    }
    Some(bits)
}

/// The level between dark and bright in each block of 8 × 8 pixels; blocks at the right and lower
/// edge are moved inward to be whole.
fn black_points(picture: &Luma<'_>, columns: usize, rows: usize) -> Vec<u8> {
    let (width, height) = (picture.width, picture.height);
    let mut points = vec![0_u8; columns * rows];
    let mut statistics = vec![(0_u16, u8::MAX, u8::MIN); columns];
    for by in 0..rows {
        let top = (by * BLOCK).min(height - BLOCK);
        statistics.fill((0, u8::MAX, u8::MIN));
        for row in picture.pixels[top * width..(top + BLOCK) * width].chunks_exact(width) {
            let whole = row.chunks_exact(BLOCK);
            let last = (width % BLOCK != 0).then(|| &row[width - BLOCK..]);
            for (s, block) in statistics.iter_mut().zip(whole.chain(last)) {
                for &p in block {
                    s.0 += u16::from(p);
                    s.1 = s.1.min(p);
                    s.2 = s.2.max(p);
                }
            }
        }
        for (bx, &(sum, low, high)) in statistics.iter().enumerate() {
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
