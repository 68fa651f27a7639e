//! Small builders shared by the tests.
#![allow(dead_code, clippy::unwrap_used)]

use chrono::{DateTime, NaiveDate};
use plinthside_measure::cast::{
    CastPoint, Comparison, Reference, Results, SideCheck, SideOutcome, Source,
};
use plinthside_measure::leg::LegDimension;
use plinthside_measure::marks::{MarkName, Side, Surface};
use plinthside_measure::quantity::{Quantity, Unit};
use plinthside_visit::{Entry, Order, Prescription, Reading, Revision, Visit, When};
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

pub fn when() -> When {
    DateTime::parse_from_rfc3339("2026-03-02T10:15:00+01:00").unwrap()
}

pub fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 2).unwrap()
}

pub fn visit(side: Side) -> Visit {
    Visit::new("v-1", when(), vec![side])
}

/// The prescription of a new order for one side.
pub fn order_of(visit: &mut Visit, side: Side) -> &mut Prescription {
    visit.orders.push(Order {
        id: format!("o-{side}"),
        side,
        cast: None,
        revisions: vec![Revision {
            number: 1,
            prescription: Prescription::default(),
            because: BTreeMap::new(),
            overrides: BTreeMap::new(),
            reason: String::new(),
            signature: None,
            extra: serde_json::Map::default(),
        }],
        history: Vec::new(),
        extra: serde_json::Map::default(),
    });
    let last = visit.orders.len() - 1;
    &mut visit.orders[last].revisions[0].prescription
}
