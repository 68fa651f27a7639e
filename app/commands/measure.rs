//! `plinthside measure`: photographs and marks to points, results and a verdict.

use super::{detect::read_mat, print};
use crate::cli::MeasureArgs;
use crate::error::AppError;
use crate::files;
use crate::photographs::{Look, Source, look_through};
use crate::pipeline::{self, Measured};
use crate::summary;
use plinthside_measure::marks::Marks;
use plinthside_measure::mat::Mat;
use plinthside_measure::observed::PhotoTags;
use plinthside_measure::solve::SolveOptions;
use std::path::Path;

/// Reads a marks file.
///
/// # Errors
/// When it can't be read; the sentence names the file and the place.
pub fn read_marks(path: &Path) -> Result<Marks, AppError> {
    Marks::from_json(&files::read_text(path)?).map_err(|problem| AppError::Refused {
        path: path.to_owned(),
        problem: problem.to_string(),
    })
}

/// Runs the command.
///
/// # Errors
/// Whatever stands in the way of a result, with the remedy.
pub fn run(args: &MeasureArgs) -> Result<(), AppError> {
    let mat = args.mat.as_deref().map(read_mat).transpose()?;
    let marks = read_marks(&args.marks)?;
    let photos = photos(args, mat.as_ref(), &marks)?;
    let options = SolveOptions {
        min_rays_deg: args.min_rays_deg,
        ..SolveOptions::default()
    };
    let measured: Measured = pipeline::measure(mat.as_ref(), &photos, &marks, &options)?;
    let verdict = measured.verdict()?;
    if args.json {
        print(&files::json_text(
            &measured.report(&marks, verdict.as_ref())?,
        )?)
    } else {
        print(&summary::of_measurement(&measured, verdict.as_ref()))
    }
}

/// The tags: from the file that `detect` wrote, or looked for in the photographs.
fn photos(
    args: &MeasureArgs,
    mat: Option<&Mat>,
    marks: &Marks,
) -> Result<Vec<PhotoTags>, AppError> {
    if let Some(path) = &args.tags {
        return files::read_json(path);
    }
    if args.photos.is_empty() {
        if marks.ruler.is_empty() {
            return Err(AppError::Request(
                "nothing to measure: name photographs, a --tags file, or enter ruler readings in the marks file".into(),
            ));
        }
        return Ok(Vec::new());
    }
    let sources: Vec<Source> = args.photos.iter().cloned().map(Source::File).collect();
    let found = look_through(&sources, mat.map(Look::for_mat).unwrap_or_default())?;
    Ok(found.into_iter().map(|found| found.tags).collect())
}
