//! `plinthside demo`: the invented clinic, in a window or as a whole visit without a screen.

use super::write_document;
use crate::cli::DemoArgs;
use crate::error::AppError;
use crate::photographs::{Look, Source, look_through};
use crate::pipeline::{self, Measured};
use crate::visits::{Foot, VisitsFile};
use crate::{clock, files, papers, summary, tie};
use plinthside_demo_data as data;
use plinthside_measure::marks::Marks;
use plinthside_measure::mat::Mat;
use plinthside_measure::mat::sheet;
use plinthside_measure::solve::SolveOptions;
use plinthside_paper::{LabelSize, Paper, PrinterDots};
use plinthside_visit::order::fillable;
use plinthside_visit::rules::{Case, RuleSet};
use plinthside_visit::verdict::Call;
use std::path::{Path, PathBuf};

/// Where a demo without a display writes when no folder was named.
const DEFAULT_FOLDER: &str = "plinthside-demo";
/// Dots per inch of the pages' pictures.
const PICTURE_DPI: f64 = 200.0;

/// Runs the command.
///
/// # Errors
/// When an output can't be written or the window can't be opened.
pub fn run(args: &DemoArgs) -> Result<(), AppError> {
    match &args.headless {
        Some(folder) => headless(folder),
        None if has_display() => crate::window::open_demo(),
        None => {
            eprintln!("There is no display here, so the visit is done without a window.");
            headless(Path::new(DEFAULT_FOLDER))
        }
    }
}

fn has_display() -> bool {
    let set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    cfg!(any(windows, target_os = "macos")) || set("DISPLAY") || set("WAYLAND_DISPLAY")
}

/// A fault in the data that the program ships with.
fn shipped(problem: impl std::fmt::Display) -> AppError {
    AppError::Request(format!(
        "the demo's own data can't be used ({problem}); please report this"
    ))
}

/// Both visits of the invented clinic, every output in `folder`.
fn headless(folder: &Path) -> Result<(), AppError> {
    let folder = files::make_folder(folder)?;
    let mat = Mat::from_json(data::MAT_JSON)?;
    let mut clinic = VisitsFile {
        clinic: serde_json::from_str(data::CLINIC_JSON).map_err(shipped)?,
        visits: serde_json::from_str(data::VISITS_JSON).map_err(shipped)?,
    };
    let mut written = vec![folder.join("mat.pdf"), folder.join("mat.json")];
    let layout = sheet::Paper::A3.layout();
    write_document(
        &plinthside_paper::mat(&layout, clock::today())?,
        &written[0],
        PICTURE_DPI,
    )?;
    files::write(&written[1], data::MAT_JSON.as_bytes())?;

    println!("{}: two visits, both invented.", clinic.clinic.name);
    for cast in &data::CASTS {
        let measured = measure(cast, &mat, &clinic)?;
        record(&mut clinic, cast, &measured)?;
        written.extend(write_papers(&clinic, cast, &measured, &folder)?);
    }
    let visits = folder.join("visits.json");
    files::write(&visits, files::json_text(&clinic)?.as_bytes())?;
    written.push(visits);
    println!("\nWritten:");
    for path in written {
        println!("  {}", path.display());
    }
    Ok(())
}

/// Detects, ties the photographs to the cast, and measures; a wrong tap is named, then put right.
fn measure(cast: &data::DemoCast, mat: &Mat, clinic: &VisitsFile) -> Result<Measured, AppError> {
    let visit = clinic
        .visits
        .iter()
        .find(|visit| visit.id == cast.visit)
        .ok_or_else(|| shipped(format!("no visit {}", cast.visit)))?;
    println!("\n── Visit {} · {} foot ──", visit.person.code, cast.side);
    let sources: Vec<Source> = cast
        .photos
        .iter()
        .map(|photo| Source::Bytes {
            name: photo.name.to_owned(),
            bytes: photo.jpeg.into(),
        })
        .collect();
    let found = look_through(
        &sources,
        Look {
            codes: true,
            ..Look::for_mat(mat)
        },
    )?;
    let foot = Foot {
        clinic: &clinic.clinic,
        visit,
        side: cast.side,
    };
    println!("{}", tie::to_cast(&found, foot.code()?)?);
    let photos: Vec<_> = found.into_iter().map(|found| found.tags).collect();
    let options = SolveOptions::default();
    let first = Marks::from_json(cast.marks_json)?;
    match pipeline::measure(Some(mat), &photos, &first, &options) {
        Ok(measured) => Ok(measured),
        Err(AppError::Solve(problem)) => {
            println!("Refused: {problem}\nThe tap was put right and measured again.");
            let corrected = Marks::from_json(cast.marks_corrected_json)?;
            pipeline::measure(Some(mat), &photos, &corrected, &options)
        }
        Err(problem) => Err(problem),
    }
}

/// Keeps the measurement with the visit, fills the order from it and, where the cast is fit to be
/// sent, signs it.
fn record(
    clinic: &mut VisitsFile,
    cast: &data::DemoCast,
    measured: &Measured,
) -> Result<(), AppError> {
    let results = measured
        .results
        .as_ref()
        .ok_or_else(|| shipped("no cast frame"))?;
    let now = clock::now();
    let VisitsFile { clinic, visits } = clinic;
    let visit = visits
        .iter_mut()
        .find(|visit| visit.id == cast.visit)
        .ok_or_else(|| shipped(format!("no visit {}", cast.visit)))?;
    let photos: Vec<&[u8]> = cast.photos.iter().map(|photo| photo.jpeg).collect();
    let kept = measured.to_keep(&photos, &visit.clinician, now)?;
    if let Some(cast) = visit.casts.iter_mut().find(|c| c.id == cast.cast) {
        cast.measurement = Some(kept);
    }
    let filled = {
        let case = Case::of_visit(visit, cast.side, now.date_naive()).measured(results);
        fillable(&case, clinic)
    };
    let Some(order) = visit
        .orders
        .iter_mut()
        .find(|order| order.side == cast.side)
    else {
        return Err(shipped(format!("visit {} has no order", visit.id)));
    };
    if let Some(draft) = order.draft_mut() {
        let stale = draft.fill(&filled);
        debug_assert!(
            stale.is_empty(),
            "a new order holds nothing older than its measurement"
        );
    }
    let order = order.id.clone();
    let foot = Foot {
        clinic,
        visit,
        side: cast.side,
    };
    let verdict = papers::judge(&foot, results)?;
    print!("{}", summary::of_measurement(measured, Some(&verdict)));
    if verdict.call == Call::Recast {
        println!("  The order stays a draft: the cast is to be taken again.");
        return Ok(());
    }
    let prescriber = clinic
        .prescribers
        .iter()
        .find(|p| p.name == visit.clinician);
    let prescriber = prescriber.ok_or_else(|| shipped("nobody may prescribe"))?;
    let rules = RuleSet::shipped()?;
    let signing = plinthside_visit::order::Signing {
        rules: &rules,
        results: Some(results),
        label_side: Some(cast.side),
        at: now,
    };
    let checks = visit.sign(&order, prescriber, signing)?;
    let cautions = checks.fired.iter().filter(|fired| fired.number > 0).count();
    println!(
        "Order signed by {}; {} printed on it.",
        prescriber.name,
        match cautions {
            0 => "no caution".into(),
            1 => "1 caution".into(),
            n => format!("{n} cautions"),
        }
    );
    Ok(())
}

/// Order, bench sheet, label, packing list and measurement of one foot.
fn write_papers(
    clinic: &VisitsFile,
    cast: &data::DemoCast,
    measured: &Measured,
    folder: &Path,
) -> Result<Vec<PathBuf>, AppError> {
    let visit = clinic
        .visits
        .iter()
        .find(|visit| visit.id == cast.visit)
        .ok_or_else(|| shipped(format!("no visit {}", cast.visit)))?;
    let foot = Foot {
        clinic: &clinic.clinic,
        visit,
        side: cast.side,
    };
    let today = clock::today();
    let (size, dots) = (LabelSize::W62H100, PrinterDots::DPI_300);
    let label = papers::label(&foot, size, dots, today)?;
    let mut written = Vec::new();
    for (name, document, dpi) in [
        (
            "order.pdf",
            &papers::order(&foot, Paper::A4, today)?,
            PICTURE_DPI,
        ),
        (
            "bench.pdf",
            &papers::bench(&foot, Paper::A4, today)?,
            PICTURE_DPI,
        ),
        ("label.pdf", &label, dots.dpi),
        ("label.png", &label, dots.dpi),
        (
            "packing.pdf",
            &papers::packing(&foot, Paper::A4, today)?,
            PICTURE_DPI,
        ),
    ] {
        let path = folder.join(format!("{}-{name}", cast.side));
        write_document(document, &path, dpi)?;
        written.push(path);
    }
    let results = foot.results()?;
    let verdict = papers::judge(&foot, &results)?;
    let marks = Marks::from_json(cast.marks_corrected_json)?;
    let path = folder.join(format!("{}-measurement.json", cast.side));
    let report = measured.report(&marks, Some(&verdict))?;
    files::write(&path, files::json_text(&report)?.as_bytes())?;
    written.push(path);
    Ok(written)
}
