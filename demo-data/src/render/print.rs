//! The printed mat as a surface: tags drawn exactly, lettering and check bars from a picture.

use super::raster::{REGULAR, Raster};
use plinthside_measure::detect::{Border, cells};
use plinthside_measure::mat::sheet::{SheetLayout, TagSquare};

/// A print of a mat, a little smaller than drawn.
#[derive(Debug)]
pub struct Print {
    /// True size over drawn size.
    pub scale: f64,
    /// Paper's width and height as drawn, mm.
    pub size_mm: [f64; 2],
    tags: Vec<(TagSquare, Vec<Vec<bool>>)>,
    page: Raster,
}

const PER_MM: f64 = 8.0;

impl Print {
    /// Prints the first page of a layout.
    ///
    /// # Panics
    /// Never for the A3 layout; other mats' tags are not in the table and are left blank.
    #[must_use]
    pub fn new(layout: &SheetLayout, scale: f64) -> Self {
        let sheet = &layout.pages[0];
        let [width, height] = sheet.outline.size_mm();
        let mut page = Raster::new(width, height, PER_MM);
        let top = |y: f64| height - y;
        for bar in [&sheet.across, &sheet.along] {
            let [x0, y0] = bar.from_mm;
            let [x1, y1] = bar.to_mm;
            page.bar(x0, top(y1), (x1 - x0).max(0.4), (y1 - y0).max(0.4));
            for [x, y] in [bar.from_mm, bar.to_mm] {
                let level = (x1 - x0) > (y1 - y0);
                let (w, h) = if level { (0.4, 4.0) } else { (4.0, 0.4) };
                page.bar(x - w / 2.0, top(y) - h / 2.0, w, h);
            }
        }
        let bar = sheet.across;
        let note = format!(
            "{} mm: measure this line and the upright one",
            bar.nominal_mm
        );
        page.text(
            REGULAR,
            &note,
            bar.from_mm[0] + 4.0,
            top(bar.from_mm[1]) - 1.2,
            3.6,
        );
        let title = sheet.title;
        page.text(
            REGULAR,
            layout.name,
            title.min_mm[0] + 4.0,
            top(title.min_mm[1]) - 3.0,
            5.0,
        );
        let tags = sheet
            .tags
            .iter()
            .filter_map(|t| Some((*t, cells(t.id, Border::One)?)))
            .collect();
        Self {
            scale,
            size_mm: [width, height],
            tags,
            page,
        }
    }

    /// Reflectance at a place of the mat frame (true millimetres); none off the sheet.
    #[must_use]
    pub fn grey(&self, x_mm: f64, y_mm: f64) -> Option<f64> {
        let (x, y) = (x_mm / self.scale, y_mm / self.scale);
        if x < 0.0 || y < 0.0 || x > self.size_mm[0] || y > self.size_mm[1] {
            return None;
        }
        for (tag, cells) in &self.tags {
            let column = (x - tag.centre_mm[0]) / tag.side_mm * 8.0 + 4.0;
            let row = 4.0 - (y - tag.centre_mm[1]) / tag.side_mm * 8.0;
            if (0.0..8.0).contains(&column) && (0.0..8.0).contains(&row) {
                let white = cells[row as usize][column as usize];
                return Some(if white { PAPER } else { TONER });
            }
        }
        let lettering = self.page.at_mm(x, self.size_mm[1] - y).unwrap_or(1.0);
        Some(TONER + (PAPER - TONER) * lettering)
    }

    /// The tags with their true corners in the mat frame, mm.
    pub fn tags(&self) -> impl Iterator<Item = (u32, [[f64; 2]; 4])> + '_ {
        self.tags.iter().map(|(tag, _)| {
            (
                tag.id,
                tag.corners_mm()
                    .map(|c| [c[0] * self.scale, c[1] * self.scale]),
            )
        })
    }
}

/// Reflectance of white paper.
pub const PAPER: f64 = 0.86;
/// Reflectance of toner.
const TONER: f64 = 0.045;
