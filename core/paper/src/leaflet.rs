//! The patient's leaflet, large and plain, in either language.

use crate::PaperError;
use crate::language::Words;
use crate::page::Paper;
use crate::typeset::Document;
use chrono::{Datelike, NaiveDate};
use plinthside_measure::marks::Side;
use plinthside_visit::follow_up::Leaflet;
use serde_json::json;

/// A leaflet to be printed.
#[derive(Debug, Clone, Copy)]
pub struct LeafletSheet<'a> {
    /// Its text, filled for one brace.
    pub leaflet: &'a Leaflet,
    /// The brace's side.
    pub side: Side,
    /// Name of the clinic.
    pub clinic: &'a str,
    /// Its telephone number, large at the head.
    pub telephone: &'a str,
    /// Date of printing.
    pub date: NaiveDate,
}

/// The leaflet on A4 or Letter, in the language its text was made in.
///
/// # Errors
/// [`PaperError::Typesetting`] should a page fail.
pub fn leaflet(sheet: &LeafletSheet<'_>, paper: Paper) -> Result<Document, PaperError> {
    let (width, height) = paper.mm();
    let w = Words(sheet.leaflet.lang);
    let sections: Vec<_> = sheet
        .leaflet
        .sections
        .iter()
        .map(|s| {
            json!({
                "heading": s.heading, "lines": s.lines, "bullets": s.bullets,
                "plan": s.plan, "tone": s.tone,
            })
        })
        .collect();
    Document::set(
        "leaflet.typ",
        &w.onto(json!({
            "width": width, "height": height,
            "side": sheet.side,
            "title": sheet.leaflet.title,
            "sections": sections,
            "caution": sheet.leaflet.caution,
            "clinic": sheet.clinic, "telephone": sheet.telephone,
            "date": w.date(sheet.date),
            "year": sheet.date.year(), "month": sheet.date.month(), "day": sheet.date.day(),
        })),
    )
}
