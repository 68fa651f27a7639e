//! What to say about the tags found, or not found, in a photograph.

use super::grey::Grey;
use super::{Border, DetectOptions, search};
use crate::observed::PhotoTags;
use crate::photo::Photograph;
use std::fmt;

/// Something about a photograph's tags that its taker should know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TagWarning {
    /// No tag at all.
    NoTags {
        /// Name of the photograph.
        photo: String,
    },
    /// The picture is mirrored: its tags can only be read in a mirror.
    Mirrored {
        /// Name of the photograph.
        photo: String,
    },
    /// The tags have a border of another width than was asked for.
    OtherBorder {
        /// Name of the photograph.
        photo: String,
        /// The border they have.
        found: Border,
    },
    /// One tag lies twice in the photograph.
    Repeated {
        /// Name of the photograph.
        photo: String,
        /// The tag.
        id: u32,
    },
}

impl fmt::Display for TagWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoTags { photo } => write!(
                f,
                "{photo} shows no tag of a mat that can be read: keep the mat in the picture, in even light and in focus, and take it again"
            ),
            Self::Mirrored { photo } => write!(
                f,
                "{photo} is mirrored (as front cameras can store it): turn mirroring off, or use the rear camera, and take it again"
            ),
            Self::OtherBorder { photo, found } => write!(
                f,
                "{photo} shows tags with a black border {0} cells wide: put \"border_bits\": {0} into the mat file",
                found.cells()
            ),
            Self::Repeated { photo, id } => write!(
                f,
                "{photo} shows tag {id} twice: leave only one mat in the picture and take it again"
            ),
        }
    }
}

/// Looks into what [`super::tags`] found. Costs nothing where tags were found; where none were, it
/// searches again, mirrored and for the other border.
#[must_use]
pub fn warnings(photo: &Photograph, found: &PhotoTags, options: &DetectOptions) -> Vec<TagWarning> {
    let name = || photo.name.clone();
    if found.tags.is_empty() {
        return vec![why_none(photo, options)];
    }
    let mut ids: Vec<u32> = found.tags.iter().map(|tag| tag.id).collect();
    ids.sort_unstable();
    let mut repeated: Vec<u32> = ids
        .windows(2)
        .filter(|p| p[0] == p[1])
        .map(|p| p[0])
        .collect();
    repeated.dedup();
    repeated
        .into_iter()
        .map(|id| TagWarning::Repeated { photo: name(), id })
        .collect()
}

fn why_none(photo: &Photograph, options: &DetectOptions) -> TagWarning {
    let name = photo.name.clone();
    let luma = photo.luma();
    let (width, height) = (photo.width as usize, photo.height as usize);
    let seen = |pixels: &[u8], options: &DetectOptions| {
        let grey = Grey {
            pixels,
            width,
            height,
        };
        !search(photo, &grey, options).is_empty()
    };
    let other = match options.border {
        Border::One => Border::Two,
        Border::Two => Border::One,
    };
    if seen(
        &luma,
        &DetectOptions {
            border: other,
            ..*options
        },
    ) {
        return TagWarning::OtherBorder {
            photo: name,
            found: other,
        };
    }
    let mirrored: Vec<u8> = luma
        .chunks_exact(width)
        .flat_map(|line| line.iter().rev())
        .copied()
        .collect();
    if seen(&mirrored, options) {
        return TagWarning::Mirrored { photo: name };
    }
    TagWarning::NoTags { photo: name }
}
