//! From the bytes of a photograph to upright pixels and what its EXIF says of the camera.

mod refuse;

use crate::observed::CameraKey;
use image::{DynamicImage, ImageDecoder, ImageReader};
pub use refuse::{LIMITS, Limits, PhotoError};
use std::borrow::Cow;
use std::io::Cursor;

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
    refuse::check_type(name, bytes)?;
    let damaged = |error: &dyn std::fmt::Display| PhotoError::Damaged {
        photo: name.to_owned(),
        what: error.to_string(),
    };
    let mut decoder = ImageReader::new(Cursor::new(bytes))
        .with_guessed_format()
        .map_err(|e| damaged(&e))?
        .into_decoder()
        .map_err(|e| damaged(&e))?;
    let (sensor_width_px, sensor_height_px) = decoder.dimensions();
    refuse::check_size(name, sensor_width_px, sensor_height_px)?;
    let turn = decoder.orientation().map_err(|e| damaged(&e))?;
    let mut image = DynamicImage::from_decoder(decoder).map_err(|e| damaged(&e))?;
    image.apply_orientation(turn);
    Ok(Photograph {
        name: name.to_owned(),
        width: image.width(),
        height: image.height(),
        orientation: turn.to_exif(),
        camera: CameraKey {
            sensor_width_px,
            sensor_height_px,
            ..CameraKey::default()
        },
        exif_focal_px: None,
        pixels: if colour {
            Pixels::Rgb(image.into_rgb8().into_raw())
        } else {
            Pixels::Luma(image.into_luma8().into_raw())
        },
    })
}

impl Photograph {
    /// A photograph from upright grey pixels (row-major, `width × height`), or `None` if their
    /// number is wrong.
    #[must_use]
    pub fn from_luma(name: &str, width: u32, height: u32, luma: Vec<u8>) -> Option<Self> {
        Self::from_pixels(name, width, height, 1, Pixels::Luma(luma))
    }

    /// A photograph from upright RGB pixels (row-major, 3 bytes each), or `None` if their number
    /// is wrong.
    #[must_use]
    pub fn from_rgb(name: &str, width: u32, height: u32, rgb: Vec<u8>) -> Option<Self> {
        Self::from_pixels(name, width, height, 3, Pixels::Rgb(rgb))
    }

    fn from_pixels(
        name: &str,
        width: u32,
        height: u32,
        channels: usize,
        pixels: Pixels,
    ) -> Option<Self> {
        let length = match &pixels {
            Pixels::Luma(p) | Pixels::Rgb(p) => p.len(),
        };
        (width > 0 && height > 0 && length == width as usize * height as usize * channels).then(
            || Self {
                name: name.to_owned(),
                width,
                height,
                orientation: 1,
                camera: CameraKey {
                    sensor_width_px: width,
                    sensor_height_px: height,
                    ..CameraKey::default()
                },
                exif_focal_px: None,
                pixels,
            },
        )
    }

    /// Brightness, one byte a pixel.
    #[must_use]
    pub fn luma(&self) -> Cow<'_, [u8]> {
        match &self.pixels {
            Pixels::Luma(luma) => Cow::Borrowed(luma),
            Pixels::Rgb(rgb) => Cow::Owned(
                rgb.chunks_exact(3)
                    .map(|p| luma_of(p[0], p[1], p[2]))
                    .collect(),
            ),
        }
    }

    /// Colour, three bytes a pixel (grey repeated if the photograph has no colours).
    #[must_use]
    pub fn rgb(&self) -> Cow<'_, [u8]> {
        match &self.pixels {
            Pixels::Rgb(rgb) => Cow::Borrowed(rgb),
            Pixels::Luma(luma) => Cow::Owned(luma.iter().flat_map(|&v| [v, v, v]).collect()),
        }
    }
}

/// Brightness of JPEG (ITU-R BT.601) in 16-bit fixed point.
fn luma_of(r: u8, g: u8, b: u8) -> u8 {
    ((19595 * u32::from(r) + 38470 * u32::from(g) + 7471 * u32::from(b) + 32768) >> 16) as u8
}
