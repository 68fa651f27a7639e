//! The casts of the demonstration: looked through, tied to their labels, measured.

use crate::error::AppError;
use crate::photographs::{Found, Look, Source, look_through};
use crate::pipeline::{self, Measured};
use crate::records::Records;
use crate::{clock, labels, sources};
use plinthside_measure::marks::Side;
use plinthside_measure::mat::Mat;
use plinthside_measure::observed::PhotoTags;
use plinthside_measure::solve::SolveOptions;
use plinthside_paper::CastCode;
use plinthside_paper::qr::FoundCode;
use plinthside_visit::{Cast, Visit};

/// Photographs of a cast, looked through once: measuring again needs only new taps.
pub struct Seen {
    /// The mat the cast stands on.
    mat: Option<Mat>,
    /// Tags of each photograph.
    tags: Vec<PhotoTags>,
    /// What ties the photographs to the cast, in words.
    pub tie: String,
}

/// Looks through the photographs of a cast and ties them to it by the label that lies in them.
///
/// # Errors
/// A photograph that can't be read, or that shows another cast's label.
pub fn look(records: &mut Records, cast: &Cast) -> Result<Seen, AppError> {
    let mat = sources::mat_of(records.clinic(), &cast.sources)?;
    let photographs = cast
        .sources
        .photographs
        .iter()
        .map(|photo| {
            Ok(Source::Bytes {
                name: photo.id.clone(),
                bytes: sources::bytes_of(records, photo)?.into(),
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
        tie: tie(&found, code)?,
        tags: found.into_iter().map(|found| found.tags).collect(),
        mat,
    })
}

/// Says which photographs show the cast's own label.
fn tie(found: &[Found], own: Option<CastCode>) -> Result<String, AppError> {
    let mut without = Vec::new();
    let mut own = own;
    for photo in found {
        let codes: Vec<CastCode> = photo.codes.iter().filter_map(FoundCode::cast).collect();
        own = labels::seen_beside(&photo.tags.photo, &codes, own)?;
        if codes.is_empty() {
            without.push(photo.tags.photo.as_str());
        }
    }
    Ok(match (own, without.len()) {
        (None, _) => "No label was read in the photographs: tie them to the cast by hand.".into(),
        (Some(code), 0) => format!("Every photograph shows the label {code}."),
        (Some(code), _) => format!(
            "Label {code} read in {} of {} photographs; not in {}.",
            found.len() - without.len(),
            found.len(),
            without.join(", ")
        ),
    })
}

/// Measures the latest cast of one side and keeps the measurement with it.
///
/// # Errors
/// Whatever stands in the way of a result, with the remedy.
pub fn measure(visit: &mut Visit, side: Side, seen: &Seen) -> Result<Measured, AppError> {
    let by = visit.clinician.clone();
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
