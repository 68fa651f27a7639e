//! The camera that takes the rendered photographs.
//!
//! Pinhole with square pixels; radial k1, k2 on normalised coordinates: (x, y)·(1 + k1 r² + k2 r⁴).
//! Pixels have their first centre at (0.5, 0.5). The lens model lives in the stored sensor frame;
//! [`Camera::upright`] applies the EXIF turn.

use super::V3;
use super::bvh::Ray;
use nalgebra::{Matrix3, Matrix4};

/// One photograph's camera.
#[derive(Debug, Clone)]
pub struct Camera {
    /// Focal length, pixels.
    pub f_px: f64,
    /// Principal point in the stored frame, pixels.
    pub centre_px: [f64; 2],
    /// Radial terms k1, k2.
    pub radial: [f64; 2],
    /// Stored width and height, pixels.
    pub size_px: [u32; 2],
    /// EXIF orientation: 1, or 6 for a quarter turn.
    pub orientation: u8,
    /// Rotation from the mat frame to the camera's (x right, y down, z forward).
    pub rotation: Matrix3<f64>,
    /// Place of the camera in the mat frame, mm.
    pub eye: V3,
}

/// Where a camera stands and what it aims at.
#[derive(Debug, Clone, Copy)]
pub struct Stand {
    /// From the toes (+X of the mat) towards +Y, degrees.
    pub azimuth_deg: f64,
    /// Above the mat, degrees.
    pub elevation_deg: f64,
    /// From the point aimed at, mm.
    pub distance_mm: f64,
    /// Point aimed at in the mat frame, mm.
    pub aim: [f64; 3],
    /// Hand-held roll, degrees.
    pub roll_deg: f64,
    /// Held upright: the sensor is turned a quarter.
    pub turned: bool,
}

impl Stand {
    /// Rotation and place of the camera.
    #[must_use]
    pub fn pose(&self) -> (Matrix3<f64>, V3) {
        let (azimuth, elevation) = (
            self.azimuth_deg.to_radians(),
            self.elevation_deg.to_radians(),
        );
        let out = V3::new(
            elevation.cos() * azimuth.cos(),
            elevation.cos() * azimuth.sin(),
            elevation.sin(),
        );
        let forward = -out;
        let right = forward.cross(&V3::z()).normalize();
        let down = forward.cross(&right);
        let (sin, cos) = self.roll_deg.to_radians().sin_cos();
        let (x, y) = (right * cos + down * sin, down * cos - right * sin);
        // Turned: the sensor's x runs down the scene, its y to the scene's left (orientation 6).
        let (x, y) = if self.turned { (y, -x) } else { (x, y) };
        let rotation = Matrix3::from_rows(&[x.transpose(), y.transpose(), forward.transpose()]);
        (rotation, V3::from(self.aim) + out * self.distance_mm)
    }
}

impl Camera {
    /// Stored pixel of a point in the mat frame; none behind the camera.
    #[must_use]
    pub fn project(&self, p: V3) -> Option<[f64; 2]> {
        let c = self.rotation * (p - self.eye);
        if c.z <= 1e-6 {
            return None;
        }
        let (x, y) = (c.x / c.z, c.y / c.z);
        let r2 = x * x + y * y;
        let swell = 1.0 + r2 * (self.radial[0] + r2 * self.radial[1]);
        Some([
            self.centre_px[0] + self.f_px * x * swell,
            self.centre_px[1] + self.f_px * y * swell,
        ])
    }

    /// Ray in the mat frame through a stored pixel position, unit direction.
    #[must_use]
    pub fn ray(&self, px: [f64; 2]) -> Ray {
        let x = (px[0] - self.centre_px[0]) / self.f_px;
        let y = (px[1] - self.centre_px[1]) / self.f_px;
        let distorted = x.hypot(y);
        let mut r = distorted;
        for _ in 0..8 {
            let r2 = r * r;
            let value = r * (1.0 + r2 * (self.radial[0] + r2 * self.radial[1])) - distorted;
            let slope = 1.0 + r2 * (3.0 * self.radial[0] + 5.0 * r2 * self.radial[1]);
            r -= value / slope;
        }
        let shrink = if distorted > 0.0 { r / distorted } else { 1.0 };
        let direction = V3::new(x * shrink, y * shrink, 1.0).normalize();
        Ray {
            origin: self.eye,
            dir: self.rotation.transpose() * direction,
        }
    }

    /// Stored pixel position to the photo frame (EXIF turn applied).
    #[must_use]
    pub fn upright(&self, px: [f64; 2]) -> [f64; 2] {
        if self.orientation == 6 {
            [f64::from(self.size_px[1]) - px[1], px[0]]
        } else {
            px
        }
    }

    /// Size in the photo frame.
    #[must_use]
    pub fn upright_size(&self) -> [u32; 2] {
        let [w, h] = self.size_px;
        if self.orientation == 6 {
            [h, w]
        } else {
            [w, h]
        }
    }

    /// Whether a stored pixel lies in the picture, `margin_px` inside its edge.
    #[must_use]
    pub fn holds(&self, px: [f64; 2], margin_px: f64) -> bool {
        (0..2).all(|i| (margin_px..f64::from(self.size_px[i]) - margin_px).contains(&px[i]))
    }

    /// Pose as a 4 × 4 matrix, camera (stored sensor frame) to mat.
    #[must_use]
    pub fn mat_from_camera(&self) -> Matrix4<f64> {
        let mut m = Matrix4::identity();
        m.fixed_view_mut::<3, 3>(0, 0)
            .copy_from(&self.rotation.transpose());
        m.fixed_view_mut::<3, 1>(0, 3).copy_from(&self.eye);
        m
    }
}
