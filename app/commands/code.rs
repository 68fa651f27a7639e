//! `plinthside code new|check|read`.

use super::print;
use crate::cli::CodeCommand;
use crate::error::AppError;
use crate::files;
use crate::photographs::{Look, Source, look_through};
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
    }
}

fn new(number: u32, as_json: bool) -> Result<(), AppError> {
    if !(1..=MOST).contains(&number) {
        return Err(AppError::Request(format!(
            "{number} codes: ask for 1 to {MOST}"
        )));
    }
    let codes = (0..number)
        .map(|_| CastCode::mint().map(|code| code.to_string()))
        .collect::<Result<Vec<_>, _>>()
        .map_err(|problem| AppError::Request(problem.to_string()))?;
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
    let look = Look {
        codes: true,
        ..Look::default()
    };
    let found = look_through(&[Source::File(photo.to_owned())], look)?;
    let codes: Vec<_> = found.into_iter().flat_map(|f| f.codes).collect();
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
