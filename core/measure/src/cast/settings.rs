//! What the clinician chooses before the results are computed.

use crate::marks::{MarkName, Side};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// What the X axis of the cast frame points to, from below the mid-point of the heel marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reference {
    /// The mid-point of M1 and M5.
    #[default]
    MtpMidpoint,
    /// M2. A midfoot abducted by 15° turns the mid-point reference by 8-9° against this one.
    #[serde(rename = "mtp-2")]
    Mtp2,
}

impl Reference {
    /// The reference in words, as printed.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::MtpMidpoint => "heel to the mid-point of the first and fifth MTP marks",
            Self::Mtp2 => "heel to the second MTP mark",
        }
    }

    pub(crate) fn other_choice(self) -> &'static str {
        match self {
            Self::MtpMidpoint => ", or choose the second MTP mark as the reference",
            Self::Mtp2 => ", or choose the mid-point of the first and fifth as the reference",
        }
    }
}

/// Which malleolar mark the hinge point is taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HingeFrom {
    /// The apex of the malleolus.
    #[default]
    Apex,
    /// The lower pole of the malleolus.
    LowerPole,
}

/// Offset of the ordered hinge point from its mark; 0 unless the clinician orders one.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct HingeOffset {
    /// Downwards.
    pub down_mm: f64,
    /// Forwards.
    pub forward_mm: f64,
}

/// How far off a landmark a clinician puts the dot, split into what re-marking averages out
/// (within one person) and what it can't (between persons). Common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MarkingSd {
    /// Spread of one person marking again, one direction.
    pub within_mm: f64,
    /// Spread between persons, one direction.
    pub between_mm: f64,
}

/// Marking uncertainty of every mark, and how often each was marked.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Marking {
    /// Marks whose sd differs from the default.
    pub sd: BTreeMap<MarkName, MarkingSd>,
    /// How many times each mark was set anew and averaged; 1 unless stated.
    pub repeats: BTreeMap<MarkName, u32>,
}

/// Everything the results depend on beside the points.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Reference of the X axis.
    pub reference: Reference,
    /// Medial hinge point from apex or lower pole.
    pub medial_hinge_from: HingeFrom,
    /// Lateral hinge point from apex or lower pole.
    pub lateral_hinge_from: HingeFrom,
    /// Medial hinge offset.
    pub medial_hinge_offset: HingeOffset,
    /// Lateral hinge offset.
    pub lateral_hinge_offset: HingeOffset,
    /// Marking uncertainty.
    pub marking: Marking,
    /// MTP marks set at the side of the joint; the others are plantar.
    pub side_of_joint: BTreeSet<MarkName>,
    /// Letter written on the skin, as read in the cast.
    pub letter_on_skin: Option<Side>,
    /// The side of the cast, seen from behind, on which the arch lies.
    pub arch_seen_on: Option<Side>,
    /// Rock at the edge on a flat table, measured by hand, millimetres.
    pub rock_mm: Option<f64>,
}
