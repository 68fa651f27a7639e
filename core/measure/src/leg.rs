//! The patient's own dimensions, taken on the leg: they prove the cast.

use serde::{Deserialize, Serialize};
use std::fmt;
use thiserror::Error;

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
    /// Every one.
    pub const ALL: [Self; 8] = [
        Self::BimalleolarBreadth,
        Self::HeelBreadth,
        Self::BallBreadth,
        Self::HeelToFirstMtp,
        Self::MedialMalleolusHeight,
        Self::LateralMalleolusHeight,
        Self::MedialMalleolusForward,
        Self::LateralMalleolusForward,
    ];

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
#[serde(untagged, expecting = "readings must be a number or a list of numbers")]
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

    /// Sd of the mean: from the scatter of three or more readings, but never below what one
    /// calliper reading on skin gives shared out. Common practice, no source.
    #[must_use]
    pub fn sd_of_mean(&self) -> Option<f64> {
        const ONE_READING_MM: f64 = 1.0;
        let mean = self.mean()?;
        let n = self.0.len() as f64;
        let scatter = if self.0.len() >= 3 {
            (self.0.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
        } else {
            0.0
        };
        Some(scatter.max(ONE_READING_MM) / n.sqrt())
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

/// A reading that can't be one.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{field} of the leg is {value}, which can't be a reading; enter it in {unit}")]
pub struct LegError {
    /// Name of the field.
    pub field: &'static str,
    /// The value given.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
}

impl Leg {
    /// The readings of one dimension.
    #[must_use]
    pub fn readings(&self, dimension: LegDimension) -> &Readings {
        match dimension {
            LegDimension::BimalleolarBreadth => &self.bimalleolar_breadth_mm,
            LegDimension::HeelBreadth => &self.heel_breadth_mm,
            LegDimension::BallBreadth => &self.ball_breadth_mm,
            LegDimension::HeelToFirstMtp => &self.heel_to_first_mtp_mm,
            LegDimension::MedialMalleolusHeight => &self.medial_malleolus_height_mm,
            LegDimension::LateralMalleolusHeight => &self.lateral_malleolus_height_mm,
            LegDimension::MedialMalleolusForward => &self.medial_malleolus_forward_mm,
            LegDimension::LateralMalleolusForward => &self.lateral_malleolus_forward_mm,
        }
    }

    /// Refuses readings no leg can have.
    ///
    /// # Errors
    /// The first field that is not a positive length under two metres, or a lean beyond 60°.
    pub fn check(&self) -> Result<(), LegError> {
        let lengths = [
            ("bimalleolar_breadth_mm", &self.bimalleolar_breadth_mm),
            ("heel_breadth_mm", &self.heel_breadth_mm),
            ("ball_breadth_mm", &self.ball_breadth_mm),
            ("heel_to_first_mtp_mm", &self.heel_to_first_mtp_mm),
            (
                "medial_malleolus_height_mm",
                &self.medial_malleolus_height_mm,
            ),
            (
                "lateral_malleolus_height_mm",
                &self.lateral_malleolus_height_mm,
            ),
            (
                "medial_malleolus_forward_mm",
                &self.medial_malleolus_forward_mm,
            ),
            (
                "lateral_malleolus_forward_mm",
                &self.lateral_malleolus_forward_mm,
            ),
            ("ankle_girth_mm", &self.ankle_girth_mm),
            ("calf_band_girth_mm", &self.calf_band_girth_mm),
            ("calf_band_width_mm", &self.calf_band_width_mm),
            ("calf_band_depth_mm", &self.calf_band_depth_mm),
            ("largest_calf_girth_mm", &self.largest_calf_girth_mm),
            ("largest_calf_width_mm", &self.largest_calf_width_mm),
            ("largest_calf_depth_mm", &self.largest_calf_depth_mm),
            ("largest_calf_height_mm", &self.largest_calf_height_mm),
            ("floor_to_fibular_head_mm", &self.floor_to_fibular_head_mm),
            ("floor_to_band_mm", &self.floor_to_band_mm),
        ];
        for (field, readings) in lengths {
            for &value in &readings.0 {
                if !(value > 0.0 && value <= 2000.0) {
                    return Err(LegError {
                        field,
                        value,
                        unit: "millimetres",
                    });
                }
            }
        }
        for &value in &self.shank_lean_deg.0 {
            if !(-60.0..=60.0).contains(&value) {
                return Err(LegError {
                    field: "shank_lean_deg",
                    value,
                    unit: "degrees",
                });
            }
        }
        Ok(())
    }
}
