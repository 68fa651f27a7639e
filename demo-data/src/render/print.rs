//! The printed mat as a surface: tags drawn exactly, lettering and check bars from a picture.

use super::V2;
use super::raster::{REGULAR, Raster};
use nalgebra::Rotation2;
use plinthside_measure::detect::{Border, cells};
use plinthside_measure::mat::sheet::{Page, Rect, SheetLayout, TagSquare};

/// A printed mat as it lies on its board, a little smaller than drawn.
#[derive(Debug)]
pub struct Print {
    /// True size over drawn size.
    pub scale: f64,
    /// Whole width and height as drawn, mm.
    pub size_mm: [f64; 2],
    sheets: Vec<Sheet>,
}

/// One sheet of paper.
#[derive(Debug)]
struct Sheet {
    /// Its place on the drawing.
    outline: Rect,
    /// How it was laid: shift (mm as drawn) and turn about its middle.
    shift_mm: [f64; 2],
    turn: Rotation2<f64>,
    tags: Vec<(TagSquare, Vec<Vec<bool>>)>,
    page: Raster,
}

/// How a sheet was laid beside its drawn place: to the right and up (mm), and turned to the left
/// about its middle (degrees).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Laid {
    /// To the right and up, mm.
    pub shift_mm: [f64; 2],
    /// To the left, degrees.
    pub turn_deg: f64,
}

const PER_MM: f64 = 8.0;

impl Print {
    /// Prints a layout and lays its sheets; those without a place lie as drawn.
    ///
    /// # Panics
    /// Never for a layout of ours; other mats' tags are not in the table and are left blank.
    #[must_use]
    pub fn new(layout: &SheetLayout, scale: f64, laid: &[Laid]) -> Self {
        let places = laid
            .iter()
            .copied()
            .chain(std::iter::repeat(Laid::default()));
        let pages = layout.pages.iter().zip(places);
        let sheets = pages.map(|(page, laid)| Sheet::new(page, layout.name, laid, scale));
        Self {
            scale,
            size_mm: layout.outline().size_mm(),
            sheets: sheets.collect(),
        }
    }

    /// Reflectance at a place of the mat frame (true millimetres); none off the sheets.
    #[must_use]
    pub fn grey(&self, x_mm: f64, y_mm: f64) -> Option<f64> {
        let at = [x_mm / self.scale, y_mm / self.scale];
        self.sheets.iter().find_map(|sheet| sheet.grey(at))
    }

    /// The tags with their true corners in the mat frame, mm.
    pub fn tags(&self) -> impl Iterator<Item = (u32, [[f64; 2]; 4])> + '_ {
        self.sheets.iter().flat_map(move |sheet| {
            sheet.tags.iter().map(move |(tag, _)| {
                let lies = |[x, y, _]: [f64; 3]| sheet.laid([x, y]).map(|v| v * self.scale);
                (tag.id, tag.corners_mm().map(lies))
            })
        })
    }
}

impl Sheet {
    fn new(sheet: &Page, name: &str, laid: Laid, scale: f64) -> Self {
        let [width, height] = sheet.outline.size_mm();
        let left = sheet.outline.min_mm[0];
        let mut page = Raster::new(width, height, PER_MM);
        let (across, top) = (|x: f64| x - left, |y: f64| height - y);
        for bar in [&sheet.across, &sheet.along] {
            let [x0, y0] = bar.from_mm;
            let [x1, y1] = bar.to_mm;
            page.bar(across(x0), top(y1), (x1 - x0).max(0.4), (y1 - y0).max(0.4));
            for [x, y] in [bar.from_mm, bar.to_mm] {
                let level = (x1 - x0) > (y1 - y0);
                let (w, h) = if level { (0.4, 4.0) } else { (4.0, 0.4) };
                page.bar(across(x) - w / 2.0, top(y) - h / 2.0, w, h);
            }
        }
        let bar = sheet.across;
        let note = format!(
            "{} mm: measure this line and the upright one",
            bar.nominal_mm
        );
        let [x, y] = [across(bar.from_mm[0]) + 4.0, top(bar.from_mm[1]) - 1.2];
        page.text(REGULAR, &note, x, y, 3.6);
        let title = sheet.title;
        let [x, y] = [across(title.min_mm[0]) + 4.0, top(title.min_mm[1]) - 3.0];
        page.text(REGULAR, name, x, y, 5.0);
        let drawn = |t: &TagSquare| Some((*t, cells(t.id, Border::One)?));
        Self {
            outline: sheet.outline,
            // Laid in true millimetres on a drawing that is printed smaller.
            shift_mm: laid.shift_mm.map(|v| v / scale),
            turn: Rotation2::new(laid.turn_deg.to_radians()),
            tags: sheet.tags.iter().filter_map(drawn).collect(),
            page,
        }
    }

    fn middle(&self) -> V2 {
        (V2::from(self.outline.min_mm) + V2::from(self.outline.max_mm)) / 2.0
    }

    /// Where a drawn place lies.
    fn laid(&self, drawn: [f64; 2]) -> [f64; 2] {
        let arm = self.turn * (V2::from(drawn) - self.middle());
        (self.middle() + arm + V2::from(self.shift_mm)).into()
    }

    /// Reflectance at a place in millimetres as drawn.
    fn grey(&self, at: [f64; 2]) -> Option<f64> {
        let arm = V2::from(at) - V2::from(self.shift_mm) - self.middle();
        let [x, y]: [f64; 2] = (self.middle() + self.turn.inverse() * arm).into();
        let (low, high) = (self.outline.min_mm, self.outline.max_mm);
        if x < low[0] || y < low[1] || x > high[0] || y > high[1] {
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
        let lettering = self.page.at_mm(x - low[0], high[1] - y).unwrap_or(1.0);
        Some(TONER + (PAPER - TONER) * lettering)
    }
}

/// Reflectance of white paper.
pub const PAPER: f64 = 0.86;
/// Reflectance of toner.
const TONER: f64 = 0.045;
