//! The results of one cast.

use super::{HingeFrom, Reference, Refusal, ResultName, Source};
use crate::leg::LegDimension;
use crate::marks::{MarkName, Side, Surface};
use crate::quantity::Quantity;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// One point in the cast frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CastPoint {
    /// Which mark.
    pub mark: MarkName,
    /// Position: X forward, Y to the patient's left, Z up; origin on the mat below HL.
    pub cast_mm: [f64; 3],
    /// Instrument sd along X, Y, Z.
    pub instrument_sd_mm: [f64; 3],
    /// Total sd along X, Y, Z (with marking and print scale).
    pub total_sd_mm: [f64; 3],
    /// The face of the shell that carries the mark.
    pub surface: Surface,
    /// Number of photographs or readings behind it.
    pub views: usize,
}

/// A hinge point against one datum; `None` where the wall is not known.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Datum {
    /// Height above the plantar face of the heel.
    pub height: Option<Quantity>,
    /// Distance forward of the back of the heel at HL.
    pub forward: Option<Quantity>,
}

/// Where one hinge goes, offsets as ordered included.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HingePoint {
    /// The mark it was taken from.
    pub mark: MarkName,
    /// Apex or lower pole.
    pub from: HingeFrom,
    /// In the cast frame.
    pub cast_mm: [f64; 3],
    /// Against the outer face (what stands on the bench).
    pub outside: Datum,
    /// Against the inner face (the skin).
    pub inside: Datum,
}

/// What the cues say about the side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum SideOutcome {
    /// Every decisive cue agrees with the recorded side.
    Agrees,
    /// One cue is against the recorded side: look again.
    Caution,
    /// No cue is decisive.
    CannotTell,
    /// M1 and M5 are exchanged.
    MtpMarksSwapped,
    /// MM and LM are exchanged.
    MalleoliSwapped,
    /// Medial and lateral are exchanged on every pair.
    LabelsSwapped,
    /// This is the other foot.
    WrongSide,
    /// Cues contradict each other: stop and look.
    Contradiction,
}

/// The side, checked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SideCheck {
    /// The outcome.
    pub outcome: SideOutcome,
    /// Whether the outcome stops the order (identity: no override).
    pub stops: bool,
    /// One sentence a cue, the outcome first.
    pub sentences: Vec<String>,
}

/// A length of the cast beside the patient's own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// Which of the patient's dimensions.
    pub dimension: LegDimension,
    /// On the cast, between the inner faces: they were the skin.
    pub cast: Quantity,
    /// On the leg: mean of the readings.
    pub leg_mm: f64,
    /// Sd of that mean.
    pub leg_sd_mm: f64,
    /// Number of readings.
    pub readings: usize,
    /// Cast minus leg.
    pub difference: Quantity,
}

/// Everything measured on one cast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Results {
    /// Recorded side.
    pub side: Side,
    /// Photographs or ruler.
    pub source: Source,
    /// What the X axis points to.
    pub reference: Reference,
    /// The side, checked against the marks.
    pub side_check: SideCheck,
    /// Every quantity that the marks allow.
    pub quantities: BTreeMap<ResultName, Quantity>,
    /// Which way a quantity points ("inverted", "lateral end lower").
    pub words: BTreeMap<ResultName, String>,
    /// All points.
    pub points: Vec<CastPoint>,
    /// Medial hinge point, if MM is marked.
    pub medial_hinge: Option<HingePoint>,
    /// Lateral hinge point, if LM is marked.
    pub lateral_hinge: Option<HingePoint>,
    /// Lengths beside the patient's own.
    pub comparisons: Vec<Comparison>,
    /// Quantities that could not be computed, and why.
    pub refused: Vec<Refusal>,
    /// Sentences for the clinician.
    pub warnings: Vec<String>,
}
