//! The dimensions taken on the leg, by name.

use crate::entry::Entry;
use crate::words::Extra;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::ops::{Deref, DerefMut};

/// A dimension taken on the leg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // the names are the documentation: what, where, unit
pub enum Dimension {
    FootLengthMm,
    BimalleolarBreadthMm,
    HeelBreadthMm,
    BallBreadthMm,
    HeelToFirstMtpMm,
    HeelToFifthMtpMm,
    MedialMalleolusHeightMm,
    LateralMalleolusHeightMm,
    MedialMalleolusFromHeelBackMm,
    LateralMalleolusFromHeelBackMm,
    AnkleGirthMm,
    BandGirthMm,
    BandWidthMm,
    BandDepthMm,
    LargestCalfGirthMm,
    LargestCalfWidthMm,
    LargestCalfDepthMm,
    LargestCalfHeightMm,
    FloorToFibularHeadMm,
    FloorToBandMm,
    ShankLeanDeg,
}

impl Dimension {
    /// Every dimension, in the order they are taken.
    pub const ALL: &[Self] = &[
        Self::FootLengthMm,
        Self::BimalleolarBreadthMm,
        Self::HeelBreadthMm,
        Self::BallBreadthMm,
        Self::HeelToFirstMtpMm,
        Self::HeelToFifthMtpMm,
        Self::MedialMalleolusHeightMm,
        Self::LateralMalleolusHeightMm,
        Self::MedialMalleolusFromHeelBackMm,
        Self::LateralMalleolusFromHeelBackMm,
        Self::AnkleGirthMm,
        Self::BandGirthMm,
        Self::BandWidthMm,
        Self::BandDepthMm,
        Self::LargestCalfGirthMm,
        Self::LargestCalfWidthMm,
        Self::LargestCalfDepthMm,
        Self::LargestCalfHeightMm,
        Self::FloorToFibularHeadMm,
        Self::FloorToBandMm,
        Self::ShankLeanDeg,
    ];
}

/// Repeats of each dimension; in JSON an object by the dimension's name. A dimension of a newer
/// version is kept as it came.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(try_from = "Extra", into = "Extra")]
pub struct Dimensions {
    known: BTreeMap<Dimension, Vec<Entry>>,
    newer: Extra,
}

impl Deref for Dimensions {
    type Target = BTreeMap<Dimension, Vec<Entry>>;

    fn deref(&self) -> &Self::Target {
        &self.known
    }
}

impl DerefMut for Dimensions {
    fn deref_mut(&mut self) -> &mut Self::Target {
        &mut self.known
    }
}

impl FromIterator<(Dimension, Vec<Entry>)> for Dimensions {
    fn from_iter<I: IntoIterator<Item = (Dimension, Vec<Entry>)>>(iter: I) -> Self {
        Self {
            known: iter.into_iter().collect(),
            newer: Extra::new(),
        }
    }
}

impl TryFrom<Extra> for Dimensions {
    type Error = serde_json::Error;

    fn try_from(fields: Extra) -> Result<Self, Self::Error> {
        let mut dimensions = Self::default();
        for (name, value) in fields {
            match serde_json::from_value::<Dimension>(name.clone().into()) {
                Ok(dimension) => {
                    dimensions
                        .known
                        .insert(dimension, serde_json::from_value(value)?);
                }
                Err(_) => {
                    dimensions.newer.insert(name, value);
                }
            }
        }
        Ok(dimensions)
    }
}

impl From<Dimensions> for Extra {
    fn from(dimensions: Dimensions) -> Self {
        let mut fields = dimensions.newer;
        for (dimension, entries) in dimensions.known {
            // Entries are plain JSON: writing them can't fail.
            let value = serde_json::to_value(entries).unwrap_or_default();
            fields.insert(crate::verdict::token(&dimension), value);
        }
        fields
    }
}
