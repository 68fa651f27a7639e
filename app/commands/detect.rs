//! `plinthside detect`: tags and codes found, per photograph.

use super::print;
use crate::cli::DetectArgs;
use crate::error::AppError;
use crate::files;
use crate::photographs::{Found, Look, Source, look_through};
use plinthside_measure::mat::Mat;
use std::fmt::Write;
use std::path::Path;

/// Reads a mat file.
///
/// # Errors
/// When it cannot be read or is no usable mat.
pub fn read_mat(path: &Path) -> Result<Mat, AppError> {
    Mat::from_json(&files::read_text(path)?).map_err(|problem| AppError::Refused {
        path: path.to_owned(),
        problem: problem.to_string(),
    })
}

/// Runs the command.
///
/// # Errors
/// When a photograph or the mat file is refused.
pub fn run(args: &DetectArgs) -> Result<(), AppError> {
    let look = match &args.mat {
        Some(path) => Look::for_mat(&read_mat(path)?),
        None => Look::default(),
    };
    let sources: Vec<Source> = args.photos.iter().cloned().map(Source::File).collect();
    let found = look_through(
        &sources,
        Look {
            codes: true,
            ..look
        },
    )?;
    for warning in found.iter().flat_map(|f| &f.warnings) {
        eprintln!("{warning}");
    }
    if args.json {
        print(&files::json_text(&found)?)
    } else {
        print(&found.iter().map(summary).collect::<String>())
    }
}

fn summary(found: &Found) -> String {
    let tags = &found.tags;
    let mut text = format!(
        "{}: {} × {} pixels, {} tags",
        tags.photo,
        tags.width,
        tags.height,
        tags.tags.len()
    );
    for code in &found.codes {
        let kind = if code.cast_code { "cast code" } else { "code" };
        let _ = write!(text, ", {kind} {}", code.text);
    }
    text.push('\n');
    text
}
