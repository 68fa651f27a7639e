//! A measured quantity with its two kinds of uncertainty.

use serde::{Deserialize, Serialize};

/// Two-sided 95 % point of the normal distribution: the ± of an sd that nothing else is known of.
pub const NORMAL_95: f64 = 1.959_963_984_540_054;

/// Unit of a [`Quantity`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// Millimetres.
    #[serde(rename = "mm")]
    Mm,
    /// Degrees.
    #[serde(rename = "deg")]
    Deg,
}

impl Unit {
    /// As printed after a number, with its space.
    #[must_use]
    pub fn sign(self) -> &'static str {
        match self {
            Self::Mm => " mm",
            Self::Deg => "°",
        }
    }
}

/// A value with instrument and total uncertainty; all in [`Quantity::unit`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Quantity {
    /// Best estimate.
    pub value: f64,
    /// Unit of every other field.
    pub unit: Unit,
    /// Standard deviation from the camera (or ruler) alone.
    pub instrument_sd: f64,
    /// Standard deviation with the marking of the landmarks included.
    pub total_sd: f64,
    /// Lower end of the 95 % interval (total).
    pub low95: f64,
    /// Upper end of the 95 % interval (total).
    pub high95: f64,
}

/// The ± of a [`Quantity`]: half of its 95 % interval, in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlusMinus {
    /// From the camera (or ruler) alone: the total's share by the sds.
    pub instrument: f64,
    /// With the marking of the landmarks included.
    pub total: f64,
}

impl Quantity {
    /// The ± as every screen and paper states it.
    #[must_use]
    pub fn plus_minus(&self) -> PlusMinus {
        let total = (self.high95 - self.low95).abs() / 2.0;
        let share = if self.total_sd > 0.0 {
            (self.instrument_sd / self.total_sd).min(1.0)
        } else {
            1.0
        };
        PlusMinus {
            instrument: total * share,
            total,
        }
    }
}
