//! Indelible violet ink on plaster: proposed dots, and a tap moved onto the dot it means.

use crate::observed::Px;
use crate::photo::Photograph;

/// A rectangle of a photograph, pixels, ends excluded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Region {
    /// Left edge.
    pub x0: u32,
    /// Top edge.
    pub y0: u32,
    /// Right edge (excluded).
    pub x1: u32,
    /// Bottom edge (excluded).
    pub y1: u32,
}

/// A dot of ink found in a photograph.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InkDot {
    /// Centroid of the ink.
    pub px: Px,
    /// Standard deviation of the centroid on each axis, pixels.
    pub sd_px: f64,
    /// Diameter of a circle of the same area, pixels.
    pub size_px: f64,
}

/// Where a tap came to lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Snap {
    /// The dot's centroid, or the tap itself on bare plaster.
    pub px: Px,
    /// Standard deviation on each axis, pixels.
    pub sd_px: f64,
    /// Whether there was ink under the tap.
    pub on_ink: bool,
}

/// Standard deviation of a tap that no ink confirms, pixels.
pub const BARE_TAP_SD_PX: f64 = 4.0;

/// Proposes the ink dots of a photograph, or of a region of it.
#[must_use]
pub fn find(_photo: &Photograph, _region: Option<Region>) -> Vec<InkDot> {
    Vec::new()
}

/// Moves a tap onto the ink dot under it.
#[must_use]
pub fn snap(_photo: &Photograph, tap_px: Px) -> Snap {
    Snap {
        px: tap_px,
        sd_px: BARE_TAP_SD_PX,
        on_ink: false,
    }
}
