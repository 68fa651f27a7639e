//! AprilTag 36h11 tags in a photograph.
//!
//! **This is the one place where other conventions become ours.** The AprilTag 3 C library (crate
//! `apriltag`) finds tags whose border is one cell wide. Its pixel centres lie at whole + ½, as in
//! [`crate::observed::Px`], so positions are taken as they are; its corners run bottom-left,
//! bottom-right, top-right, top-left of the upright tag and become top-left, top-right,
//! bottom-right, bottom-left. Its positions are
//! then refined (`edges`). Tags with a border of two cells are found by `squares`.

mod codes;
mod edges;
mod family;
mod grey;
mod library;
mod quads;
mod squares;
#[cfg(test)]
mod tests;
mod warn;

use crate::observed::{PhotoTags, SeenTag};
use crate::photo::Photograph;
pub use family::{TAG_COUNT, cells};
use grey::Grey;
pub use warn::{TagWarning, warnings};

/// Width of a tag's black border in cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Border {
    /// One cell: the AprilTag library's own drawings and our mat.
    #[default]
    One,
    /// Two cells: calibration grids.
    Two,
}

/// How tags are looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DetectOptions {
    /// Width of the black border.
    pub border: Border,
    /// Threads for this one photograph; 1 when several photographs run beside each other.
    pub threads: u8,
    /// Squares are sought in the image reduced by this factor (at least 1), then refined at full
    /// size; `None` chooses it by the image's size.
    pub decimate: Option<f32>,
}

impl Default for DetectOptions {
    fn default() -> Self {
        Self {
            border: Border::One,
            threads: 1,
            decimate: None,
        }
    }
}

/// Images up to this many pixels are searched whole.
const SEARCHED_WHOLE_PX: u64 = 2_000_000;
/// Larger ones than this are first searched coarsely, where large tags are found in a third of the
/// time.
const SEARCHED_COARSELY_PX: u64 = 6_000_000;
const COARSE: f32 = 4.0;
/// A coarse search counts if it finds this many tags and sees each cell of the smallest more than
/// 1.5 pixels wide. It reads cells of one pixel, and tags of one sheet that lie beside each other
/// never differ by half in size: what it missed would have a neighbour too small to count.
const COARSE_TAGS: usize = 8;
const COARSE_SIDE_PX: f64 = 8.0 * 1.5 * COARSE as f64;

/// Whether a coarse search found all there is, each tag with clear edges.
fn is_enough(found: &[(SeenTag, bool)]) -> bool {
    let shortest_side = |tag: &SeenTag| {
        let side = |i: usize| {
            let (a, b) = (tag.corners_px[i], tag.corners_px[(i + 1) % 4]);
            (a[0] - b[0]).hypot(a[1] - b[1])
        };
        (0..4).map(side).fold(f64::INFINITY, f64::min)
    };
    let clear = |(tag, settled): &(SeenTag, bool)| *settled && shortest_side(tag) >= COARSE_SIDE_PX;
    found.len() >= COARSE_TAGS && found.iter().all(clear)
}

/// Finds the tags of one photograph. A tag seen twice is listed twice: the solution refuses it by
/// name. See [`warnings`] for what to say when too few are found.
#[must_use]
pub fn tags(photo: &Photograph, options: &DetectOptions) -> PhotoTags {
    let luma = photo.luma();
    let grey = Grey {
        pixels: &luma,
        width: photo.width as usize,
        height: photo.height as usize,
    };
    PhotoTags {
        photo: photo.name.clone(),
        width: photo.width,
        height: photo.height,
        orientation: photo.orientation,
        camera: photo.camera.clone(),
        exif_focal_px: photo.exif_focal_px,
        tags: search(photo, &grey, options),
    }
}

/// Searches one photograph with the factor asked for, else with those that suit its size.
fn search(photo: &Photograph, grey: &Grey<'_>, options: &DetectOptions) -> Vec<SeenTag> {
    let area = u64::from(photo.width) * u64::from(photo.height);
    // Smaller images hold no tag: its 10 × 10 cells need some pixels each.
    if grey.width.min(grey.height) < 16 {
        return Vec::new();
    }
    let factor = match options.decimate {
        Some(factor) if factor.is_finite() => factor.clamp(1.0, 8.0),
        _ if area <= SEARCHED_WHOLE_PX => 1.0,
        _ => 2.0,
    };
    if options.border == Border::Two {
        return squares::tags(grey, options.border, factor.round() as usize);
    }
    let mut found = Vec::new();
    if options.decimate.is_none() && area > SEARCHED_COARSELY_PX {
        found = library::tags(grey, options.threads, COARSE);
    }
    if !is_enough(&found) {
        found = library::tags(grey, options.threads, factor);
    }
    found.into_iter().map(|(tag, _)| tag).collect()
}
