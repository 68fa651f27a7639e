//! The mat file: which tag lies where, and how true the print is.
//!
//! The *mat frame* has its origin at the bottom-left corner of the sheet, X right, Y towards the
//! top edge, Z up out of the paper, millimetres. Corners run top-left, top-right, bottom-right,
//! bottom-left of the tag as the AprilTag 3 library draws it.

use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use thiserror::Error;

/// The one tag family read.
pub const FAMILY: &str = "tag36h11";
/// Ids of 36h11 run from 0 to 586.
const IDS_IN_FAMILY: u32 = 587;
/// Fewest tags a mat may have.
pub const FEWEST_TAGS: usize = 3;
/// Most sheets of paper a mat may be put together from.
const MOST_SHEETS: usize = 8;
/// Larger coordinates are a unit mistake.
const LARGEST_MM: f64 = 20_000.0;
/// A corner counts as on a line with its neighbours below this share of the tag's area.
const THINNEST_CORNER: f64 = 0.02;
/// Measured over nominal length of a check bar outside this range is a typing mistake.
const BAR_RATIO: std::ops::RangeInclusive<f64> = 0.8..=1.25;
/// Relative sd of the print scale while nobody has measured a bar ("fit to page" shrinks 3-6 %).
pub const UNMEASURED_SCALE_SD: f64 = 0.03;
/// Relative sd of a printer's stretch of X over Y.
const PRINTER_ASPECT_SD: f64 = 0.01;

/// Why a mat file is refused.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum MatError {
    /// Not JSON, or not of the mat file's shape.
    #[error(
        "the mat file cannot be read: {0}. Write it again with `plinthside mat`, or correct it"
    )]
    Unreadable(#[from] serde_json::Error),
    /// Another tag family.
    #[error(
        "the mat uses tag family \"{family}\"; only tag36h11 is read. Print a mat of that family"
    )]
    Family {
        /// Family named in the file.
        family: String,
    },
    /// A border that is neither one nor two bits wide.
    #[error(
        "the mat says border_bits {bits}; a tag36h11 border is 1 or 2 bits wide: correct border_bits"
    )]
    Border {
        /// Width named in the file.
        bits: u32,
    },
    /// Too few tags to place a camera.
    #[error("the mat has {count} tags and at least {FEWEST_TAGS} are needed; use a mat with more")]
    FewTags {
        /// Tags in the file.
        count: usize,
    },
    /// One id on two tags.
    #[error("tag {id} is in the mat file twice; give every tag its own number")]
    RepeatedId {
        /// The number used twice.
        id: u32,
    },
    /// An id the family does not have.
    #[error("tag {id} does not exist in tag36h11; correct its number (0 to 586)")]
    NoSuchId {
        /// The number.
        id: u32,
    },
    /// Wrong number of corners or of coordinates.
    #[error("tag {id} needs four corners of two or three coordinates each, all of the same kind")]
    Shape {
        /// The tag.
        id: u32,
    },
    /// A coordinate that is not a number, or absurdly large.
    #[error("tag {id} has a corner that is not a sensible length; give its corners in millimetres")]
    Coordinate {
        /// The tag.
        id: u32,
    },
    /// Corners on a line, on top of each other, or crossing.
    #[error(
        "the corners of tag {id} lie on a line, coincide or cross; give them in turn round the tag"
    )]
    Collinear {
        /// The tag.
        id: u32,
    },
    /// A check bar that cannot be right.
    #[error(
        "the {bar} check bar ({nominal_mm} mm, measured {measured_mm} ± {sd_mm} mm) cannot be right; \
         measure it again in millimetres"
    )]
    Bar {
        /// "across" or "along".
        bar: &'static str,
        /// Length as drawn.
        nominal_mm: f64,
        /// Length as measured.
        measured_mm: f64,
        /// Its standard deviation.
        sd_mm: f64,
    },
    /// A sheet number that leaves a gap.
    #[error(
        "tag {id} is said to lie on sheet {sheet}; sheets are numbered 0, 1, … without a gap, 7 at most"
    )]
    Sheet {
        /// The tag.
        id: u32,
        /// The sheet named.
        sheet: usize,
    },
}

/// A check bar on the print: its length as drawn and as measured with a ruler.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(from = "[f64; 3]", into = "[f64; 3]")]
pub struct Bar {
    /// Length as drawn, mm.
    pub nominal_mm: f64,
    /// Length as measured on the paper, mm.
    pub measured_mm: f64,
    /// Standard deviation of the measurement, mm.
    pub sd_mm: f64,
}

impl From<[f64; 3]> for Bar {
    fn from([nominal_mm, measured_mm, sd_mm]: [f64; 3]) -> Self {
        Self {
            nominal_mm,
            measured_mm,
            sd_mm,
        }
    }
}

impl From<Bar> for [f64; 3] {
    fn from(bar: Bar) -> Self {
        [bar.nominal_mm, bar.measured_mm, bar.sd_mm]
    }
}

impl Bar {
    /// Measured over nominal length.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        self.measured_mm / self.nominal_mm
    }

    /// Standard deviation of [`Bar::ratio`].
    #[must_use]
    pub fn ratio_sd(&self) -> f64 {
        self.sd_mm / self.nominal_mm
    }

    fn check(&self, bar: &'static str) -> Result<(), MatError> {
        let positive = |v: f64| v.is_finite() && v > 0.0;
        let sd_fits = self.sd_mm.is_finite() && (0.0..0.1 * self.nominal_mm).contains(&self.sd_mm);
        let lengths_fit = positive(self.nominal_mm) && positive(self.measured_mm);
        if lengths_fit && sd_fits && BAR_RATIO.contains(&self.ratio()) {
            return Ok(());
        }
        let Self {
            nominal_mm,
            measured_mm,
            sd_mm,
        } = *self;
        Err(MatError::Bar {
            bar,
            nominal_mm,
            measured_mm,
            sd_mm,
        })
    }
}

/// The measured check bars of one print: *across* runs along X, *along* runs along Y.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Printed {
    /// Bar along X.
    #[serde(rename = "across_mm", skip_serializing_if = "Option::is_none")]
    pub across: Option<Bar>,
    /// Bar along Y.
    #[serde(rename = "along_mm", skip_serializing_if = "Option::is_none")]
    pub along: Option<Bar>,
}

/// One tag of the mat.
#[derive(Debug, Clone, PartialEq)]
pub struct MatTag {
    /// Number in the family.
    pub id: u32,
    /// Corners in the mat frame, mm, as drawn (before the print's own scale).
    pub corners_mm: [[f64; 3]; 4],
    /// Which sheet of paper carries it; sheets other than 0 have their place estimated.
    pub sheet: usize,
}

/// A checked mat.
#[derive(Debug, Clone, PartialEq)]
pub struct Mat {
    /// Name for people.
    pub name: String,
    /// Its tags, ids unique.
    pub tags: Vec<MatTag>,
    /// Width of each tag's black border in bits, 1 or 2.
    pub border_bits: u8,
    /// Measured check bars, if anyone measured them.
    pub printed: Option<Printed>,
}

/// How the print differs from the drawing: factors along X and Y, what share of a change of aspect
/// each takes, and the sd of the one common factor that is left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrintScale {
    /// Factors along X and Y.
    pub factor: [f64; 2],
    /// x grows by `aspect·share[0]`, y shrinks by `aspect·share[1]`; they sum to 1. Chosen so that
    /// the common factor left over has the least variance and is independent of the aspect.
    pub aspect_share: [f64; 2],
    /// Relative sd of the common factor.
    pub common_sd: f64,
    /// Relative sd of the aspect beyond the bars: a printer's 1 %, or the bars' own where both were
    /// measured better.
    pub aspect_sd: f64,
    /// Whether a bar was measured.
    pub measured: bool,
}

impl Mat {
    /// Checks tags, border and bars.
    ///
    /// # Errors
    /// [`MatError`] names what is wrong.
    pub fn new(
        name: impl Into<String>,
        tags: Vec<MatTag>,
        border_bits: u32,
        printed: Option<Printed>,
    ) -> Result<Self, MatError> {
        let border_bits = match border_bits {
            1 => 1,
            2 => 2,
            bits => return Err(MatError::Border { bits }),
        };
        if tags.len() < FEWEST_TAGS {
            return Err(MatError::FewTags { count: tags.len() });
        }
        let sheets: BTreeSet<usize> = tags.iter().map(|tag| tag.sheet).collect();
        let mut ids = BTreeSet::new();
        for tag in &tags {
            if tag.id >= IDS_IN_FAMILY {
                return Err(MatError::NoSuchId { id: tag.id });
            }
            if !ids.insert(tag.id) {
                return Err(MatError::RepeatedId { id: tag.id });
            }
            if tag.sheet >= sheets.len().min(MOST_SHEETS) {
                return Err(MatError::Sheet {
                    id: tag.id,
                    sheet: tag.sheet,
                });
            }
            check_corners(tag)?;
        }
        if let Some(printed) = &printed {
            printed.across.map_or(Ok(()), |bar| bar.check("across"))?;
            printed.along.map_or(Ok(()), |bar| bar.check("along"))?;
        }
        Ok(Self {
            name: name.into(),
            tags,
            border_bits,
            printed,
        })
    }

    /// Reads a mat file.
    ///
    /// # Errors
    /// [`MatError`] names what is wrong and what to do.
    pub fn from_json(text: &str) -> Result<Self, MatError> {
        let file: File = serde_json::from_str(text)?;
        if file.family != FAMILY {
            return Err(MatError::Family {
                family: file.family,
            });
        }
        let tags = file
            .tags
            .into_iter()
            .map(FileTag::checked)
            .collect::<Result<_, _>>()?;
        Self::new(file.name, tags, file.border_bits, file.printed)
    }

    /// Writes the mat file; flat tags with two coordinates.
    #[must_use]
    pub fn to_json(&self) -> String {
        let tags = self.tags.iter().map(FileTag::from_tag).collect();
        let file = File {
            name: self.name.clone(),
            family: FAMILY.to_owned(),
            border_bits: self.border_bits.into(),
            printed: self.printed,
            tags,
        };
        // A tree of strings and finite numbers: writing it cannot fail.
        serde_json::to_string_pretty(&file).unwrap_or_default()
    }

    /// The tag with that number.
    #[must_use]
    pub fn tag(&self, id: u32) -> Option<&MatTag> {
        self.tags.iter().find(|tag| tag.id == id)
    }

    /// The print's own scale from its bars.
    #[must_use]
    pub fn print_scale(&self) -> PrintScale {
        let bars = self.printed.unwrap_or_default();
        let unmeasured = PrintScale {
            factor: [1.0; 2],
            aspect_share: [0.5; 2],
            common_sd: UNMEASURED_SCALE_SD,
            aspect_sd: PRINTER_ASPECT_SD,
            measured: false,
        };
        // A ruler reading is never exact; the floor keeps the weights finite.
        let sd = |bar: Bar| bar.ratio_sd().max(1e-6);
        match (bars.across, bars.along) {
            (None, None) => unmeasured,
            (Some(bar), None) => PrintScale {
                factor: [bar.ratio(); 2],
                aspect_share: [0.0, 1.0],
                common_sd: sd(bar),
                aspect_sd: PRINTER_ASPECT_SD,
                measured: true,
            },
            (None, Some(bar)) => PrintScale {
                factor: [bar.ratio(); 2],
                aspect_share: [1.0, 0.0],
                common_sd: sd(bar),
                aspect_sd: PRINTER_ASPECT_SD,
                measured: true,
            },
            (Some(across), Some(along)) => {
                let (wx, wy) = (sd(across).powi(-2), sd(along).powi(-2));
                PrintScale {
                    factor: [across.ratio(), along.ratio()],
                    aspect_share: [wy / (wx + wy), wx / (wx + wy)],
                    common_sd: (wx + wy).powf(-0.5),
                    aspect_sd: sd(across).hypot(sd(along)).min(PRINTER_ASPECT_SD),
                    measured: true,
                }
            }
        }
    }
}

#[derive(Serialize, Deserialize)]
struct File {
    #[serde(default)]
    name: String,
    family: String,
    #[serde(default = "one_bit")]
    border_bits: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    printed: Option<Printed>,
    tags: Vec<FileTag>,
}

#[derive(Serialize, Deserialize)]
struct FileTag {
    id: u32,
    corners_mm: Vec<Vec<f64>>,
    #[serde(default, skip_serializing_if = "is_first_sheet")]
    sheet: usize,
}

fn one_bit() -> u32 {
    1
}

#[allow(clippy::trivially_copy_pass_by_ref)] // the shape serde asks for
fn is_first_sheet(sheet: &usize) -> bool {
    *sheet == 0
}

impl FileTag {
    fn checked(self) -> Result<MatTag, MatError> {
        let shape = MatError::Shape { id: self.id };
        if self.corners_mm.len() != 4 {
            return Err(shape);
        }
        let coordinates = self.corners_mm[0].len();
        let mut corners_mm = [[0.0; 3]; 4];
        for (to, from) in corners_mm.iter_mut().zip(&self.corners_mm) {
            if !(2..=3).contains(&coordinates) || from.len() != coordinates {
                return Err(shape);
            }
            to[..coordinates].copy_from_slice(from);
        }
        Ok(MatTag {
            id: self.id,
            corners_mm,
            sheet: self.sheet,
        })
    }

    fn from_tag(tag: &MatTag) -> Self {
        let flat = tag.corners_mm.iter().all(|c| c[2] == 0.0);
        let keep = if flat { 2 } else { 3 };
        let corners_mm = tag.corners_mm.iter().map(|c| c[..keep].to_vec()).collect();
        Self {
            id: tag.id,
            corners_mm,
            sheet: tag.sheet,
        }
    }
}

/// The corners must be finite and turn the same way at each, none of them flat.
fn check_corners(tag: &MatTag) -> Result<(), MatError> {
    if tag
        .corners_mm
        .iter()
        .flatten()
        .any(|v| !v.is_finite() || v.abs() > LARGEST_MM)
    {
        return Err(MatError::Coordinate { id: tag.id });
    }
    let corner = |i: usize| nalgebra::Vector3::from(tag.corners_mm[i % 4]);
    let turn = |i: usize| (corner(i + 1) - corner(i)).cross(&(corner(i + 2) - corner(i + 1)));
    let area2 = (corner(2) - corner(0)).cross(&(corner(3) - corner(1)));
    let area = area2.norm();
    let round = area > 1e-6 && (0..4).all(|i| turn(i).dot(&area2) > THINNEST_CORNER * area * area);
    if round {
        Ok(())
    } else {
        Err(MatError::Collinear { id: tag.id })
    }
}
