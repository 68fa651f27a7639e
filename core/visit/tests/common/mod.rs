//! Small builders shared by the tests.
#![allow(dead_code)]

use plinthside_measure::cast::{
    CastPoint, Comparison, Reference, Results, SideCheck, SideOutcome, Source,
};
use plinthside_measure::leg::LegDimension;
use plinthside_measure::marks::{MarkName, Side, Surface};
use plinthside_measure::quantity::{Quantity, Unit};
use plinthside_visit::{Entry, Reading};
use std::collections::BTreeMap;

pub fn entry(value: f64) -> Entry {
    Entry::number(value)
}

/// Degrees or millimetres: the unit does not matter to the judgement.
pub fn quantity(value: f64, instrument_sd: f64, total_sd: f64) -> Quantity {
    Quantity {
        value,
        unit: Unit::Deg,
        instrument_sd,
        total_sd,
        low95: value - 1.96 * total_sd,
        high95: value + 1.96 * total_sd,
    }
}

const MARKS: [&str; 6] = [
    MarkName::MALLEOLUS_MEDIAL,
    MarkName::MALLEOLUS_LATERAL,
    MarkName::MTP_1,
    MarkName::MTP_5,
    MarkName::HEEL_UPPER,
    MarkName::HEEL_LOWER,
];

fn point(mark: &str) -> CastPoint {
    CastPoint {
        mark: mark.into(),
        cast_mm: [0.0; 3],
        instrument_sd_mm: [0.2; 3],
        total_sd_mm: [2.0; 3],
        surface: Surface::Inside,
        views: 3,
    }
}

pub fn results(side: Side) -> Results {
    Results {
        side,
        source: Source::Photographs,
        reference: Reference::MtpMidpoint,
        side_check: SideCheck {
            outcome: SideOutcome::Agrees,
            stops: false,
            sentences: Vec::new(),
        },
        quantities: BTreeMap::new(),
        words: BTreeMap::new(),
        points: MARKS.map(point).to_vec(),
        medial_hinge: None,
        lateral_hinge: None,
        comparisons: Vec::new(),
        refused: Vec::new(),
        warnings: Vec::new(),
    }
}

pub fn compare(dimension: LegDimension, cast_mm: f64, leg_mm: f64) -> Comparison {
    let q = |value| Quantity {
        unit: Unit::Mm,
        ..quantity(value, 0.1, 0.2)
    };
    Comparison {
        dimension,
        cast: q(cast_mm),
        leg_mm,
        leg_sd_mm: 0.0,
        readings: 1,
        difference: q(cast_mm - leg_mm),
    }
}

pub fn number(kind: &str, side: Side, value: f64) -> Reading {
    Reading {
        id: format!("{kind}-{side}"),
        kind: kind.into(),
        side: Some(side),
        repeats: vec![entry(value)],
        ..Reading::default()
    }
}

pub fn choice(kind: &str, side: Side, word: &str) -> Reading {
    Reading {
        id: format!("{kind}-{side}"),
        kind: kind.into(),
        side: Some(side),
        choices: vec![word.into()],
        ..Reading::default()
    }
}
