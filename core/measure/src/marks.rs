//! Names of the marks and the marks file.

mod file;

pub use file::{DEFAULT_TAP_SD_PX, DEFAULT_WALL_SD_MM, Marks, MarksError, Outline};

use serde::{Deserialize, Serialize};
use std::fmt;

/// Left or right foot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// Left foot.
    Left,
    /// Right foot.
    Right,
}

impl Side {
    /// s of the cast frame: +1 left, −1 right; lateral = s·y.
    #[must_use]
    pub fn sign(self) -> f64 {
        match self {
            Self::Left => 1.0,
            Self::Right => -1.0,
        }
    }
}

impl fmt::Display for Side {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Left => "left",
            Self::Right => "right",
        })
    }
}

/// The face of the shell that carries a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Surface {
    /// The inner face: ink transferred from the skin.
    #[default]
    Inside,
    /// The outer face: drawn on the plaster.
    Outside,
}

/// Name of a mark as the marks file spells it; names beyond the known ones are plain points.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MarkName(pub String);

impl MarkName {
    /// Apex of the medial malleolus (MM).
    pub const MALLEOLUS_MEDIAL: &'static str = "malleolus-medial";
    /// Apex of the lateral malleolus (LM).
    pub const MALLEOLUS_LATERAL: &'static str = "malleolus-lateral";
    /// Lower pole of the medial malleolus.
    pub const MALLEOLUS_MEDIAL_LOWER: &'static str = "malleolus-medial-lower";
    /// Lower pole of the lateral malleolus.
    pub const MALLEOLUS_LATERAL_LOWER: &'static str = "malleolus-lateral-lower";
    /// First MTP joint (M1).
    pub const MTP_1: &'static str = "mtp-1";
    /// Second MTP joint (M2).
    pub const MTP_2: &'static str = "mtp-2";
    /// Fourth MTP joint (M4).
    pub const MTP_4: &'static str = "mtp-4";
    /// Fifth MTP joint (M5).
    pub const MTP_5: &'static str = "mtp-5";
    /// Upper mark of the heel bisection (HU).
    pub const HEEL_UPPER: &'static str = "heel-upper";
    /// Lower mark of the heel bisection (HL).
    pub const HEEL_LOWER: &'static str = "heel-lower";
    /// Upper mark of the calf line (CU).
    pub const CALF_UPPER: &'static str = "calf-upper";
    /// Lower mark of the calf line (CL).
    pub const CALF_LOWER: &'static str = "calf-lower";

    /// Inner plantar face of the heel, the height datum of inside points.
    pub const HEEL_PLANTAR: &'static str = "heel-plantar";
    /// Medial end of the heel's breadth.
    pub const HEEL_MEDIAL: &'static str = "heel-medial";
    /// Lateral end of the heel's breadth.
    pub const HEEL_LATERAL: &'static str = "heel-lateral";

    /// Whether it is one of the MTP marks.
    #[must_use]
    pub fn is_mtp(&self) -> bool {
        [Self::MTP_1, Self::MTP_2, Self::MTP_4, Self::MTP_5].contains(&self.as_str())
    }

    /// The name as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl From<&str> for MarkName {
    fn from(name: &str) -> Self {
        Self(name.to_owned())
    }
}

impl fmt::Display for MarkName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
