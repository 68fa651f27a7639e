//! Scores and figures of the examination: Foot Posture Index, arch index, the historical
//! calculation of the subtalar neutral.

use crate::source::{Certainty, Source};
use crate::visit::Visit;
use crate::words::{Text, words};
use plinthside_measure::marks::Side;

/// Keys of the six items, in the order of the published form.
pub const FPI_ITEMS: [&str; 6] = [
    "fpi_talar_head",
    "fpi_malleolar_curves",
    "fpi_calcaneus",
    "fpi_talonavicular",
    "fpi_arch",
    "fpi_forefoot",
];

words! {
    /// Band of the Foot Posture Index (manual of 2005, unverified).
    FootPosture {
        HighlySupinated = "highly_supinated", "highly supinated", "stark supiniert";
        Supinated = "supinated", "supinated", "supiniert";
        Normal = "normal", "neither pronated nor supinated", "weder proniert noch supiniert";
        Pronated = "pronated", "pronated", "proniert";
        HighlyPronated = "highly_pronated", "highly pronated", "stark proniert";
    }
    /// Band of the arch index (Cavanagh & Rodgers 1987, bounds unverified).
    Arch {
        High = "high", "high", "hoch";
        Middle = "middle", "neither high nor low", "weder hoch noch niedrig";
        Low = "low", "low", "niedrig";
    }
}

/// Where the bands of the Foot Posture Index come from.
#[must_use]
pub fn foot_posture_source() -> Source {
    Source {
        cite: "FPI-6 user guide and manual, 2005".into(),
        certainty: Certainty::Unverified,
    }
}

/// The sum of six items, each −2 to +2. A missing or impossible item gives no total.
#[must_use]
pub fn foot_posture_index(items: [Option<i8>; 6]) -> Option<i8> {
    items.into_iter().try_fold(0, |sum, item| {
        Some(sum + item.filter(|i| (-2..=2).contains(i))?)
    })
}

/// The six items as a visit holds them, summed.
#[must_use]
pub fn foot_posture_of(visit: &Visit, side: Side) -> Option<i8> {
    foot_posture_index(FPI_ITEMS.map(|item| {
        let mean = visit.reading(item, side)?.mean()?;
        (mean.fract() == 0.0 && mean.abs() <= 2.0).then_some(mean as i8)
    }))
}

/// The band of a total.
#[must_use]
pub fn foot_posture(total: i8) -> FootPosture {
    match total {
        ..=-5 => FootPosture::HighlySupinated,
        -4..=-1 => FootPosture::Supinated,
        0..=5 => FootPosture::Normal,
        6..=9 => FootPosture::Pronated,
        10.. => FootPosture::HighlyPronated,
    }
}

/// The subtalar neutral as Root, Orien and Weed calculated it: a third of the range from full
/// eversion; inverted positive. Historical: it agrees with neither palpation nor gait.
#[must_use]
pub fn calculated_neutral_deg(inversion_deg: f64, eversion_deg: f64) -> f64 {
    (inversion_deg + eversion_deg) / 3.0 - eversion_deg
}

/// What stands beside every calculated neutral.
#[must_use]
pub fn calculated_neutral_label() -> Text {
    Text::new(
        "historical calculation; static neutrals do not agree with gait (Mahoney 2019, Foot Ankle Online J 12(1):4)",
        "historische Berechnung; statische Neutralstellungen stimmen mit dem Gang nicht überein (Mahoney 2019, Foot Ankle Online J 12(1):4)",
    )
}

/// Arch index of a footprint without toes: the middle third of its length along the foot's axis,
/// as a share of the whole area (Cavanagh & Rodgers 1987). `outline` is a simple polygon, the
/// axis runs from the heel's centre to the second toe. `None` without area or axis.
#[must_use]
pub fn arch_index(outline: &[[f64; 2]], heel: [f64; 2], second_toe: [f64; 2]) -> Option<f64> {
    let axis = [second_toe[0] - heel[0], second_toe[1] - heel[1]];
    let length = axis[0].hypot(axis[1]);
    if !(length > 0.0 && length.is_finite()) || outline.iter().flatten().any(|c| !c.is_finite()) {
        return None;
    }
    // Along the axis, then across it.
    let (ux, uy) = (axis[0] / length, axis[1] / length);
    let turned: Vec<[f64; 2]> = outline
        .iter()
        .map(|p| [p[0] * ux + p[1] * uy, p[1] * ux - p[0] * uy])
        .collect();
    let low = turned.iter().map(|p| p[0]).fold(f64::INFINITY, f64::min);
    let high = turned
        .iter()
        .map(|p| p[0])
        .fold(f64::NEG_INFINITY, f64::max);
    let third = (high - low) / 3.0;
    let middle = clip(&clip(&turned, low + third, 1.0), high - third, -1.0);
    let share = area(&middle) / area(&turned);
    share.is_finite().then_some(share)
}

/// The part of a polygon with `sign · (x − at) ≥ 0`.
fn clip(polygon: &[[f64; 2]], at: f64, sign: f64) -> Vec<[f64; 2]> {
    let mut kept = Vec::with_capacity(polygon.len() + 2);
    for (i, &p) in polygon.iter().enumerate() {
        let q = polygon[(i + 1) % polygon.len()];
        let (p_in, q_in) = (sign * (p[0] - at) >= 0.0, sign * (q[0] - at) >= 0.0);
        if p_in {
            kept.push(p);
        }
        if p_in != q_in {
            let t = (at - p[0]) / (q[0] - p[0]);
            kept.push([at, p[1] + t * (q[1] - p[1])]);
        }
    }
    kept
}

fn area(polygon: &[[f64; 2]]) -> f64 {
    let twice: f64 = polygon
        .iter()
        .enumerate()
        .map(|(i, p)| {
            let q = polygon[(i + 1) % polygon.len()];
            p[0] * q[1] - q[0] * p[1]
        })
        .sum();
    twice.abs() / 2.0
}

/// The band of an arch index; its bounds are from memory, unverified.
#[must_use]
pub fn arch(index: f64) -> Arch {
    if index <= 0.21 {
        Arch::High
    } else if index < 0.26 {
        Arch::Middle
    } else {
        Arch::Low
    }
}
