//! The steps of a visit, reasons to go past a block, and the ways an order ends.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{after, choice, complete, day, entry, measured, number, prescriber, results, visit};
use plinthside_measure::cast::ResultName;
use plinthside_measure::marks::Side;
use plinthside_visit::cast_record::{Decision, Measurement};
use plinthside_visit::figures::{FigureError, cast_again, marked_again, repeats};
use plinthside_visit::follow_up::{Fitting, Remake, RemakeCause};
use plinthside_visit::knowledge::Knowledge;
use plinthside_visit::order::{OrderState, SignError, Signing};
use plinthside_visit::rules::{Case, Fired, GoPastError, Stops, check};
use plinthside_visit::steps::{Progress, Step, StepState, steps};
use plinthside_visit::verdict::Call;
use plinthside_visit::{Cast, Lang, Visit};
use serde_json::Map;

fn of(visit: &Visit, step: Step) -> StepState {
    let all = steps(
        &Case::of_visit(visit, Side::Left, day()),
        &Knowledge::shipped().unwrap(),
    );
    assert_eq!(all.len(), Step::ALL.len());
    assert!(all.iter().zip(Step::ALL).all(|(s, step)| &s.step == step));
    all.into_iter().find(|s| s.step == step).unwrap()
}

fn progress(visit: &Visit, step: Step) -> Progress {
    of(visit, step).progress
}

#[test]
fn a_new_visit_is_empty_and_fills_up() {
    let mut visit = visit(Side::Left);
    for step in Step::ALL {
        let state = of(&visit, step.clone());
        assert_eq!(state.progress, Progress::Empty, "{state:?}");
        assert!(state.of > 0 && state.open.len() == state.of, "{state:?}");
    }
    visit.reason = "drop foot".into();
    assert_eq!(progress(&visit, Step::Ask), Progress::Started);
    visit
        .readings
        .push(number("resting_heel_deg", Side::Left, -6.0));
    let examined = of(&visit, Step::Examine);
    assert_eq!(
        (examined.progress, examined.done, examined.of),
        (Progress::Started, 1, 17)
    );
    assert!(
        examined
            .open
            .iter()
            .all(|t| t.en != "Resting heel" && !t.de.is_empty())
    );
    // The other foot's reading is not this foot's.
    visit.readings[0].side = Some(Side::Right);
    assert_eq!(progress(&visit, Step::Examine), Progress::Empty);
}

#[test]
fn what_needs_attention_says_why() {
    let mut visit = visit(Side::Left);
    let mut typed = number("resting_heel_deg", Side::Left, 0.0);
    typed.repeats = vec![plinthside_visit::norms::typed("1O", "deg", None)];
    visit.readings.push(typed);
    let state = of(&visit, Step::Examine);
    assert_eq!(state.progress, Progress::NeedsAttention);
    assert!(state.attention[0].get(Lang::De).contains("1O"), "{state:?}");
    visit.readings.clear();
    visit
        .readings
        .push(choice("skin", Side::Left, "open_wound"));
    assert_eq!(progress(&visit, Step::Cast), Progress::NeedsAttention);
    visit
        .readings
        .push(choice("calf_hot_swollen_painful", Side::Left, "yes"));
    assert_eq!(progress(&visit, Step::Ask), Progress::NeedsAttention);
    let mut earlier = complete(Side::Left);
    earlier
        .readings
        .push(number("resting_heel_deg", Side::Left, -6.0));
    visit.copy_from(&earlier);
    assert!(
        of(&visit, Step::Examine).attention[0]
            .en
            .contains("copied from the last visit")
    );
}

#[test]
fn a_cast_is_checked_once_the_clinician_decided() {
    let mut visit = complete(Side::Left);
    assert_eq!(progress(&visit, Step::Check), Progress::Empty);
    let mut squeezed = measured(Side::Left, 0.0);
    squeezed.comparisons.push(common::compare(
        plinthside_measure::leg::LegDimension::BimalleolarBreadth,
        66.0,
        74.0,
    ));
    visit.casts[0].measure_again(Measurement::with_results(&squeezed).unwrap());
    visit.casts[0].inspection.rock_mm = Some(entry(1.0));
    let state = of(&visit, Step::Check);
    assert_eq!(state.progress, Progress::NeedsAttention);
    assert!(
        state.attention[0]
            .en
            .starts_with("Recast: Bimalleolar breadth"),
        "{state:?}"
    );
    visit.casts[0].decision = Some(Decision {
        call: Call::Keep,
        by: "me".into(),
        at: after(1),
        reason: "cannot come again; lab told".into(),
        extra: Map::default(),
    });
    assert_eq!(progress(&visit, Step::Check), Progress::Complete);
    // Measured anew: the decision is asked again, the measurement before is kept.
    visit.casts[0].measure_again(Measurement::with_results(&squeezed).unwrap());
    assert_eq!(visit.casts[0].measured_before.len(), 1);
    assert_eq!(progress(&visit, Step::Check), Progress::NeedsAttention);
    let json = serde_json::to_value(&visit).unwrap();
    assert_eq!(serde_json::from_value::<Visit>(json).unwrap(), visit);
}

#[test]
fn the_order_from_draft_to_closed() {
    let known = Knowledge::shipped().unwrap();
    let mut visit = complete(Side::Left);
    let state = of(&visit, Step::Prescribe);
    assert_eq!(
        (state.progress, state.open.len()),
        (Progress::Started, 1),
        "{state:?}"
    );
    let draft = visit.orders[0].draft_mut().unwrap();
    draft.prescription.shell.plastic.clear();
    let state = of(&visit, Step::Prescribe);
    assert!(
        state
            .open
            .iter()
            .any(|t| t.en == "Plastic: not chosen yet."),
        "{state:?}"
    );
    let draft = visit.orders[0].draft_mut().unwrap();
    draft.prescription.shell.plastic = "polypropylene".into();
    let signing = |hours| Signing {
        rules: &known.rules,
        results: None,
        label_side: None,
        at: after(hours),
    };
    visit.sign("o-1", &prescriber(), signing(1)).unwrap();
    assert_eq!(progress(&visit, Step::Prescribe), Progress::Complete);
    assert_eq!(progress(&visit, Step::HandOver), Progress::Empty);
    visit.hand_over("o-1", after(2), "me").unwrap();
    assert_eq!(progress(&visit, Step::HandOver), Progress::Complete);
    // Given up: the signed revision stays. Signed: the lab must get it.
    visit.orders[0].amend("thinner").unwrap();
    visit.orders[0].drop_amendment();
    assert_eq!(visit.orders[0].revisions.len(), 1);
    visit.orders[0].drop_amendment();
    visit.orders[0].amend("thinner").unwrap();
    visit.sign("o-1", &prescriber(), signing(3)).unwrap();
    let state = of(&visit, Step::HandOver);
    assert!(
        state.attention[0].en.contains("later revision"),
        "{state:?}"
    );
    visit.hand_over("o-1", after(4), "me").unwrap();
    assert_eq!(progress(&visit, Step::HandOver), Progress::Complete);
    assert!(matches!(
        visit.withdraw_order("o-1", after(5), "me", " "),
        Err(SignError::NeedsReason(OrderState::Withdrawn))
    ));
    assert!(
        visit.close_order("o-1", after(5), "me").is_err(),
        "never fitted"
    );
    let mut withdrawn = visit.clone();
    withdrawn
        .withdraw_order("o-1", after(5), "me", "patient declined")
        .unwrap();
    assert_eq!(
        progress(&withdrawn, Step::Prescribe),
        Progress::NeedsAttention
    );
    visit.orders[0]
        .move_on(OrderState::Received, after(6), "lab", "")
        .unwrap();
    let fitting = Fitting {
        at: after(7),
        by: "me".into(),
        comfort: None,
        pressure: Vec::new(),
        problems: Vec::new(),
        adjustments: Vec::new(),
        wear_in_hours: Vec::new(),
        extra: Map::default(),
    };
    visit.record_fitting("o-1", fitting).unwrap();
    assert_eq!(progress(&visit, Step::FollowUp), Progress::Started);
    visit.follow_up[0].review_due = chrono::NaiveDate::from_ymd_opt(2026, 3, 1);
    let state = of(&visit, Step::FollowUp);
    assert!(
        state.attention[0].en.contains("due on 1 March 2026"),
        "{state:?}"
    );
    assert!(state.attention[0].de.contains("1. März 2026"));
    remade(visit.clone());
    visit.close_order("o-1", after(9), "me").unwrap();
    assert_eq!(visit.orders[0].state(), OrderState::Closed);
}

/// A remake names its causes and starts an order of its own, without the old foot's numbers.
fn remade(mut visit: Visit) {
    assert!(visit.order_again("o-1", "o-2").is_err(), "not made again");
    let remake = Remake {
        at: after(8),
        causes: vec![RemakeCause::Marking],
        reason: "hinge 8 mm too far forward".into(),
        new_order: None,
        extra: Map::default(),
    };
    visit.record_remake("o-1", "me", remake).unwrap();
    assert!(
        of(&visit, Step::FollowUp)
            .attention
            .iter()
            .any(|t| t.en.contains("no new order"))
    );
    assert!(matches!(
        visit.order_again("o-1", "o-1"),
        Err(SignError::IdTaken { .. })
    ));
    let new = visit.order_again("o-1", "o-2").unwrap();
    assert_eq!((new.state(), new.side), (OrderState::Draft, Side::Left));
    assert_eq!(new.revisions[0].prescription.shell.plastic, "polypropylene");
    assert_eq!(
        visit.follow_up[0].remakes[0].new_order.as_deref(),
        Some("o-2")
    );
    visit.close_order("o-1", after(9), "me").unwrap();
    assert_eq!(visit.orders[0].state(), OrderState::Closed);
}

fn fired(visit: &Visit, rule: &str) -> Fired {
    let known = Knowledge::shipped().unwrap();
    let checks = check(&known.rules, &Case::of_visit(visit, Side::Left, day()));
    checks
        .fired
        .into_iter()
        .find(|f| f.rule == rule)
        .expect(rule)
}

#[test]
fn every_clinical_block_falls_to_a_typed_reason() {
    let mut visit = visit(Side::Left);
    visit
        .readings
        .push(choice("skin", Side::Left, "open_wound"));
    let wound = fired(&visit, "broken-skin");
    let past =
        |visit: &mut Visit, f: &Fired, why: &str| visit.go_past(f, Side::Left, "me", after(0), why);
    assert_eq!(past(&mut visit, &wound, "  "), Err(GoPastError::NoReason));
    past(&mut visit, &wound, "dressed, window cut").unwrap();
    let now = fired(&visit, "broken-skin");
    assert!(!now.is_in_the_way_of(Stops::Casting));
    assert_eq!(now.overridden.unwrap().reason, "dressed, window cut");
    visit.take_back("broken-skin", Side::Left);
    assert!(fired(&visit, "broken-skin").is_in_the_way_of(Stops::Casting));
    // A block of signing needs a draft; a caution may be answered; identity never falls.
    visit.person.body_mass_kg = Some(entry(120.0));
    let mut with_order = complete(Side::Left);
    with_order.person.body_mass_kg = Some(entry(120.0));
    with_order.readings = visit.readings.clone();
    let draft = with_order.orders[0].draft_mut().unwrap();
    draft.prescription.motion.hinge_rated_mass_kg = Some(entry(100.0));
    let heavy = fired(&with_order, "too-heavy-for-the-hinge");
    assert_eq!(past(&mut visit, &heavy, "x"), Err(GoPastError::NoDraft));
    past(&mut with_order, &heavy, "letter of the maker").unwrap();
    assert!(!fired(&with_order, "too-heavy-for-the-hinge").is_in_the_way_of(Stops::Signing));
    with_order.casts[0].inspection.marks_missing = vec!["mtp-5".into()];
    let caution = fired(&with_order, "marks-absent");
    past(&mut with_order, &caution, "felt through the stockinette").unwrap();
    let answered = fired(&with_order, "marks-absent").overridden.unwrap();
    assert_eq!(answered.reason, "felt through the stockinette");
    let mut crossed = with_order.clone();
    crossed.sides = vec![Side::Right];
    let sides = fired(&crossed, "sides-differ");
    assert_eq!(
        past(&mut crossed, &sides, "trust me"),
        Err(GoPastError::Absolute)
    );
    // Signing freezes the reasons typed before casting beside its own.
    past(&mut with_order, &wound, "dressed").unwrap();
    let known = Knowledge::shipped().unwrap();
    let signing = Signing {
        rules: &known.rules,
        results: None,
        label_side: None,
        at: after(1),
    };
    with_order.sign("o-1", &prescriber(), signing).unwrap();
    let signed = &with_order.orders[0].revisions[0].overrides;
    let rules: Vec<&str> = signed.keys().map(String::as_str).collect();
    assert_eq!(
        rules,
        ["broken-skin", "marks-absent", "too-heavy-for-the-hinge"]
    );
    with_order.take_back("too-heavy-for-the-hinge", Side::Left);
    assert_eq!(
        with_order.orders[0].revisions[0].overrides.len(),
        3,
        "signed is frozen"
    );
    let json = serde_json::to_value(&with_order).unwrap();
    assert_eq!(serde_json::from_value::<Visit>(json).unwrap(), with_order);
}

/// Ulijaszek & Kerr 1999, Br J Nutr 82:165-177: technical error √(Σd²/2n) of pairs.
#[test]
fn a_caster_repeats() {
    let bimalleolar = [(70.0, 72.0), (75.0, 74.0), (80.0, 83.0)];
    let cast = |id: &str, mm: f64| {
        let mut r = results(Side::Left);
        r.quantities
            .insert(ResultName::Bimalleolar, common::quantity(mm, 0.2, 0.5));
        let mut cast = Cast::new(id, Side::Left);
        cast.record.cast_by = "Caster A".into();
        let mut measurement = Measurement::with_results(&r).unwrap();
        measurement.by = "Marker B".into();
        cast.measurement = Some(measurement);
        cast
    };
    let visits: Vec<Visit> = bimalleolar
        .iter()
        .map(|(a, b)| {
            let mut visit = visit(Side::Left);
            visit.casts = vec![cast("c-1", *a), cast("c-2", *b)];
            visit
        })
        .collect();
    let feet = cast_again(&visits, "Caster A");
    assert_eq!(feet.len(), 3);
    let r = repeats(&feet, ResultName::Bimalleolar).unwrap();
    let tem = f64::sqrt((4.0 + 1.0 + 9.0) / 6.0);
    assert!((r.technical_error - tem).abs() < 1e-12);
    assert!((r.coefficient - 1.96 * std::f64::consts::SQRT_2 * tem).abs() < 1e-12);
    assert!((r.limits.bias.value + 4.0 / 3.0).abs() < 1e-12);
    assert!(r.icc.icc_1_1.value > 0.8 && r.left_out == 0);
    assert!(cast_again(&visits, "Caster C").is_empty());
    assert!(matches!(
        repeats(&feet[..1], ResultName::Bimalleolar),
        Err(FigureError::TooFew { .. })
    ));
    // The same cast marked twice by one person.
    let mut marked = visits.clone();
    for visit in &mut marked {
        let second = visit.casts.pop().unwrap();
        visit.casts[0].measure_again(second.measurement.unwrap());
    }
    assert!(cast_again(&marked, "Caster A").is_empty());
    let casts = marked_again(&marked, "Marker B");
    assert_eq!(repeats(&casts, ResultName::Bimalleolar).unwrap().icc, r.icc);
}
