//! What was found on the patient: readings, and the leg's own dimensions.

mod catalogue;
mod dimensions;

pub use catalogue::{Method, Plane, ReadingKind, Word, reading_kind, reading_kinds};
pub use dimensions::{Dimension, Dimensions};

use crate::entry::Entry;
use crate::person::When;
use crate::words::{Extra, words};
use plinthside_measure::leg::{Leg, Readings, Worn};
use plinthside_measure::marks::Side;
use serde::{Deserialize, Serialize};

words! {
    /// How much of the body's weight the foot carried.
    WeightBearing {
        None = "none", "not weight-bearing", "unbelastet";
        Partial = "partial", "partly weight-bearing", "teilbelastet";
        Full = "full", "weight-bearing", "belastet";
    }
    /// Who moved the joint.
    Mover {
        Passive = "passive", "passive", "passiv";
        Active = "active", "active", "aktiv";
    }
}

/// One reading of one thing on one side: its kind says unit, plane and sign (`data/readings.json`).
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Reading {
    /// Identifier within the visit.
    pub id: String,
    /// Kind, a key of the catalogue, e.g. `ankle_dorsiflexion_knee_straight_deg`.
    pub kind: String,
    /// Side, where the kind has one.
    pub side: Option<Side>,
    /// Repeats of a number, in the unit the kind names.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub repeats: Vec<Entry>,
    /// Words chosen from the kind's list.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub choices: Vec<String>,
    /// Free words.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub text: String,
    /// Method: a key of the kind's methods, or typed.
    pub method: String,
    /// Weight-bearing state.
    pub weight_bearing: Option<WeightBearing>,
    /// Passive or active.
    pub mover: Option<Mover>,
    /// Who took it.
    pub by: String,
    /// When.
    pub at: Option<When>,
    /// The visit it was copied from; marked as copied until confirmed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub copied_from: Option<String>,
    /// A copied value that was confirmed at this visit.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub copy_confirmed: bool,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Reading {
    /// Mean of the usable repeats.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        mean(&self.repeats)
    }

    /// Standard deviation (n − 1) of the usable repeats, from two on.
    #[must_use]
    pub fn sd(&self) -> Option<f64> {
        sd(&self.repeats)
    }

    /// Copied from an earlier visit and not confirmed yet.
    #[must_use]
    pub fn is_unconfirmed_copy(&self) -> bool {
        self.copied_from.is_some() && !self.copy_confirmed
    }
}

/// The leg's own dimensions, taken with calliper and tape; they prove the cast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LegDimensions {
    /// Which leg.
    pub side: Side,
    /// Repeats of each dimension, millimetres (or degrees for the shank's lean).
    #[serde(default)]
    pub values: Dimensions,
    /// A sock or stocking was worn.
    #[serde(default)]
    pub sock_worn: Option<bool>,
    /// Who took them.
    #[serde(default)]
    pub by: String,
    /// When.
    #[serde(default)]
    pub at: Option<When>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

impl LegDimensions {
    /// An empty record for one leg.
    #[must_use]
    pub fn new(side: Side) -> Self {
        Self {
            side,
            values: Dimensions::default(),
            sock_worn: None,
            by: String::new(),
            at: None,
            extra: Extra::new(),
        }
    }

    /// The dimensions as the measurement takes them.
    #[must_use]
    pub fn to_leg(&self) -> Leg {
        let take = |d: Dimension| {
            Readings(usable(
                self.values.get(&d).map(Vec::as_slice).unwrap_or_default(),
            ))
        };
        Leg {
            bimalleolar_breadth_mm: take(Dimension::BimalleolarBreadthMm),
            heel_breadth_mm: take(Dimension::HeelBreadthMm),
            ball_breadth_mm: take(Dimension::BallBreadthMm),
            heel_to_first_mtp_mm: take(Dimension::HeelToFirstMtpMm),
            medial_malleolus_height_mm: take(Dimension::MedialMalleolusHeightMm),
            lateral_malleolus_height_mm: take(Dimension::LateralMalleolusHeightMm),
            medial_malleolus_forward_mm: take(Dimension::MedialMalleolusFromHeelBackMm),
            lateral_malleolus_forward_mm: take(Dimension::LateralMalleolusFromHeelBackMm),
            ankle_girth_mm: take(Dimension::AnkleGirthMm),
            calf_band_girth_mm: take(Dimension::BandGirthMm),
            calf_band_width_mm: take(Dimension::BandWidthMm),
            calf_band_depth_mm: take(Dimension::BandDepthMm),
            largest_calf_girth_mm: take(Dimension::LargestCalfGirthMm),
            largest_calf_width_mm: take(Dimension::LargestCalfWidthMm),
            largest_calf_depth_mm: take(Dimension::LargestCalfDepthMm),
            largest_calf_height_mm: take(Dimension::LargestCalfHeightMm),
            floor_to_fibular_head_mm: take(Dimension::FloorToFibularHeadMm),
            floor_to_band_mm: take(Dimension::FloorToBandMm),
            shank_lean_deg: take(Dimension::ShankLeanDeg),
            worn: self
                .sock_worn
                .map(|sock| if sock { Worn::Sock } else { Worn::Nothing }),
        }
    }

    /// Mean of the usable repeats of one dimension.
    #[must_use]
    pub fn get(&self, dimension: Dimension) -> Option<f64> {
        self.values
            .get(&dimension)
            .and_then(|entries| mean(entries))
    }
}

fn usable(entries: &[Entry]) -> Vec<f64> {
    entries.iter().filter_map(Entry::usable).collect()
}

pub(crate) fn mean(entries: &[Entry]) -> Option<f64> {
    let values = usable(entries);
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

pub(crate) fn sd(entries: &[Entry]) -> Option<f64> {
    let values = usable(entries);
    let mean = mean(entries)?;
    (values.len() > 1).then(|| {
        let sum: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        (sum / (values.len() - 1) as f64).sqrt()
    })
}
