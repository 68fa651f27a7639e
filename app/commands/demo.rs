//! `plinthside demo`: the invented clinic, in a window or as two whole visits without a screen.

mod measuring;

use super::write_document;
use crate::cli::DemoArgs;
use crate::error::AppError;
use crate::invented::{self, shipped};
use crate::package::ForLab;
use crate::pipeline::Measured;
use crate::records::Records;
use crate::visits::Foot;
use crate::{clock, files, papers, summary};
use plinthside_demo_data as data;
use plinthside_exchange::SecretKey;
use plinthside_measure::mat::sheet;
use plinthside_paper::{LabelSize, Paper, PrinterDots};
use plinthside_store::Opened;
use plinthside_visit::order::{Signing, fillable};
use plinthside_visit::rules::{Case, RuleSet};
use plinthside_visit::verdict::Call;
use plinthside_visit::{Clinic, Visit};
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
            eprintln!("There is no display here, so both visits are done without a window.");
            headless(Path::new(DEFAULT_FOLDER))
        }
    }
}

fn has_display() -> bool {
    let set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    cfg!(any(windows, target_os = "macos")) || set("DISPLAY") || set("WAYLAND_DISPLAY")
}

/// Both visits of the invented clinic, every output in `folder`.
fn headless(folder: &Path) -> Result<(), AppError> {
    let folder = files::make_folder(folder)?;
    let mut written = vec![folder.join("mat.pdf"), folder.join("mat.json")];
    let layout = sheet::Paper::A3.layout();
    write_document(
        &plinthside_paper::mat(&layout, plinthside_visit::Lang::En, clock::today())?,
        &written[0],
        PICTURE_DPI,
    )?;
    files::write(&written[1], data::MAT_JSON.as_bytes())?;

    let store = folder.join("demo.store");
    let passphrase = folder.join("passphrase.txt");
    let mut records = fresh_store(&store)?;
    files::write(
        &passphrase,
        format!("{}\n", invented::PASSPHRASE).as_bytes(),
    )?;
    let photographs = files::make_folder(&folder.join("photographs"))?;
    println!("{}: two visits, both invented.", records.clinic().name);
    for cast in &data::CASTS {
        let mut visit = records.visit(cast.visit)?;
        println!(
            "\n── Visit {} · {} foot ──",
            visit.value.person.code, cast.side
        );
        let measured = measure(&mut records, &mut visit, cast)?;
        order(&mut records, &mut visit, cast, &measured)?;
        records.put_away(cast.visit)?;
        written.extend(write_papers(&mut records, cast, &measured, &folder)?);
        for photo in &cast.photos {
            files::write(&photographs.join(photo.name), photo.jpeg)?;
        }
        let marks = folder.join(format!("{}-marks.json", cast.side));
        files::write(&marks, cast.marks_corrected_json.as_bytes())?;
        written.push(marks);
    }
    let visits = folder.join("visits.json");
    files::write(
        &visits,
        files::json_text(&records.everything()?)?.as_bytes(),
    )?;
    written.extend(write_package(records, &folder)?);
    written.extend([visits, photographs, store.clone(), passphrase.clone()]);
    println!("\nWritten:");
    for path in written {
        println!("  {}", path.display());
    }
    println!(
        "\nTry: plinthside find ashdown --store {} --passphrase-file {}",
        store.display(),
        passphrase.display()
    );
    Ok(())
}

/// The sealed package of the signed order, with the throw-away key of the demonstration's lab: anyone
/// can try to open it.
fn write_package(mut records: Records, folder: &Path) -> Result<Vec<PathBuf>, AppError> {
    let key = SecretKey::generate();
    let mut clinic = records.clinic().clone();
    if let Some(lab) = clinic.labs.first_mut() {
        lab.public_key = key.public()?;
    }
    records.set_clinic(clinic, "demonstration")?;
    let cast = &data::CASTS[0];
    let kept = records.with_visit(cast.visit)?;
    let foot = kept.foot(cast.visit, None)?;
    let lab = kept.clinic.labs.first().ok_or_else(|| shipped("no lab"))?;
    let package = ForLab::gather(&mut records, &foot, lab.clone())?.seal(&foot, false)?;
    let (sealed, key_file) = (folder.join(&package.name), folder.join("lab-key.txt"));
    files::write(&sealed, &package.bytes)?;
    files::write(&key_file, key.file()?.as_bytes())?;
    Ok(vec![sealed, key_file])
}

/// A new store; that of an earlier demonstration makes room.
fn fresh_store(path: &Path) -> Result<Records, AppError> {
    if path.exists() {
        plinthside_store::remove_store(path)?;
    }
    invented::store(path, None)
}

/// Detects, ties the photographs to the cast, and measures; a wrong tap is named, then put right.
fn measure(
    records: &mut Records,
    visit: &mut Opened<Visit>,
    cast: &data::DemoCast,
) -> Result<Measured, AppError> {
    let taken = visit
        .value
        .cast(cast.side)
        .ok_or_else(|| shipped("no cast"))?;
    let seen = measuring::look(records, taken)?;
    println!("{}", seen.tie);
    let measured = match measuring::measure(&mut visit.value, cast.side, &seen) {
        Err(AppError::Solve(problem)) => {
            println!("Refused: {problem}\nThe tap was put right and measured again.");
            let corrected = invented::sources(cast, cast.marks_corrected_json)?;
            if let Some(cast) = visit.value.casts.iter_mut().find(|c| c.id == cast.cast) {
                cast.sources = corrected;
            }
            measuring::measure(&mut visit.value, cast.side, &seen)
        }
        other => other,
    }?;
    let by = visit.value.clinician.clone();
    records.save(visit, &by, "measured")?;
    Ok(measured)
}

/// Fills the order from the measurement and, where the cast is fit to be sent, signs it.
fn order(
    records: &mut Records,
    visit: &mut Opened<Visit>,
    cast: &data::DemoCast,
    measured: &Measured,
) -> Result<(), AppError> {
    let clinic = records.clinic().clone();
    let said = fill_and_sign(&clinic, &mut visit.value, cast, measured)?;
    let by = visit.value.clinician.clone();
    records.save(visit, &by, "ordered")?;
    println!("{said}");
    Ok(())
}

fn fill_and_sign(
    clinic: &Clinic,
    visit: &mut Visit,
    cast: &data::DemoCast,
    measured: &Measured,
) -> Result<String, AppError> {
    let results = measured
        .results
        .as_ref()
        .ok_or_else(|| shipped("no cast frame"))?;
    let now = clock::now();
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
        return Ok("  The order stays a draft: the cast is to be taken again.".into());
    }
    let prescriber = clinic
        .prescribers
        .iter()
        .find(|p| p.name == visit.clinician)
        .ok_or_else(|| shipped("nobody may prescribe"))?;
    let rules = RuleSet::shipped()?;
    let signing = Signing {
        rules: &rules,
        results: Some(results),
        label_side: Some(cast.side),
        at: now,
    };
    let checks = visit.sign(&order, prescriber, signing)?;
    let cautions = checks.cautions().count();
    Ok(format!(
        "Order signed by {}; {} printed on it.",
        prescriber.name,
        match cautions {
            0 => "no caution".into(),
            1 => "1 caution".into(),
            n => format!("{n} cautions"),
        }
    ))
}

/// Order, bench sheet, label, packing list and measurement of one foot.
fn write_papers(
    records: &mut Records,
    cast: &data::DemoCast,
    measured: &Measured,
    folder: &Path,
) -> Result<Vec<PathBuf>, AppError> {
    let kept = records.with_visit(cast.visit)?;
    let foot = kept.foot(cast.visit, None)?;
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
            "leaflet.pdf",
            &papers::leaflet(&foot, Paper::A4, today)?,
            PICTURE_DPI,
        ),
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
    let taken = foot.cast().ok_or_else(|| shipped("no cast"))?;
    let marks = taken.sources.marks(cast.side, foot.visit.leg(cast.side));
    let path = folder.join(format!("{}-measurement.json", cast.side));
    let report = measured.report(&marks, Some(&verdict))?;
    files::write(&path, files::json_text(&report)?.as_bytes())?;
    written.push(path);
    Ok(written)
}
