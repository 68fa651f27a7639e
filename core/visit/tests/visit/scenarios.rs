//! The twelve scenarios every release passes, as far as the clinical core carries them.
//! Those that need the camera, the store or the label are taken up where those are.

use crate::common::{
    after, choice, compare, complete, day, entry, measured, number, prescriber, quantity, results,
    visit, when,
};
use plinthside_measure::cast::{ResultName, Source};
use plinthside_measure::leg::LegDimension;
use plinthside_measure::marks::Side;
use plinthside_visit::cast_record::{CastPosition, Measurement};
use plinthside_visit::follow_up::{Receipt, ReceiptAnswer};
use plinthside_visit::order::{OrderState, Override, SignError, Signing, fillable};
use plinthside_visit::person::{Consent, ConsentFor};
use plinthside_visit::rules::{Case, Checks, RuleSet, Stops, check};
use plinthside_visit::verdict::{Call, Evidence, Tolerances, Verdict, verdict};
use plinthside_visit::{Cast, Clinic, Lang, Order, Visit};
use serde_json::Map;

fn ask(visit: &Visit, side: Side) -> Checks {
    check(
        &RuleSet::shipped().unwrap(),
        &Case::of_visit(visit, side, day()),
    )
}

fn judge(visit: &Visit, results: Option<&plinthside_measure::cast::Results>) -> Verdict {
    let cast = visit.casts.last().unwrap();
    verdict(
        &Evidence::of_visit(visit, cast, results),
        &Tolerances::shipped().unwrap(),
    )
}

fn sign(
    visit: &mut Visit,
    order: &str,
    label: Option<Side>,
    hours: i64,
) -> Result<Checks, SignError> {
    let rules = RuleSet::shipped().unwrap();
    visit.sign(
        order,
        &prescriber(),
        Signing {
            rules: &rules,
            results: None,
            label_side: label,
            at: after(hours),
        },
    )
}

fn reason(text: &str) -> Override {
    Override {
        reason: text.into(),
        by: "A. Example".into(),
        at: when(),
        extra: Map::default(),
    }
}

/// 1 Cannot lie prone: cast sitting, knee bent, position printed.
#[test]
fn s01_a_cast_taken_sitting_says_so() {
    let mut visit = complete(Side::Left);
    let record = &mut visit.casts[0].record;
    record.position = Some(CastPosition::Sitting);
    record.knee_flexion_deg = Some(entry(85.0));
    assert_eq!(record.position.as_ref().unwrap().label(Lang::De), "sitzend");
    let checks = sign(&mut visit, "o-1", None, 1).unwrap();
    assert!(
        checks.fired.iter().all(|f| !f.text.en.contains("prone")),
        "no position is presumed"
    );
}

/// 2 Left cast believed right: the measurement's anatomy cues stop it, whatever is typed.
#[test]
fn s02_a_cast_of_the_other_side_is_stopped() {
    let mut visit = complete(Side::Right);
    let mut r = results(Side::Right);
    r.side_check.stops = true;
    visit.orders[0]
        .draft_mut()
        .unwrap()
        .overrides
        .insert("sides-differ".into(), reason("sure"));
    let rules = RuleSet::shipped().unwrap();
    let signing = Signing {
        rules: &rules,
        results: Some(&r),
        label_side: Some(Side::Right),
        at: after(1),
    };
    let Err(SignError::Blocked(blocks)) = visit.sign("o-1", &prescriber(), signing) else {
        panic!()
    };
    assert_eq!(blocks[0].rule, "sides-differ");
    assert!(blocks[0].overridden.is_none());
    let other = results(Side::Right);
    let signing = Signing {
        results: Some(&other),
        ..signing
    };
    assert!(visit.sign("o-1", &prescriber(), signing).is_ok());
}

/// 3 Both feet, two shells, one label fallen off: the other label or cast never passes.
#[test]
fn s03_of_two_shells_the_others_label_never_passes() {
    let mut visit = complete(Side::Left);
    visit.sides = vec![Side::Left, Side::Right];
    visit.casts.push(Cast::new("c-2", Side::Right));
    let mut right = Order::new("o-2", Side::Right);
    right.cast = Some("c-2".into());
    right.revisions[0].prescription = visit.orders[0].revisions[0].choices_only();
    visit.orders.push(right);
    for (order, label, passes) in [
        ("o-1", Some(Side::Right), false),
        ("o-2", Some(Side::Left), false),
        ("o-1", Some(Side::Left), true),
        ("o-2", Some(Side::Right), true),
    ] {
        assert_eq!(
            sign(&mut visit, order, label, 1).is_ok(),
            passes,
            "{order} {label:?}"
        );
    }
    let mut crossed = complete(Side::Left);
    crossed.sides = vec![Side::Left, Side::Right];
    crossed.casts[0].side = Side::Right;
    assert!(matches!(
        sign(&mut crossed, "o-1", None, 1),
        Err(SignError::Blocked(_))
    ));
}

/// 4 Clonus, dorsiflexion −5°, clinician orders assist anyway: cautioned, signed, printed.
#[test]
fn s04_assistance_in_spite_of_clonus_is_signed_with_its_reason() {
    let mut visit = complete(Side::Left);
    visit.readings.push(choice("clonus", Side::Left, "yes"));
    visit.readings.push(number(
        "ankle_dorsiflexion_knee_straight_deg",
        Side::Left,
        -5.0,
    ));
    let draft = visit.orders[0].draft_mut().unwrap();
    draft
        .prescription
        .set("motion.dorsiflexion.kind", "assisted".into())
        .unwrap();
    draft
        .prescription
        .set("motion.dorsiflexion.assist", "low".into())
        .unwrap();
    draft.overrides.insert(
        "assist-may-trigger-tone".into(),
        reason("tried with a test strap, no clonus in gait"),
    );
    sign(&mut visit, "o-1", None, 1).unwrap();
    let revision = visit.orders[0].in_force().unwrap();
    let cautions = &revision.signature.as_ref().unwrap().cautions;
    for rule in ["assist-may-trigger-tone", "dorsiflexion-below-neutral"] {
        assert!(cautions.iter().any(|c| c == rule), "{rule}");
    }
    assert!(revision.overrides.contains_key("assist-may-trigger-tone"));
}

/// 5 Shell squeezed: inner-mark breadth 8 mm under the calliper.
#[test]
fn s05_a_squeezed_shell_is_recast() {
    let visit = complete(Side::Left);
    let mut r = results(Side::Left);
    r.comparisons
        .push(compare(LegDimension::BimalleolarBreadth, 66.0, 74.0));
    let v = judge(&visit, Some(&r));
    assert_eq!(v.call, Call::Recast);
    assert!(
        v.text
            .get(Lang::En)
            .starts_with("Recast: Bimalleolar breadth"),
        "{}",
        v.text.get(Lang::En)
    );
}

/// 6 Lateral ink lost through stockinette, skin dot still there: re-mark; wiped: recast.
#[test]
fn s06_lost_ink_is_marked_again_or_recast() {
    let mut visit = complete(Side::Left);
    visit.casts[0].inspection.marks_missing = vec!["malleolus-lateral".into()];
    visit.casts[0].inspection.skin_wiped = Some(false);
    let v = judge(&visit, None);
    assert_eq!(v.call, Call::ReMark);
    assert!(
        v.text.get(Lang::En).contains("still on the skin"),
        "{}",
        v.text.get(Lang::En)
    );
    assert!(ask(&visit, Side::Left).has("marks-absent"));
    visit.casts[0].inspection.skin_wiped = Some(true);
    assert_eq!(judge(&visit, None).call, Call::Recast);
}

/// 7 Plantarflexed first ray: M1-M5 says 5° everted, M2-M5 says 0°: no balance suggested.
#[test]
fn s07_a_low_first_ray_suggests_no_balance() {
    let mut visit = complete(Side::Left);
    let draft = visit.orders[0].draft_mut().unwrap();
    draft
        .prescription
        .set("correction.forefoot", "balance".into())
        .unwrap();
    let mut r = measured(Side::Left, 0.0);
    r.quantities
        .insert(ResultName::ForefootToRearfoot, quantity(-5.0, 0.4, 1.0));
    let case = Case::of_visit(&visit, Side::Left, day());
    let balances = |r: &plinthside_measure::cast::Results| {
        let filled = fillable(&case.measured(r), &Clinic::default());
        filled
            .iter()
            .filter(|f| f.field.starts_with("correction."))
            .count()
    };
    assert_eq!(balances(&r), 4, "by the one plane alone it would be filled");
    r.quantities
        .insert(ResultName::ForefootToRearfootM2M5, quantity(0.0, 0.4, 1.0));
    assert_eq!(balances(&r), 0);
    let checks = check(&RuleSet::shipped().unwrap(), &case.measured(&r));
    assert!(checks.has("forefoot-angle-uncertain"));
}

/// 8 Numb heel, a blister found after the water is poured: cast deferred, visit kept whole.
#[test]
fn s08_a_blister_defers_the_cast_and_loses_nothing() {
    let mut visit = visit(Side::Left);
    visit
        .readings
        .push(choice("heel_sensation", Side::Left, "absent"));
    visit.readings.push(choice("skin", Side::Left, "blister"));
    let checks = ask(&visit, Side::Left);
    assert!(
        checks
            .in_the_way_of(Stops::Casting)
            .any(|f| f.rule == "broken-skin")
    );
    assert!(checks.has("insensate"));
    visit.deferred = Some("blister under the heel".into());
    let json = serde_json::to_string(&visit).unwrap();
    assert_eq!(serde_json::from_str::<Visit>(&json).unwrap(), visit);
}

/// 9 Dim kitchen: photographs refused; ruler and calliper finish, and the sheet says so.
#[test]
fn s09_a_ruler_finishes_what_photographs_cannot() {
    let mut visit = complete(Side::Left);
    assert!(
        visit.casts[0]
            .how_measured()
            .get(Lang::En)
            .contains("without photographs")
    );
    assert!(
        sign(&mut visit.clone(), "o-1", None, 1).is_ok(),
        "dimensions of the patient alone"
    );
    let mut r = measured(Side::Left, 0.0);
    r.source = Source::Ruler;
    r.comparisons
        .push(compare(LegDimension::BimalleolarBreadth, 71.0, 74.0));
    visit.casts[0].measurement = Some(Measurement::with_results(&r).unwrap());
    let read = visit.casts[0]
        .measurement
        .as_ref()
        .unwrap()
        .read()
        .unwrap()
        .unwrap();
    assert_eq!(read, r);
    assert!(
        visit.casts[0]
            .how_measured()
            .get(Lang::De)
            .contains("Lineal")
    );
    assert_eq!(judge(&visit, Some(&read)).call, Call::Keep);
    assert!(sign(&mut visit, "o-1", None, 1).is_ok());
}

/// 10 Tablet dies as plaster sets: entered later from paper, bound to the code on the plaster.
#[test]
fn s10_what_is_entered_later_keeps_its_code() {
    let mut visit = complete(Side::Left);
    let cast = &mut visit.casts[0];
    cast.code = Some("0000-0000-0000-0".into());
    cast.record.side_written = Some(Side::Left);
    cast.record.dipped_at = Some(when());
    cast.record.removed_at = Some(when() + chrono::TimeDelta::minutes(9));
    cast.record.photographed_at = Some(after(30));
    assert_eq!(
        cast.record.minutes_to_photographs(),
        Some(30.0 * 60.0 - 9.0)
    );
    assert!(sign(&mut visit, "o-1", Some(Side::Left), 31).is_ok());
    let mut wrong = complete(Side::Left);
    wrong.casts[0].record.side_written = Some(Side::Right);
    assert!(
        sign(&mut wrong, "o-1", None, 31).is_err(),
        "R pencilled on a left cast"
    );
}

/// 11 Child, dorsiflexion 0° with the knee bent only, growth allowance, proxy consent.
#[test]
fn s11_a_childs_proxy_and_growth_allowance_are_kept() {
    let mut visit = complete(Side::Left);
    visit.person.born = chrono::NaiveDate::from_ymd_opt(2019, 5, 1);
    visit.person.proxy = "M. Example, mother".into();
    visit.person.consents = vec![Consent {
        covers: ConsentFor::Treatment,
        given: true,
        at: Some(when()),
        by: "M. Example, mother".into(),
        extra: Map::default(),
    }];
    assert_eq!(visit.person.age_years(day()), Some(6));
    visit
        .readings
        .push(number("ankle_dorsiflexion_knee_bent_deg", Side::Left, 0.0));
    visit.readings.push(number(
        "ankle_dorsiflexion_knee_straight_deg",
        Side::Left,
        -8.0,
    ));
    visit.orders[0]
        .draft_mut()
        .unwrap()
        .prescription
        .shell
        .growth_allowance_mm = Some(entry(6.0));
    let checks = ask(&visit, Side::Left);
    assert!(checks.has("dorsiflexion-below-neutral"));
    assert!(
        checks.in_the_way_of(Stops::Photographs).next().is_some(),
        "not asked for photographs"
    );
    assert!(sign(&mut visit, "o-1", None, 1).is_ok());
    let lines = visit.orders[0].in_force().unwrap().lines(Lang::En);
    assert!(
        lines
            .iter()
            .any(|l| l.field.path == "shell.growth_allowance_mm" && l.value == "6 mm")
    );
}

/// 12 Lab finds bag R, plaster L, order R after posting: hold, rejection, amendment, new label.
#[test]
fn s12_what_the_lab_rejects_is_amended_and_labelled_anew() {
    let mut visit = complete(Side::Right);
    sign(&mut visit, "o-1", Some(Side::Right), 1).unwrap();
    visit.orders[0]
        .move_on(OrderState::HandedOver, after(2), "me", "")
        .unwrap();
    let answer = |answer, hours| Receipt {
        answer,
        at: after(hours),
        by: "bench".into(),
        revision: 1,
        reason: "bag R, plaster L, order R".into(),
        extra: Map::default(),
    };
    visit
        .record_receipt("o-1", answer(ReceiptAnswer::Rejected, 48))
        .unwrap();
    assert_eq!(visit.orders[0].state(), OrderState::LabHold);
    assert_eq!(
        visit.follow_up[0].receipts[0].answer,
        ReceiptAnswer::Rejected
    );
    // The plaster is a left one after all: the right order can't be signed again on it …
    visit.casts[0].side = Side::Left;
    visit.sides = vec![Side::Left];
    visit.orders[0].amend("plaster is left").unwrap();
    assert!(matches!(
        sign(&mut visit, "o-1", Some(Side::Right), 49),
        Err(SignError::Blocked(_))
    ));
    // … so it is withdrawn, and an order for the left foot takes its place with its own label.
    visit.orders[0]
        .move_on(OrderState::Withdrawn, after(50), "me", "wrong side")
        .unwrap();
    let mut left = Order::new("o-2", Side::Left);
    left.cast = Some("c-1".into());
    left.revisions[0].prescription = visit.orders[0].revisions[0].choices_only();
    visit.orders.push(left);
    assert!(
        matches!(
            sign(&mut visit, "o-2", Some(Side::Right), 51),
            Err(SignError::Blocked(_))
        ),
        "old label"
    );
    sign(&mut visit, "o-2", Some(Side::Left), 51).unwrap();
}
