//! Frames, and the turn between the upright photo and the sensor that took it.
//!
//! All right-handed, millimetres, degrees.
//! * **photo**: pixels of the upright image; origin at the outer corner of the top-left pixel,
//!   x right, y down.
//! * **sensor**: the pixels as stored, EXIF turn undone, so that all photographs of a camera share
//!   their intrinsics. A file stored mirrored (orientation 2, 4, 5, 7) is first un-mirrored left to
//!   right: a lens does not mirror.
//! * **camera**: x right, y down, z forward, of the sensor.
//! * **mat**: origin at the sheet's bottom-left corner; X right, Y to the top edge, Z up.
//! * **cast**: Z along the mat's normal, X from heel to toes; see the cast module.
//!
//! Transforms are named target_from_source, points thing_in_frame.

use crate::observed::Px;
use nalgebra::{Isometry3, Matrix4};

/// How the upright photo is turned against the sensor: quarter turns only.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turn {
    /// sensor = matrix · photo + offset.
    matrix: [[f64; 2]; 2],
    offset: [f64; 2],
    /// Width and height of the sensor, pixels.
    pub sensor_px: [f64; 2],
}

impl Turn {
    /// The turn of an EXIF orientation, for an upright image of that size; `None` if the
    /// orientation is not 1-8.
    #[must_use]
    pub fn new(orientation: u8, upright_width: u32, upright_height: u32) -> Option<Self> {
        let (w, h) = (f64::from(upright_width), f64::from(upright_height));
        // Orientations 2, 4, 5, 7 stored mirrored equal 1, 3, 8, 6 once un-mirrored left to right.
        let (matrix, offset, sensor_px) = match orientation {
            1 | 2 => ([[1.0, 0.0], [0.0, 1.0]], [0.0, 0.0], [w, h]),
            3 | 4 => ([[-1.0, 0.0], [0.0, -1.0]], [w, h], [w, h]),
            // Stored must be turned 90° clockwise to be upright.
            6 | 7 => ([[0.0, 1.0], [-1.0, 0.0]], [0.0, w], [h, w]),
            8 | 5 => ([[0.0, -1.0], [1.0, 0.0]], [h, 0.0], [h, w]),
            _ => return None,
        };
        Some(Self {
            matrix,
            offset,
            sensor_px,
        })
    }

    /// Sensor position of a point of the photo.
    #[must_use]
    pub fn sensor_from_photo(&self, [x, y]: Px) -> Px {
        let ([[a, b], [c, d]], [u, v]) = (self.matrix, self.offset);
        [a * x + b * y + u, c * x + d * y + v]
    }

    /// Photo position of a point of the sensor.
    #[must_use]
    pub fn photo_from_sensor(&self, [x, y]: Px) -> Px {
        let [x, y] = [x - self.offset[0], y - self.offset[1]];
        self.turned_to_photo([x, y])
    }

    /// A sensor direction as a photo direction.
    #[must_use]
    pub fn turned_to_photo(&self, [x, y]: Px) -> Px {
        let [[a, b], [c, d]] = self.matrix;
        [a * x + c * y, b * x + d * y]
    }
}

/// A 4 × 4 matrix of a rigid transform, row by row.
#[must_use]
pub fn rows(target_from_source: &Isometry3<f64>) -> [[f64; 4]; 4] {
    let m: Matrix4<f64> = target_from_source.to_homogeneous();
    std::array::from_fn(|i| std::array::from_fn(|j| m[(i, j)]))
}

#[cfg(test)]
mod tests {
    use super::Turn;

    /// Where EXIF 2.32 (CIPA DC-008, tag 0x0112) says row 0 and column 0 of the stored image lie:
    /// the upright position of the stored top-left corner and of its neighbour one column on.
    #[test]
    fn each_orientation_undoes_the_exif_definition() {
        let (w, h) = (30.0, 20.0);
        // Upright places of stored (0, 0) and stored (1, 0) for an upright image of 30 × 20.
        let defined: [(u8, [f64; 2], [f64; 2]); 8] = [
            (1, [0.0, 0.0], [1.0, 0.0]),   // 0th row top, 0th column left
            (2, [w, 0.0], [w - 1.0, 0.0]), // top, right
            (3, [w, h], [w - 1.0, h]),     // bottom, right
            (4, [0.0, h], [1.0, h]),       // bottom, left
            (5, [0.0, 0.0], [0.0, 1.0]),   // left, top
            (6, [w, 0.0], [w, 1.0]),       // right, top
            (7, [w, h], [w, h - 1.0]),     // right, bottom
            (8, [0.0, h], [0.0, h - 1.0]), // left, bottom
        ];
        for (orientation, origin, next) in defined {
            let turn = Turn::new(orientation, 30, 20).expect("1-8");
            let mirrored = matches!(orientation, 2 | 4 | 5 | 7);
            let stored_width = if orientation < 5 { w } else { h };
            let stored = |p: [f64; 2]| {
                let [x, y] = turn.sensor_from_photo(p);
                if mirrored {
                    [stored_width - x, y]
                } else {
                    [x, y]
                }
            };
            assert_eq!(stored(origin), [0.0, 0.0], "orientation {orientation}");
            assert_eq!(stored(next), [1.0, 0.0], "orientation {orientation}");
            let back = turn.photo_from_sensor(turn.sensor_from_photo([3.25, 7.5]));
            assert_eq!(back, [3.25, 7.5], "orientation {orientation}");
        }
        assert!(Turn::new(0, 30, 20).is_none() && Turn::new(9, 30, 20).is_none());
    }
}
