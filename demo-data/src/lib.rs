//! An invented clinic, two of its visits and the photographs rendered for them.
//!
//! **Invariants.** Nobody and nothing real; what the photographs show is known exactly.
//!
//! Start at [`CASTS`]. Everything small enough to travel inside the program is a constant here;
//! [`render`] made the photographs, [`truth`] reads what is exactly true of them.

pub mod render;
pub mod truth;

use plinthside_measure::marks::Side;

/// The clinic, as `plinthside_visit::Clinic` reads it.
pub const CLINIC_JSON: &str = include_str!("../clinic.json");
/// Both visits, a list as `plinthside_visit::Visit` reads it.
pub const VISITS_JSON: &str = include_str!("../visits.json");
/// The mat of all the photographs with its measured check bars.
pub const MAT_JSON: &str = include_str!("../mat.json");

/// One photograph.
#[derive(Debug, Clone, Copy)]
pub struct Photo {
    /// File name, as the marks file names it.
    pub name: &'static str,
    /// The file.
    pub jpeg: &'static [u8],
}

/// What belongs to one cast of the demo.
#[derive(Debug, Clone, Copy)]
pub struct DemoCast {
    /// The visit's id in [`VISITS_JSON`].
    pub visit: &'static str,
    /// The cast's id in that visit.
    pub cast: &'static str,
    /// Side of the cast.
    pub side: Side,
    /// The photographs.
    pub photos: [Photo; 8],
    /// The marks file as first tapped; on the right cast one tap missed its dot.
    pub marks_json: &'static str,
    /// The marks file after that tap was put right; the same where none was wrong.
    pub marks_corrected_json: &'static str,
    /// The exact truth, see [`truth::Truth`].
    pub truth_json: &'static str,
}

macro_rules! photo {
    ($side:literal, $number:literal) => {
        Photo {
            name: concat!($side, "-", $number, ".jpg"),
            jpeg: include_bytes!(concat!("../", $side, "/", $side, "-", $number, ".jpg")),
        }
    };
}

macro_rules! photos {
    ($side:literal) => {
        [
            photo!($side, "1"),
            photo!($side, "2"),
            photo!($side, "3"),
            photo!($side, "4"),
            photo!($side, "5"),
            photo!($side, "6"),
            photo!($side, "7"),
            photo!($side, "8"),
        ]
    };
}

/// The clean cast of a left leg, and the right one that was squeezed when it was taken off.
pub static CASTS: [DemoCast; 2] = [
    DemoCast {
        visit: "demo-left",
        cast: "cast-left",
        side: Side::Left,
        photos: photos!("left"),
        marks_json: include_str!("../left/marks.json"),
        marks_corrected_json: include_str!("../left/marks.json"),
        truth_json: include_str!("../left/truth.json"),
    },
    DemoCast {
        visit: "demo-right",
        cast: "cast-right",
        side: Side::Right,
        photos: photos!("right"),
        marks_json: include_str!("../right/marks.json"),
        marks_corrected_json: include_str!("../right/marks-corrected.json"),
        truth_json: include_str!("../right/truth.json"),
    },
];
