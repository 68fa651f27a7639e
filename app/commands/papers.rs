//! `plinthside label|labels|order|bench|packing`: papers of a visit.

use super::write_document;
use crate::cli::{LabelArgs, LabelsArgs, PaperArgs, SheetPaper, VisitArgs};
use crate::error::AppError;
use crate::visits::{Foot, VisitsFile};
use crate::{clock, papers};
use chrono::NaiveDate;
use plinthside_paper::{CastCode, Document, Paper, PrinterDots};

/// Dots per inch of a page drawn as a picture.
const PICTURE_DPI: f64 = 200.0;
/// More labels than this at a time is a slip of the finger.
const MOST_LABELS: u32 = 1_000;

fn paper(paper: SheetPaper) -> Paper {
    match paper {
        SheetPaper::A4 => Paper::A4,
        SheetPaper::Letter => Paper::Letter,
    }
}

/// Reads the visits and hands over the foot asked for.
fn with_foot<T>(
    args: &VisitArgs,
    make: impl FnOnce(&Foot<'_>) -> Result<T, AppError>,
) -> Result<T, AppError> {
    let file = match &args.visits {
        Some(path) => VisitsFile::read(path)?,
        None => args.store.place()?.open()?.with_visit(&args.visit)?,
    };
    make(&file.foot(&args.visit, args.side)?)
}

fn page(
    args: &PaperArgs,
    make: fn(&Foot<'_>, Paper, NaiveDate) -> Result<Document, AppError>,
) -> Result<(), AppError> {
    let document = with_foot(&args.visit, |foot| {
        make(foot, paper(args.paper), clock::today())
    })?;
    write_document(&document, &args.out, PICTURE_DPI)
}

/// `plinthside order`
///
/// # Errors
/// No such visit, no order, or a file that can't be written.
pub fn order(args: &PaperArgs) -> Result<(), AppError> {
    page(args, papers::order)
}

/// `plinthside bench`
///
/// # Errors
/// No such visit, nothing measured, or a file that can't be written.
pub fn bench(args: &PaperArgs) -> Result<(), AppError> {
    page(args, papers::bench)
}

/// `plinthside packing`
///
/// # Errors
/// No such visit, no order, or a file that can't be written.
pub fn packing(args: &PaperArgs) -> Result<(), AppError> {
    page(args, papers::packing)
}

/// `plinthside leaflet`
///
/// # Errors
/// No such visit, or a file that can't be written.
pub fn leaflet(args: &PaperArgs) -> Result<(), AppError> {
    page(args, papers::leaflet)
}

/// `plinthside label`
///
/// # Errors
/// No such visit, no code bound, an unknown size, or a file that can't be written.
pub fn label(args: &LabelArgs) -> Result<(), AppError> {
    let dots = match args.dpi {
        203 => PrinterDots::DPI_203,
        300 => PrinterDots::DPI_300,
        600 => PrinterDots::DPI_600,
        other => {
            return Err(AppError::Request(format!(
                "labels are drawn for printers of 203, 300 or 600 dots per inch, not {other}"
            )));
        }
    };
    let size = args.size.parse()?;
    let document = with_foot(&args.visit, |foot| {
        papers::label(foot, size, dots, clock::today())
    })?;
    write_document(&document, &args.out, dots.dpi)
}

/// `plinthside labels`
///
/// # Errors
/// A number out of range, no randomness, or a file that can't be written.
pub fn labels(args: &LabelsArgs) -> Result<(), AppError> {
    if !(1..=MOST_LABELS).contains(&args.number) {
        return Err(AppError::Request(format!(
            "{} labels: ask for 1 to {MOST_LABELS}",
            args.number
        )));
    }
    let codes = (0..args.number)
        .map(|_| CastCode::mint())
        .collect::<Result<Vec<_>, _>>()
        .map_err(|problem| AppError::Request(problem.to_string()))?;
    let document = plinthside_paper::labels(
        &codes,
        1,
        &args.clinic,
        &args.telephone,
        paper(args.sheet),
        clock::today(),
    )?;
    write_document(&document, &args.out, PICTURE_DPI)
}
