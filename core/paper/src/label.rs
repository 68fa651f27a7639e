//! The bag label, and sheets of numbered labels printed ahead.

use crate::page::{Paper, long_date};
use crate::qr::write::{MIN_MODULE_MM, QUIET_ZONE, module_mm};
use crate::qr::{Symbol, cast_symbol};
use crate::typeset::Document;
use crate::{CastCode, PaperError};
use chrono::{Datelike, NaiveDate};
use plinthside_measure::marks::Side;
use serde::Serialize;
use serde_json::json;
use std::fmt;
use std::str::FromStr;

/// What a bag label says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The code that ties the cast to its order.
    pub code: CastCode,
    /// Side of the foot in the shell.
    pub side: Side,
    /// Revision of the order, from 1.
    pub revision: u32,
    /// The device in words.
    pub device: String,
    /// What the hinge does, in words.
    pub hinge: String,
    /// Date of casting.
    pub date: NaiveDate,
    /// Name of the clinic.
    pub clinic: String,
    /// Its telephone number.
    pub telephone: String,
    /// Which package of how many, when there is more than one.
    pub package: Option<(u32, u32)>,
    /// The patient's name: only where the clinician asked for it.
    pub name: Option<String>,
}

/// Size of a label, width × height as it leaves the printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LabelSize {
    /// 62 × 100 mm.
    W62H100,
    /// 62 × 29 mm.
    W62H29,
    /// 100 × 150 mm.
    W100H150,
    /// 50 × 30 mm.
    W50H30,
}

impl LabelSize {
    /// Every size.
    pub const ALL: [Self; 4] = [Self::W62H100, Self::W62H29, Self::W100H150, Self::W50H30];

    /// Width and height, mm.
    #[must_use]
    pub fn mm(self) -> (f64, f64) {
        match self {
            Self::W62H100 => (62.0, 100.0),
            Self::W62H29 => (62.0, 29.0),
            Self::W100H150 => (100.0, 150.0),
            Self::W50H30 => (50.0, 30.0),
        }
    }

    /// Room for the QR code with its quiet zone, mm.
    fn qr_room_mm(self) -> f64 {
        match self {
            Self::W62H100 => 42.0,
            Self::W62H29 => 25.0,
            Self::W100H150 => 64.0,
            Self::W50H30 => 20.7,
        }
    }
}

impl fmt::Display for LabelSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (w, h) = self.mm();
        write!(f, "{w}x{h}")
    }
}

impl FromStr for LabelSize {
    type Err = PaperError;

    fn from_str(text: &str) -> Result<Self, PaperError> {
        let wanted = text.trim().to_lowercase().replace(['×', '*'], "x");
        let wanted = wanted.trim_end_matches("mm").replace(' ', "");
        Self::ALL
            .into_iter()
            .find(|size| size.to_string() == wanted)
            .ok_or_else(|| {
                PaperError::Request(format!(
                    "“{text}” is not a label size; choose 62x100, 62x29, 100x150 or 50x30 (mm)"
                ))
            })
    }
}

/// Dots that a label printer lays in a millimetre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrinterDots {
    /// Dots per inch.
    pub dpi: f64,
}

impl PrinterDots {
    /// 203 dpi: 8 dots to the millimetre, so exactly 203.2.
    pub const DPI_203: Self = Self { dpi: 203.2 };
    /// 300 dpi.
    pub const DPI_300: Self = Self { dpi: 300.0 };
    /// 600 dpi, an office printer.
    pub const DPI_600: Self = Self { dpi: 600.0 };

    fn per_mm(self) -> f64 {
        self.dpi / 25.4
    }
}

/// One bag label. The modules of its QR code are whole dots of `printer`, at whole dots from the
/// label's top left corner: draw the picture with `png(0, printer.dpi)`.
///
/// # Errors
/// [`PaperError::Request`] for a printer too coarse for the label.
pub fn label(label: &Label, size: LabelSize, printer: PrinterDots) -> Result<Document, PaperError> {
    let symbol = cast_symbol(label.code)?;
    let module = module(&symbol, size.qr_room_mm(), printer)?;
    let (width, height) = size.mm();
    Document::set(
        "label.typ",
        &json!({
            "width": width,
            "height": height,
            "dot": 1.0 / printer.per_mm(),
            "side": label.side,
            "code": label.code.to_string(),
            "revision": label.revision,
            "device": label.device,
            "hinge": label.hinge,
            "date": long_date(label.date),
            "year": label.date.year(), "month": label.date.month(), "day": label.date.day(),
            "clinic": label.clinic,
            "telephone": label.telephone,
            "package": label.package,
            "name": label.name,
            "qr": drawing(&symbol, module),
        }),
    )
}

/// A sheet of stickers: rows and columns of one size.
#[derive(Debug, Clone, Copy, Serialize)]
struct Stickers {
    columns: usize,
    rows: usize,
    width: f64,
    height: f64,
    left: f64,
    top: f64,
    gap_x: f64,
    gap_y: f64,
}

/// Stickers of a paper size: the two commonest sheets, 24 to an A4 and 30 to a Letter.
/// Common practice, no source.
fn stickers(paper: Paper) -> Result<Stickers, PaperError> {
    match paper {
        Paper::A4 => Ok(Stickers {
            columns: 3,
            rows: 8,
            width: 70.0,
            height: 37.0,
            left: 0.0,
            top: 0.5,
            gap_x: 0.0,
            gap_y: 0.0,
        }),
        Paper::Letter => Ok(Stickers {
            columns: 3,
            rows: 10,
            width: 66.675,
            height: 25.4,
            left: 4.7625,
            top: 12.7,
            gap_x: 3.175,
            gap_y: 0.0,
        }),
        Paper::A3 => Err(PaperError::Request(
            "sticker sheets are made for A4 and Letter; choose one of them".into(),
        )),
    }
}

/// Sheets of numbered labels to print ahead: one code each, no side and no patient; at the bedside
/// one is stuck on the bag and bound to the visit.
///
/// # Errors
/// [`PaperError::Request`] without codes, with a code twice, or for a paper without stickers.
pub fn labels(
    codes: &[CastCode],
    first_number: u32,
    clinic: &str,
    telephone: &str,
    paper: Paper,
    date: NaiveDate,
) -> Result<Document, PaperError> {
    if codes.is_empty() {
        return Err(PaperError::Request(
            "no labels were asked for; say how many".into(),
        ));
    }
    let mut sorted = codes.to_vec();
    sorted.sort_unstable();
    if let Some([twice, _]) = sorted.windows(2).find(|w| w[0] == w[1]) {
        return Err(PaperError::Request(format!(
            "the code {twice} would be printed twice; draw new codes"
        )));
    }
    let sheet = stickers(paper)?;
    let list = codes
        .iter()
        .zip(first_number..)
        .map(|(&code, number)| {
            let symbol = cast_symbol(code)?;
            let module = module(&symbol, sheet.height - 3.0, PrinterDots::DPI_600)?;
            Ok(json!({
                "code": code.to_string(),
                "number": format!("{number:03}"),
                "qr": drawing(&symbol, module),
            }))
        })
        .collect::<Result<Vec<_>, PaperError>>()?;
    let (width, height) = paper.mm();
    Document::set(
        "labels.typ",
        &json!({
            "width": width, "height": height, "sheet": sheet, "labels": list,
            "clinic": clinic, "telephone": telephone,
            "year": date.year(), "month": date.month(), "day": date.day(),
        }),
    )
}

fn module(symbol: &Symbol, room_mm: f64, printer: PrinterDots) -> Result<f64, PaperError> {
    module_mm(symbol.size, room_mm, printer.per_mm()).ok_or_else(|| {
        PaperError::Request(format!(
            "a printer of {} dots per inch cannot draw the code with {MIN_MODULE_MM} mm modules; \
             use one of 203 or more",
            printer.dpi
        ))
    })
}

/// The symbol for a template: module and quiet zone in mm, and runs of dark modules.
pub(crate) fn drawing(symbol: &Symbol, module_mm: f64) -> serde_json::Value {
    json!({
        "size": symbol.size,
        "quiet": QUIET_ZONE,
        "module": module_mm,
        "runs": symbol.runs().map(|(x, y, n)| [x, y, n]).collect::<Vec<_>>(),
    })
}
