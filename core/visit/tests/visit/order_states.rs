//! An order from draft to its end, and reasons to go past a block.

use crate::common::{
    after, choice, complete, day, entry, handed_over, prescriber, rules, signing, visit,
};
use plinthside_measure::marks::Side;
use plinthside_visit::Visit;
use plinthside_visit::follow_up::{Fitting, Remake, RemakeCause};
use plinthside_visit::knowledge::Knowledge;
use plinthside_visit::order::{OrderState, SignError};
use plinthside_visit::rules::{Case, Fired, GoPastError, Stops, check};
use serde_json::Map;

#[test]
fn the_order_from_draft_to_closed() {
    let rules = rules();
    let mut visit = handed_over(&rules);
    assert_eq!(visit.orders[0].state(), OrderState::HandedOver);
    // An amendment given up: the signed revision stays. Signed: it is handed over anew.
    visit.orders[0].amend("thinner").unwrap();
    visit.orders[0].drop_amendment();
    assert_eq!(visit.orders[0].revisions.len(), 1);
    visit.orders[0].drop_amendment();
    visit.orders[0].amend("thinner").unwrap();
    visit
        .sign("o-1", &prescriber(), signing(&rules, 3))
        .unwrap();
    visit.hand_over("o-1", after(4), "me").unwrap();
    assert_eq!(visit.orders[0].history.last().unwrap().revision, 2);
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
    assert_eq!(withdrawn.orders[0].state(), OrderState::Withdrawn);
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
    assert_eq!(visit.orders[0].state(), OrderState::Fitted);
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
    with_order
        .sign("o-1", &prescriber(), signing(&rules(), 1))
        .unwrap();
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
