//! A cast measured by ruler and calliper, without a photograph, through accessible names.

use super::tests::{case, demo_window, picture, tap};
use super::*;
use plinthside_measure::cast::{ResultName, Source};
use plinthside_ui::Screen;
use slint::Model;

/// Height, distance from the board and offset of each mark of an invented shell, mm; the heel line
/// leans 3 mm to the lateral side over a height of 48 mm.
pub(super) const NUMBERS: [[f64; 3]; 6] = [
    [14.0, 0.0, 0.0],
    [62.0, -3.0, 3.0],
    [86.0, 45.0, 35.0],
    [73.0, 36.0, 34.0],
    [20.0, 148.0, 38.0],
    [11.0, 136.0, 40.0],
];

#[test]
fn six_marks_by_ruler_give_results_and_verdict_without_photographs() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    window.app.global::<Backend>().invoke_new_visit(true, false);
    window
        .app
        .global::<Backend>()
        .invoke_go(Screen::Photographs);
    tap(&window, "By ruler");
    let data = window.app.global::<Data>();
    assert_eq!(data.get_screen(), Screen::Ruler);
    picture(&window, "ruler-1");
    let backend = window.app.global::<Backend>();
    let last = NUMBERS.concat().len() - 1;
    for (i, mm) in NUMBERS.concat().into_iter().enumerate() {
        backend.invoke_choose_question(i as i32);
        assert!(case(&window.inner.session.borrow()).results.is_none());
        backend.invoke_set_value(mm as f32);
        let said = data
            .get_ruler()
            .cautions
            .row_data(0)
            .expect("a remark")
            .text;
        assert_eq!(said.contains("Still to measure"), i < last, "{i}: {said}");
    }
    picture(&window, "ruler-2");
    {
        let session = window.inner.session.borrow();
        let case = case(&session);
        let results = case.results.as_ref().expect("results");
        assert_eq!(results.source, Source::Ruler);
        // Arithmetic: the heel line leans atan(3 / 48).
        let heel = results.quantities[&ResultName::Heel].value.abs();
        assert!(
            (heel - (3.0_f64 / 48.0).atan().to_degrees()).abs() < 0.3,
            "{heel}"
        );
        let cast = case.visit.cast(case.side).expect("a cast");
        assert!(cast.measurement.is_some());
        assert_eq!(cast.inspection.without_photographs, Some(true));
    }
    // A calliper over the malleoli stands in place of both offsets.
    backend.invoke_choose_question(18);
    backend.invoke_set_value(71.0);
    assert_eq!(
        data.get_ruler().tiles.row_data(8).expect("a tile").value,
        ""
    );
    assert!(case(&window.inner.session.borrow()).results.is_some());
    backend.invoke_go(Screen::Check);
    let check = data.get_check();
    assert!(check.ready && check.rear_value.by_ruler);
    picture(&window, "ruler-3-check");
    // A breadth shorter than heights and distances allow is said, and the last result stays.
    backend.invoke_go(Screen::Ruler);
    backend.invoke_choose_question(18);
    backend.invoke_set_value(12.0);
    let said = data
        .get_ruler()
        .cautions
        .row_data(0)
        .expect("a remark")
        .text;
    assert!(said.contains("shorter"), "{said}");
    assert!(case(&window.inner.session.borrow()).results.is_some());
}
