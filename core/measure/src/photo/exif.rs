//! What EXIF says of the camera. Whatever is malformed is left out: a photograph is never refused
//! for its metadata.

use exif::{Exif, In, Reader, Tag, Value};
use std::io::Cursor;

/// Diagonal of a 36 × 24 mm frame: the 35 mm equivalent refers to it (CIPA DCG-001).
const FULL_FRAME_DIAGONAL_MM: f64 = 43.266_615;
/// No text of EXIF is kept beyond this many characters.
const TEXT_LIMIT: usize = 80;
/// A focal length outside these multiples of the image's longer side is no camera's.
const FOCAL_RANGE: std::ops::RangeInclusive<f64> = 0.2..=30.0;

/// The fields of EXIF that the measurement uses.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Facts {
    /// Orientation 1-8; 1 if none or nonsense was given.
    pub orientation: u8,
    /// `Make`, `Model` and `LensModel`, empty if not given.
    pub make: String,
    pub model: String,
    pub lens: String,
    focal: Focal,
}

#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Focal {
    /// `FocalLengthIn35mmFilm`, mm.
    equivalent_mm: Option<f64>,
    /// `FocalLength`, mm.
    true_mm: Option<f64>,
    /// `FocalPlaneXResolution`, pixels per mm.
    px_per_mm: Option<f64>,
}

impl Default for Facts {
    fn default() -> Self {
        Self {
            orientation: 1,
            make: String::new(),
            model: String::new(),
            lens: String::new(),
            focal: Focal::default(),
        }
    }
}

impl Facts {
    /// Reads the EXIF of a JPEG or PNG file, as far as it can be read.
    pub(super) fn read(bytes: &[u8]) -> Self {
        let mut reader = Reader::new();
        reader.continue_on_error(true);
        let exif = match reader.read_from_container(&mut Cursor::new(bytes)) {
            Ok(exif) => exif,
            Err(exif::Error::PartialResult(partial)) => partial.into_inner().0,
            Err(_) => return Self::default(),
        };
        let mm_per_unit = match number(&exif, Tag::FocalPlaneResolutionUnit) {
            Some(3.0) => 10.0,
            Some(4.0) => 1.0,
            _ => 25.4,
        };
        Self {
            orientation: match number(&exif, Tag::Orientation) {
                Some(value) if (1.0..=8.0).contains(&value) => value as u8,
                _ => 1,
            },
            make: text(&exif, Tag::Make),
            model: text(&exif, Tag::Model),
            lens: text(&exif, Tag::LensModel),
            focal: Focal {
                equivalent_mm: positive(&exif, Tag::FocalLengthIn35mmFilm),
                true_mm: positive(&exif, Tag::FocalLength),
                px_per_mm: positive(&exif, Tag::FocalPlaneXResolution).map(|r| r / mm_per_unit),
            },
        }
    }

    /// Focal length in pixels of an image of this size, if EXIF gives a plausible one.
    pub(super) fn focal_px(&self, width_px: u32, height_px: u32) -> Option<f64> {
        let (width, height) = (f64::from(width_px), f64::from(height_px));
        let from_equivalent =
            || Some(self.focal.equivalent_mm? * width.hypot(height) / FULL_FRAME_DIAGONAL_MM);
        let from_sensor = || Some(self.focal.true_mm? * self.focal.px_per_mm?);
        let plausible = |f: &f64| FOCAL_RANGE.contains(&(f / width.max(height)));
        from_equivalent()
            .filter(plausible)
            .or_else(|| from_sensor().filter(plausible))
    }
}

fn number(exif: &Exif, tag: Tag) -> Option<f64> {
    let value = &exif.get_field(tag, In::PRIMARY)?.value;
    let number = match value {
        Value::Rational(v) => v.first()?.to_f64(),
        Value::SRational(v) => v.first()?.to_f64(),
        Value::Float(v) => f64::from(*v.first()?),
        Value::Double(v) => *v.first()?,
        _ => f64::from(value.get_uint(0)?),
    };
    number.is_finite().then_some(number)
}

fn positive(exif: &Exif, tag: Tag) -> Option<f64> {
    number(exif, tag).filter(|&value| value > 0.0)
}

fn text(exif: &Exif, tag: Tag) -> String {
    let Some(field) = exif.get_field(tag, In::PRIMARY) else {
        return String::new();
    };
    let Value::Ascii(lines) = &field.value else {
        return String::new();
    };
    let whole = lines.first().map(Vec::as_slice).unwrap_or_default();
    let printable = String::from_utf8_lossy(whole)
        .chars()
        .filter(|c| !c.is_control() && *c != char::REPLACEMENT_CHARACTER)
        .take(TEXT_LIMIT)
        .collect::<String>();
    printable.trim().to_owned()
}
