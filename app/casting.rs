//! A cast of a visit, measured from what the store keeps of it.

use crate::error::AppError;
use crate::photographs::{Look, Source, look_through};
use crate::pipeline::{self, Measured};
use crate::records::Records;
use crate::{clock, tie};
use plinthside_measure::marks::Side;
use plinthside_measure::mat::Mat;
use plinthside_measure::observed::PhotoTags;
use plinthside_measure::solve::SolveOptions;
use plinthside_store::Opened;
use plinthside_visit::{Cast, CastPhoto, CastSources, Clinic, Visit};
use std::io::Read;

/// Photographs of a cast, looked through once: measuring again needs only new taps.
pub struct Seen {
    /// The mat the cast stands on.
    pub mat: Option<Mat>,
    /// Tags of each photograph.
    pub tags: Vec<PhotoTags>,
    /// What ties the photographs to the cast.
    pub tie: String,
}

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

/// Looks through the photographs of a cast and ties them to it by the label that lies in them.
///
/// # Errors
/// A photograph that can't be read, or that shows another cast's label.
pub fn look(records: &mut Records, cast: &Cast) -> Result<Seen, AppError> {
    let mat = mat_of(records.clinic(), &cast.sources)?;
    let photographs = cast
        .sources
        .photographs
        .iter()
        .map(|photo| {
            Ok(Source::Bytes {
                name: photo.id.clone(),
                bytes: bytes_of(records, photo)?.into(),
            })
        })
        .collect::<Result<Vec<_>, AppError>>()?;
    let look = Look {
        codes: true,
        ..mat.as_ref().map(Look::for_mat).unwrap_or_default()
    };
    let found = look_through(&photographs, look)?;
    let code = cast.code.as_deref().map(str::parse).transpose()?;
    Ok(Seen {
        tie: tie::to_cast(&found, code)?,
        tags: found.into_iter().map(|found| found.tags).collect(),
        mat,
    })
}

/// Measures the latest cast of one side and keeps the measurement with it.
///
/// # Errors
/// Whatever stands in the way of a result, with the remedy.
pub fn measure(visit: &mut Opened<Visit>, side: Side, seen: &Seen) -> Result<Measured, AppError> {
    let by = visit.value.clinician.clone();
    let visit = &mut visit.value;
    let leg = visit.leg(side).cloned();
    let cast = visit
        .casts
        .iter_mut()
        .rfind(|cast| cast.side == side)
        .ok_or_else(|| AppError::Request(format!("there is no cast of the {side} foot yet")))?;
    let marks = cast.sources.marks(side, leg.as_ref());
    let options = SolveOptions::default();
    let measured = pipeline::measure(seen.mat.as_ref(), &seen.tags, &marks, &options)?;
    let photographs = &cast.sources.photographs;
    let hashes = photographs.iter().map(|p| p.sha256.clone()).collect();
    cast.measurement = Some(measured.to_keep(hashes, &by, clock::now())?);
    Ok(measured)
}
