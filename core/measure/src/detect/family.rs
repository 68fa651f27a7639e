//! The tag family 36h11: what its tags look like and how they are read.

use super::Border;
use super::codes::CODES;

/// Column and row of each bit, highest first, in an upright tag of 6 × 6 data cells: a spiral
/// whose four quarters are each other's quarter turns, so that turning a tag rotates its code.
/// From tag36h11.c of the AprilTag 3 library (BSD-2-Clause), less its border of one cell.
#[rustfmt::skip]
const PLACES: [(usize, usize); 36] = [
    (0, 0), (1, 0), (2, 0), (3, 0), (4, 0), (1, 1), (2, 1), (3, 1), (2, 2),
    (5, 0), (5, 1), (5, 2), (5, 3), (5, 4), (4, 1), (4, 2), (4, 3), (3, 2),
    (5, 5), (4, 5), (3, 5), (2, 5), (1, 5), (4, 4), (3, 4), (2, 4), (3, 3),
    (0, 5), (0, 4), (0, 3), (0, 2), (0, 1), (1, 4), (1, 3), (1, 2), (2, 3),
];
/// Data cells along a side.
pub(super) const DATA_CELLS: usize = 6;
/// Wrong bits that are put right. Codes differ in at least 11 bits, so 5 could be, but every more
/// lets clutter pass for a tag.
const CORRECTED_BITS: u32 = 2;

impl Border {
    /// Width of the black border, cells.
    #[must_use]
    pub fn cells(self) -> usize {
        match self {
            Self::One => 1,
            Self::Two => 2,
        }
    }

    /// Cells along a side of the tag, black border included.
    #[must_use]
    pub fn side_cells(self) -> usize {
        DATA_CELLS + 2 * self.cells()
    }

    /// The border of a mat file's `border_bits`, if it is one that can be read (1 or 2).
    #[must_use]
    pub fn from_bits(bits: u8) -> Option<Self> {
        match bits {
            1 => Some(Self::One),
            2 => Some(Self::Two),
            _ => None,
        }
    }
}

/// How many tags the family has; ids run from 0.
pub const TAG_COUNT: u32 = CODES.len() as u32;

/// The cells of an upright tag, row by row from the top, `true` for white, black border included
/// ([`Border::side_cells`] a side); `None` for an id beyond [`TAG_COUNT`]. At least one more white
/// cell must surround a printed tag.
#[must_use]
pub fn cells(id: u32, border: Border) -> Option<Vec<Vec<bool>>> {
    let code = CODES.get(id as usize)?;
    let side = border.side_cells();
    let mut cells = vec![vec![false; side]; side];
    for (i, &(column, row)) in PLACES.iter().enumerate() {
        cells[row + border.cells()][column + border.cells()] = code >> (35 - i) & 1 == 1;
    }
    Some(cells)
}

/// Reads 6 × 6 cells (`true` for white) seen at any quarter turn: the tag's id and how many
/// clockwise quarter turns its upright top-left corner lies away from the first cell's corner.
pub(super) fn read(data: &[[bool; DATA_CELLS]; DATA_CELLS]) -> Option<(u32, usize)> {
    let seen = PLACES
        .iter()
        .fold(0u64, |code, &(x, y)| code << 1 | u64::from(data[y][x]));
    (0..4).find_map(|turns| {
        let upright = quarter_turns(seen, turns);
        let id = CODES
            .iter()
            .position(|code| (code ^ upright).count_ones() <= CORRECTED_BITS)?;
        Some((id as u32, turns))
    })
}

fn quarter_turns(code: u64, turns: usize) -> u64 {
    (0..turns).fold(code, |c, _| (c << 9 | c >> 27) & ((1 << 36) - 1))
}
