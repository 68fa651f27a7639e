//! Small builders shared by the tests.

use chrono::{DateTime, NaiveDate};
use plinthside_measure::cast::{
    CastPoint, Comparison, Datum, HingeFrom, HingePoint, Reference, ResultName, Results, SideCheck,
    SideOutcome, Source,
};
use plinthside_measure::leg::LegDimension;
use plinthside_measure::marks::{MarkName, Side, Surface};
use plinthside_measure::quantity::{Quantity, Unit};
use plinthside_visit::cast_record::CastPosition;
use plinthside_visit::order::Signing;
use plinthside_visit::person::{Consent, ConsentFor, Prescriber};
use plinthside_visit::rules::RuleSet;
use plinthside_visit::{Cast, Entry, Order, Prescription, Reading, Visit, When};
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
    visit.orders.push(Order::new(format!("o-{side}"), side));
    let last = visit.orders.len() - 1;
    &mut visit.orders[last].revisions[0].prescription
}

pub fn after(hours: i64) -> When {
    when() + chrono::TimeDelta::hours(hours)
}

pub fn prescriber() -> Prescriber {
    Prescriber {
        name: "A. Example".into(),
        profession: "podiatrist".into(),
        registration: "P-000".into(),
        ..Prescriber::default()
    }
}

/// A visit whose order can be signed.
pub fn complete(side: Side) -> Visit {
    let mut visit = visit(side);
    visit.person.code = "A17".into();
    for covers in [ConsentFor::Treatment, ConsentFor::Photographs] {
        visit.person.consents.push(Consent {
            covers,
            given: true,
            at: Some(when()),
            by: String::new(),
            extra: serde_json::Map::default(),
        });
    }
    let mut cast = Cast::new("c-1", side);
    cast.record.position = Some(CastPosition::Prone);
    visit.casts.push(cast);
    let mut order = Order::new("o-1", side);
    order.cast = Some("c-1".into());
    let p = &mut order.revisions[0].prescription;
    for (path, value) in COMPLETE {
        p.set(path, serde_json::from_str(value).unwrap()).unwrap();
    }
    visit.orders.push(order);
    visit
}

/// Its order signed after an hour and handed over after two.
pub fn handed_over(rules: &RuleSet) -> Visit {
    let mut visit = complete(Side::Left);
    visit.sign("o-1", &prescriber(), signing(rules, 1)).unwrap();
    visit.hand_over("o-1", after(2), "me").unwrap();
    visit
}

const COMPLETE: [(&str, &str); 20] = [
    ("identity.quantity", "1"),
    ("identity.lab", "\"the lab\""),
    ("identity.cast_afterwards", "\"return\""),
    ("motion.plantarflexion.kind", "\"stopped\""),
    ("motion.plantarflexion.stop_deg", "0"),
    ("motion.plantarflexion.stop", "\"adjustable\""),
    ("motion.dorsiflexion.kind", "\"free\""),
    ("motion.hinge_sides", "\"both\""),
    ("motion.hinge", "\"hinge A\""),
    ("motion.bench_angle", "\"as_cast\""),
    ("motion.hinge_line.kind", "\"own_marks\""),
    ("shell.band_height_mm", "330"),
    ("shell.plastic", "\"polypropylene\""),
    ("shell.thickness_mm", "4"),
    ("shell.footplate_end", "\"full\""),
    ("correction.rearfoot_post", "\"none\""),
    ("correction.forefoot", "\"none\""),
    ("correction.skive", "\"none\""),
    (
        "closure.straps",
        "[{\"place\": \"calf\"}, {\"place\": \"ankle\"}]",
    ),
    ("footwear.heel_to_ball_drop_mm", "10"),
];

/// Results with hinge points and a clear forefoot angle, all moved by `shift`.
pub fn measured(side: Side, shift: f64) -> Results {
    let mut r = results(side);
    for (name, value) in [
        (ResultName::ForefootToRearfoot, 6.0),
        (ResultName::BalanceToVertical, 8.0),
        (ResultName::BalanceWidth, 76.0),
        (ResultName::Bimalleolar, 72.0),
        (ResultName::HingeTurnTransverse, 7.0),
        (ResultName::HingeTiltFrontal, 11.0),
    ] {
        r.quantities.insert(name, quantity(value + shift, 0.2, 0.5));
    }
    let q = |value: f64| {
        Some(Quantity {
            unit: Unit::Mm,
            ..quantity(value + shift, 0.2, 2.0)
        })
    };
    let hinge = |mark: &str, height, forward| HingePoint {
        mark: mark.into(),
        from: HingeFrom::Apex,
        cast_mm: [0.0; 3],
        outside: Datum {
            height: q(height),
            forward: q(forward),
        },
        inside: Datum::default(),
    };
    r.medial_hinge = Some(hinge(MarkName::MALLEOLUS_MEDIAL, 86.0, 45.0));
    r.lateral_hinge = Some(hinge(MarkName::MALLEOLUS_LATERAL, 73.0, 36.0));
    r
}

/// The shipped rules.
pub fn rules() -> RuleSet {
    RuleSet::shipped().unwrap()
}

/// Signing so many hours after the visit, nothing measured.
pub fn signing(rules: &RuleSet, hours: i64) -> Signing<'_> {
    Signing {
        rules,
        results: None,
        label_side: None,
        at: after(hours),
    }
}
