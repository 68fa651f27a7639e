//! What [`super::solve`] finds.

use super::lens::Projection;
use super::report::Fitted;
use crate::marks::{MarkName, Surface};
use crate::observed::CameraKey;
use nalgebra::{DMatrix, Vector3};
use serde::{Deserialize, Serialize};
use std::fmt;

/// How to solve; the default is right for every ordinary case.
#[derive(Debug, Clone, PartialEq)]
pub struct SolveOptions {
    /// Least angle at which the widest pair of a mark's rays must meet, degrees.
    pub min_rays_deg: f64,
    /// With `false`, f, c, k are free of any prior and the nuisances (autofocus, stabiliser,
    /// aspect, bow, tag heights) are fixed at zero: for exact synthetic data only.
    pub priors: bool,
    /// Set marks seen once aside in [`Solution::seen_once`] instead of refusing them: for a screen
    /// that is still collecting views.
    pub unfinished: bool,
}

impl Default for SolveOptions {
    fn default() -> Self {
        Self {
            min_rays_deg: 15.0,
            priors: true,
            unfinished: false,
        }
    }
}

/// One mark in space.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Point {
    /// Which mark.
    pub mark: MarkName,
    /// The face of the shell that carries it.
    pub surface: Surface,
    /// Place in the mat frame, mm; its height is over the paper round the marks.
    pub mat_mm: [f64; 3],
    /// Photographs it was marked in.
    pub views: usize,
    /// Largest distance between a tap and the projected point, pixels.
    pub worst_residual_px: f64,
    /// Widest angle between two of its rays, degrees.
    pub rays_deg: f64,
}

/// One photograph's camera.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Camera {
    /// The photograph.
    pub photo: String,
    /// Tags used.
    pub tags: u32,
    /// Root mean square distance of their corners, pixels.
    pub rms_px: f64,
    /// Standard deviation of one corner coordinate of this photograph, pixels.
    pub sd_px: f64,
    /// Pose of the camera (x right, y down, z forward, of the sensor), row by row.
    pub mat_from_camera: [[f64; 4]; 4],
    /// This photograph's own focal length (autofocus), pixels.
    pub f_px: f64,
    /// This photograph's own principal point (stabiliser) on the sensor, pixels.
    pub principal_px: [f64; 2],
}

/// What photographs of one camera share; on the sensor, pixels.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Intrinsics {
    /// The camera.
    pub camera: CameraKey,
    /// Its photographs.
    pub photos: Vec<String>,
    /// Focal length, mean of the photographs'.
    pub f_px: f64,
    /// Standard deviation of `f_px`.
    pub sd_f_px: f64,
    /// Principal point, x.
    pub cx: f64,
    /// Principal point, y.
    pub cy: f64,
    /// Radial distortion, r².
    pub k1: f64,
    /// Radial distortion, r⁴.
    pub k2: f64,
    /// Further terms, only where the photographs call for them.
    pub further: Option<FurtherTerms>,
}

/// Terms of a lens that a telephone's does without.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FurtherTerms {
    /// What the distortion starts from: k1, k2 and k3 are powers of tan θ or of θ.
    pub projection: Projection,
    /// Radial distortion, r⁶.
    pub k3: f64,
    /// Decentring, as the common vision libraries define p1.
    pub p1: f64,
    /// Decentring, p2.
    pub p2: f64,
    /// Focal length across over focal length down; `f_px` is their geometric mean.
    pub fx_over_fy: f64,
}

/// Shape of the print as the photographs show it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MatShape {
    /// Stretch of X over Y beyond the measured bars (0.01 = 1 %).
    pub aspect: f64,
    /// Its standard deviation.
    pub sd_aspect: f64,
    /// Largest height of the smooth bow over the sheet, mm.
    pub bow_mm: f64,
    /// Height of each tag beyond the bow, mm.
    pub tag_heights_mm: Vec<(u32, f64)>,
    /// Their estimated standard deviation, mm.
    pub sd_height_mm: f64,
    /// Place of sheets 1, 2, … against the drawing: dx mm, dy mm, turn in degrees.
    pub sheets: Vec<[f64; 3]>,
}

/// How the mat file's corners run compared with the tags as found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct CornerOrder {
    /// Index in the file of the corner found first.
    pub start: usize,
    /// Whether the file runs the other way round.
    pub reversed: bool,
}

impl CornerOrder {
    /// The order of the mat file format.
    pub const AS_AGREED: Self = Self {
        start: 0,
        reversed: false,
    };

    /// Index in the file of found corner `i`.
    #[must_use]
    pub fn file_index(self, i: usize) -> usize {
        if self.reversed {
            (self.start + 4 - i) % 4
        } else {
            (self.start + i) % 4
        }
    }
}

/// A tag set aside in one photograph because it does not fit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DroppedTag {
    /// The photograph.
    pub photo: String,
    /// The tag.
    pub id: u32,
    /// Root mean square distance of its corners, pixels.
    pub rms_px: f64,
}

/// Something the user should know although there is a result.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Warning {
    /// No check bar was measured.
    UnmeasuredPrint {
        /// Relative sd carried instead, per cent.
        sd_percent: f64,
    },
    /// The two bars disagree with the photographs about the aspect.
    BarsDisagree {
        /// Aspect seen beyond the bars, per cent.
        aspect_percent: f64,
    },
    /// Corner order other than the format's.
    CornerOrder {
        /// The order found and used.
        order: CornerOrder,
    },
    /// Focal length poorly known.
    WeakFocalLength {
        /// First photograph of the camera.
        photo: String,
        /// Relative sd, per cent.
        sd_percent: f64,
    },
    /// The lens needs more terms than a telephone's main lens.
    UnusualLens {
        /// First photograph of the camera.
        photo: String,
        /// Whether it is best described as a wide-angle lens.
        wide: bool,
    },
    /// The sheet is not quite flat.
    UnevenMat {
        /// Greatest height, mm.
        bow_mm: f64,
    },
    /// Tags set aside.
    TagsDropped {
        /// The photograph.
        photo: String,
        /// How many.
        count: usize,
        /// Of how many.
        of: usize,
    },
    /// Taps scatter more than their stated sd.
    TapsScatter {
        /// Factor on their sd that was used.
        factor: f64,
    },
    /// Corners scatter more than sharp photographs do.
    BlurredTags {
        /// The photograph.
        photo: String,
        /// Standard deviation of a corner coordinate, pixels.
        sd_px: f64,
    },
    /// Marks in only two photographs cannot be checked.
    TwoViews {
        /// The marks.
        marks: Vec<MarkName>,
    },
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnmeasuredPrint { sd_percent } => write!(
                f,
                "The print's check bars have not been measured: every length carries ±{sd_percent:.0} % \
                 for the printer's scale. Measure both bars with a ruler and enter them."
            ),
            Self::BarsDisagree { aspect_percent } => write!(
                f,
                "The photographs show the sheet stretched by {aspect_percent:+.1} % across against the \
                 measured bars; measure both bars again."
            ),
            Self::CornerOrder { order } => write!(
                f,
                "The mat file's corners start at another corner (number {}) {}; this was recognised and used.",
                order.start + 1,
                if order.reversed {
                    "and run the other way round"
                } else {
                    "than agreed"
                }
            ),
            Self::WeakFocalLength { photo, sd_percent } => write!(
                f,
                "The focal length of the camera of {photo} is known only to ±{sd_percent:.1} %: take one \
                 more photograph with the camera turned a quarter turn, from another height."
            ),
            Self::UnusualLens { photo, wide } => write!(
                f,
                "The lens of the camera of {photo} bends the picture {}: this was found from the tags and \
                 allowed for. A telephone's main camera (1×) measures best.",
                if *wide {
                    "as wide-angle lenses do"
                } else {
                    "in more ways than a telephone's main lens does"
                }
            ),
            Self::UnevenMat { bow_mm } => write!(
                f,
                "The mat is uneven by {bow_mm:.1} mm; the ± allows for it. Tape the sheet to a board."
            ),
            Self::TagsDropped { photo, count, of } => {
                write!(
                    f,
                    "{photo}: {count} of {of} tags did not fit and were set aside."
                )
            }
            Self::TapsScatter { factor } => write!(
                f,
                "The marks scatter {factor:.1} times as much as stated; the ± was enlarged."
            ),
            Self::BlurredTags { photo, sd_px } => write!(
                f,
                "{photo}: the tags' corners scatter by {sd_px:.1} px; hold the camera still or add light."
            ),
            Self::TwoViews { marks } => {
                let names: Vec<&str> = marks.iter().map(MarkName::as_str).collect();
                write!(
                    f,
                    "Marked in two photographs only, so a wrong tap may go unseen: {}. A third view checks them.",
                    names.join(", ")
                )
            }
        }
    }
}

/// Cameras, marks and their joint uncertainty.
#[derive(Debug, Clone)]
pub struct Solution {
    /// The marks, in the order of the covariance.
    pub points: Vec<Point>,
    /// Marks seen in one photograph only (with [`SolveOptions::unfinished`]).
    pub seen_once: Vec<MarkName>,
    /// Instrument covariance of all coordinates x₁ y₁ z₁ x₂ …, mm², without the print's scale.
    pub covariance_mm2: DMatrix<f64>,
    /// Relative sd of the print's scale: one factor common to every coordinate. Carry it once.
    pub scale_sd: f64,
    /// Degrees of freedom for Student's t.
    pub dof: f64,
    /// Factor on the taps' variance that their scatter called for, at least 1.
    pub tap_factor: f64,
    /// One per photograph, in the order given.
    pub cameras: Vec<Camera>,
    /// One per camera body and lens.
    pub intrinsics: Vec<Intrinsics>,
    /// Shape of the print.
    pub mat_shape: MatShape,
    /// Order of the mat file's corners.
    pub corner_order: CornerOrder,
    /// Tags set aside.
    pub dropped_tags: Vec<DroppedTag>,
    /// What the user should know.
    pub warnings: Vec<Warning>,
    /// Parameters and their covariance, for predictions and advice.
    pub(crate) fitted: Fitted,
}

impl Solution {
    /// The point of a mark and its place in the covariance (its x is row `3·index`).
    #[must_use]
    pub fn point(&self, mark: &str) -> Option<(usize, &Point)> {
        self.points
            .iter()
            .enumerate()
            .find(|(_, point)| point.mark.as_str() == mark)
    }

    /// Instrument sd of a point's coordinates without the print's scale, mm.
    #[must_use]
    pub fn sd_mm(&self, index: usize) -> Vector3<f64> {
        Vector3::from_fn(|axis, _| self.covariance_mm2[(3 * index + axis, 3 * index + axis)].sqrt())
    }
}
