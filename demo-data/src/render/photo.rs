//! From light to a JPEG as a telephone writes it.

use super::V3;
use super::camera::Camera;
use super::noise::gaussian;
use super::parallel;
use super::patient::Patient;
use super::scene::Scene;
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};
use std::io::Cursor;

/// A rectangle of stored pixels: left, top, width, height.
pub type Crop = [u32; 4];

/// Samples on a side of a pixel where the picture changes fast.
const FINE: usize = 4;
/// Half breadth of the tent that spreads a pixel, pixels: lens and sensor blur.
const TENT_PX: f64 = 1.1;
/// Samples tried first: one in each row and column, balanced about the centre.
const FIRST: [usize; 4] = [1, 7, 8, 14];

/// Offsets of the samples from a pixel's centre, spread as a tent.
fn offsets() -> Vec<[f64; 2]> {
    let tent = |k: usize| {
        let u = (k as f64 + 0.5) / FINE as f64;
        if u < 0.5 {
            TENT_PX * ((2.0 * u).sqrt() - 1.0)
        } else {
            TENT_PX * (1.0 - (2.0 - 2.0 * u).sqrt())
        }
    };
    (0..FINE * FINE)
        .map(|k| [tent(k % FINE), tent(k / FINE)])
        .collect()
}

/// Develops a part of a photograph to 8-bit red, green, blue in the stored frame.
#[must_use]
pub fn develop(scene: &Scene, camera: &Camera, crop: Crop, seed: u64) -> Vec<u8> {
    let [left, top, width, height] = crop;
    let offsets = offsets();
    let rows = parallel(height as usize, |row| {
        let y = top + row as u32;
        (0..width)
            .flat_map(|x| pixel(scene, camera, &offsets, [left + x, y], seed))
            .collect::<Vec<u8>>()
    });
    rows.concat()
}

fn pixel(
    scene: &Scene,
    camera: &Camera,
    offsets: &[[f64; 2]],
    [x, y]: [u32; 2],
    seed: u64,
) -> [u8; 3] {
    let middle = [f64::from(x) + 0.5, f64::from(y) + 0.5];
    let [w, h] = camera.size_px.map(f64::from);
    let off = (middle[0] / w - 0.5).powi(2) + (middle[1] / h - 0.5).powi(2);
    let falloff = 1.0 - 0.30 * off;
    // Samples are mixed as toned values: a telephone's sharpening leaves printed edges even about
    // their true place in the finished picture, where mixing light would move them to the dark.
    let sample = |k: usize| {
        let [dx, dy] = offsets[k];
        let light = scene.look(&camera.ray([middle[0] + dx, middle[1] + dy])) * falloff;
        light.map(tone)
    };
    let first = FIRST.map(sample);
    let mut mean = first.iter().sum::<V3>() / 4.0;
    let greys = first.map(|c| c.y);
    let spread = greys.iter().copied().fold(f64::MIN, f64::max)
        - greys.iter().copied().fold(f64::MAX, f64::min);
    if spread > 0.03 {
        mean = (0..FINE * FINE)
            .map(|k| {
                FIRST
                    .iter()
                    .position(|f| *f == k)
                    .map_or_else(|| sample(k), |i| first[i])
            })
            .sum::<V3>()
            / (FINE * FINE) as f64;
    }
    std::array::from_fn(|c| {
        let grain = 0.9 + 0.9 * (1.0 - mean[c]);
        let value = 255.0 * mean[c] + grain * gaussian(x, y, c as u32, seed);
        value.round().clamp(0.0, 255.0) as u8
    })
}

/// sRGB with a soft shoulder, so that white plaster keeps its relief.
fn tone(linear: f64) -> f64 {
    let knee = 0.60;
    let x = if linear > knee {
        knee + (1.0 - knee) * (1.0 - (-(linear - knee) / (1.0 - knee)).exp())
    } else {
        linear.max(0.0)
    };
    if x <= 0.003_130_8 {
        12.92 * x
    } else {
        1.055 * x.powf(1.0 / 2.4) - 0.055
    }
}

/// Packs stored pixels as JPEG with the EXIF block of the patient's camera.
///
/// # Errors
/// What the encoder or the EXIF writer says.
pub fn jpeg(
    rgb: &[u8],
    camera: &Camera,
    patient: &Patient,
    minute: usize,
    quality: u8,
) -> Result<Vec<u8>, Box<dyn std::error::Error>> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, quality);
    encoder.set_sampling_factor(SamplingFactor::R_4_2_0);
    let mut block = b"Exif\0\0".to_vec();
    block.extend(exif_block(camera, patient, minute)?);
    encoder.add_app_segment(1, &block)?;
    let [width, height] = camera.size_px.map(|v| v as u16);
    encoder.encode(rgb, width, height, ColorType::Rgb)?;
    Ok(bytes)
}

fn exif_block(camera: &Camera, patient: &Patient, minute: usize) -> Result<Vec<u8>, exif::Error> {
    let (make, model, focal_mm, film_mm) = patient.camera;
    let text = |tag, s: &str| (tag, Value::Ascii(vec![s.as_bytes().to_vec()]));
    let time = format!("{}:{:02}:07", patient.taken, 20 + minute);
    let fields = [
        text(Tag::Make, make),
        text(Tag::Model, model),
        (
            Tag::Orientation,
            Value::Short(vec![u16::from(camera.orientation)]),
        ),
        text(Tag::DateTimeOriginal, &time),
        (
            Tag::ExposureTime,
            Value::Rational(vec![Rational { num: 1, denom: 60 }]),
        ),
        (
            Tag::FNumber,
            Value::Rational(vec![Rational { num: 18, denom: 10 }]),
        ),
        (Tag::PhotographicSensitivity, Value::Short(vec![100])),
        (
            Tag::FocalLength,
            Value::Rational(vec![Rational {
                num: (focal_mm * 100.0) as u32,
                denom: 100,
            }]),
        ),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![film_mm])),
        (Tag::PixelXDimension, Value::Long(vec![camera.size_px[0]])),
        (Tag::PixelYDimension, Value::Long(vec![camera.size_px[1]])),
    ]
    .map(|(tag, value)| Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    });
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut out = Cursor::new(Vec::new());
    writer.write(&mut out, false)?;
    Ok(out.into_inner())
}
