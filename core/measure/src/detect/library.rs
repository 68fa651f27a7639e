//! Tags with a border of one cell, found by the AprilTag 3 C library.

use super::grey::Grey;
use super::{Border, edges};
use crate::observed::{Px, SeenTag};
use apriltag::{Detector, Family, Image};
use std::cell::RefCell;

/// Rows of the library's images begin at multiples of this.
const ALIGNMENT: usize = 96;
/// Wrong bits that the library puts right.
const CORRECTED_BITS: usize = 2;
/// Least mean distance of the data cells' brightness from the threshold. On other people's
/// photographs true tags lie above 40; clutter that passes for a tag under 10.
const LEAST_MARGIN: f32 = 10.0;

thread_local! {
    /// Building a detector takes as long as reading a small photograph: each thread keeps its own.
    static DETECTOR: RefCell<Option<Detector>> = const { RefCell::new(None) };
    /// So does the memory for a large one: the next of the same size is copied over the last.
    static IMAGE: RefCell<Option<Image>> = const { RefCell::new(None) };
}

/// Finds tags, corners in our order (see the [module](super)), and whether each has clear edges.
pub(super) fn tags(grey: &Grey<'_>, threads: u8, decimate: f32) -> Vec<(SeenTag, bool)> {
    IMAGE.with_borrow_mut(|image| {
        DETECTOR.with_borrow_mut(|detector| {
            // Both fail only where memory ends; the photograph itself took more.
            let (Some(image), Some(detector)) = (filled(image, grey), built(detector)) else {
                return Vec::new();
            };
            detector.set_thread_number(threads.max(1));
            detector.set_decimation(decimate);
            found_by(detector, image, grey)
        })
    })
}

fn built(kept: &mut Option<Detector>) -> Option<&mut Detector> {
    if kept.is_none() {
        let builder = Detector::builder().add_family_bits(Family::tag_36h11(), CORRECTED_BITS);
        *kept = builder.build().ok();
    }
    kept.as_mut()
}

fn filled<'a>(kept: &'a mut Option<Image>, grey: &Grey<'_>) -> Option<&'a Image> {
    let (width, height) = (grey.width, grey.height);
    let fits = |image: &Image| (image.width(), image.height()) == (width, height);
    if !kept.as_ref().is_some_and(fits) {
        *kept = Image::zeros_with_alignment(width, height, ALIGNMENT).ok();
    }
    let image = kept.as_mut()?;
    let stride = image.stride();
    let lines = grey.pixels.chunks_exact(width);
    for (to, from) in image.as_slice_mut().chunks_exact_mut(stride).zip(lines) {
        to[..width].copy_from_slice(from);
    }
    Some(image)
}

fn found_by(detector: &mut Detector, image: &Image, grey: &Grey<'_>) -> Vec<(SeenTag, bool)> {
    detector
        .detect(image)
        .iter()
        .filter(|found| found.decision_margin() >= LEAST_MARGIN)
        .map(|found| {
            let [bottom_left, bottom_right, top_right, top_left]: [Px; 4] = found.corners();
            let corners = [top_left, top_right, bottom_right, bottom_left];
            // The library's own corners are 0.05 px off, these 0.02 px.
            let settled = edges::settle(grey, &corners, Border::One.side_cells());
            let tag = SeenTag {
                id: found.id() as u32,
                corners_px: settled.unwrap_or(corners),
            };
            (tag, settled.is_some())
        })
        .collect()
}
