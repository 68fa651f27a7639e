//! One module a command; each reads what the user named, calls core, prints or writes.

pub mod bags;
pub mod code;
pub mod demo;
pub mod detect;
pub mod exchange;
pub mod figures;
pub mod keep;
pub mod label;
pub mod mat;
pub mod measure;
pub mod papers;
pub mod print_jobs;
pub mod records;
pub mod rules;

use crate::cli::OutArgs;
use crate::error::AppError;
use crate::{files, printing};
use plinthside_paper::Document;
use std::io::Write;
use std::path::Path;

/// Prints a result to standard output.
///
/// # Errors
/// When nobody reads it any more.
pub(crate) fn print(text: &str) -> Result<(), AppError> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .map_err(AppError::Print)
}

/// Writes a document as its name says: `.pdf` whole, `.png` a picture a page.
///
/// # Errors
/// Another ending, or a file that can't be written.
pub(crate) fn write_document(document: &Document, out: &Path, dpi: f64) -> Result<(), AppError> {
    let ending = out.extension().map(|e| e.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("pdf") => files::write(out, &document.pdf()?),
        Some("png") => {
            let pages = document.pages();
            for page in 0..pages {
                files::write(&page_path(out, page, pages), &document.png(page, dpi)?)?;
            }
            Ok(())
        }
        _ => Err(AppError::Request(format!(
            "{}: name the file .pdf or .png",
            out.display()
        ))),
    }
}

/// Writes a document where it is wanted as a file, and opens it where that was asked.
pub(crate) fn write_out(document: &Document, out: &OutArgs, dpi: f64) -> Result<(), AppError> {
    let Some(path) = &out.out else { return Ok(()) };
    write_document(document, path, dpi)?;
    if out.open {
        let pdf = path
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("pdf"));
        let pages = if pdf { 1 } else { document.pages() };
        printing::hand_to_system(&page_path(path, 0, pages))?;
    }
    Ok(())
}

/// `sheet.png`, or `sheet-2.png` for the second of several pages.
fn page_path(out: &Path, page: usize, pages: usize) -> std::path::PathBuf {
    if pages == 1 {
        return out.to_owned();
    }
    let stem = out.file_stem().unwrap_or_default().to_string_lossy();
    out.with_file_name(format!("{stem}-{}.png", page + 1))
}
