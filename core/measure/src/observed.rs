//! What was seen in the photographs: tags, marks and which camera took them.

use crate::marks::{MarkName, Surface};
use serde::{Deserialize, Serialize};

/// A pixel position in the *photo* frame: upright image (EXIF orientation applied), origin at the
/// outer corner of the top-left pixel, x right, y down; the centre of the first pixel is (0.5, 0.5).
pub type Px = [f64; 2];

/// One tag found in one photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeenTag {
    /// Number of the tag in its family.
    pub id: u32,
    /// Corners in the mat file's order: top-left, top-right, bottom-right, bottom-left of the
    /// upright tag as the AprilTag 3 library draws it.
    pub corners_px: [Px; 4],
}

/// The body and lens that took a photograph; photographs with equal keys share intrinsics.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct CameraKey {
    /// EXIF `Make`, empty if not given.
    pub make: String,
    /// EXIF `Model`, empty if not given.
    pub model: String,
    /// EXIF `LensModel`, empty if not given.
    pub lens: String,
    /// Stored (unturned) sensor width in pixels.
    pub sensor_width_px: u32,
    /// Stored (unturned) sensor height in pixels.
    pub sensor_height_px: u32,
}

/// One photograph as the solution sees it: size, turn, camera and the tags in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhotoTags {
    /// File name or other name that the marks refer to.
    pub photo: String,
    /// Width of the upright image, pixels.
    pub width: u32,
    /// Height of the upright image, pixels.
    pub height: u32,
    /// EXIF orientation 1-8 that was applied to make the image upright.
    #[serde(default = "upright")]
    pub orientation: u8,
    /// The camera; without EXIF only the sensor size tells cameras apart.
    #[serde(default)]
    pub camera: CameraKey,
    /// Focal length in pixels guessed from EXIF (can be 4 % off), if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exif_focal_px: Option<f64>,
    /// The tags found.
    pub tags: Vec<SeenTag>,
}

fn upright() -> u8 {
    1
}

/// One mark tapped (or found) in one photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MarkView {
    /// Which mark.
    pub mark: MarkName,
    /// Name of the photograph.
    pub photo: String,
    /// Position in the photo frame.
    pub px: Px,
    /// Standard deviation of the tap on each axis, pixels.
    pub sd_px: f64,
    /// The face of the shell that carries the mark.
    pub surface: Surface,
}
