//! AprilTag 36h11 tags in a photograph.
//!
//! The AprilTag 3 C library (crate `apriltag`) finds them. **This is the one place where its
//! conventions become ours**: its pixel centres lie at whole + ½, as in [`crate::observed::Px`],
//! so positions are taken as they are; its corners run bottom-left, bottom-right, top-right,
//! top-left of the upright tag and become top-left, top-right, bottom-right, bottom-left.

use crate::observed::{PhotoTags, Px, SeenTag};
use crate::photo::Photograph;
use apriltag::{Detector, Family, Image};

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
    /// Squares are sought in the image reduced by this factor, then refined at full size.
    pub decimate: f32,
}

impl Default for DetectOptions {
    fn default() -> Self {
        Self {
            border: Border::One,
            threads: 1,
            decimate: 2.0,
        }
    }
}

/// Finds the tags of one photograph. A tag seen twice is listed twice: the solution refuses it by
/// name.
#[must_use]
pub fn tags(photo: &Photograph, options: &DetectOptions) -> PhotoTags {
    PhotoTags {
        photo: photo.name.clone(),
        width: photo.width,
        height: photo.height,
        orientation: photo.orientation,
        camera: photo.camera.clone(),
        exif_focal_px: photo.exif_focal_px,
        tags: find(photo, options),
    }
}

fn find(photo: &Photograph, options: &DetectOptions) -> Vec<SeenTag> {
    let (width, height) = (photo.width as usize, photo.height as usize);
    let Ok(mut image) = Image::zeros_with_alignment(width, height, 96) else {
        return Vec::new();
    };
    let stride = image.stride();
    for (row, line) in photo.luma().chunks_exact(width).enumerate() {
        image.as_slice_mut()[row * stride..row * stride + width].copy_from_slice(line);
    }
    let Ok(mut detector) = Detector::builder()
        .add_family_bits(Family::tag_36h11(), 2)
        .build()
    else {
        return Vec::new();
    };
    detector.set_thread_number(options.threads.max(1));
    detector.set_decimation(options.decimate);
    detector
        .detect(&image)
        .iter()
        .map(|found| {
            let [bottom_left, bottom_right, top_right, top_left]: [Px; 4] = found.corners();
            SeenTag {
                id: found.id() as u32,
                corners_px: [top_left, top_right, bottom_right, bottom_left],
            }
        })
        .collect()
}
