//! The packing list that goes into the bag.

use crate::language::Words;
use crate::page::Paper;
use crate::qr::cast_symbol;
use crate::typeset::Document;
use crate::{CastCode, PaperError, label};
use chrono::{Datelike, NaiveDate};
use plinthside_measure::marks::Side;
use plinthside_visit::person::Lab;
use plinthside_visit::{Clinic, Lang};
use serde_json::json;

/// One cast in the package.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackedCast {
    /// Its code.
    pub code: CastCode,
    /// Its side.
    pub side: Side,
    /// Revision of its order.
    pub revision: u32,
    /// The device in words.
    pub device: String,
}

/// Everything a packing list shows.
#[derive(Debug, Clone)]
pub struct Packing<'a> {
    /// The clinic that sends.
    pub clinic: &'a Clinic,
    /// The lab that receives.
    pub lab: &'a Lab,
    /// The casts in this package.
    pub casts: &'a [PackedCast],
    /// What else lies in it: order, bench sheet, shoe, tracing.
    pub contents: &'a [String],
    /// This package's number and how many there are.
    pub package: (u32, u32),
    /// How the plaster was packed, in words; a note on drying where it was sealed wet.
    pub packed: &'a str,
    /// Language it is printed in; what was typed stays as typed.
    pub lang: Lang,
    /// Date of packing.
    pub date: NaiveDate,
}

/// The packing list on A4 or Letter: what must be in the bag, ticked by hand at both ends.
///
/// # Errors
/// [`PaperError::Request`] for an empty package.
pub fn packing_list(packing: &Packing<'_>, paper: Paper) -> Result<Document, PaperError> {
    if packing.casts.is_empty() && packing.contents.is_empty() {
        return Err(PaperError::Request(
            "the package is empty; say what lies in it".into(),
        ));
    }
    let casts = packing
        .casts
        .iter()
        .map(|cast| {
            Ok(json!({
                "code": cast.code.to_string(), "side": cast.side,
                "revision": cast.revision, "device": cast.device,
                "qr": label::drawing(&cast_symbol(cast.code)?, 0.6),
            }))
        })
        .collect::<Result<Vec<_>, PaperError>>()?;
    let (width, height) = paper.mm();
    let date = packing.date;
    let w = Words(packing.lang);
    Document::set(
        "packing.typ",
        &w.onto(json!({
            "width": width, "height": height,
            "clinic": packing.clinic.name,
            "clinic_lines": packing.clinic.address,
            "telephone": packing.clinic.telephone,
            "lab": packing.lab.name,
            "lab_lines": packing.lab.address,
            "lab_telephone": packing.lab.telephone,
            "casts": casts,
            "contents": packing.contents.iter().map(|c| w.say(c)).collect::<Vec<_>>(),
            "package": packing.package.0, "packages": packing.package.1,
            "packed": packing.packed,
            "date": w.date(date),
            "year": date.year(), "month": date.month(), "day": date.day(),
        })),
    )
}
