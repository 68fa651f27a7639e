//! From grey to black and white: the step that decides whether a code is found.

use super::luma::Luma;
use rxing::common::{BitMatrix, GlobalHistogramBinarizer, HybridBinarizer};
use rxing::{Binarizer, Luma8Source};

/// One way of telling dark from bright.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Threshold {
    /// Block means, smoothed over 5 × 5 blocks of 8 pixels.
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
    let source = || Luma8Source::new_with_slice(&picture.pixels, width, height).ok();
    match threshold {
        Threshold::Blocks => HybridBinarizer::new(source()?)
            .get_black_matrix()
            .ok()
            .cloned(),
        Threshold::Histogram => GlobalHistogramBinarizer::new(source()?)
            .get_black_matrix()
            .ok()
            .cloned(),
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
