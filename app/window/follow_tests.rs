//! Follow-up by touch, through accessible names: from the signed order to the remake's new order.

use super::tests::{case, demo_window, picture, tap};
use super::*;
use plinthside_ui::Screen;
use plinthside_visit::follow_up::RemakeCause;
use plinthside_visit::order::{OrderState, Signature};
use slint::Model;

fn state(window: &Window) -> OrderState {
    let session = window.inner.session.borrow();
    let case = case(&session);
    let order = case.visit.order(case.side).expect("an order");
    order.state()
}

/// The demonstration's left order, signed: what the rules ask before is another test's matter.
fn signed_demo(folder: &std::path::Path) -> Window {
    let window = demo_window(folder);
    tap(&window, "Morwenna Ashdown, Left");
    window.inner.change(|s| {
        let by = s.prescriber().expect("a prescriber");
        let open = s.open.as_mut().expect("open");
        let order = questions::order_mut(&mut open.case.visit, open.case.side);
        let at = crate::clock::now();
        if order.state() == OrderState::Draft {
            order.draft_mut().expect("a draft").signature = Some(Signature {
                prescriber: by.clone(),
                at,
                cautions: Vec::new(),
                extra: Default::default(),
            });
            order.history.push(plinthside_visit::order::StateChange {
                to: OrderState::Signed,
                at,
                by: by.name,
                revision: 1,
                reason: String::new(),
                extra: Default::default(),
            });
        }
    });
    window
}

#[test]
fn an_order_is_followed_from_the_lab_to_its_remake() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = signed_demo(folder.path());
    let data = window.app.global::<Data>();
    tap(&window, "Follow up");
    assert_eq!(data.get_screen(), Screen::FollowUp);
    tap(&window, "It has left for the lab");
    picture(&window, "follow-1-hand-over");
    tap(&window, "Record it");
    assert_eq!(state(&window), OrderState::HandedOver);

    // A rejection needs its reason, said where it is missing.
    tap(&window, "The lab's answer");
    tap(&window, "rejected");
    tap(&window, "Record it");
    assert!(!data.get_follow().refusal.is_empty());
    assert_eq!(state(&window), OrderState::HandedOver);
    picture(&window, "follow-2-answer");
    let asked = data.get_follow_questions();
    assert_eq!(asked.chosen, 1, "the first answer leads on to the reason");
    tap(&window, "sides of plaster, bag and order differ");
    tap(&window, "Record it");
    assert_eq!(state(&window), OrderState::LabHold);
    picture(&window, "follow-3-hold");
    tap(&window, "The lab's answer");
    tap(&window, "accepted");
    tap(&window, "Record it");
    assert_eq!(state(&window), OrderState::Received);

    // What is being entered outlives leaving the visit.
    tap(&window, "Fitting");
    window.app.global::<Backend>().invoke_set_value(8.0);
    tap(&window, "Next");
    tap(&window, "navicular");
    tap(&window, "heel");
    picture(&window, "follow-4-places");
    tap(&window, "Put the visit away");
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "Follow up");
    let tiles: Vec<String> = data
        .get_follow_questions()
        .tiles
        .iter()
        .map(|t| t.value.to_string())
        .collect();
    assert_eq!(tiles[..2], ["8", "navicular, heel"]);
    tap(&window, "Record it");
    assert_eq!(state(&window), OrderState::Fitted);
    {
        let session = window.inner.session.borrow();
        let fitting = &case(&session).visit.follow_up[0].fittings[0];
        assert_eq!(fitting.pressure.len(), 2);
        assert!(fitting.pressure.iter().all(|s| s.across.is_some()));
    }

    // A review compares readings with the visit's, against the measurement error.
    tap(&window, "Review");
    let at = data
        .get_follow_questions()
        .tiles
        .iter()
        .position(|t| t.label.contains("dorsiflexion"))
        .expect("a reading to take again");
    window
        .app
        .global::<Backend>()
        .invoke_choose_question(at as i32);
    window.app.global::<Backend>().invoke_set_value(6.0);
    let said = data.get_follow_questions().cautions;
    let said = said.row_data(0).expect("compared").text;
    assert!(said.contains("error"), "{said}");
    picture(&window, "follow-5-review");
    tap(&window, "Record it");
    assert_eq!(state(&window), OrderState::Reviewed);

    tap(&window, "Leaflet for the patient");
    picture(&window, "follow-6-leaflet");
    assert!(data.get_follow().leaflet.row_count() > 4);
    tap(&window, "Back");

    tap(&window, "To be made again");
    tap(&window, "shape of the cast");
    tap(&window, "Record it");
    assert_eq!(state(&window), OrderState::Remade);
    picture(&window, "follow-7-remade");
    tap(&window, "Order again");
    assert_eq!(data.get_screen(), Screen::Order);
    assert_eq!(state(&window), OrderState::Draft);
    let session = window.inner.session.borrow();
    let visit = &case(&session).visit;
    let old = &visit.orders[visit.orders.len() - 2];
    assert_eq!(old.state(), OrderState::Closed);
    let remake = &visit.follow_up[0].remakes[0];
    assert_eq!(remake.causes, [RemakeCause::CastShape]);
    assert_eq!(
        remake.new_order.as_deref(),
        Some(visit.orders.last().expect("new").id.as_str())
    );
}
