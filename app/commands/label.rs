//! `plinthside label|labels`: the bag label of a visit, and labels printed ahead.

use super::papers::{PICTURE_DPI, paper, with_foot};
use super::{print_jobs, write_out};
use crate::cli::{LabelArgs, LabelsArgs};
use crate::error::AppError;
use crate::printing::{self, Sheet};
use crate::{clock, labels as ties, papers};
use plinthside_paper::LabelSize;

/// More labels than this at a time is a slip of the finger.
const MOST_LABELS: u32 = 1_000;

/// `plinthside label`
///
/// # Errors
/// No such visit, no code bound, an unknown size, a file that can't be written or a printer that
/// doesn't take it.
pub fn run(args: &LabelArgs) -> Result<(), AppError> {
    let dots = printing::dots(args.dpi)?;
    let size: LabelSize = args.size.parse()?;
    with_foot(
        &args.visit,
        &args.out,
        &args.by.by,
        |foot| {
            let document = papers::label(foot, size, dots, clock::today())?;
            write_out(&document, &args.out, dots.dpi)
        },
        |foot, to| printing::sheet(foot, Sheet::Label(size), to, clock::today()),
    )
}

/// `plinthside labels`
///
/// # Errors
/// A number out of range, no randomness, a file that can't be written or a printer that doesn't
/// take it.
pub fn labels(args: &LabelsArgs) -> Result<(), AppError> {
    if !(1..=MOST_LABELS).contains(&args.number) {
        return Err(AppError::Request(format!(
            "{} labels: ask for 1 to {MOST_LABELS}",
            args.number
        )));
    }
    let place = args.store.place()?;
    let named = args.store.store.is_some() || args.store.passphrase_file.is_some();
    let mut records = if named || args.out.to.is_some() || (place.path.exists() && !args.unrecorded)
    {
        Some(place.open()?)
    } else {
        None
    };
    let (codes, first) = match &mut records {
        Some(records) if !args.unrecorded => {
            ties::print_ahead(records.store(), args.number, &args.by.by)?
        }
        _ => (ties::mint(args.number)?, 1),
    };
    let own = records.as_ref().map(|records| records.clinic().clone());
    let own = own.unwrap_or_default();
    let or = |given: &str, own: String| match given {
        "" => own,
        given => given.to_owned(),
    };
    let document = plinthside_paper::labels(
        &codes,
        first,
        &or(&args.clinic, own.name),
        &or(&args.telephone, own.telephone),
        paper(args.sheet),
        clock::today(),
    )?;
    write_out(&document, &args.out, PICTURE_DPI)?;
    match (&args.out.to, records) {
        (Some(to), Some(records)) => {
            print_jobs::send(records, to, args.out.copies, &args.by.by, |to| {
                printing::stickers(&document, to)
            })
        }
        _ => Ok(()),
    }
}
