//! What is not accepted as a photograph, and the sentence that says so.

use thiserror::Error;

/// Largest photograph that is decoded; checked in the header, before any memory is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Longest side, pixels.
    pub side_px: u32,
    /// Width × height, pixels.
    pub area_px: u64,
}

/// 200 megapixels is beyond any phone's or tablet's camera; a colour copy takes 600 MB.
pub const LIMITS: Limits = Limits {
    side_px: 24_000,
    area_px: 200_000_000,
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
    #[error("{photo} is not a photograph this program can read: take or save it as JPEG or PNG")]
    Unknown {
        /// Name of the photograph.
        photo: String,
    },
    /// Larger than [`LIMITS`].
    #[error(
        "{photo} says it is {width} × {height} pixels, more than {megapixels} megapixels or {side} on a side: save it at its camera's own size or smaller",
        megapixels = LIMITS.area_px / 1_000_000,
        side = LIMITS.side_px
    )]
    TooLarge {
        /// Name of the photograph.
        photo: String,
        /// Width that its header states.
        width: u32,
        /// Height that its header states.
        height: u32,
    },
    /// Truncated or corrupt.
    #[error("{photo} is damaged ({what}): copy it from the camera again or take it once more")]
    Damaged {
        /// Name of the photograph.
        photo: String,
        /// What the decoder met.
        what: String,
    },
}

/// Refuses what is empty or no JPEG or PNG.
pub(super) fn check_type(name: &str, bytes: &[u8]) -> Result<(), PhotoError> {
    let photo = name.to_owned();
    match bytes {
        [] => Err(PhotoError::Empty { photo }),
        [0xff, 0xd8, 0xff, ..] | [0x89, b'P', b'N', b'G', ..] => Ok(()),
        _ => Err(PhotoError::Unknown { photo }),
    }
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
    Ok(())
}
