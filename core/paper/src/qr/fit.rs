//! A cast code's grid of modules laid onto the grey picture by what every such symbol has: three
//! corner squares, the two lines of alternating modules, the small square, white around.
//!
//! Corners found in black and white are a start; here they are moved until those parts fit best,
//! and the grid is bent as a label is that lies on a round bag.

use super::luma::Luma;
use super::resample::modules;
use crate::CastCode;
use plinthside_measure::square::PhotoFromSquare;
use rxing::common::BitMatrix;
use rxing::qrcode::cpp_port::decoder::Decode;
use std::sync::LazyLock;

/// Modules along an edge of a cast code (ISO/IEC 18004, version 2).
pub(super) const SIZE: usize = 25;
/// Centre of the small square, modules from the corner (ISO/IEC 18004, annex E).
const SMALL_SQUARE: f64 = 18.0;
/// Bends beyond this are no label on a bag, in modules.
const MOST_BENT: f64 = 4.0;

/// A grid laid onto a picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grid {
    /// Corners of the symbol, pixels: top-left, top-right, bottom-right, bottom-left.
    pub corners: [[f64; 2]; 4],
    /// How far the middle of the rows and of the columns is bent, and how unevenly the modules
    /// lie along both, in modules.
    bend: [f64; 4],
}

/// Modules whose colour is known, and whether they are dark; white around the symbol among them.
static KNOWN: LazyLock<Vec<([f64; 2], bool)>> = LazyLock::new(|| {
    let last = SIZE as i32 - 1;
    let mut known = Vec::new();
    let mut put =
        |x: i32, y: i32, dark| known.push(([f64::from(x) + 0.5, f64::from(y) + 0.5], dark));
    for y in -1..=last + 1 {
        for x in -1..=last + 1 {
            let outside = x < 0 || y < 0 || x > last || y > last;
            // Nearest corner square, measured from its middle.
            let square = [[3, 3], [last - 3, 3], [3, last - 3]]
                .into_iter()
                .map(|[cx, cy]: [i32; 2]| (x - cx).abs().max((y - cy).abs()))
                .min()
                .unwrap_or(0);
            let small = (x - SMALL_SQUARE as i32)
                .abs()
                .max((y - SMALL_SQUARE as i32).abs());
            if outside {
                put(x, y, false);
            } else if square <= 4 {
                put(x, y, square != 2 && square != 4);
            } else if x == 6 || y == 6 {
                put(x, y, (x + y) % 2 == 0);
            } else if small <= 2 {
                put(x, y, small != 1);
            }
        }
    }
    known
});

impl Grid {
    pub(super) fn new(corners: [[f64; 2]; 4]) -> Self {
        Self {
            corners,
            bend: [0.0; 4],
        }
    }

    /// The grid turned by quarter turns: the symbol's top left corner is another of the four.
    fn turned(mut self, quarters: usize) -> Self {
        self.corners.rotate_left(quarters);
        self
    }

    /// Where a point of the symbol, in modules from its top left corner, lies.
    fn place(&self, map: &PhotoFromSquare, [x, y]: [f64; 2]) -> [f64; 2] {
        let (u, v) = (x / SIZE as f64, y / SIZE as f64);
        let arch = |t: f64| 4.0 * t * (1.0 - t);
        let uneven = |t: f64| 10.0 * t * (1.0 - t) * (1.0 - 2.0 * t);
        let [rows, columns, along_rows, along_columns] = self.bend.map(|b| b / SIZE as f64);
        map.at([
            u + columns * arch(v) + along_rows * uneven(u),
            v + rows * arch(u) + along_columns * uneven(v),
        ])
    }

    /// How well the known modules fit: their correlation with the picture, 1 at best.
    fn score(&self, picture: &Luma<'_>) -> f64 {
        let Some(map) = PhotoFromSquare::new(&self.corners) else {
            return -1.0;
        };
        let (mut sum, mut squares, mut dark_sum, mut dark_count) = (0.0, 0.0, 0.0, 0.0);
        for (at, dark) in KNOWN.iter() {
            let [x, y] = self.place(&map, *at);
            let grey = picture.at(x, y);
            sum += grey;
            squares += grey * grey;
            if *dark {
                dark_sum += grey;
                dark_count += 1.0;
            }
        }
        let n = KNOWN.len() as f64;
        let light_count = n - dark_count;
        let spread = (squares / n - (sum / n).powi(2)).max(1e-9).sqrt();
        let gap = (sum - dark_sum) / light_count - dark_sum / dark_count;
        gap * (dark_count * light_count).sqrt() / n / spread
    }

    /// The grid as a list of numbers that can be changed one by one, with one module's worth each.
    fn changed(&self, parameter: usize, modules: f64) -> Self {
        let mut grid = *self;
        match parameter {
            0..8 => {
                let (corner, along) = (parameter / 2, parameter % 2);
                // Towards the next corner, or the one before.
                let other = self.corners[(corner + [1, 3][along]) % 4];
                let at = &mut grid.corners[corner];
                for (value, towards) in at.iter_mut().zip(other) {
                    *value += (towards - *value) / SIZE as f64 * modules;
                }
            }
            8 | 9 => {
                // The whole grid, along its rows or columns.
                let [a, b, _, d] = self.corners;
                let towards = if parameter == 8 { b } else { d };
                for corner in &mut grid.corners {
                    for (i, value) in corner.iter_mut().enumerate() {
                        *value += (towards[i] - a[i]) / SIZE as f64 * modules;
                    }
                }
            }
            _ => grid.bend[parameter - 10] += modules,
        }
        grid
    }

    /// Moves one parameter after the other for as long as that fits better.
    fn fitted(mut self, picture: &Luma<'_>, parameters: usize, steps: &[f64]) -> (Self, f64) {
        let mut best = self.score(picture);
        for &step in steps {
            for _ in 0..8 {
                let before = best;
                for parameter in 0..parameters {
                    for sign in [1.0, -1.0] {
                        loop {
                            let tried = self.changed(parameter, sign * step);
                            let score = tried.score(picture);
                            let bent = tried.bend.iter().any(|b| b.abs() > MOST_BENT);
                            if bent || score <= best + 1e-6 {
                                break;
                            }
                            (self, best) = (tried, score);
                        }
                    }
                }
                if best - before < 1e-3 {
                    break;
                }
            }
        }
        (self, best)
    }
}

/// Least fit worth moving the corners, and worth decoding after that. In rendered photographs of
/// labels the fit of what was read began at 0.43 and 0.79; of what is no code 19 in 20 stay below
/// 0.36 and 0.43. What passes all the same is refused by the code's own checks.
const LEAST_START: f64 = 0.36;
const LEAST_FIT: f64 = 0.55;

/// Reads a cast code near these corners, whichever of them is the top left one where `turned`;
/// `coarse` is the picture to fit in, `scale` its pixels to one of `fine`.
pub(super) fn read_near(
    fine: &Luma<'_>,
    coarse: &Luma<'_>,
    scale: f64,
    corners: [[f64; 2]; 4],
    turned: bool,
) -> Option<(CastCode, [[f64; 2]; 4])> {
    let start = Grid::new(corners.map(|p| p.map(|v| v / scale)));
    let mut grids: Vec<(Grid, f64)> = (0..if turned { 4 } else { 1 })
        .filter_map(|quarters| {
            let grid = start.turned(quarters);
            // The corner without a square is the least sure.
            let mut best = (grid, grid.score(coarse));
            for dx in [-2.0, -1.0, 0.0, 1.0, 2.0] {
                for dy in [-2.0, -1.0, 0.0, 1.0, 2.0] {
                    let tried = grid.changed(4, dx).changed(5, dy);
                    let score = tried.score(coarse);
                    if score > best.1 {
                        best = (tried, score);
                    }
                }
            }
            (best.1 >= LEAST_START).then(|| best.0.fitted(coarse, 10, &[1.0, 0.5]))
        })
        .collect();
    grids.sort_by(|a, b| b.1.total_cmp(&a.1));
    for (grid, score) in grids.into_iter().take(2) {
        if score < LEAST_FIT {
            continue;
        }
        let (flat, _) = grid.fitted(coarse, 10, &[0.25, 0.12]);
        let (bent, _) = flat.fitted(coarse, 14, &[1.0, 0.5, 0.25, 0.12]);
        for grid in [flat, bent] {
            let grid = Grid {
                corners: grid.corners.map(|p| p.map(|v| v * scale)),
                ..grid
            };
            let Some(map) = PhotoFromSquare::new(&grid.corners) else {
                continue;
            };
            let read = modules(fine, SIZE, |x, y| grid.place(&map, [x, y]));
            if let Some(code) = read.iter().find_map(decode) {
                return Some((code, grid.corners));
            }
        }
    }
    None
}

/// A cast code and nothing else.
fn decode(bits: &BitMatrix) -> Option<CastCode> {
    let result = Decode(bits).ok()?;
    if !result.isValid() {
        return None;
    }
    CastCode::from_payload(&result.text())
}
