//! `plinthside import|find|show|backup|restore|check`: the store from the command line.

use super::print;
use crate::cli::{BackupArgs, CheckArgs, FindArgs, ImportArgs, ShowArgs};
use crate::error::AppError;
use crate::files;
use crate::records::{Records, device_name};
use crate::summary;
use crate::visits::VisitsFile;
use chrono::{DateTime, Local, TimeZone};
use plinthside_store::{HistoryEntry, Options, restore as restore_store};
use plinthside_visit::Visit;
use std::fmt::Write as _;
use std::fs::File;
use std::ops::ControlFlow;
use std::path::Path;

/// `plinthside import`
///
/// # Errors
/// A file of another form, a visit that is there already, or a disk that refuses.
pub fn import(args: &ImportArgs) -> Result<(), AppError> {
    let file = VisitsFile::read(&args.file)?;
    let place = args.store.place()?;
    let (mut records, new) = place.open_or_create(&args.by)?;
    if new {
        eprintln!("A new store was made at {}.", place.path.display());
    }
    let beside = args.file.parent().unwrap_or(Path::new("."));
    let folder = args.photos.as_deref().unwrap_or(beside);
    let imported = records.import(&file, &args.by, |name, _| {
        // Names come from the file: only what lies in the folder itself is opened.
        let name = Path::new(name).file_name()?;
        File::open(folder.join(name)).ok()
    })?;
    if args.json {
        return print(&files::json_text(&imported)?);
    }
    let mut text = format!(
        "{} visits and {} photographs taken in.\n",
        imported.visits.len(),
        imported.photographs
    );
    if !imported.unchanged.is_empty() {
        let _ = writeln!(
            text,
            "Here already and unchanged: {}.",
            imported.unchanged.join(", ")
        );
    }
    if imported.clinic_taken {
        let _ = writeln!(text, "Clinic: {}.", records.clinic().name);
    } else if file.clinic.name != records.clinic().name {
        let _ = writeln!(
            text,
            "The file's clinic ({}) was left out: this store belongs to {}.",
            file.clinic.name,
            records.clinic().name
        );
    }
    if !imported.missing.is_empty() {
        let _ = writeln!(
            text,
            "Not found in {}: {}. The visits are kept without them; import the file again with --photos and their folder.",
            folder.display(),
            imported.missing.join(", ")
        );
    }
    print(&text)
}

/// `plinthside find`
///
/// # Errors
/// The store can't be opened.
pub fn find(args: &FindArgs) -> Result<(), AppError> {
    let mut records = args.store.place()?.open()?;
    let found = records.find(&args.text, args.number)?;
    if args.json {
        return print(&files::json_text(&found)?);
    }
    if found.is_empty() {
        return print(&format!(
            "Nothing was found for “{}”. Search looks for patients, codes, labels, labs, states and notes.\n",
            args.text
        ));
    }
    let mut text = String::new();
    for found in found {
        let case = found.case;
        let day = case.at.get(..10).unwrap_or(&case.at);
        let _ = writeln!(
            text,
            "{}  {day}  {}  {}  {}{}",
            case.id,
            case.person_code,
            case.patient,
            case.sides,
            [&case.state, &case.lab, &case.codes]
                .into_iter()
                .filter(|part| !part.is_empty())
                .fold(String::new(), |all, part| all + "  " + part)
        );
    }
    print(&text)
}

/// `plinthside show`
///
/// # Errors
/// No such visit, a time of another form, or a store that can't be opened.
pub fn show(args: &ShowArgs) -> Result<(), AppError> {
    let mut records = args.store.place()?.open()?;
    let id = records.visit_id(&args.visit)?;
    if args.history {
        let history = records.store().document(&id)?.history();
        return if args.json {
            print(&files::json_text(&history)?)
        } else {
            print(&history_text(&history))
        };
    }
    let visit = match &args.at {
        None => records.visit(&id)?.value,
        Some(time) => visit_at(&mut records, &id, time)?,
    };
    if args.json {
        print(&files::json_text(&visit)?)
    } else {
        print(&summary::of_visit(&visit))
    }
}

fn visit_at(records: &mut Records, id: &str, time: &str) -> Result<Visit, AppError> {
    let at = DateTime::parse_from_rfc3339(time).map_err(|_| {
        AppError::Request(format!(
            "“{time}” is no time; write it as 2026-05-12T10:00:00+01:00"
        ))
    })?;
    let value = records
        .store()
        .document(id)?
        .value_at_time(at.timestamp_millis())
        .map_err(plinthside_store::StoreError::from)?;
    if value.as_object().is_none_or(serde_json::Map::is_empty) {
        return Err(AppError::Request(format!(
            "visit {id} did not exist yet at {time}"
        )));
    }
    serde_json::from_value(value).map_err(AppError::Encode)
}

/// Each change on a line: when, who, where, what became what.
fn history_text(history: &[HistoryEntry]) -> String {
    let mut text = String::new();
    for entry in history {
        let (when, who) = entry.stamp.as_ref().map_or_else(Default::default, |stamp| {
            let when = Local.timestamp_millis_opt(stamp.at_ms).single();
            (
                when.map_or_else(String::new, |t| t.format("%Y-%m-%d %H:%M:%S").to_string()),
                format!("{} on {}", stamp.by, stamp.device),
            )
        });
        let why = entry.stamp.as_ref().map_or("", |stamp| stamp.why.as_str());
        let because = if why.is_empty() {
            String::new()
        } else {
            format!(" ({why})")
        };
        let _ = writeln!(text, "{when}  {who}{because}");
        for difference in &entry.differences {
            let _ = writeln!(
                text,
                "    {}: {} → {}",
                difference.path.join(" / "),
                short(&difference.before),
                short(&difference.after)
            );
        }
    }
    text
}

/// A value on one line.
fn short(value: &serde_json::Value) -> String {
    const LONGEST: usize = 80;
    let text = match value {
        serde_json::Value::Null => "–".into(),
        serde_json::Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    }
}

/// `plinthside backup`
///
/// # Errors
/// The store can't be opened or the file not be written.
pub fn backup(args: &BackupArgs) -> Result<(), AppError> {
    let mut records = args.store.place()?.open()?;
    let by = device_name();
    records
        .store()
        .backup(&args.file, &by, &mut |_, _| ControlFlow::Continue(()))?;
    print(&format!(
        "Written: {}. It opens with the passphrase of today.\n",
        args.file.display()
    ))
}

/// `plinthside restore`
///
/// # Errors
/// A store is there already, no backup of ours, or another passphrase.
pub fn restore(args: &BackupArgs) -> Result<(), AppError> {
    let place = args.store.place()?;
    if place.path.exists() {
        return Err(AppError::Request(format!(
            "there is a store at {} already, and it was left as it is; move it away or name another place with --store",
            place.path.display()
        )));
    }
    let passphrase = place.passphrase_of_backup()?;
    let options = Options::new(device_name());
    let report = restore_store(&args.file, &place.path, &passphrase, options)?;
    print(&format!("Restored to {}. {report}\n", place.path.display()))
}

/// `plinthside check`
///
/// # Errors
/// The store can't be opened, or something in it is not as it should be.
pub fn check(args: &CheckArgs) -> Result<(), AppError> {
    let mut records = args.store.place()?.open()?;
    if args.rebuild {
        records.store().rebuild()?;
    }
    let report = records.store().check()?;
    if args.json {
        print(&files::json_text(&report)?)?;
    } else {
        print(&format!("{report}\n"))?;
    }
    match report.findings.len() {
        0 => Ok(()),
        n => Err(AppError::Request(format!(
            "the store has {n} findings; make a backup of what can be read before anything else"
        ))),
    }
}
