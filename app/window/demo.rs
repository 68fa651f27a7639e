//! The invented clinic's visits as the window opens them, taps and photographs included.

use super::marking::{Marking, Photo};
use super::session::Case;
use plinthside_demo_data::{CASTS, CLINIC_JSON, DemoCast, MAT_JSON, VISITS_JSON};
use plinthside_measure::marks::Marks;
use plinthside_measure::mat::Mat;
use plinthside_visit::{Clinic, Visit};
use sha2::Digest;
use std::sync::Arc;

/// Why the demo data can't be opened; tests open them, so only a broken build shows it.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// Clinic or visits.
    #[error("the invented clinic can't be read: {0}")]
    Json(#[from] serde_json::Error),
    /// The mat.
    #[error("the invented clinic's mat can't be read: {0}")]
    Mat(#[from] plinthside_measure::mat::MatError),
    /// The marks.
    #[error("the invented clinic's marks can't be read: {0}")]
    Marks(#[from] plinthside_measure::marks::MarksError),
}

/// The clinic and its cases.
///
/// # Errors
/// A broken build.
pub fn demo() -> Result<(Clinic, Vec<Case>), DemoError> {
    let clinic = serde_json::from_str(CLINIC_JSON)?;
    let visits: Vec<Visit> = serde_json::from_str(VISITS_JSON)?;
    let mat = Mat::from_json(MAT_JSON)?;
    let of_visit = |visit: Visit| {
        let cast = CASTS.iter().find(|cast| cast.visit == visit.id);
        cast.map(|cast| case(visit, cast, mat.clone()))
    };
    let cases = visits
        .into_iter()
        .filter_map(of_visit)
        .collect::<Result<_, _>>()?;
    Ok((clinic, cases))
}

fn case(visit: Visit, cast: &DemoCast, mat: Mat) -> Result<Case, DemoError> {
    let marks = Marks::from_json(cast.marks_json)?;
    let photos = cast.photos.iter().map(|photo| Photo {
        name: photo.name.into(),
        bytes: Arc::from(photo.jpeg),
        sha256: format!("{:x}", sha2::Sha256::digest(photo.jpeg)),
        tags: None,
        problem: String::new(),
    });
    Ok(Case {
        visit,
        side: cast.side,
        results: None,
        marking: Some(Marking::new(mat, photos.collect(), marks.views.clone())),
        marks,
    })
}
