//! The tags of a mat as they are printed: upright, one module of black border. Which modules are
//! dark is the detector's own table, so that what is printed is what is read.

use plinthside_measure::detect::{Border, cells};

/// Modules along the outer edge of the black border.
pub const MODULES: usize = 8;

/// The modules of tag `id`, rows from the top, `true` dark; `None` beyond the family's 587 tags.
#[must_use]
pub fn dark_modules(id: u32) -> Option<[[bool; MODULES]; MODULES]> {
    let white = cells(id, Border::One)?;
    let mut dark = [[true; MODULES]; MODULES];
    for (row, white) in dark.iter_mut().zip(&white) {
        for (dark, white) in row.iter_mut().zip(white) {
            *dark = !white;
        }
    }
    Some(dark)
}
