//! Filling, signing, and what the paper gets of it.

use crate::common::{
    self, complete, day, entry, measured, prescriber, results, rules, signing, visit,
};
use plinthside_measure::cast::{HingeFrom, ResultName};
use plinthside_measure::marks::Side;
use plinthside_visit::examination::Dimension;
use plinthside_visit::order::{
    FIELDS, FieldKind, Order, OrderState, Origin, SignError, fillable, statement,
};
use plinthside_visit::rules::{Case, check};
use plinthside_visit::{Clinic, Lang, LegDimensions, Prescription, Visit};
use std::collections::BTreeSet;

/// Every field can be set, is printed under its own name in both languages, and emptied again.
#[test]
fn every_field_is_set_and_printed() {
    for field in FIELDS {
        let value = match field.kind {
            FieldKind::Number(_) => 3.5.into(),
            FieldKind::Count => 2.into(),
            FieldKind::Flag => true.into(),
            FieldKind::Text => "words".into(),
            FieldKind::Date => "2026-04-01".into(),
            FieldKind::Word(list) => list()[0].0.clone().into(),
            FieldKind::List => match field.path {
                "closure.straps" => serde_json::json!([{"place": "calf", "long_tails": true}]),
                _ => serde_json::json!([{"place": "heel"}]),
            },
        };
        let mut order = Order::new("o", Side::Left);
        let revision = order.draft_mut().unwrap();
        assert!(revision.lines(Lang::En).is_empty());
        revision.prescription.set(field.path, value).unwrap();
        for lang in [Lang::En, Lang::De] {
            let lines = revision.lines(lang);
            assert_eq!(lines.len(), 1, "{}", field.path);
            assert_eq!(lines[0].field.path, field.path);
            assert!(!lines[0].value.is_empty() && !field.label(lang).is_empty());
        }
    }
    let mut p = Prescription::default();
    assert!(p.set("motion.no_such", 1.into()).is_err());
    assert!(p.set("identity.quantity", "many".into()).is_err());
    assert_eq!(p, Prescription::default());
}

/// The list of fields is the whole order: every leaf of its JSON has a row.
#[test]
fn no_field_is_forgotten() {
    fn leaves(json: &serde_json::Value, path: &str, out: &mut BTreeSet<String>) {
        match json {
            serde_json::Value::Object(fields) => {
                for (key, value) in fields {
                    let path = if path.is_empty() {
                        key.clone()
                    } else {
                        format!("{path}.{key}")
                    };
                    leaves(value, &path, out);
                }
            }
            _ => {
                out.insert(path.to_owned());
            }
        }
    }
    let mut found = BTreeSet::new();
    leaves(
        &serde_json::to_value(Prescription::default()).unwrap(),
        "",
        &mut found,
    );
    let listed: BTreeSet<String> = FIELDS.iter().map(|f| f.path.to_owned()).collect();
    assert_eq!(found, listed);
}

fn filled(visit: &mut Visit, shift: f64) -> Vec<(String, serde_json::Value)> {
    let r = measured(Side::Left, shift);
    let values = fillable(
        &Case::of_visit(visit, Side::Left, day()).measured(&r),
        &Clinic::default(),
    );
    let revision = visit.orders[0].draft_mut().unwrap();
    let stale = revision.fill(&values);
    assert!(stale.is_empty());
    for value in &values {
        assert!(value.because.because.contains("because"), "{}", value.field);
        assert!(!value.because.source.is_empty(), "{}", value.field);
    }
    values
        .into_iter()
        .map(|v| (v.field.to_owned(), v.value))
        .collect()
}

/// Measured fields that hold a word: they change with the side of zero or the mark, not its place.
const WORDS: [&str; 2] = ["correction.forefoot_under", "motion.hinge_line.datum"];

#[test]
fn every_measured_field_changes_with_the_measurement() {
    let mut visit = complete(Side::Left);
    visit.orders[0]
        .draft_mut()
        .unwrap()
        .prescription
        .set("correction.forefoot", "balance".into())
        .unwrap();
    visit.orders[0]
        .draft_mut()
        .unwrap()
        .prescription
        .set("motion.hinge_line.kind", "typed".into())
        .unwrap();
    let before = filled(&mut visit, 0.0);
    let lines = |visit: &Visit| -> Vec<(String, String)> {
        let lines = visit.orders[0].revisions[0].lines(Lang::En);
        let measured = lines
            .into_iter()
            .filter(|l| l.because.is_some_and(|b| b.from == Origin::Measured));
        measured
            .map(|l| (l.field.path.to_owned(), l.value))
            .collect()
    };
    let first = lines(&visit);
    assert_eq!(first.len(), 11);
    let after = filled(&mut visit, 5.0);
    for (old, new) in before.iter().zip(&after) {
        let same_word = WORDS.contains(&old.0.as_str());
        assert!(
            old.0 == new.0 && (same_word || old.1 != new.1),
            "{old:?} {new:?}"
        );
    }
    for (old, new) in first.iter().zip(lines(&visit)) {
        assert!(old.1 != new.1 || WORDS.contains(&old.0.as_str()), "{old:?}");
    }
    let mut lower = measured(Side::Left, 0.0);
    for point in [&mut lower.medial_hinge, &mut lower.lateral_hinge] {
        point.as_mut().unwrap().from = HingeFrom::LowerPole;
    }
    let case = Case::of_visit(&visit, Side::Left, day());
    let datum = fillable(&case.measured(&lower), &Clinic::default());
    let datum = datum.iter().find(|f| f.field == "motion.hinge_line.datum");
    assert_eq!(datum.unwrap().value, "lower_pole");
    // The edge a balance goes under follows the sign of the angle.
    filled(&mut visit, -20.0);
    let under = visit.orders[0].revisions[0]
        .prescription
        .correction
        .forefoot_under
        .clone();
    assert_eq!(under, Some(plinthside_visit::order::ForefootUnder::Fifth));
}

/// A stated bench angle is the angle intended for the cast; nothing is filled unless it is chosen.
#[test]
fn the_bench_angle_follows_the_cast_record() {
    let mut visit = complete(Side::Left);
    let at = |visit: &Visit| {
        let case = Case::of_visit(visit, Side::Left, day());
        let filled = fillable(&case, &Clinic::default());
        let angle = filled
            .into_iter()
            .find(|f| f.field == "motion.bench_angle_deg");
        angle.map(|f| (f.value, f.because.from))
    };
    visit.casts[0].record.foot_to_leg_intended_deg = Some(entry(-3.0));
    assert_eq!(at(&visit), None);
    let draft = visit.orders[0].draft_mut().unwrap();
    draft
        .prescription
        .set("motion.bench_angle", "degrees".into())
        .unwrap();
    assert_eq!(at(&visit), Some(((-3.0).into(), Origin::Examined)));
    visit.casts[0].record.foot_to_leg_intended_deg = Some(entry(2.0));
    assert_eq!(at(&visit), Some((2.0.into(), Origin::Examined)));
}

#[test]
fn nothing_is_filled_over_the_prescriber() {
    let mut visit = complete(Side::Left);
    let revision = visit.orders[0].draft_mut().unwrap();
    revision
        .prescription
        .set("motion.hinge_line.medial_height_mm", 90.into())
        .unwrap();
    filled(&mut visit, 0.0);
    let revision = visit.orders[0].draft_mut().unwrap();
    let typed = revision
        .prescription
        .motion
        .hinge_line
        .medial_height_mm
        .as_ref()
        .unwrap();
    assert_eq!(typed.usable(), Some(90.0), "typed by hand stays");
    revision
        .because
        .get_mut("motion.hinge_line.lateral_height_mm")
        .unwrap()
        .confirmed = true;
    let r = measured(Side::Left, 5.0);
    let values = fillable(
        &Case::of_visit(&visit, Side::Left, day()).measured(&r),
        &Clinic::default(),
    );
    let stale = visit.orders[0].draft_mut().unwrap().fill(&values);
    assert_eq!(stale.len(), 1, "confirmed and changed: asked");
    assert_eq!(stale[0].field, "motion.hinge_line.lateral_height_mm");
    let copy = visit.orders[0].revisions[0].choices_only();
    assert_eq!(copy.motion.hinge_line.lateral_height_mm, None);
    assert_eq!(copy.shell.plastic, "polypropylene");
}

#[test]
fn a_complete_order_is_signed_and_frozen() {
    let rules = rules();
    let mut visit = complete(Side::Left);
    let checks = visit
        .sign("o-1", &prescriber(), signing(&rules, 1))
        .unwrap();
    assert!(checks.fired.iter().all(|f| f.number != 0));
    assert_eq!(visit.orders[0].state(), OrderState::Signed);
    assert!(visit.orders[0].draft_mut().is_none());
    let again = visit
        .sign("o-1", &prescriber(), signing(&rules, 2))
        .unwrap_err();
    assert!(matches!(again, SignError::SignedAlready { revision: 1 }));
    let s = statement(
        &visit,
        &visit.orders[0],
        &visit.orders[0].revisions[0],
        &Clinic::default(),
        Lang::En,
    )
    .unwrap();
    assert!(
        s.note
            .get(Lang::En)
            .contains("Check against your local rules")
    );
    assert!(s.note.get(Lang::En).contains("unverified"));
    assert_eq!(s.patient_code, "A17");
    assert!(
        s.characteristics
            .iter()
            .any(|(name, value)| name == "Plastic" && value == "polypropylene")
    );
}

/// Each required field taken away blocks signing, names itself, and nothing is changed.
#[test]
fn every_missing_field_blocks_signing() {
    let rules = rules();
    let whole = complete(Side::Left);
    let lines: Vec<String> = whole.orders[0].revisions[0]
        .lines(Lang::En)
        .iter()
        .map(|l| l.field.path.to_owned())
        .collect();
    assert_eq!(lines.len(), 20);
    for path in lines {
        let mut visit = whole.clone();
        let p = &mut visit.orders[0].draft_mut().unwrap().prescription;
        let empty = match plinthside_visit::order::field(&path).unwrap().kind {
            FieldKind::Text => "".into(),
            FieldKind::List => serde_json::json!([]),
            _ => serde_json::Value::Null,
        };
        p.set(&path, empty).unwrap();
        let before = visit.clone();
        match visit.sign("o-1", &prescriber(), signing(&rules, 1)) {
            Err(SignError::Blocked(blocks)) => {
                assert!(
                    blocks
                        .iter()
                        .any(|b| b.field.as_deref() == Some(path.as_str())),
                    "{path}"
                );
            }
            other => panic!("{path}: {other:?}"),
        }
        assert_eq!(visit, before);
    }
    let mut nameless = prescriber();
    nameless.registration.clear();
    assert!(matches!(
        whole.clone().sign("o-1", &nameless, signing(&rules, 1)),
        Err(SignError::Prescriber { .. })
    ));
}

#[test]
fn an_unreadable_value_blocks_until_it_is_mended() {
    let rules = rules();
    let mut visit = complete(Side::Left);
    let p = &mut visit.orders[0].draft_mut().unwrap().prescription;
    p.shell.toe_spring_mm = Some(plinthside_visit::norms::typed("lots", "mm", None));
    let Err(SignError::Blocked(blocks)) = visit.sign("o-1", &prescriber(), signing(&rules, 1))
    else {
        panic!("must block");
    };
    assert_eq!(blocks[0].rule, "entries-in-question");
    let lines = visit.orders[0].revisions[0].lines(Lang::En);
    let line = lines
        .iter()
        .find(|l| l.field.path == "shell.toe_spring_mm")
        .unwrap();
    assert_eq!(line.value, "“lots”");
    assert!(line.problem.is_some());
    // A reading typed wrongly blocks too; on the other side it does not matter here.
    let mut visit = complete(Side::Left);
    let mut reading = common::number("resting_heel_deg", Side::Right, 0.0);
    reading.repeats = vec![plinthside_visit::norms::typed("1O", "deg", None)];
    visit.readings.push(reading);
    assert!(
        visit
            .clone()
            .sign("o-1", &prescriber(), signing(&rules, 1))
            .is_ok()
    );
    visit.readings[0].side = Some(Side::Left);
    assert!(
        visit
            .sign("o-1", &prescriber(), signing(&rules, 1))
            .is_err()
    );
}

#[test]
fn a_suggestion_is_taken_up_with_its_reason() {
    let mut visit = visit(Side::Left);
    visit
        .readings
        .push(common::choice("tendon_stage", Side::Left, "II"));
    visit
        .readings
        .push(common::number("forefoot_abduction_deg", Side::Left, 12.0));
    visit.orders.push(Order::new("o", Side::Left));
    let checks = check(&rules(), &Case::of_visit(&visit, Side::Left, day()));
    let fired = checks
        .fired
        .iter()
        .find(|f| f.rule == "flexible-flatfoot-abduction")
        .unwrap();
    let revision = visit.orders[0].draft_mut().unwrap();
    revision.accept(fired, Lang::En).unwrap();
    assert_eq!(revision.prescription.shell.lateral_extension, Some(true));
    let because = &revision.because["shell.lateral_extension"];
    assert!(because.source.contains("Neville 2016") && because.from == Origin::Rule);
    let checks = check(&rules(), &Case::of_visit(&visit, Side::Left, day()));
    assert!(!checks.has("flexible-flatfoot-abduction"));
}

#[test]
fn leg_dimensions_reach_order_and_measurement() {
    let mut visit = complete(Side::Left);
    let mut leg = LegDimensions::new(Side::Left);
    leg.values
        .insert(Dimension::FloorToBandMm, vec![entry(340.0), entry(344.0)]);
    leg.values
        .insert(Dimension::BimalleolarBreadthMm, vec![entry(74.0)]);
    assert_eq!(leg.to_leg().bimalleolar_breadth_mm.mean(), Some(74.0));
    visit.legs.push(leg);
    let p = &mut visit.orders[0].draft_mut().unwrap().prescription;
    p.shell.band_height_mm = None;
    let values = fillable(
        &Case::of_visit(&visit, Side::Left, day()),
        &Clinic::default(),
    );
    visit.orders[0].draft_mut().unwrap().fill(&values);
    let band = visit.orders[0].revisions[0]
        .prescription
        .shell
        .band_height_mm
        .clone()
        .unwrap();
    assert_eq!(band.usable(), Some(342.0));
}

#[test]
fn a_balance_is_filled_only_when_chosen_and_certain() {
    let mut visit = complete(Side::Left);
    let fields = |visit: &Visit, r: &plinthside_measure::cast::Results| -> usize {
        let case = Case::of_visit(visit, Side::Left, day());
        fillable(&case.measured(r), &Clinic::default())
            .iter()
            .filter(|f| f.field.starts_with("correction."))
            .count()
    };
    let certain = measured(Side::Left, 0.0);
    assert_eq!(fields(&visit, &certain), 0, "none was chosen");
    visit.orders[0]
        .draft_mut()
        .unwrap()
        .prescription
        .set("correction.forefoot", "balance".into())
        .unwrap();
    assert_eq!(fields(&visit, &certain), 4);
    let mut open = certain.clone();
    open.quantities.insert(
        ResultName::ForefootToRearfoot,
        common::quantity(1.0, 0.2, 2.0),
    );
    assert_eq!(fields(&visit, &open), 0);
    assert_eq!(fields(&visit, &results(Side::Left)), 0);
}
