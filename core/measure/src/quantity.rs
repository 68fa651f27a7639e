//! A measured quantity with its two kinds of uncertainty.

use serde::{Deserialize, Serialize};

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
