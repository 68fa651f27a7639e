//! `plinthside code …`: new codes, checked and read here; tied to casts by [`bags`].

use super::{bags, print};
use crate::cli::CodeCommand;
use crate::error::AppError;
use crate::photographs::{Source, codes_in};
use crate::{files, labels};
use plinthside_paper::CastCode;
use serde_json::json;

/// More codes than this at a time is a slip of the finger.
const MOST: u32 = 10_000;

/// Runs the command.
///
/// # Errors
/// A code that is none, a photograph that is refused or holds no code, a number out of range.
pub fn run(command: &CodeCommand) -> Result<(), AppError> {
    match command {
        CodeCommand::New { number, json } => new(*number, *json),
        CodeCommand::Check { text, json } => check(text, *json),
        CodeCommand::Read { photo, json } => read(photo, *json),
        CodeCommand::Bind {
            visit,
            label,
            side,
            by,
            store,
        } => bags::bind(visit, label, *side, &by.by, store),
        CodeCommand::Void {
            label,
            why,
            by,
            store,
        } => bags::void(label, why, &by.by, store),
        CodeCommand::State { label, json, store } => bags::state(label, *json, store),
        CodeCommand::Prove {
            labels,
            visit,
            side,
            json,
            by,
            store,
        } => {
            let visit = visit.as_deref().map(|visit| (visit, *side));
            bags::prove(labels, visit, *json, &by.by, store)
        }
    }
}

fn new(number: u32, as_json: bool) -> Result<(), AppError> {
    if !(1..=MOST).contains(&number) {
        return Err(AppError::Request(format!(
            "{number} codes: ask for 1 to {MOST}"
        )));
    }
    let codes: Vec<String> = labels::mint(number)?
        .iter()
        .map(ToString::to_string)
        .collect();
    if as_json {
        print(&files::json_text(&codes)?)
    } else {
        print(&(codes.join("\n") + "\n"))
    }
}

fn check(text: &str, as_json: bool) -> Result<(), AppError> {
    let code: CastCode = text.parse()?;
    if as_json {
        print(&files::json_text(
            &json!({ "code": code.to_string(), "payload": code.payload() }),
        )?)
    } else {
        print(&format!("{code}\n"))
    }
}

fn read(photo: &std::path::Path, as_json: bool) -> Result<(), AppError> {
    let codes = codes_in(&Source::File(photo.to_owned()))?;
    if as_json {
        return print(&files::json_text(&json!({ "codes": codes }))?);
    }
    if codes.is_empty() {
        return Err(AppError::Request(format!(
            "{}: no QR code could be read; photograph the label from nearer, flat and without glare",
            photo.display()
        )));
    }
    print(
        &codes
            .iter()
            .map(|code| code.text.clone() + "\n")
            .collect::<String>(),
    )
}
