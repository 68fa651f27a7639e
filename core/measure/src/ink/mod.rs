//! Indelible violet ink on plaster: proposed dots, and a tap moved onto the dot it means.
//!
//! Ink is told from plaster by its hue alone (it swallows green), compared with what surrounds it:
//! shade darkens all colours alike and leaves no trace. Strokes of outlines are no dots.
//!
//! The centroid of a dot's picture is not quite the picture of its centre: a disc of radius r seen
//! at distance d under 45° is off by about f·r²/2d², 0.04 px for 3 mm at 600 mm and f = 3000 px
//! (see the tests). The ± carries it in its floor.

mod dots;
mod hue;
#[cfg(test)]
mod tests;

use crate::observed::Px;
use crate::photo::Photograph;
use hue::HuePatch;

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
    /// The dot's centroid; the tap itself on bare plaster and on the stroke of an outline.
    pub px: Px,
    /// Standard deviation on each axis, pixels.
    pub sd_px: f64,
    /// Whether there was ink under or close beside the tap.
    pub on_ink: bool,
}

/// Standard deviation of a tap that no dot of ink confirms, pixels.
pub const BARE_TAP_SD_PX: f64 = 4.0;

/// Radius around a tap in which ink is meant by it, as a share of the longer side: a finger's
/// aim on a screen that shows the whole photograph.
const AIM_SHARE: f64 = 0.008;
/// A dot may be this many times wider than the aim.
const LARGEST_GROWTH: u32 = 3;

fn aim_px(photo: &Photograph) -> f64 {
    (AIM_SHARE * f64::from(photo.width.max(photo.height))).max(6.0)
}

/// Proposes the ink dots of a photograph, or of a region of it, from the top down. Empty for a
/// photograph without colours.
#[must_use]
pub fn find(photo: &Photograph, region: Option<Region>) -> Vec<InkDot> {
    if !photo.has_colour() {
        return Vec::new();
    }
    let whole = Region {
        x0: 0,
        y0: 0,
        x1: photo.width,
        y1: photo.height,
    };
    let region = region.unwrap_or(whole);
    let clipped = Region {
        x1: region.x1.min(photo.width),
        y1: region.y1.min(photo.height),
        ..region
    };
    let mut found: Vec<InkDot> = Vec::new();
    for (near, size_px) in dots::candidates(photo, clipped) {
        let Some(dots::Ink::Dot(dot)) = look(photo, near, size_px) else {
            continue;
        };
        let apart = |other: &InkDot| {
            (other.px[0] - dot.px[0]).hypot(other.px[1] - dot.px[1]) > other.size_px / 2.0
        };
        if found.iter().all(apart) {
            found.push(dot);
        }
    }
    found.sort_by(|a, b| a.px[1].total_cmp(&b.px[1]));
    found
}

/// Moves a tap onto the ink dot under it or close beside it.
#[must_use]
pub fn snap(photo: &Photograph, tap_px: Px) -> Snap {
    let bare = Snap {
        px: tap_px,
        sd_px: BARE_TAP_SD_PX,
        on_ink: false,
    };
    if !photo.has_colour() || !tap_px.iter().all(|v| v.is_finite()) {
        return bare;
    }
    match look(photo, tap_px, aim_px(photo)) {
        Some(dots::Ink::Dot(dot)) => Snap {
            px: dot.px,
            sd_px: dot.sd_px,
            on_ink: true,
        },
        Some(dots::Ink::Stroke) => Snap {
            on_ink: true,
            ..bare
        },
        None => bare,
    }
}

/// The ink nearest to a point: a dot as soon as a patch is wide enough to hold it and plaster
/// around it.
fn look(photo: &Photograph, near: Px, aim_px: f64) -> Option<dots::Ink> {
    let mut stroke = None;
    for growth in 1..=LARGEST_GROWTH {
        let patch = HuePatch::around(photo, near, 2.0 * aim_px * f64::from(growth))?;
        match dots::nearest(&patch, near, aim_px) {
            Some(dots::Ink::Stroke) => stroke = Some(dots::Ink::Stroke),
            Some(dot) => return Some(dot),
            None => {}
        }
    }
    stroke
}
