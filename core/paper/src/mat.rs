//! The mat as pages to print: the same geometry that its layout file holds, drawn to size.

use crate::PaperError;
use crate::language::Words;
use crate::tag36h11::{MODULES, dark_modules};
use crate::typeset::Document;
use chrono::{Datelike, NaiveDate};
use plinthside_measure::mat::sheet::{CheckBar, Page, Rect, SheetLayout};
use plinthside_visit::Lang;
use serde_json::{Value, json};

/// The pages of a mat: tags as vector squares, check bars with their lengths, instructions.
///
/// Everything on it is black or grey: nothing that an ink finder could take for a mark.
///
/// # Errors
/// [`PaperError::Request`] for a layout whose tag numbers the family does not have.
pub fn mat(layout: &SheetLayout, lang: Lang, date: NaiveDate) -> Result<Document, PaperError> {
    let pages = layout
        .pages
        .iter()
        .enumerate()
        .map(|(i, sheet)| page(layout, i, sheet))
        .collect::<Result<Vec<_>, _>>()?;
    Document::set(
        "mat.typ",
        &Words(lang).onto(json!({
            "name": layout.name,
            "pages": pages,
            "year": date.year(), "month": date.month(), "day": date.day(),
        })),
    )
}

fn page(layout: &SheetLayout, index: usize, sheet: &Page) -> Result<Value, PaperError> {
    let place = Place {
        left_mm: sheet.outline.min_mm[0],
        top_mm: sheet.outline.max_mm[1],
    };
    let [width, height] = sheet.outline.size_mm();
    let tags = sheet
        .tags
        .iter()
        .map(|tag| {
            let modules = dark_modules(tag.id).ok_or_else(|| {
                PaperError::Request(format!("the family 36h11 has no tag {}", tag.id))
            })?;
            let [cx, cy] = tag.centre_mm;
            let [x, y] = place.point([cx - tag.side_mm / 2.0, cy + tag.side_mm / 2.0]);
            Ok(json!({
                "id": tag.id, "x": x, "y": y,
                "module": tag.side_mm / MODULES as f64,
                "runs": runs(&modules),
            }))
        })
        .collect::<Result<Vec<_>, PaperError>>()?;
    let of = layout.pages.len();
    Ok(json!({
        "width": width, "height": height, "tags": tags,
        "across": place.bar(&sheet.across),
        "along": place.bar(&sheet.along),
        "title": place.rect(&sheet.title),
        "cast": place.rect(&layout.cast_field),
        "label": place.rect(&layout.label_place),
        "sheet": index + 1, "of": of,
    }))
}

/// The dark modules as runs along the rows: x, y, length.
fn runs(modules: &[[bool; MODULES]; MODULES]) -> Vec<[usize; 3]> {
    let mut runs = Vec::new();
    for (y, row) in modules.iter().enumerate() {
        let mut x = 0;
        for chunk in row.chunk_by(|a, b| a == b) {
            if chunk[0] {
                runs.push([x, y, chunk.len()]);
            }
            x += chunk.len();
        }
    }
    runs
}

/// Where a sheet lies in the mat frame; pages count down from their top left corner.
struct Place {
    left_mm: f64,
    top_mm: f64,
}

impl Place {
    fn point(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [x - self.left_mm, self.top_mm - y]
    }

    fn rect(&self, rect: &Rect) -> Value {
        let [x, y] = self.point([rect.min_mm[0], rect.max_mm[1]]);
        let [width, height] = rect.size_mm();
        json!({"x": x, "y": y, "width": width, "height": height})
    }

    fn bar(&self, bar: &CheckBar) -> Value {
        json!({
            "from": self.point(bar.from_mm),
            "to": self.point(bar.to_mm),
            "mm": bar.nominal_mm,
        })
    }
}
