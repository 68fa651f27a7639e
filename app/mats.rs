//! Printed mats: what the check bars of each printer's print measure, kept with the clinic.

use crate::error::AppError;
use plinthside_measure::mat::sheet::Paper;
use plinthside_measure::mat::{Bar, Mat, PrintFault, Printed};
use plinthside_visit::Clinic;
use plinthside_visit::person::{PrintedMat, When};

/// Standard deviation of reading a steel rule to the half millimetre at both ends, mm. Common
/// practice, no source.
pub const RULE_SD_MM: f64 = 0.2;

/// The name a paper goes by in files and commands.
#[must_use]
pub fn paper_name(paper: Paper) -> &'static str {
    match paper {
        Paper::A3 => "a3",
        Paper::A4 => "a4",
        Paper::Letter => "letter",
        Paper::TwoA4 => "two-a4",
    }
}

/// The newest print of this paper by this printer whose bars were measured.
#[must_use]
pub fn measured<'a>(clinic: &'a Clinic, paper: Paper, printer: &str) -> Option<&'a PrintedMat> {
    clinic.mats.iter().rev().find(|mat| {
        mat.paper == paper_name(paper) && mat.printer == printer && mat.measured_at.is_some()
    })
}

/// What to do about the check bars of a mat that is printed now.
#[must_use]
pub fn reminder(clinic: &Clinic, paper: Paper, printer: &str) -> String {
    let name = paper_name(paper);
    let Some(known) = measured(clinic, paper, printer) else {
        let other =
            clinic.mats.iter().rev().find(|mat| {
                mat.measured_at.is_some() && (mat.paper == name || mat.printer == printer)
            });
        let changed = other.map_or_else(String::new, |mat| {
            format!(
                " (last measured: {} on {}; printer or paper has changed)",
                mat.paper, mat.printer
            )
        });
        return format!(
            "The check bars of {name} on {printer} have not been measured{changed}: measure both with a steel rule once the sheet lies on its board, and enter them."
        );
    };
    let when = known.measured_at.map_or_else(String::new, |at| {
        at.date_naive().format(" on %-d %b %Y").to_string()
    });
    let bars = bars_of(known).unwrap_or_default();
    let mm = |bar: Option<Bar>| {
        bar.map_or_else(|| "?".to_owned(), |bar| format!("{:.1}", bar.measured_mm))
    };
    format!(
        "The check bars of {name} on {printer} measured {} mm across and {} mm along{when}. Measure them again if the paper or anything about the printer has changed since.",
        mm(bars.across),
        mm(bars.along)
    )
}

fn bars_of(mat: &PrintedMat) -> Option<Printed> {
    Mat::from_json(&mat.layout).ok()?.printed
}

/// The mat's layout with what its printer's bars measure, where that is known.
///
/// # Errors
/// A fault of the program.
pub fn layout(clinic: &Clinic, paper: Paper, printer: &str) -> Result<Mat, AppError> {
    let mut mat = paper.layout().mat()?;
    mat.printed = measured(clinic, paper, printer).and_then(bars_of);
    Ok(mat)
}

/// The mat of this paper with what its check bars measure.
///
/// # Errors
/// Lengths that can't be right.
pub fn with_bars(
    paper: Paper,
    [across_mm, along_mm]: [f64; 2],
    sd_mm: f64,
) -> Result<Mat, AppError> {
    let sheet = paper.layout();
    let drawn = sheet.mat()?;
    let page = sheet.pages.first();
    let bar = |nominal: Option<f64>, measured_mm| {
        nominal.map(|nominal_mm| Bar {
            nominal_mm,
            measured_mm,
            sd_mm,
        })
    };
    let printed = Printed {
        across: bar(page.map(|p| p.across.nominal_mm), across_mm),
        along: bar(page.map(|p| p.along.nominal_mm), along_mm),
    };
    Ok(Mat::new(
        drawn.name,
        drawn.tags,
        drawn.border_bits.into(),
        Some(printed),
    )?)
}

/// Enters what both bars of a print measure, as a new mat of the clinic: casts that stood on an
/// earlier one keep it. What is wrong with the print, if anything.
///
/// # Errors
/// A length that cannot be right.
pub fn enter(
    clinic: &mut Clinic,
    paper: Paper,
    printer: &str,
    [across_mm, along_mm]: [f64; 2],
    sd_mm: f64,
    at: When,
) -> Result<Option<PrintFault>, AppError> {
    let mat = with_bars(paper, [across_mm, along_mm], sd_mm)?;
    let fault = mat.print_fault();
    let name = paper_name(paper);
    let stem = format!("{name}-{}", at.format("%Y%m%d-%H%M%S"));
    let taken = |id: &str| clinic.mats.iter().any(|mat| mat.id == id);
    let id = (1_u32..)
        .map(|n| {
            if n == 1 {
                stem.clone()
            } else {
                format!("{stem}-{n}")
            }
        })
        .find(|id| !taken(id))
        .unwrap_or(stem);
    clinic.mats.push(PrintedMat {
        id,
        name: [paper.layout().name, printer]
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect::<Vec<_>>()
            .join(", "),
        paper: name.into(),
        printer: printer.into(),
        measured_at: Some(at),
        layout: mat.to_json(),
        ..PrintedMat::default()
    });
    Ok(fault)
}
