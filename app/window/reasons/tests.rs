//! Going past a block and amending, through accessible names.

use crate::clock;
use crate::window::tests::{case, demo_window, field, picture, tap};
use crate::window::*;
use plinthside_measure::marks::Side;
use plinthside_ui::Screen;
use plinthside_visit::Entry;
use plinthside_visit::order::Signing;
use slint::Model;

fn blocks(window: &Window) -> Vec<plinthside_ui::StandingBlock> {
    let view = window.app.global::<plinthside_ui::Reasons>().get_view();
    view.blocks.iter().collect()
}

/// The invented visit of the left foot, its patient too heavy for the hinge.
fn too_heavy(window: &Window) {
    tap(window, "Morwenna Ashdown, Left");
    window.inner.change(|s| {
        if let Some(open) = &mut s.open {
            open.case.visit.person.body_mass_kg = Some(Entry::number(150.0));
            let order = questions::order_mut(&mut open.case.visit, Side::Left);
            if let Some(draft) = order.draft_mut() {
                let rated = serde_json::json!(90.0);
                draft
                    .prescription
                    .set("motion.hinge_rated_mass_kg", rated)
                    .expect("a field");
            }
        }
    });
}

#[test]
fn a_block_is_gone_past_with_a_reason_and_stands_again_when_it_is_taken_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    too_heavy(&window);
    window.app.global::<Backend>().invoke_go(Screen::Order);
    window.app.global::<plinthside_ui::Reasons>().invoke_open();
    picture(&window, "reasons-1");
    let heavy = blocks(&window)
        .into_iter()
        .find(|b| b.text.contains("150"))
        .expect("a block");
    assert!(heavy.given.is_empty() && heavy.stops == "stops signing");
    tap(&window, &format!("Override: {}", heavy.text));
    picture(&window, "reasons-2");
    // A blank is no reason.
    tap(&window, "Give this reason");
    assert!(
        !window
            .app
            .global::<plinthside_ui::Reasons>()
            .get_view()
            .problem
            .is_empty()
    );
    field(
        &window,
        "Type a reason, or tap one",
        "the larger hinge is on its way",
    );
    tap(&window, "Give this reason");
    let now = blocks(&window)
        .into_iter()
        .find(|b| b.text == heavy.text)
        .expect("a block");
    assert!(
        now.given.starts_with("the larger hinge is on its way"),
        "{}",
        now.given
    );
    {
        let session = window.inner.session.borrow();
        let order = case(&session).visit.order(Side::Left).expect("an order");
        let draft = order.newest().expect("a draft");
        assert!(
            draft
                .overrides
                .values()
                .any(|o| o.reason == "the larger hinge is on its way")
        );
    }
    picture(&window, "reasons-3");
    // The next time it is tapped, not typed.
    tap(&window, &format!("Take back: {}", heavy.text));
    tap(&window, &format!("Override: {}", heavy.text));
    tap(&window, "the larger hinge is on its way");
    assert!(
        blocks(&window)
            .iter()
            .any(|b| b.text == heavy.text && !b.given.is_empty())
    );
    tap(&window, "Back");
    assert_eq!(window.app.global::<Data>().get_screen(), Screen::Order);
}

#[test]
fn an_amendment_is_a_numbered_revision_with_its_reason() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Morwenna Ashdown, Left");
    window.inner.change(|s| {
        let prescriber = s.prescriber().expect("a prescriber");
        let Session { open, tables, .. } = s;
        let Some(open) = open else { return };
        let order = questions::order_mut(&mut open.case.visit, Side::Left);
        if order.draft_mut().is_none() {
            return;
        }
        let id = order.id.clone();
        // Whatever still stands in the way of the invented order is gone past here.
        let signing = Signing {
            rules: &plinthside_visit::rules::RuleSet { rules: Vec::new() },
            results: open.case.results.as_ref(),
            label_side: None,
            at: clock::now(),
        };
        let _ = tables;
        open.case
            .visit
            .sign(&id, &prescriber, signing)
            .expect("signed");
    });
    window.app.global::<Backend>().invoke_go(Screen::Order);
    picture(&window, "amend-1");
    let signed = window.app.global::<Data>().get_order_state();
    assert!(signed.signed);
    tap(&window, "Amend the order");
    picture(&window, "amend-2");
    tap(&window, "the lab asked about it");
    let draft = window.app.global::<Data>().get_order_state();
    assert_eq!((draft.signed, draft.revision), (false, signed.revision + 1));
    assert_eq!(window.app.global::<Data>().get_screen(), Screen::Order);
    picture(&window, "amend-3");
    {
        let session = window.inner.session.borrow();
        let order = case(&session).visit.order(Side::Left).expect("an order");
        assert_eq!(
            order.newest().expect("a revision").reason,
            "the lab asked about it"
        );
    }
    tap(&window, "Give the amendment up");
    let again = window.app.global::<Data>().get_order_state();
    assert_eq!((again.signed, again.revision), (true, signed.revision));
}

#[test]
fn what_an_order_lacks_for_a_reason_is_printed_in_words() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Morwenna Ashdown, Left");
    window.inner.change(|s| {
        let open = s.open.as_mut().expect("open");
        let order = questions::order_mut(&mut open.case.visit, Side::Left);
        let draft = order.draft_mut().expect("a draft");
        draft.prescription.identity.quantity = None;
    });
    window.app.global::<plinthside_ui::Reasons>().invoke_open();
    tap(&window, "Override: Quantity: not entered yet.");
    tap(&window, "agreed with the lab");
    let source = window.inner.session.borrow().source().expect("a visit");
    let paper = crate::papers::order(&source.foot(), plinthside_paper::Paper::A4, clock::today());
    let text = paper.expect("an order").text().concat();
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let printed = "Quantity: not entered yet. agreed with the lab";
    assert!(words.contains(printed), "{words}");
}
