//! What the screen says beside a reading or dimension, from this person's own values.

use super::tests::{case, demo_window, tap};
use super::*;
use plinthside_measure::marks::Side;
use plinthside_ui::Screen;
use plinthside_visit::Dimension;
use plinthside_visit::person::Sex;
use slint::Model;

/// The remarks beside the question of that key.
fn beside(window: &Window, key: &str) -> String {
    let at = {
        let session = window.inner.session.borrow();
        let open = session.open.as_ref().expect("open");
        open.examine.index_of(key).expect("a question")
    };
    let backend = window.app.global::<Backend>();
    backend.invoke_choose_question(at as i32);
    let remarks = window.app.global::<Data>().get_examine().cautions;
    remarks.iter().map(|r| format!("{}\n", r.text)).collect()
}

#[test]
fn a_reading_stands_beside_its_change_and_what_is_worked_out_of_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "Examine");
    let neutral = beside(&window, "rearfoot_eversion_deg");
    assert!(neutral.contains("historical calculation"), "{neutral}");
    let knee_straight = "ankle_dorsiflexion_knee_straight_deg";
    assert!(!beside(&window, knee_straight).contains("Since the visit before"));
    let published = window.app.global::<Data>().get_examine().question;
    assert!(!published.published.is_empty() && !published.error.is_empty());

    // The next visit: what was only taken over is no change; taken again, it is compared.
    let earlier = case(&window.inner.session.borrow()).visit.clone();
    window.inner.change(|s| {
        s.begin_visit(vec![Side::Left], Some(&earlier));
        s.go(Screen::Examine);
    });
    assert!(!beside(&window, knee_straight).contains("Since the visit before"));
    window.inner.change(|s| {
        let visit = &mut s.open.as_mut().expect("open").case.visit;
        let mut readings = visit.readings.iter_mut();
        let reading = readings.find(|r| r.kind == knee_straight).expect("copied");
        (reading.copied_from, reading.repeats) = (None, vec![29.0.into()]);
    });
    let told = beside(&window, knee_straight);
    assert!(
        told.contains("Since the visit before: changed by +"),
        "{told}"
    );
}

/// A row of the survey with the ball length 20 mm short, as in the clinical crate's own test.
#[test]
fn dimensions_that_hardly_go_together_are_questioned_while_they_are_taken() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "Examine");
    let asked = || beside(&window, "leg.heel_to_first_mtp_mm").contains("hardly goes with");
    let set = |ball_mm: f64| {
        window.inner.change(|s| {
            let visit = &mut s.open.as_mut().expect("open").case.visit;
            visit.person.sex = Some(Sex::Male);
            let mut legs = visit.legs.iter_mut();
            let leg = legs.find(|leg| leg.side == Side::Left).expect("a leg");
            for (dimension, mm) in [
                (Dimension::FootLengthMm, 273.0),
                (Dimension::HeelToFirstMtpMm, ball_mm),
                (Dimension::BallBreadthMm, 101.0),
            ] {
                leg.values.insert(dimension, vec![mm.into()]);
            }
        });
    };
    set(202.0);
    assert!(!asked());
    set(180.0);
    assert!(asked());
}
