//! `plinthside mat`: the page and its layout file from one source.

use super::write_document;
use crate::cli::{MatArgs, MatPaper};
use crate::error::AppError;
use crate::{clock, files};
use plinthside_measure::mat::sheet::Paper;

/// Dots per inch of a mat drawn as a picture.
const PICTURE_DPI: f64 = 300.0;

/// Runs the command.
///
/// # Errors
/// When a file can't be written.
pub fn run(args: &MatArgs) -> Result<(), AppError> {
    let paper = match args.paper {
        MatPaper::A3 => Paper::A3,
        MatPaper::A4 => Paper::A4,
        MatPaper::Letter => Paper::Letter,
        MatPaper::TwoA4 => Paper::TwoA4,
    };
    let layout = paper.layout();
    let document = plinthside_paper::mat(&layout, plinthside_visit::Lang::En, clock::today())?;
    let mat = layout.mat()?.to_json();
    write_document(&document, &args.out, PICTURE_DPI)?;
    if let Some(path) = &args.layout {
        files::write(path, mat.as_bytes())?;
        eprintln!(
            "Print at 100 %, tape the sheet to a board, measure both check bars and enter them in {}.",
            path.display()
        );
    }
    Ok(())
}
