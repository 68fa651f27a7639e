//! The prescriber's part of the statement for a custom-made device (Regulation (EU) 2017/745,
//! Annex XIII, section 1). The maker writes the statement; the order supplies what only the
//! prescriber can: who prescribes, for whom, and the specific characteristics.

use super::{Line, Order, Revision};
use crate::person::Clinic;
use crate::visit::Visit;
use crate::words::{Lang, Text};

/// What the maker copies into the statement.
#[derive(Debug, Clone, PartialEq)]
pub struct Statement {
    /// Prescriber, profession and registration.
    pub prescriber: String,
    /// Health institution.
    pub institution: String,
    /// The patient by name, acronym or numerical code: here always the code.
    pub patient_code: String,
    /// What the device is for: side and kind.
    pub device: Text,
    /// Specific characteristics as prescribed, one line each: name, value.
    pub characteristics: Vec<(String, String)>,
    /// What stands beside it.
    pub note: Text,
}

/// What stands beside the prescriber's part, on the order too: what it is for, and the caution.
#[must_use]
pub fn statement_note() -> Text {
    Text::new(
        "Prescriber's part of the statement for custom-made devices, Regulation (EU) 2017/745, Annex XIII (wording unverified). Check against your local rules.",
        "Angaben der verschreibenden Person zur Erklärung für Sonderanfertigungen, Verordnung (EU) 2017/745, Anhang XIII (Wortlaut ungeprüft). Mit den örtlichen Vorschriften abgleichen.",
    )
}

/// What the statement lacks.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the prescriber's part of the statement lacks: {}; complete the order first", .missing.join(", "))]
pub struct StatementError {
    /// What is blank.
    pub missing: Vec<&'static str>,
}

/// The prescriber's part for one signed revision.
///
/// # Errors
/// Refused when the prescriber, the patient's code or the characteristics are blank.
pub fn statement(
    visit: &Visit,
    order: &Order,
    revision: &Revision,
    clinic: &Clinic,
    lang: Lang,
) -> Result<Statement, StatementError> {
    let signature = revision.signature.as_ref();
    let prescriber = signature.map(|s| &s.prescriber);
    let lines = revision.lines(lang);
    let missing: Vec<&'static str> = [
        ("a signature", signature.is_none()),
        (
            "the prescriber's name",
            prescriber.is_none_or(|p| p.name.trim().is_empty()),
        ),
        ("the patient's code", visit.person.code.trim().is_empty()),
        ("the specific characteristics", lines.is_empty()),
    ]
    .into_iter()
    .filter_map(|(what, blank)| blank.then_some(what))
    .collect();
    let (true, Some(p)) = (missing.is_empty(), prescriber) else {
        return Err(StatementError { missing });
    };
    let parts = [&p.name, &p.profession, &p.registration];
    let words: Vec<&str> = parts
        .into_iter()
        .map(String::as_str)
        .filter(|s| !s.is_empty())
        .collect();
    let (en, de) = match order.side {
        plinthside_measure::marks::Side::Left => ("left", "links"),
        plinthside_measure::marks::Side::Right => ("right", "rechts"),
    };
    let shown = |line: Line<'_>| (line.field.label(lang).to_owned(), line.value);
    let about_device = |line: &Line<'_>| !line.field.path.starts_with("identity.");
    Ok(Statement {
        prescriber: words.join(", "),
        institution: clinic.name.clone(),
        patient_code: visit.person.code.clone(),
        device: Text::new(
            format!("Custom-made hinged ankle-foot orthosis, {en}"),
            format!("Sonderangefertigte Knöchel-Fuß-Orthese mit Gelenk, {de}"),
        ),
        characteristics: lines.into_iter().filter(about_device).map(shown).collect(),
        note: statement_note(),
    })
}
