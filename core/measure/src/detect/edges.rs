//! Corners to a few hundredths of a pixel: a line fitted to each side of a dark square.

use super::grey::Grey;
use crate::observed::Px;

/// Share of a side left out at either end: there the next side blurs into the edge.
const END: f64 = 0.12;
/// An edge rises at least this much over two pixels, grey levels.
const LEAST_RISE: f64 = 12.0;
/// Farthest that an edge is sought from where it should lie.
const LONGEST_REACH_PX: usize = 8;

/// Moves the corners of a dark square (clockwise as seen) onto the crossings of lines fitted to
/// its sides; each side is sought up to `reach_px` to both sides of where it lies now.
/// `None` where a side has no edge to hold on to.
pub(super) fn refine(grey: &Grey<'_>, corners: &[Px; 4], reach_px: f64) -> Option<[Px; 4]> {
    let mut lines = [Line::default(); 4];
    for (side, line) in lines.iter_mut().enumerate() {
        *line = fit_side(grey, corners[side], corners[(side + 1) % 4], reach_px)?;
    }
    let mut moved = [[0.0; 2]; 4];
    for (i, corner) in moved.iter_mut().enumerate() {
        *corner = lines[(i + 3) % 4].crossing(&lines[i])?;
    }
    Some(moved)
}

/// As [`refine`] for corners that are nearly right: of a tag `side_cells` wide, so that the search
/// ends before the next cell. `None` where corners would leave their place: something hides a side.
pub(super) fn settle(grey: &Grey<'_>, corners: &[Px; 4], side_cells: usize) -> Option<[Px; 4]> {
    let side = |i: usize| {
        let (a, b) = (corners[i], corners[(i + 1) % 4]);
        (a[0] - b[0]).hypot(a[1] - b[1])
    };
    let cell_px = (0..4).map(side).fold(f64::INFINITY, f64::min) / side_cells as f64;
    let reach_px = if cell_px >= 4.0 { 2.0 } else { 1.0 };
    refine(grey, corners, reach_px).filter(|moved| {
        moved
            .iter()
            .zip(corners)
            .all(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1]) < reach_px)
    })
}

/// All points p with `normal · p = offset`.
#[derive(Debug, Clone, Copy, Default)]
struct Line {
    normal: [f64; 2],
    offset: f64,
}

impl Line {
    fn crossing(&self, other: &Self) -> Option<Px> {
        let ([a, b], [c, d]) = (self.normal, other.normal);
        let det = a * d - b * c;
        // Sides that meet at under 3° have no corner.
        (det.abs() > 0.05).then(|| {
            [
                (self.offset * d - b * other.offset) / det,
                (a * other.offset - self.offset * c) / det,
            ]
        })
    }
}

/// Fits a line to the edge from `from` to `to`, the dark side to the right of the way.
fn fit_side(grey: &Grey<'_>, from: Px, to: Px, reach_px: f64) -> Option<Line> {
    let along = [to[0] - from[0], to[1] - from[1]];
    let length = along[0].hypot(along[1]);
    if length < 4.0 {
        return None;
    }
    // Points out of the square: brightness rises along it.
    let out = [along[1] / length, -along[0] / length];
    let count = (length as usize).clamp(8, 160);
    // Weighted sums of points on the edge and of their products.
    let mut sum = [0.0; 6];
    for i in 0..count {
        let share = END + (1.0 - 2.0 * END) * (i as f64 + 0.5) / count as f64;
        let start = [from[0] + share * along[0], from[1] + share * along[1]];
        let Some((shift, weight)) = edge_across(grey, start, out, reach_px) else {
            continue;
        };
        let [x, y] = [start[0] + shift * out[0], start[1] + shift * out[1]];
        let terms = [1.0, x, y, x * x, x * y, y * y];
        sum.iter_mut()
            .zip(terms)
            .for_each(|(s, t)| *s += weight * t);
    }
    let [w, x, y, xx, xy, yy] = sum;
    if w <= 0.0 {
        return None;
    }
    let (x, y) = (x / w, y / w);
    let (xx, xy, yy) = (xx / w - x * x, xy / w - x * y, yy / w - y * y);
    // The direction of largest spread; the normal is square to it.
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    let normal = [-angle.sin(), angle.cos()];
    let line = Line {
        normal,
        offset: normal[0] * x + normal[1] * y,
    };
    // A line turned far from the side it was fitted to followed something else.
    let turned = (normal[0] * out[0] + normal[1] * out[1]).abs();
    (turned > 0.97 && (xx + yy).is_finite()).then_some(line)
}

/// Where brightness rises across an edge, as a shift along `out`, and how steeply.
fn edge_across(grey: &Grey<'_>, start: Px, out: [f64; 2], reach_px: f64) -> Option<(f64, f64)> {
    // Brightness at whole multiples of the step, one pixel beyond the reach on either side.
    const PER_PX: usize = 2;
    const LONGEST: usize = 2 * PER_PX * (LONGEST_REACH_PX + 1) + 1;
    let half = PER_PX * reach_px.clamp(1.0, LONGEST_REACH_PX as f64) as usize + PER_PX;
    let mut values = [0.0; LONGEST];
    let values = &mut values[..=2 * half];
    for (i, value) in values.iter_mut().enumerate() {
        let n = (i as f64 - half as f64) / PER_PX as f64;
        *value = grey.at([start[0] + n * out[0], start[1] + n * out[1]])?;
    }
    let (mut sum, mut moment, mut steepest) = (0.0, 0.0, 0.0f64);
    for (i, pair) in values.windows(2 * PER_PX + 1).enumerate() {
        let rise = pair[2 * PER_PX] - pair[0];
        if rise > 0.0 {
            let n = (i + PER_PX) as f64 - half as f64;
            sum += rise * rise;
            moment += rise * rise * n / PER_PX as f64;
            steepest = steepest.max(rise);
        }
    }
    (steepest > LEAST_RISE).then(|| (moment / sum, steepest))
}
