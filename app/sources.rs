//! What a cast is measured from, out of the store: its mat and its photographs.

use crate::error::AppError;
use crate::records::Records;
use plinthside_measure::mat::Mat;
use plinthside_visit::{CastPhoto, CastSources, Clinic};
use std::io::Read;

/// The mat that a cast's sources name.
///
/// # Errors
/// The clinic has no such mat, or its layout can't be read.
pub fn mat_of(clinic: &Clinic, sources: &CastSources) -> Result<Option<Mat>, AppError> {
    if sources.mat.is_empty() {
        return Ok(None);
    }
    let printed = clinic.mats.iter().find(|mat| mat.id == sources.mat);
    let printed = printed.ok_or_else(|| {
        AppError::Request(format!(
            "the clinic's settings hold no mat “{}” any more, and the photographs stand on it; enter that mat again",
            sources.mat
        ))
    })?;
    Ok(Some(Mat::from_json(&printed.layout)?))
}

/// The bytes of a photograph, out of the store.
///
/// # Errors
/// It is missing in the store, or the store can't be read.
pub fn bytes_of(records: &mut Records, photo: &CastPhoto) -> Result<Vec<u8>, AppError> {
    let mut bytes = Vec::new();
    records
        .store()
        .photo(&photo.sha256)?
        .read_to_end(&mut bytes)
        .map_err(|source| AppError::Read {
            path: photo.id.clone().into(),
            source,
        })?;
    Ok(bytes)
}
