//! What is exactly true of the rendered photographs: the content of each `truth.json`.

use nalgebra::{Matrix4, Vector3};
use plinthside_measure::marks::Side;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A 4 × 4 matrix row by row.
pub type Rows = [[f64; 4]; 4];

/// Rows of a matrix.
#[must_use]
pub fn rows(m: &Matrix4<f64>) -> Rows {
    std::array::from_fn(|r| std::array::from_fn(|c| m[(r, c)]))
}

/// Everything known of one cast and its photographs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Side of the cast.
    pub side: Side,
    /// True over drawn size of the printed mat; all places here are in true millimetres.
    pub print_scale: f64,
    /// Height of the inner face above the mat under the middle of the heel, mm.
    pub heel_wall_mm: f64,
    /// Mat frame to cast frame (X towards the mid-point of M1 and M5).
    pub cast_from_mat: Rows,
    /// Marks on the inner face.
    pub marks: Vec<TrueMark>,
    /// True values by name: lengths in mm, angles in degrees.
    pub results: BTreeMap<String, f64>,
    /// The same lengths on the leg before the cast was taken off it.
    pub leg: BTreeMap<String, f64>,
    /// The photographs.
    pub photos: Vec<TruePhoto>,
}

/// One mark.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TrueMark {
    /// Its name in the marks file.
    pub mark: String,
    /// Place in the mat frame, mm.
    pub mat_mm: [f64; 3],
    /// Place in the cast frame, mm.
    pub cast_mm: [f64; 3],
    /// Unit normal of the inner face in the mat frame.
    pub normal: [f64; 3],
}

/// One photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TruePhoto {
    /// File name.
    pub photo: String,
    /// Size of the upright image, pixels.
    pub size_px: [u32; 2],
    /// EXIF orientation.
    pub orientation: u8,
    /// Focal length, pixels.
    pub f_px: f64,
    /// Principal point in the stored (unturned) frame, pixels.
    pub centre_px: [f64; 2],
    /// Radial terms k1, k2 on normalised coordinates.
    pub radial: [f64; 2],
    /// Pose: camera (stored frame: x right, y down, z forward) to mat, mm.
    pub mat_from_camera: Rows,
    /// Where each visible mark stands in the photo frame (upright), pixels.
    pub marks_px: BTreeMap<String, [f64; 2]>,
    /// Corners of each wholly visible tag, photo frame, in the mat file's order.
    pub tags_px: BTreeMap<u32, [[f64; 2]; 4]>,
}

/// A frame with Z up the mat's normal and X from `heel` towards `toes`, its origin on the mat
/// below `origin`.
#[must_use]
pub fn cast_from_mat(origin: Vector3<f64>, heel: Vector3<f64>, toes: Vector3<f64>) -> Matrix4<f64> {
    let level = Vector3::new(toes.x - heel.x, toes.y - heel.y, 0.0).normalize();
    let left = Vector3::z().cross(&level);
    let mut m = Matrix4::identity();
    for (row, axis) in [level, left, Vector3::z()].iter().enumerate() {
        for column in 0..3 {
            m[(row, column)] = axis[column];
        }
        m[(row, 3)] = -axis.dot(&Vector3::new(origin.x, origin.y, 0.0));
    }
    m
}

/// Angles and lengths from marks in the cast frame; `s` is +1 left, −1 right.
///
/// Signs: heel and forefoot inverted positive; `hinge_lower` lateral end lower positive,
/// `hinge_behind` lateral end behind positive; `foot_to_leg` dorsiflexed positive.
#[must_use]
pub fn results(marks: &BTreeMap<&str, Vector3<f64>>, s: f64) -> BTreeMap<String, f64> {
    let (Some(hl), Some(hu)) = (marks.get("heel-lower"), marks.get("heel-upper")) else {
        return BTreeMap::new();
    };
    let at = |name: &str| marks.get(name).copied().unwrap_or_else(Vector3::zeros);
    let angle = |y: f64, x: f64| y.atan2(x).to_degrees();
    let hinge = at("malleolus-lateral") - at("malleolus-medial");
    let heel = hu - hl;
    let calf = at("calf-upper") - at("calf-lower");
    let ball = at("mtp-1") - at("mtp-5");
    let heel_deg = angle(s * heel.y, heel.z);
    let forefoot_deg = angle(ball.z, -s * ball.y);
    let between_deg = forefoot_deg - heel_deg;
    let plane = (at("mtp-1") - hl).cross(&(at("mtp-5") - hl)) * s;
    let up = plane.normalize();
    // The direction of the plantar plane that runs with X seen from the side.
    let forward = Vector3::new(up.z, 0.0, -up.x).normalize();
    let width = ball.y.hypot(ball.z);
    [
        ("heel_deg", heel_deg),
        ("forefoot_deg", forefoot_deg),
        ("forefoot_to_rearfoot_deg", between_deg),
        ("hinge_lower_deg", angle(-hinge.z, s * hinge.y)),
        ("hinge_behind_deg", angle(-hinge.x, s * hinge.y)),
        ("calf_lean_deg", angle(s * calf.y, calf.z)),
        ("foot_to_leg_deg", angle(calf.dot(&forward), calf.dot(&up))),
        ("balance_mm", width * between_deg.to_radians().sin()),
        ("bimalleolar_breadth_mm", hinge.norm()),
        ("heel_to_first_mtp_mm", at("mtp-1").x - hl.x),
        ("heel_to_fifth_mtp_mm", at("mtp-5").x - hl.x),
        (
            "medial_malleolus_forward_mm",
            at("malleolus-medial").x - hl.x,
        ),
        (
            "lateral_malleolus_forward_mm",
            at("malleolus-lateral").x - hl.x,
        ),
    ]
    .map(|(name, value)| (name.to_owned(), value))
    .into()
}
