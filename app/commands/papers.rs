//! `plinthside order|bench|packing|leaflet`: papers of a visit; `card`: the couch card.

use super::{print_jobs, write_document, write_out};
use crate::cli::{CardArgs, LanguageArg, OutArgs, PaperArgs, SheetPaper, VisitArgs};
use crate::error::AppError;
use crate::printing::{self, Sheet, Target};
use crate::visits::{Foot, VisitsFile};
use crate::{clock, papers};
use chrono::NaiveDate;
use plinthside_paper::{Document, Paper};
use plinthside_print::PrintDocument;
use plinthside_visit::{Clinic, Lang};

/// Dots per inch of a page drawn as a picture.
pub(super) const PICTURE_DPI: f64 = 200.0;

pub(super) fn paper(paper: SheetPaper) -> Paper {
    match paper {
        SheetPaper::A4 => Paper::A4,
        SheetPaper::Letter => Paper::Letter,
    }
}

/// Reads the visits and hands over the foot asked for: to be written, and to be printed where a
/// printer was named.
pub(super) fn with_foot(
    args: &VisitArgs,
    out: &OutArgs,
    by: &str,
    write: impl FnOnce(&Foot<'_>) -> Result<(), AppError>,
    set: impl FnOnce(&Foot<'_>, &Target) -> Result<PrintDocument, AppError>,
) -> Result<(), AppError> {
    let (file, records) = match &args.visits {
        Some(path) => (VisitsFile::read(path)?, None),
        None => {
            let mut records = args.store.place()?.open()?;
            (records.with_visit(&args.visit)?, Some(records))
        }
    };
    let foot = file.foot(&args.visit, args.side)?;
    if out.out.is_some() {
        write(&foot)?;
    }
    match (&out.to, records) {
        (Some(to), Some(records)) => {
            print_jobs::send(records, to, out.copies, by, |to| set(&foot, to))
        }
        (Some(_), None) => Err(AppError::Request(
            "print jobs are kept in the store: print a visit of the store, or write a file and print that with `plinthside print`".into(),
        )),
        (None, _) => Ok(()),
    }
}

fn page(
    args: &PaperArgs,
    make: fn(&Foot<'_>, Paper, NaiveDate) -> Result<Document, AppError>,
    sheet: fn(Paper) -> Sheet,
) -> Result<(), AppError> {
    let (paper, today) = (paper(args.paper), clock::today());
    with_foot(
        &args.visit,
        &args.out,
        &args.by.by,
        |foot| write_out(&make(foot, paper, today)?, &args.out, PICTURE_DPI),
        |foot, to| printing::sheet(foot, sheet(paper), to, today),
    )
}

/// `plinthside order`
///
/// # Errors
/// No such visit, no order, a file that can't be written or a printer that doesn't take it.
pub fn order(args: &PaperArgs) -> Result<(), AppError> {
    page(args, papers::order, Sheet::Order)
}

/// `plinthside bench`
///
/// # Errors
/// No such visit, nothing measured, a file that can't be written or a printer that doesn't take it.
pub fn bench(args: &PaperArgs) -> Result<(), AppError> {
    page(args, papers::bench, Sheet::Bench)
}

/// `plinthside packing`
///
/// # Errors
/// No such visit, no order, a file that can't be written or a printer that doesn't take it.
pub fn packing(args: &PaperArgs) -> Result<(), AppError> {
    page(args, papers::packing, Sheet::Packing)
}

/// `plinthside leaflet`
///
/// # Errors
/// No such visit, a file that can't be written or a printer that doesn't take it.
pub fn leaflet(args: &PaperArgs) -> Result<(), AppError> {
    page(args, papers::leaflet, Sheet::Leaflet)
}

/// `plinthside card`
///
/// # Errors
/// A file that can't be written.
pub fn card(args: &CardArgs) -> Result<(), AppError> {
    let lang = match args.language {
        LanguageArg::En => Lang::En,
        LanguageArg::De => Lang::De,
    };
    let clinic = Clinic::default();
    let card = papers::couch_card(&clinic, paper(args.paper), lang, clock::today())?;
    write_document(&card, &args.out, PICTURE_DPI)
}
