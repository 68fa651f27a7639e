//! Orders that the rules doubt.

use super::*;
use plinthside_measure::cast::ResultName;
use plinthside_ui::Reasons;

/// 4 Clonus and dorsiflexion of −5°: the clinician orders an assist all the same and says why; the
/// bench reads caution and reason.
#[test]
fn s04_an_assist_in_spite_of_clonus() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let finger = Finger::new(&window);
    finger.tap("Morwenna Ashdown, Left");
    finger.tap("Examine");
    finger.answer(&[
        ("Ankle dorsiflexion, knee straight", "-5"),
        ("Clonus", "yes"),
    ]);
    finger.tap("Order");
    // The earlier draft asks for an assist already; none was chosen past it.
    let tiles = finger.list().tiles;
    let chosen = tiles.iter().find(|tile| tile.label == "Dorsiflexion");
    assert_eq!(chosen.expect("the field").value, "assisted");
    let caution = "Clonus or a marked catch: an assist may trigger it.";
    let reasons = window.app.global::<Reasons>();
    reasons.invoke_open();
    let stands = reasons.get_view().blocks;
    let stands = stands.iter().find(|block| block.text == caution);
    assert!(stands.expect("the caution").caution, "it stops nothing");
    finger.tap(&format!("All the same: {caution}"));
    finger.tap("decided after examining the patient");
    window.app.global::<Backend>().invoke_go(Screen::Order);
    finger.answer_blocks(&ORDER);
    finger.tap("Sign as Ines Calloway");
    let order = order_paper(&window);
    for words in [
        caution,
        "Ordered all the same, because",
        "decided after examining the patient",
    ] {
        assert!(order.contains(words), "“{words}” not in {order}");
    }
}

/// 7 A plantarflexed first ray: the plane of the first and fifth heads is 5° everted, that of the
/// second and fifth is not. Nothing is balanced away by itself, and it is said.
#[test]
fn s07_a_plantarflexed_first_ray_is_not_balanced() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let finger = Finger::new(&window);
    finger.tap("Morwenna Ashdown, Left");
    until(&window, "the results", |s| case(s).results.is_some());
    finger.tap("Examine");
    finger.answer(&[("First ray", "plantarflexed")]);
    // The invented shell's first ray is level: its first head is sunk by what 5° need.
    window.inner.change(|s| {
        let case = &mut s.open.as_mut().expect("open").case;
        let results = case.results.as_mut().expect("results");
        let plane = results.quantities[&ResultName::ForefootToRearfootM2M5];
        let shift = -5.0 - plane.value;
        for (name, value) in [
            (ResultName::ForefootToRearfoot, plane.value + shift),
            (ResultName::ForefootToRearfootM2M5, 0.0),
        ] {
            results.quantities.get_mut(&name).expect("measured").value = value;
        }
        case.visit.orders.clear();
    });
    window.app.global::<Backend>().invoke_go(Screen::Order);
    let draft = |field: &str| {
        let seen = visit(&window);
        let order = seen
            .order(case(&window.inner.session.borrow()).side)
            .cloned();
        let lines = order.expect("an order");
        let newest = lines.newest().expect("a draft");
        newest
            .lines(Lang::En)
            .into_iter()
            .any(|line| line.field.path.starts_with(field))
    };
    assert!(
        !draft("correction.forefoot"),
        "nothing is balanced by itself"
    );
    // Balanced by hand, it is warned of.
    finger.answer(&[("Forefoot", "balance")]);
    let checks = {
        let session = window.inner.session.borrow();
        advice::checks(case(&session), &session.tables)
    };
    assert!(checks.has("forefoot-angle-uncertain"));
}
