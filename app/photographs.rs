//! Photographs from disk to tags and QR codes, one a core, never more than one decoded image a
//! worker.

use crate::error::AppError;
use crate::files;
use plinthside_measure::detect::{self, Border, DetectOptions};
use plinthside_measure::mat::Mat;
use plinthside_measure::observed::PhotoTags;
use plinthside_measure::photo::{self, Photograph};
use plinthside_paper::qr::{FoundCode, Luma, read_codes};
use serde::Serialize;
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// A photograph by name with its bytes, wherever they come from.
pub enum Source {
    /// A file that the user named.
    File(PathBuf),
    /// Bytes already in memory: the demo's own, or the store's.
    Bytes {
        /// The name that marks refer to.
        name: String,
        /// The file's bytes.
        bytes: std::borrow::Cow<'static, [u8]>,
    },
}

impl Source {
    /// The name by which marks refer to it.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::File(path) => files::photo_name(path),
            Self::Bytes { name, .. } => name.clone(),
        }
    }

    fn bytes(&self) -> Result<std::borrow::Cow<'_, [u8]>, AppError> {
        match self {
            Self::File(path) => files::read_photo(path).map(Into::into),
            Self::Bytes { bytes, .. } => Ok(bytes.as_ref().into()),
        }
    }
}

/// What was found in one photograph, as `detect --json` prints it.
#[derive(Debug, Clone, Serialize)]
pub struct Found {
    /// Size, camera and tags.
    #[serde(flatten)]
    pub tags: PhotoTags,
    /// QR codes, ours or not; empty unless they were looked for.
    pub codes: Vec<FoundCode>,
    /// What the taker should know about the tags; filled where codes were looked for.
    #[serde(skip)]
    pub warnings: Vec<String>,
}

/// What to look for.
#[derive(Debug, Clone, Copy, Default)]
pub struct Look {
    /// Black border of the mat's tags.
    pub border: Border,
    /// Also read QR codes.
    pub codes: bool,
}

impl Look {
    /// For the tags of a mat.
    #[must_use]
    pub fn for_mat(mat: &Mat) -> Self {
        let border = if mat.border_bits == 2 {
            Border::Two
        } else {
            Border::One
        };
        Self {
            border,
            codes: false,
        }
    }
}

/// Looks through all photographs on every core, in the order given.
///
/// # Errors
/// The first photograph, in the order given, that cannot be read.
pub fn look_through(sources: &[Source], look: Look) -> Result<Vec<Found>, AppError> {
    let workers = std::thread::available_parallelism()
        .map_or(1, usize::from)
        .min(sources.len());
    let next = AtomicUsize::new(0);
    let found: Mutex<Vec<Option<Result<Found, AppError>>>> =
        Mutex::new(sources.iter().map(|_| None).collect());
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                while let Some((i, source)) = {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    sources.get(i).map(|source| (i, source))
                } {
                    let result = look_at(source, look);
                    if let Ok(mut found) = found.lock() {
                        found[i] = Some(result);
                    }
                }
            });
        }
    });
    found
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
        .into_iter()
        .flatten()
        .collect()
}

/// The QR codes in one photograph, ours or not, and nothing else sought.
///
/// # Errors
/// The photograph cannot be read.
pub fn codes_in(source: &Source) -> Result<Vec<FoundCode>, AppError> {
    codes(&photo::decode_luma(&source.name(), &source.bytes()?)?)
}

fn codes(photo: &Photograph) -> Result<Vec<FoundCode>, AppError> {
    let grey = photo.luma();
    let luma = Luma::from_grey(photo.width, photo.height, &grey)?;
    Ok(read_codes(&luma))
}

/// Looks through one photograph.
///
/// # Errors
/// It cannot be read.
pub fn look_at(source: &Source, look: Look) -> Result<Found, AppError> {
    look_in(&source.name(), &source.bytes()?, look)
}

/// Looks through the bytes of one photograph.
///
/// # Errors
/// It cannot be read.
pub fn look_in(name: &str, bytes: &[u8], look: Look) -> Result<Found, AppError> {
    let photo = photo::decode_luma(name, bytes)?;
    let options = DetectOptions {
        border: look.border,
        ..DetectOptions::default()
    };
    let tags = detect::tags(&photo, &options);
    let (codes, warnings) = if look.codes {
        let warnings = detect::warnings(&photo, &tags, &options);
        let warnings = warnings.iter().map(ToString::to_string).collect();
        (codes(&photo)?, warnings)
    } else {
        Default::default()
    };
    Ok(Found {
        tags,
        codes,
        warnings,
    })
}
