//! The patient's own dimensions, taken on the leg: they prove the cast.

use serde::{Deserialize, Serialize};
use std::fmt;

/// One dimension of the leg that a cast can be compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LegDimension {
    /// Breadth over the malleoli.
    BimalleolarBreadth,
    /// Breadth of the heel.
    HeelBreadth,
    /// Breadth of the ball, first to fifth MTP.
    BallBreadth,
    /// Back of the heel to the first MTP.
    HeelToFirstMtp,
    /// Height of the medial malleolus above the sole.
    MedialMalleolusHeight,
    /// Height of the lateral malleolus above the sole.
    LateralMalleolusHeight,
    /// Medial malleolus forward of the back of the heel.
    MedialMalleolusForward,
    /// Lateral malleolus forward of the back of the heel.
    LateralMalleolusForward,
}

impl LegDimension {
    /// What the clinician reads.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::BimalleolarBreadth => "bimalleolar breadth",
            Self::HeelBreadth => "heel breadth",
            Self::BallBreadth => "ball breadth",
            Self::HeelToFirstMtp => "heel to first MTP",
            Self::MedialMalleolusHeight => "height of the medial malleolus",
            Self::LateralMalleolusHeight => "height of the lateral malleolus",
            Self::MedialMalleolusForward => "medial malleolus from the back of the heel",
            Self::LateralMalleolusForward => "lateral malleolus from the back of the heel",
        }
    }
}

impl fmt::Display for LegDimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.label())
    }
}

/// Repeated readings of one dimension; a single number or a list in JSON.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(from = "OneOrMany", into = "Vec<f64>")]
pub struct Readings(pub Vec<f64>);

#[derive(Deserialize)]
#[serde(untagged)]
enum OneOrMany {
    One(f64),
    Many(Vec<f64>),
}

impl From<OneOrMany> for Readings {
    fn from(value: OneOrMany) -> Self {
        match value {
            OneOrMany::One(x) => Self(vec![x]),
            OneOrMany::Many(xs) => Self(xs),
        }
    }
}

impl From<Readings> for Vec<f64> {
    fn from(readings: Readings) -> Self {
        readings.0
    }
}

impl Readings {
    /// Mean of the readings.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        (!self.0.is_empty()).then(|| self.0.iter().sum::<f64>() / self.0.len() as f64)
    }
}

/// What was worn while the leg was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Worn {
    /// Bare skin.
    Nothing,
    /// A sock.
    Sock,
    /// A stocking.
    Stocking,
}

/// The patient's dimensions; every one optional, in millimetres unless named otherwise.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
#[allow(missing_docs)] // each field says what it is
pub struct Leg {
    pub bimalleolar_breadth_mm: Readings,
    pub heel_breadth_mm: Readings,
    pub ball_breadth_mm: Readings,
    pub heel_to_first_mtp_mm: Readings,
    pub medial_malleolus_height_mm: Readings,
    pub lateral_malleolus_height_mm: Readings,
    pub medial_malleolus_forward_mm: Readings,
    pub lateral_malleolus_forward_mm: Readings,
    pub ankle_girth_mm: Readings,
    pub calf_band_girth_mm: Readings,
    pub calf_band_width_mm: Readings,
    pub calf_band_depth_mm: Readings,
    pub largest_calf_girth_mm: Readings,
    pub largest_calf_width_mm: Readings,
    pub largest_calf_depth_mm: Readings,
    pub largest_calf_height_mm: Readings,
    pub floor_to_fibular_head_mm: Readings,
    pub floor_to_band_mm: Readings,
    pub shank_lean_deg: Readings,
    pub worn: Option<Worn>,
}
