//! What is not accepted as a photograph, and the sentence that says so.

use thiserror::Error;

/// Largest photograph that is decoded; checked in the header, before memory is taken for pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Longest side, pixels.
    pub side_px: u32,
    /// Width × height, pixels.
    pub area_px: u64,
}

/// 64 megapixels holds the largest photographs that phones and tablets take in their ordinary
/// modes (12 to 50). The pixels then take at most 200 MB, the decoder's own store for a
/// progressive JPEG at most twice as much again.
pub const LIMITS: Limits = Limits {
    side_px: 16_384,
    area_px: 64_000_000,
};

/// Why a photograph was refused: what happened and what to do next.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum PhotoError {
    /// No bytes at all.
    #[error("{photo} is empty (0 bytes): copy it from the camera again")]
    Empty {
        /// Name of the photograph.
        photo: String,
    },
    /// Another kind of file.
    #[error(
        "{photo} is {kind}, not a JPEG or PNG photograph: save it as JPEG or PNG and try again"
    )]
    OtherType {
        /// Name of the photograph.
        photo: String,
        /// What it is, with its article, such as "a TIFF image".
        kind: &'static str,
    },
    /// Nothing that is known.
    #[error(
        "{photo} is not a photograph that can be read here: take it again, or save it as JPEG or PNG"
    )]
    Unknown {
        /// Name of the photograph.
        photo: String,
    },
    /// Larger than [`LIMITS`].
    #[error(
        "{photo} says it is {width} × {height} pixels, more than {} megapixels or {} pixels on a side: set the camera to 12 to 50 megapixels, or save the photograph smaller",
        LIMITS.area_px / 1_000_000,
        LIMITS.side_px
    )]
    TooLarge {
        /// Name of the photograph.
        photo: String,
        /// Width that its header states.
        width: u32,
        /// Height that its header states.
        height: u32,
    },
    /// The file ends before the picture does.
    #[error("{photo} is cut off before its end: copy it from the camera again")]
    Truncated {
        /// Name of the photograph.
        photo: String,
    },
    /// Corrupt, or a rare kind of JPEG or PNG.
    #[error(
        "{photo} is damaged or of a rare kind: copy it from the camera again, or save it once more as an ordinary JPEG or PNG (decoder: {what})"
    )]
    Damaged {
        /// Name of the photograph.
        photo: String,
        /// What the decoder met.
        what: String,
    },
}

/// The kinds of file that hold a photograph.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Jpeg,
    Png,
}

/// Tells a JPEG from a PNG and refuses everything else by its name.
pub(super) fn kind_of(name: &str, bytes: &[u8]) -> Result<Kind, PhotoError> {
    let photo = name.to_owned();
    match bytes {
        [] => Err(PhotoError::Empty { photo }),
        [0xff, 0xd8, 0xff, ..] => Ok(Kind::Jpeg),
        [0x89, b'P', b'N', b'G', ..] => Ok(Kind::Png),
        // A copy that broke off within the first bytes.
        [0xff | 0x89] | [0xff, 0xd8] | [0x89, b'P'] | [0x89, b'P', b'N'] => {
            Err(PhotoError::Truncated { photo })
        }
        _ => Err(match other_kind(bytes) {
            Some(kind) => PhotoError::OtherType { photo, kind },
            None => PhotoError::Unknown { photo },
        }),
    }
}

/// Recognises common files that are sent instead of a photograph.
fn other_kind(bytes: &[u8]) -> Option<&'static str> {
    let at = |offset: usize, text: &[u8]| bytes.get(offset..).is_some_and(|b| b.starts_with(text));
    let brand = |names: &[&[u8]]| at(4, b"ftyp") && names.iter().any(|name| at(8, name));
    Some(match bytes {
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => "a TIFF or camera raw image",
        [b'I', b'I', 43, 0, ..] | [b'M', b'M', 0, 43, ..] => "a BigTIFF image",
        _ if at(0, b"RIFF") && at(8, b"WEBP") => "a WebP image",
        _ if brand(&[
            b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1",
        ]) =>
        {
            "an HEIC image"
        }
        _ if brand(&[b"avif", b"avis"]) => "an AVIF image",
        _ if at(4, b"ftyp") => "a video",
        _ if at(0, b"GIF8") => "a GIF image",
        _ if at(0, b"BM") && bytes.len() >= 26 => "a BMP image",
        _ if at(0, b"%PDF") => "a PDF document",
        _ if at(0, &[0xff, 0x0a]) || at(4, b"JXL ") => "a JPEG XL image",
        _ if at(0, &[0xff, 0x4f, 0xff, 0x51]) || at(4, b"jP  ") => "a JPEG 2000 image",
        _ if at(0, b"8BPS") => "a Photoshop document",
        _ if at(0, &[0, 0, 1, 0]) => "an icon",
        _ if at(0, b"PK\x03\x04") => "a zip archive or office document",
        [b'P', b'1'..=b'7', b' ' | b'\n' | b'\r' | b'\t', ..] => "a PNM image",
        _ if at(0, b"#?RADIANCE") => "a Radiance HDR image",
        _ if at(0, b"qoif") => "a QOI image",
        _ if at(0, b"DDS ") => "a DDS texture",
        _ if at(0, b"farbfeld") => "a farbfeld image",
        _ if at(0, &[0x76, 0x2f, 0x31, 0x01]) => "an OpenEXR image",
        _ if looks_like_markup(bytes) => "a text, SVG or web page",
        _ => return None,
    })
}

fn looks_like_markup(bytes: &[u8]) -> bool {
    let start = &bytes[..bytes.len().min(256)];
    std::str::from_utf8(start).is_ok_and(|text| text.trim_start().starts_with(['<', '{']))
}

/// Refuses what is larger than [`LIMITS`].
pub(super) fn check_size(name: &str, width: u32, height: u32) -> Result<(), PhotoError> {
    let photo = name.to_owned();
    if width.max(height) > LIMITS.side_px || u64::from(width) * u64::from(height) > LIMITS.area_px {
        return Err(PhotoError::TooLarge {
            photo,
            width,
            height,
        });
    }
    if width == 0 || height == 0 {
        return Err(PhotoError::Damaged {
            photo,
            what: format!("its header says {width} × {height} pixels"),
        });
    }
    Ok(())
}
