//! Bit patterns of the tags on the A3 mat.
//!
//! From tag36h11.c of the AprilTag 3 library (BSD-2-Clause, The Regents of The University of
//! Michigan): the codes of tags 100 to 125 and the place of each bit, drawn as
//! `apriltag_to_image` draws them. The tests hold them against that library's detector.

/// Number of the first tag in [`CODES`].
const FIRST_ID: u32 = 100;

const CODES: [u64; 26] = [
    0x5_33fe_2404,
    0x6_3de7_d35e,
    0x9_25ed_dc72,
    0x9_9b8b_3896,
    0xa_ace4_c708,
    0xc_2299_4af0,
    0x8_f1ea_e41b,
    0xd_95fb_486c,
    0x1_3fb7_7857,
    0x4_fe09_83a3,
    0xd_559b_f8a9,
    0xe_1855_d78d,
    0xf_ec8d_aaad,
    0x7_1ecb_6d95,
    0xd_c9e5_0e4c,
    0xc_a3a4_c259,
    0x7_40d1_2bbf,
    0xa_eedd_18e0,
    0xb_509b_9c8e,
    0x5_232f_ea1c,
    0x1_9282_d18b,
    0x7_6c22_d67b,
    0x9_36be_b34b,
    0x0_8a5e_a8dd,
    0x6_79ea_dc28,
    0xa_08e1_19c5,
];

/// Column and row of each bit, highest bit first, counted inside the outer edge of the border.
const PLACES: [(u8, u8); 36] = [
    (1, 1),
    (2, 1),
    (3, 1),
    (4, 1),
    (5, 1),
    (2, 2),
    (3, 2),
    (4, 2),
    (3, 3),
    (6, 1),
    (6, 2),
    (6, 3),
    (6, 4),
    (6, 5),
    (5, 2),
    (5, 3),
    (5, 4),
    (4, 3),
    (6, 6),
    (5, 6),
    (4, 6),
    (3, 6),
    (2, 6),
    (5, 5),
    (4, 5),
    (3, 5),
    (4, 4),
    (1, 6),
    (1, 5),
    (1, 4),
    (1, 3),
    (1, 2),
    (2, 5),
    (2, 4),
    (2, 3),
    (3, 4),
];

/// The 8 × 8 cells of a tag, row by row from the top, true for white; none for other tags.
#[must_use]
pub fn cells(id: u32) -> Option<[[bool; 8]; 8]> {
    let code = CODES.get(id.checked_sub(FIRST_ID)? as usize)?;
    let mut cells = [[false; 8]; 8];
    for (i, (column, row)) in PLACES.iter().enumerate() {
        cells[usize::from(*row)][usize::from(*column)] = code >> (35 - i) & 1 == 1;
    }
    Some(cells)
}
