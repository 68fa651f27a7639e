//! The invented clinic and its visits are whole, consistent with the casts, and plainly invented.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use plinthside_demo_data::{CASTS, CLINIC_JSON, VISITS_JSON};
use plinthside_measure::leg::Leg;
use plinthside_visit::rules::{Case, RuleSet, Stops, check};
use plinthside_visit::{Clinic, Dimension, Visit};
use serde_json::Value;

fn visits() -> Vec<Visit> {
    serde_json::from_str(VISITS_JSON).expect("visits file")
}

#[test]
fn nothing_in_the_files_is_unknown_to_the_types() {
    let clinic: Clinic = serde_json::from_str(CLINIC_JSON).expect("clinic file");
    assert!(clinic.extra.is_empty() && clinic.prescribers.len() == 2 && !clinic.labs.is_empty());
    for visit in visits() {
        assert!(visit.extra.is_empty(), "{:?}", visit.extra);
        let back = serde_json::to_value(&visit).expect("JSON");
        assert!(
            known(&back),
            "{} holds a word or field that no type knows",
            visit.id
        );
        assert_eq!(visit.readings.len(), 25);
    }
}

/// Written back and read again, nothing moves to the fields of a newer version.
fn known(visit: &Value) -> bool {
    let text = VISITS_JSON;
    let originals: Vec<Value> = serde_json::from_str(text).expect("visits file");
    let original = originals
        .iter()
        .find(|v| v["id"] == visit["id"])
        .expect("the visit");
    contains(visit, original)
}

/// Whether `whole` holds every value of `part` at the same path.
fn contains(whole: &Value, part: &Value) -> bool {
    match (whole, part) {
        (Value::Object(a), Value::Object(b)) => b
            .iter()
            .all(|(k, v)| a.get(k).is_some_and(|w| contains(w, v))),
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(w, v)| contains(w, v))
        }
        (Value::Number(a), Value::Number(b)) => a.as_f64() == b.as_f64(),
        (a, b) => a == b,
    }
}

#[test]
fn the_legs_are_those_of_the_marks_files() {
    for cast in &CASTS {
        let visit = visits()
            .into_iter()
            .find(|v| v.id == cast.visit)
            .expect("the visit");
        let file: Value = serde_json::from_str(cast.marks_json).expect("marks file");
        let leg: Leg = serde_json::from_value(file["leg"].clone()).expect("a leg");
        let noted = visit.leg(cast.side).expect("dimensions");
        for (dimension, readings) in [
            (Dimension::BimalleolarBreadthMm, &leg.bimalleolar_breadth_mm),
            (Dimension::HeelBreadthMm, &leg.heel_breadth_mm),
            (Dimension::BallBreadthMm, &leg.ball_breadth_mm),
            (Dimension::HeelToFirstMtpMm, &leg.heel_to_first_mtp_mm),
            (
                Dimension::MedialMalleolusHeightMm,
                &leg.medial_malleolus_height_mm,
            ),
            (
                Dimension::LateralMalleolusHeightMm,
                &leg.lateral_malleolus_height_mm,
            ),
            (
                Dimension::MedialMalleolusFromHeelBackMm,
                &leg.medial_malleolus_forward_mm,
            ),
            (
                Dimension::LateralMalleolusFromHeelBackMm,
                &leg.lateral_malleolus_forward_mm,
            ),
        ] {
            assert_eq!(noted.get(dimension), readings.mean(), "{dimension:?}");
        }
        let found = visit.cast(cast.side).expect("the cast");
        assert_eq!(found.id, cast.cast);
        assert!(
            checks(found.code.as_deref().expect("a code")),
            "{:?}",
            found.code
        );
        assert_eq!(
            visit
                .order(cast.side)
                .and_then(|o| o.cast.clone())
                .as_deref(),
            Some(cast.cast)
        );
    }
}

#[test]
fn no_rule_stands_in_the_way_of_signing_the_clean_visit() {
    let rules = RuleSet::shipped().expect("the shipped rules");
    for visit in visits() {
        let side = visit.sides[0];
        let day = visit.at.expect("a time").date_naive();
        let checks = check(&rules, &Case::of_visit(&visit, side, day));
        let stops: Vec<_> = checks
            .in_the_way_of(Stops::Signing)
            .map(|f| &f.rule)
            .collect();
        assert!(stops.is_empty(), "{}: {stops:?}", visit.id);
    }
}

/// ISO 7064 MOD 37,2: the weighted sum of all characters is 1 modulo 37.
fn checks(code: &str) -> bool {
    const ALPHABET: &str = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
    let symbols = code.chars().filter(|c| *c != '-');
    let sum = symbols.fold(0, |sum, c| {
        (2 * sum + ALPHABET.find(c).expect("a symbol")) % 37
    });
    sum == 1
}

#[test]
fn telephones_are_of_the_range_set_aside_for_stories() {
    // 01632 960000 to 960999: Ofcom, "Telephone numbers for drama use".
    for text in [CLINIC_JSON, VISITS_JSON] {
        let value: Value = serde_json::from_str(text).expect("JSON");
        let mut seen = 0;
        each_telephone(&value, &mut |number| {
            seen += 1;
            assert!(
                number.starts_with("01632 960") && number.len() == 12,
                "{number}"
            );
        });
        assert!(seen >= 2);
    }
}

fn each_telephone(value: &Value, visit: &mut impl FnMut(&str)) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                if let (true, Some(number)) = (key.ends_with("telephone"), inner.as_str()) {
                    visit(number);
                }
                each_telephone(inner, visit);
            }
        }
        Value::Array(list) => list.iter().for_each(|inner| each_telephone(inner, visit)),
        _ => {}
    }
}
