//! After signing: hand-over, the lab's answer, amendment, fitting, review, remake, leaflet.

use crate::common::{after, complete, entry, handed_over, prescriber, rules, signing, when};
use plinthside_measure::marks::Side;
use plinthside_visit::figures::practice;
use plinthside_visit::follow_up::{
    Adjustment, Event, Fitting, LeafletFor, LeafletText, Receipt, ReceiptAnswer, Remake,
    RemakeCause, Review,
};
use plinthside_visit::order::{OrderState, Override, SignError};
use plinthside_visit::{Clinic, Lang};
use serde_json::Map;

fn receipt(answer: ReceiptAnswer, hours: i64, reason: &str) -> Receipt {
    Receipt {
        answer,
        at: after(hours),
        by: "lab".into(),
        revision: 1,
        reason: reason.into(),
        extra: Map::default(),
    }
}

fn fitting(hours: i64) -> Fitting {
    Fitting {
        at: after(hours),
        by: "me".into(),
        comfort: Some(entry(8.0)),
        pressure: Vec::new(),
        problems: Vec::new(),
        adjustments: Vec::new(),
        wear_in_hours: vec![1.0, 2.5],
        extra: Map::default(),
    }
}

#[test]
fn the_states_follow_one_another_and_no_other_way() {
    let rules = rules();
    let mut visit = complete(Side::Left);
    let order = &mut visit.orders[0];
    for to in [
        OrderState::HandedOver,
        OrderState::Received,
        OrderState::Fitted,
        OrderState::Closed,
    ] {
        assert!(matches!(
            order.move_on(to, after(0), "me", ""),
            Err(SignError::CannotFollow { .. })
        ));
    }
    assert!(matches!(order.amend("why"), Err(SignError::StillDraft)));
    visit
        .sign("o-1", &prescriber(), signing(&rules, 1))
        .unwrap();
    let order = &mut visit.orders[0];
    let early = order.move_on(OrderState::HandedOver, after(-5), "me", "");
    assert!(matches!(early, Err(SignError::Earlier { .. })));
    order
        .move_on(OrderState::HandedOver, after(2), "me", "")
        .unwrap();
    let hold = visit.record_receipt("o-1", receipt(ReceiptAnswer::Question, 3, "  "));
    assert!(matches!(
        hold,
        Err(SignError::NeedsReason(OrderState::LabHold))
    ));
    assert!(visit.follow_up.is_empty());
    visit
        .record_receipt(
            "o-1",
            receipt(ReceiptAnswer::Question, 3, "which hinge size?"),
        )
        .unwrap();
    assert_eq!(visit.orders[0].state(), OrderState::LabHold);
    visit
        .record_receipt("o-1", receipt(ReceiptAnswer::Accepted, 4, ""))
        .unwrap();
    visit.record_fitting("o-1", fitting(240 + 2)).unwrap();
    visit
        .record_fitting("o-1", fitting(241))
        .unwrap_or_else(|e| panic!("{e}"));
    let review = Review {
        at: after(500),
        by: "me".into(),
        readings: Vec::new(),
        pain: Some(entry(1.0)),
        wear_hours_per_day: Some(entry(9.0)),
        problems: Vec::new(),
        pressure: Vec::new(),
        note: String::new(),
        extra: Map::default(),
    };
    visit.record_review("o-1", review).unwrap();
    let remake = |causes: Vec<RemakeCause>| Remake {
        at: after(600),
        causes,
        reason: "heel too narrow".into(),
        new_order: None,
        extra: Map::default(),
    };
    assert!(
        visit
            .record_remake("o-1", "me", remake(Vec::new()))
            .is_err()
    );
    visit
        .record_remake(
            "o-1",
            "me",
            remake(vec![RemakeCause::CastShape, RemakeCause::Lab]),
        )
        .unwrap();
    visit.casts[0].record.cast_by = "Caster A".into();
    let p = practice([&visit]);
    assert_eq!(p.remakes.unwrap().count, 1);
    assert_eq!(p.by_cause.len(), 2);
    assert_eq!(p.by_caster["Caster A"].of, 1);
    assert_eq!(p.by_lab["the lab"].count, 1);
    assert_eq!(p.by_hinge["hinge A"].count, 1);
    assert!((p.turnaround.unwrap().median_days - 10.0).abs() < 1e-9);
    assert_eq!(p.first_comfort, Some((8.0, 1)));
    visit.orders[0]
        .move_on(OrderState::Closed, after(700), "me", "")
        .unwrap();
    assert!(
        visit.orders[0]
            .move_on(OrderState::Reviewed, after(701), "me", "")
            .is_err()
    );
}

#[test]
fn an_amendment_is_a_new_revision_and_the_old_one_stays() {
    let rules = rules();
    let mut visit = complete(Side::Left);
    visit.person.body_mass_kg = Some(entry(120.0));
    let heavy = Override {
        reason: "letter of the maker".into(),
        by: "me".into(),
        at: when(),
        extra: Map::default(),
    };
    let draft = visit.orders[0].draft_mut().unwrap();
    draft.prescription.motion.hinge_rated_mass_kg = Some(entry(100.0));
    draft
        .overrides
        .insert("too-heavy-for-the-hinge".into(), heavy);
    visit
        .sign("o-1", &prescriber(), signing(&rules, 1))
        .unwrap();
    let order = &mut visit.orders[0];
    assert!(
        order.revisions[0]
            .signature
            .as_ref()
            .unwrap()
            .cautions
            .contains(&"too-heavy-for-the-hinge".to_owned())
    );
    order
        .move_on(OrderState::HandedOver, after(2), "me", "")
        .unwrap();
    assert!(matches!(order.amend("  "), Err(SignError::NeedsReason(_))));
    let first = order.revisions[0].clone();
    let second = order.amend("thinner plastic").unwrap();
    assert_eq!((second.number, second.signature.is_none()), (2, true));
    second.prescription.shell.thickness_mm = Some(entry(3.0));
    assert!(
        second.overrides.is_empty(),
        "a reason was typed for the revision before"
    );
    assert_eq!(order.in_force().unwrap().number, 1);
    assert_eq!(order.revisions[0], first);
    assert!(matches!(
        visit.sign("o-1", &prescriber(), signing(&rules, 3)),
        Err(SignError::Blocked(_))
    ));
    visit.person.body_mass_kg = Some(entry(80.0));
    visit
        .sign("o-1", &prescriber(), signing(&rules, 3))
        .unwrap();
    assert_eq!(visit.orders[0].in_force().unwrap().number, 2);
    assert_eq!(visit.orders[0].history.last().unwrap().revision, 2);
}

#[test]
fn the_leaflet_speaks_both_languages_and_leaves_out_what_is_not_known() {
    let text = LeafletText::shipped().unwrap();
    let clinic = Clinic {
        name: "Clinic".into(),
        telephone: "000".into(),
        ..Clinic::default()
    };
    let mut visit = complete(Side::Left);
    visit.follow_up.push(plinthside_visit::follow_up::FollowUp {
        order: "o-1".into(),
        fittings: vec![fitting(5)],
        review_due: chrono::NaiveDate::from_ymd_opt(2026, 4, 9),
        ..Default::default()
    });
    let whose = LeafletFor {
        clinic: &clinic,
        side: Side::Left,
        insensate: false,
        follow_up: visit.follow_up.first(),
    };
    let en = text.leaflet(whose, Lang::En);
    let all = format!("{en:?}");
    assert!(
        all.contains("left leg") && all.contains("9 April 2026") && all.contains("Clinic, 000")
    );
    assert!(!all.contains('{') || !all.contains("{urgent}"));
    assert!(
        !all.contains("Outside these hours"),
        "no number known, no line"
    );
    assert_eq!(
        en.sections[0].plan,
        [
            ("Day 1".into(), "1 hour".into()),
            ("Day 2".into(), "2.5 hours".into())
        ]
    );
    let de = text.leaflet(
        LeafletFor {
            insensate: true,
            follow_up: None,
            ..whose
        },
        Lang::De,
    );
    assert_eq!(de.sections.len(), en.sections.len() + 1);
    assert!(format!("{de:?}").contains("linken Bein"));
    let urgent = Clinic {
        urgent_telephone: "111".into(),
        ..clinic.clone()
    };
    let with = text.leaflet(
        LeafletFor {
            clinic: &urgent,
            ..whose
        },
        Lang::En,
    );
    assert!(format!("{with:?}").contains("Outside these hours: 111"));
    // Whom to ring is completed by hand rather than left out.
    let unreachable = Clinic {
        telephone: String::new(),
        ..clinic.clone()
    };
    let without = text.leaflet(
        LeafletFor {
            clinic: &unreachable,
            ..whose
        },
        Lang::En,
    );
    assert!(format!("{without:?}").contains("Clinic, ____"));
}

#[test]
fn what_is_entered_is_kept_in_the_visit_until_it_is_recorded() {
    let rules = rules();
    let mut visit = complete(Side::Left);
    visit
        .sign("o-1", &prescriber(), signing(&rules, 1))
        .unwrap();
    let events = |visit: &plinthside_visit::Visit| visit.orders[0].state().events().to_vec();
    assert_eq!(events(&visit), [Event::HandOver, Event::Withdrawal]);
    visit.begin_event("o-1", Event::HandOver);
    visit.record_event("o-1", after(2), "me").unwrap();
    assert_eq!(visit.orders[0].state(), OrderState::HandedOver);

    // A question needs its words; the draft stays until it has them.
    visit.begin_event("o-1", Event::Receipt);
    let unanswered = visit.record_event("o-1", after(3), "me");
    assert!(matches!(unanswered, Err(SignError::Unanswered)));
    visit.draft_event_mut("o-1").unwrap().answer = Some(ReceiptAnswer::Question);
    let json = serde_json::to_string(&visit).unwrap();
    let mut visit: plinthside_visit::Visit = serde_json::from_str(&json).unwrap();
    let silent = visit.record_event("o-1", after(3), "me");
    assert!(matches!(
        silent,
        Err(SignError::NeedsReason(OrderState::LabHold))
    ));
    visit.draft_event_mut("o-1").unwrap().reason = "which hinge?".into();
    visit.record_event("o-1", after(3), "me").unwrap();
    assert_eq!(visit.follow_up[0].receipts[0].reason, "which hinge?");
    assert!(visit.draft_event_mut("o-1").is_none());

    visit.begin_event("o-1", Event::Receipt);
    visit.draft_event_mut("o-1").unwrap().answer = Some(ReceiptAnswer::Accepted);
    visit.record_event("o-1", after(4), "me").unwrap();
    visit.begin_event("o-1", Event::Fitting);
    let draft = visit.draft_event_mut("o-1").unwrap();
    draft.adjustments = vec![Adjustment::Padded, Adjustment::from("my own".to_owned())];
    draft.review_due = Some(after(200).date_naive());
    visit.record_event("o-1", after(5), "me").unwrap();
    assert_eq!(visit.follow_up[0].fittings[0].adjustments.len(), 2);
    assert_eq!(visit.follow_up[0].review_due, Some(after(200).date_naive()));

    // The causes are the reason where no words were typed.
    visit.begin_event("o-1", Event::Remake);
    visit.draft_event_mut("o-1").unwrap().causes = vec![RemakeCause::CastShape, RemakeCause::Lab];
    visit.record_event("o-1", after(6), "me").unwrap();
    assert_eq!(
        visit.follow_up[0].remakes[0].reason,
        "shape of the cast, lab"
    );
    visit.order_again("o-1", "o-2").unwrap();
    visit.begin_event("o-1", Event::Closing);
    visit.drop_event("o-1");
    assert!(visit.draft_event_mut("o-1").is_none());
    visit.begin_event("o-1", Event::Closing);
    visit.record_event("o-1", after(7), "me").unwrap();
    assert_eq!(visit.orders[0].state(), OrderState::Closed);
    assert_eq!(visit.orders[0].state().events(), []);
}

/// The lab's clock runs an hour late, then a day early; it asks after it has accepted, and again.
#[test]
fn a_labs_file_is_taken_by_our_clock_and_may_ask_again() {
    let rules = rules();
    let mut visit = handed_over(&rules);
    let answers = [
        (ReceiptAnswer::Accepted, 1, "", OrderState::Received),
        (
            ReceiptAnswer::Question,
            30,
            "which hinge?",
            OrderState::LabHold,
        ),
        (
            ReceiptAnswer::Question,
            5,
            "which strap?",
            OrderState::LabHold,
        ),
    ];
    for (answer, hours, reason, state) in answers {
        visit
            .take_receipt("o-1", receipt(answer, hours, reason), after(6))
            .unwrap();
        assert_eq!(visit.orders[0].state(), state);
    }
    let ours: Vec<_> = visit.orders[0].history[2..].iter().map(|c| c.at).collect();
    assert_eq!(ours, [after(2), after(6), after(6)]);
    let theirs = &visit.follow_up[0].receipts;
    assert_eq!(
        theirs.iter().map(|r| r.at).collect::<Vec<_>>(),
        [after(1), after(30), after(5)]
    );
    // What the clinic enters next is not refused for the lab's clock.
    visit
        .record_receipt("o-1", receipt(ReceiptAnswer::Accepted, 7, ""))
        .unwrap();
    // Whoever answers a signed order has been handed it.
    let mut signed = complete(Side::Left);
    signed
        .sign("o-1", &prescriber(), signing(&rules, 1))
        .unwrap();
    signed
        .take_receipt("o-1", receipt(ReceiptAnswer::Accepted, 2, ""), after(3))
        .unwrap();
    let states: Vec<_> = signed.orders[0]
        .history
        .iter()
        .map(|c| c.to.clone())
        .collect();
    assert_eq!(
        states,
        [
            OrderState::Signed,
            OrderState::HandedOver,
            OrderState::Received
        ]
    );
    // A draft and a closed order wait for no answer.
    let mut draft = complete(Side::Left);
    let refused = draft.take_receipt("o-1", receipt(ReceiptAnswer::Accepted, 1, ""), after(1));
    assert!(matches!(refused, Err(SignError::CannotFollow { .. })));
}

/// Two devices that took the same answer and met: both entries stand in both lists, and are one.
#[test]
fn one_answer_taken_on_two_devices_is_one() {
    let rules = rules();
    let mut visit = handed_over(&rules);
    let answer = receipt(ReceiptAnswer::Accepted, 3, "");
    visit.take_receipt("o-1", answer, after(4)).unwrap();
    let mut json = serde_json::to_value(&visit).unwrap();
    for list in ["/follow_up/0/receipts", "/orders/0/history"] {
        let list = json.pointer_mut(list).unwrap().as_array_mut().unwrap();
        list.push(list.last().unwrap().clone());
    }
    let met: plinthside_visit::Visit = serde_json::from_value(json).unwrap();
    assert_eq!(met, visit);
}
