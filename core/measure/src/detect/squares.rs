//! Tags with any border, from dark squares: for grids whose border is two cells wide, which the
//! AprilTag library does not read.

use super::family::{self, DATA_CELLS};
use super::grey::Grey;
use super::quads::dark_quads;
use super::{Border, edges};
use crate::observed::{Px, SeenTag};
use crate::plane::PlaneSums;
use crate::square::PhotoFromSquare;

/// Least mean distance of the data cells' brightness from the threshold, grey levels.
const LEAST_MARGIN: f64 = 12.0;

/// Finds tags of this border; squares are sought in the image reduced by `reduce` and refined in
/// the whole one.
pub(super) fn tags(grey: &Grey<'_>, border: Border, reduce: usize) -> Vec<SeenTag> {
    let reduced = reduced(grey, reduce);
    let small = Grey {
        pixels: &reduced,
        width: grey.width / reduce,
        height: grey.height / reduce,
    };
    let mut tags: Vec<SeenTag> = Vec::new();
    for quad in dark_quads(&small) {
        let whole = quad.map(|corner| corner.map(|v| v * reduce as f64));
        let Some(tag) = tag_in(grey, &whole, border, reduce as f64) else {
            continue;
        };
        // A tag's border found twice (inner and outer outline) is one tag.
        if !tags
            .iter()
            .any(|t| t.id == tag.id && near(&t.corners_px, &tag.corners_px))
        {
            tags.push(tag);
        }
    }
    tags.sort_by_key(|tag| tag.id);
    tags
}

fn near(a: &[Px; 4], b: &[Px; 4]) -> bool {
    let middle = |c: &[Px; 4]| [0, 1].map(|k| c.iter().map(|p| p[k]).sum::<f64>() / 4.0);
    let ([ax, ay], [bx, by]) = (middle(a), middle(b));
    (ax - bx).hypot(ay - by) < (a[0][0] - a[2][0]).hypot(a[0][1] - a[2][1]) / 2.0
}

fn tag_in(grey: &Grey<'_>, quad: &[Px; 4], border: Border, reduce: f64) -> Option<SeenTag> {
    let coarse = edges::refine(grey, quad, 2.0 * reduce + 1.0)?;
    let (id, turns) = read(grey, &coarse, border)?;
    let mut upright = edges::settle(grey, &coarse, border.side_cells()).unwrap_or(coarse);
    upright.rotate_left(turns);
    Some(SeenTag {
        id,
        corners_px: upright,
    })
}

/// Reads the data cells inside `corners` (clockwise): id and quarter turns to upright.
fn read(grey: &Grey<'_>, corners: &[Px; 4], border: Border) -> Option<(u32, usize)> {
    let map = PhotoFromSquare::new(corners)?;
    let side = border.side_cells();
    // Brightness of the cell (column, row), -1 and `side` being the white ones around the tag.
    let cell = |column: f64, row: f64| {
        let at = [column, row].map(|c| (c + 0.5) / side as f64);
        grey.at(map.at(at))
    };
    let (mut black, mut white) = (PlaneSums::default(), PlaneSums::default());
    let last = side as f64 - 1.0;
    for i in 0..side {
        let i = i as f64;
        for [x, y] in [[i, 0.0], [i, last], [0.0, i], [last, i]] {
            black.add(x, y, cell(x, y)?);
        }
        // Grids join their tags by black squares at the corners: white is only between them.
        if i >= 2.0 && i <= last - 2.0 {
            for [x, y] in [[i, -1.0], [i, last + 1.0], [-1.0, i], [last + 1.0, i]] {
                if let Some(value) = cell(x, y) {
                    white.add(x, y, value);
                }
            }
        }
    }
    let (black, white) = (black.fit()?, white.fit()?);
    let mut data = [[false; DATA_CELLS]; DATA_CELLS];
    let mut margin = 0.0;
    for (row, line) in data.iter_mut().enumerate() {
        for (column, is_white) in line.iter_mut().enumerate() {
            let [x, y] = [column, row].map(|c| (c + border.cells()) as f64);
            let threshold = f64::midpoint(black.at(x, y), white.at(x, y));
            let above = cell(x, y)? - threshold;
            *is_white = above > 0.0;
            margin += above.abs() / (DATA_CELLS * DATA_CELLS) as f64;
        }
    }
    (margin >= LEAST_MARGIN).then(|| family::read(&data))?
}

/// The image made smaller by a whole factor, each pixel the mean of those it covers.
fn reduced(grey: &Grey<'_>, by: usize) -> Vec<u8> {
    if by == 1 {
        return grey.pixels.to_vec();
    }
    let (width, height) = (grey.width / by, grey.height / by);
    let mut small = Vec::with_capacity(width * height);
    let area = (by * by) as u32;
    let mut sums = vec![0u32; width];
    for rows in grey.pixels.chunks_exact(grey.width * by) {
        sums.fill(0);
        for line in rows.chunks_exact(grey.width) {
            for (sum, part) in sums.iter_mut().zip(line.chunks_exact(by)) {
                *sum += part.iter().map(|&v| u32::from(v)).sum::<u32>();
            }
        }
        small.extend(sums.iter().map(|sum| (sum / area) as u8));
    }
    small
}
