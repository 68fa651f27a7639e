//! From the bytes of a photograph to upright pixels and what its EXIF says of the camera.

mod exif;
mod files;
mod refuse;
#[cfg(test)]
mod tests;
mod turn;

use crate::observed::CameraKey;
pub use refuse::{LIMITS, Limits, PhotoError};
use std::borrow::Cow;

/// One decoded photograph, upright (EXIF orientation applied).
///
/// Pixels are row-major, 8 bits a channel; positions are in the *photo* frame of
/// [`crate::observed::Px`].
#[derive(Debug, Clone, PartialEq)]
pub struct Photograph {
    /// The name the marks refer to (a file name).
    pub name: String,
    /// Width of the upright image, pixels.
    pub width: u32,
    /// Height of the upright image, pixels.
    pub height: u32,
    /// EXIF orientation 1-8 that was applied; 1 if none was given.
    pub orientation: u8,
    /// Camera, lens and stored sensor size.
    pub camera: CameraKey,
    /// Focal length in pixels guessed from EXIF (can be 4 % off), if any.
    pub exif_focal_px: Option<f64>,
    pixels: Pixels,
}

#[derive(Debug, Clone, PartialEq)]
enum Pixels {
    Luma(Vec<u8>),
    Rgb(Vec<u8>),
}

/// Decodes a JPEG or PNG with its colours: for the ink finder and the screen.
///
/// # Errors
/// [`PhotoError`] names the photograph, what is wrong with it and what to do.
pub fn decode(name: &str, bytes: &[u8]) -> Result<Photograph, PhotoError> {
    decode_as(name, bytes, true)
}

/// Decodes a JPEG or PNG to brightness alone: all that tag detection needs, in less time and a
/// third of the memory.
///
/// # Errors
/// As [`decode`].
pub fn decode_luma(name: &str, bytes: &[u8]) -> Result<Photograph, PhotoError> {
    decode_as(name, bytes, false)
}

fn decode_as(name: &str, bytes: &[u8], colour: bool) -> Result<Photograph, PhotoError> {
    let kind = refuse::kind_of(name, bytes)?;
    let stored = files::decode(name, bytes, kind, colour)?;
    let facts = exif::Facts::read(bytes);
    let exif_focal_px = facts.focal_px(stored.width, stored.height);
    let size = [stored.width as usize, stored.height as usize];
    let (pixels, [width, height]) = match stored.pixels {
        Pixels::Luma(luma) => {
            let (luma, size) = turn::upright::<1>(luma, size, facts.orientation);
            (Pixels::Luma(luma), size)
        }
        Pixels::Rgb(rgb) => {
            let (rgb, size) = turn::upright::<3>(rgb, size, facts.orientation);
            (Pixels::Rgb(rgb), size)
        }
    };
    Ok(Photograph {
        name: name.to_owned(),
        width: width as u32,
        height: height as u32,
        orientation: facts.orientation,
        camera: CameraKey {
            make: facts.make,
            model: facts.model,
            lens: facts.lens,
            sensor_width_px: stored.width,
            sensor_height_px: stored.height,
        },
        exif_focal_px,
        pixels,
    })
}

impl Photograph {
    /// Brightness (ITU-R BT.601, as in JPEG), one byte a pixel.
    #[must_use]
    pub fn luma(&self) -> Cow<'_, [u8]> {
        match &self.pixels {
            Pixels::Luma(luma) => Cow::Borrowed(luma),
            Pixels::Rgb(rgb) => {
                let (pixels, _) = rgb.as_chunks::<3>();
                Cow::Owned(pixels.iter().map(|&[r, g, b]| luma_of(r, g, b)).collect())
            }
        }
    }

    /// Colour, three bytes a pixel (grey repeated if the photograph has no colours).
    #[must_use]
    pub fn rgb(&self) -> Cow<'_, [u8]> {
        match &self.pixels {
            Pixels::Rgb(rgb) => Cow::Borrowed(rgb),
            Pixels::Luma(luma) => Cow::Owned(luma.iter().flat_map(|&v| [v; 3]).collect()),
        }
    }

    /// Colour of one pixel.
    pub(crate) fn rgb_at(&self, x: usize, y: usize) -> [u8; 3] {
        let at = y * self.width as usize + x;
        match &self.pixels {
            Pixels::Rgb(rgb) => [rgb[3 * at], rgb[3 * at + 1], rgb[3 * at + 2]],
            Pixels::Luma(luma) => [luma[at]; 3],
        }
    }

    /// Whether the photograph has colours; without them ink cannot be told from shadow.
    #[must_use]
    pub fn has_colour(&self) -> bool {
        matches!(self.pixels, Pixels::Rgb(_))
    }
}

/// Brightness of JPEG (ITU-R BT.601) in 16-bit fixed point.
pub(crate) fn luma_of(r: u8, g: u8, b: u8) -> u8 {
    ((19595 * u32::from(r) + 38470 * u32::from(g) + 7471 * u32::from(b) + 32768) >> 16) as u8
}
