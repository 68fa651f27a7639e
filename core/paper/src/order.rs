//! The order on paper: what is ordered, why, and who signed it.

mod cast;
mod fields;
mod rows;

use crate::language::Words;
use crate::page::Paper;
use crate::qr::cast_symbol;
use crate::typeset::Document;
use crate::{CastCode, PaperError, label};
use chrono::{Datelike, NaiveDate};
use plinthside_visit::order::statement_note;
use plinthside_visit::{CastRecord, Clinic, Lang, Order, Revision};
use serde_json::{Value, json};

/// Everything an order shows.
#[derive(Debug, Clone)]
pub struct OrderSheet<'a> {
    /// The clinic.
    pub clinic: &'a Clinic,
    /// The order, for its side and state.
    pub order: &'a Order,
    /// The revision printed.
    pub revision: &'a Revision,
    /// The cast code, once bound.
    pub code: Option<CastCode>,
    /// Pseudonymous code of the patient.
    pub person_code: &'a str,
    /// The patient's name: only where the clinician asked for it.
    pub name: Option<&'a str>,
    /// Body mass as entered, kilograms.
    pub body_mass_kg: Option<f64>,
    /// How the cast was taken, if there is one.
    pub cast: Option<&'a CastRecord>,
    /// Nothing was measured by photograph: ruler, calliper or the leg's dimensions only.
    pub without_photographs: bool,
    /// Cautions in force, in words.
    pub cautions: &'a [String],
    /// Rules that a reason may have been given for: their id, and what they say.
    pub rules: &'a [(String, String)],
    /// Language it is printed in; what was typed stays as typed.
    pub lang: Lang,
    /// Date of printing.
    pub date: NaiveDate,
}

/// The order on A4 or Letter.
///
/// # Errors
/// [`PaperError::Typesetting`] should a page fail.
pub fn order(sheet: &OrderSheet<'_>, paper: Paper) -> Result<Document, PaperError> {
    let (width, height) = paper.mm();
    let w = Words(sheet.lang);
    let revision = sheet.revision;
    let prescription = &revision.prescription;
    let qr = sheet
        .code
        .map(|code| Ok::<_, PaperError>(label::drawing(&cast_symbol(code)?, 0.55)))
        .transpose()?;
    let overrides: Vec<Value> = revision
        .overrides
        .iter()
        .map(|(rule, o)| {
            let said = sheet.rules.iter().find(|(id, _)| id == rule);
            let rule = said.map_or(rule, |(_, said)| said);
            json!({"rule": rule, "reason": o.reason, "by": o.by, "at": w.date(o.at.date_naive())})
        })
        .collect();
    Document::set(
        "order.typ",
        &w.onto(json!({
            "width": width, "height": height,
            "side": sheet.order.side,
            "code": sheet.code.map(|c| c.to_string()),
            "qr": qr,
            "revision": revision.number,
            "reason": revision.reason,
            "clinic": sheet.clinic.name,
            "clinic_lines": sheet.clinic.address,
            "telephone": sheet.clinic.telephone,
            "email": sheet.clinic.email,
            "person_code": sheet.person_code,
            "name": sheet.name,
            "facts": facts(sheet, w),
            "sections": fields::sections(prescription, revision, w),
            "note": prescription.note,
            "cast": sheet.cast.map(|record| cast::cast_rows(record, w)),
            "without_photographs": sheet.without_photographs,
            "cautions": sheet.cautions,
            "overrides": overrides,
            "statement": statement_note().get(w.0),
            "signature": revision.signature.as_ref().map(|s| json!({
                "name": s.prescriber.name,
                "profession": s.prescriber.profession,
                "registration": s.prescriber.registration,
                "at": format!("{}, {}", w.date(s.at.date_naive()), s.at.format("%H:%M")),
            })),
            "date": w.date(sheet.date),
            "year": sheet.date.year(), "month": sheet.date.month(), "day": sheet.date.day(),
        })),
    )
}

/// The short lines beside the side: quantity, dates, packages, references.
fn facts(sheet: &OrderSheet<'_>, w: Words) -> Vec<[String; 2]> {
    let identity = &sheet.revision.prescription.identity;
    let mut facts: Vec<[String; 2]> = Vec::new();
    let mut add = |name: &str, value: Option<String>| {
        if let Some(value) = value.filter(|v| !v.trim().is_empty()) {
            facts.push([w.say(name), value]);
        }
    };
    add("Quantity", identity.quantity.map(|n| n.to_string()));
    add("Needed by", identity.due.map(|d| w.date(d)));
    add("Rush", rows::yes_no(identity.rush, w));
    let package = match (identity.package, identity.packages) {
        (Some(n), Some(of)) => Some(w.with("{} of {}", &[&n.to_string(), &of.to_string()])),
        (Some(n), None) => Some(n.to_string()),
        (None, Some(of)) => Some(w.with("{} in all", &[&of.to_string()])),
        (None, None) => None,
    };
    add("Package", package);
    add(
        "Body mass",
        sheet.body_mass_kg.map(|kg| format!("{kg:.0} kg")),
    );
    add("Lab", Some(identity.lab.clone()));
    add("Clinic reference", Some(identity.clinic_reference.clone()));
    add("Purchase number", Some(identity.purchase_number.clone()));
    let hours = if identity.contact_hours.is_empty() {
        &sheet.clinic.contact_hours
    } else {
        &identity.contact_hours
    };
    add("Ring the prescriber", Some(hours.clone()));
    let word = |w: &str| Some(w.to_owned());
    add(
        "Cast afterwards",
        identity
            .cast_afterwards
            .as_ref()
            .and_then(|c| word(c.label(w.0))),
    );
    add(
        "Trial fit",
        identity.trial_fit.as_ref().and_then(|c| word(c.label(w.0))),
    );
    facts
}
