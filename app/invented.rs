//! The invented clinic in a store of its own: what the demonstration and the tests of the whole
//! program work on.

use crate::error::AppError;
use crate::records::Records;
use crate::visits::VisitsFile;
use plinthside_demo_data::{CASTS, CLINIC_JSON, DemoCast, MAT_JSON, VISITS_JSON};
use plinthside_measure::marks::{Marks, MarksError};
use plinthside_store::Kdf;
use plinthside_visit::person::PrintedMat;
use plinthside_visit::{CastPhoto, CastSources, Clinic, Visit};
use sha2::{Digest, Sha256};
use std::io::Cursor;
use std::path::Path;

/// Passphrase of the demonstration's store: it protects nothing.
pub const PASSPHRASE: &str = "an invented clinic";
/// Its mat.
const MAT: &str = "mat-1";

/// A fault in the data that the program ships with.
pub fn shipped(problem: impl std::fmt::Display) -> AppError {
    AppError::Request(format!(
        "the demo's own data can't be used ({problem}); please report this"
    ))
}

/// The clinic with its printed mat.
///
/// # Errors
/// A broken build.
pub fn clinic() -> Result<Clinic, AppError> {
    let mut clinic: Clinic = serde_json::from_str(CLINIC_JSON).map_err(shipped)?;
    clinic.mats.push(PrintedMat {
        id: MAT.into(),
        name: "A3 on the board".into(),
        paper: "a3".into(),
        printer: "office printer".into(),
        layout: MAT_JSON.into(),
        ..PrintedMat::default()
    });
    Ok(clinic)
}

/// What a cast is measured from, with some of its marks files.
///
/// # Errors
/// A broken build.
pub fn sources(cast: &DemoCast, marks_json: &str) -> Result<CastSources, AppError> {
    let marks: Marks = Marks::from_json(marks_json).map_err(|e: MarksError| shipped(e))?;
    let photographs = cast.photos.iter().map(|photo| CastPhoto {
        id: photo.name.into(),
        sha256: format!("{:x}", Sha256::digest(photo.jpeg)),
    });
    Ok(CastSources::of_marks(&marks, MAT, photographs.collect()))
}

/// The clinic and its visits, casts photographed and marked but not measured.
///
/// # Errors
/// A broken build.
pub fn visits() -> Result<VisitsFile, AppError> {
    let mut visits: Vec<Visit> = serde_json::from_str(VISITS_JSON).map_err(shipped)?;
    for demo in &CASTS {
        let cast = visits
            .iter_mut()
            .filter(|visit| visit.id == demo.visit)
            .flat_map(|visit| &mut visit.casts)
            .find(|cast| cast.id == demo.cast)
            .ok_or_else(|| shipped(format!("no cast {}", demo.cast)))?;
        cast.sources = sources(demo, demo.marks_json)?;
    }
    Ok(VisitsFile {
        clinic: clinic()?,
        visits,
    })
}

/// Makes the clinic's store at `path`, photographs included.
///
/// # Errors
/// The disk refuses.
pub fn store(path: &Path, cost: Option<Kdf>) -> Result<Records, AppError> {
    let file = visits()?;
    let by = "demonstration";
    let mut records = Records::create(path, PASSPHRASE, &file.clinic, by, cost)?;
    records.import(&file, by, |name, _| {
        let photo = CASTS.iter().flat_map(|cast| &cast.photos);
        photo
            .into_iter()
            .find(|photo| photo.name == name)
            .map(|photo| Cursor::new(photo.jpeg))
    })?;
    Ok(records)
}
