//! `plinthside mat`: the page and its layout file from one source, and what its check bars measure.

use super::{print_jobs, write_document};
use crate::cli::{MatArgs, MatPaper};
use crate::error::AppError;
use crate::records::Records;
use crate::{clock, files, mats, printing};
use plinthside_measure::mat::sheet::Paper;
use plinthside_visit::Lang;

/// Dots per inch of a mat drawn as a picture.
const PICTURE_DPI: f64 = 300.0;

/// Runs the command.
///
/// # Errors
/// A file that can't be written, lengths that can't be right, or a printer that doesn't take it.
pub fn run(args: &MatArgs) -> Result<(), AppError> {
    let paper = match args.paper {
        MatPaper::A3 => Paper::A3,
        MatPaper::A4 => Paper::A4,
        MatPaper::Letter => Paper::Letter,
        MatPaper::TwoA4 => Paper::TwoA4,
    };
    let records = match args.printer.as_ref().or(args.to.as_ref()) {
        Some(_) => Some(args.store.place()?.open()?),
        None => None,
    };
    match (&args.measured, &args.printer, records) {
        (Some(bars), Some(printer), Some(records)) => enter(args, paper, printer, bars, records),
        (Some(bars), ..) => enter_in_file(args, paper, bars),
        (_, _, records) => sheet(args, paper, records),
    }
}

fn enter(
    args: &MatArgs,
    paper: Paper,
    printer: &str,
    bars: &[f64],
    mut records: Records,
) -> Result<(), AppError> {
    let lengths = two(bars)?;
    let mut clinic = records.clinic().clone();
    let fault = mats::enter(&mut clinic, paper, printer, lengths, args.sd, clock::now())?;
    let mat = mats::layout(&clinic, paper, printer)?;
    records.set_clinic(clinic, &args.by.by)?;
    if let Some(path) = &args.layout {
        files::write(path, mat.to_json().as_bytes())?;
    }
    match fault {
        Some(fault) => eprintln!("Kept. Caution: {fault}."),
        None => eprintln!("Kept: mats of this paper and printer are measured with these lengths."),
    }
    Ok(())
}

/// Without a clinic: the lengths go into the layout file alone, if it is of this paper.
fn enter_in_file(args: &MatArgs, paper: Paper, bars: &[f64]) -> Result<(), AppError> {
    let Some(path) = &args.layout else {
        return Err(AppError::Request(
            "say where the lengths go: --layout names the mat's layout file, --printer one of the clinic's printers".into(),
        ));
    };
    if path.exists() && super::detect::read_mat(path)?.tags != paper.layout().mat()?.tags {
        return Err(AppError::Request(format!(
            "{} is a mat for another paper; name the one it was made for with --paper",
            path.display()
        )));
    }
    let mat = mats::with_bars(paper, two(bars)?, args.sd)?;
    files::write(path, mat.to_json().as_bytes())?;
    match mat.print_fault() {
        Some(fault) => eprintln!("Entered in {}. Caution: {fault}.", path.display()),
        None => eprintln!("Entered in {}.", path.display()),
    }
    Ok(())
}

fn two(bars: &[f64]) -> Result<[f64; 2], AppError> {
    bars.try_into()
        .map_err(|_| AppError::Request("name two lengths: across and along, in millimetres".into()))
}

fn sheet(args: &MatArgs, paper: Paper, records: Option<Records>) -> Result<(), AppError> {
    let layout = paper.layout();
    let lang = records.as_ref().map_or(Lang::En, |r| r.clinic().lang);
    let printer = match (&records, &args.to) {
        (Some(records), Some(to)) => Some(printing::find(records.clinic(), to)?.name),
        _ => args.printer.clone(),
    };
    let mat = match (&records, &printer) {
        (Some(records), Some(printer)) => mats::layout(records.clinic(), paper, printer)?,
        _ => layout.mat()?,
    };
    if let Some(out) = &args.out {
        let document = plinthside_paper::mat(&layout, lang, clock::today())?;
        write_document(&document, out, PICTURE_DPI)?;
        if args.open {
            printing::hand_to_system(out)?;
        }
    }
    if let Some(path) = &args.layout {
        files::write(path, mat.to_json().as_bytes())?;
    }
    match (&records, &printer, &args.layout) {
        (Some(records), Some(printer), _) => {
            eprintln!("{}", mats::reminder(records.clinic(), paper, printer));
        }
        (_, _, Some(path)) => eprintln!(
            "Print at 100 %, tape the sheet to a board and measure both check bars; the same command with --layout {} --measured ACROSS ALONG, without --out, enters them.",
            path.display()
        ),
        _ => {}
    }
    match (&args.to, records) {
        (Some(to), Some(records)) => print_jobs::send(records, to, 1, &args.by.by, |to| {
            printing::mat(&layout, lang, to, clock::today())
        }),
        _ => Ok(()),
    }
}
