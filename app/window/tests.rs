//! The window on the invented clinic, driven through accessible names, drawn in memory.

use super::*;
use i_slint_backend_testing::{
    AccessibleRole, ElementHandle, TestingBackend, TestingBackendOptions,
};
use plinthside_ui::{Level, MarkState, Screen};
use slint::platform::WindowEvent;
use slint::{LogicalPosition, LogicalSize, Model};
use std::path::Path;
use std::time::{Duration, Instant};

pub(super) fn demo_window(folder: &Path) -> Window {
    let mut session = demo_session(folder, folder.to_owned()).expect("the demo data");
    session.look = Look::default();
    test_window(session)
}

/// A window of a tablet's size, drawn in memory.
pub fn test_window(session: Session) -> Window {
    let backend = TestingBackend::new(TestingBackendOptions {
        mock_time: true,
        threading: false,
        renderer_name: Some("software".into()),
    });
    slint::platform::set_platform(Box::new(backend)).expect("one backend a thread");
    shown_window(session)
}

/// Another window on the same screen.
pub fn shown_window(session: Session) -> Window {
    let window = Window::new(session).expect("a window");
    window
        .app
        .window()
        .set_size(LogicalSize::new(1280.0, 800.0));
    window.app.show().expect("shown");
    window
}

/// Takes what the worker tells until something holds.
pub fn until(window: &Window, what: &str, holds: impl Fn(&Session) -> bool) {
    let start = Instant::now();
    while !holds(&window.inner.session.borrow()) {
        assert!(
            start.elapsed() < Duration::from_mins(2),
            "waited in vain for {what}"
        );
        std::thread::sleep(Duration::from_millis(10));
        window.pump();
    }
}

pub fn case(session: &Session) -> &Case {
    &session.open.as_ref().expect("an open visit").case
}

/// The element of that name, scrolled to as a hand would where it is not in sight.
fn seek(
    window: &Window,
    name: &str,
    wanted: impl Fn(Option<AccessibleRole>) -> bool,
) -> Option<ElementHandle> {
    let found = || {
        ElementHandle::find_by_accessible_label(&window.app, name)
            .find(|e| wanted(e.accessible_role()))
    };
    let screen = window.app.window();
    let size = screen.size().to_logical(screen.scale_factor());
    for across in [0.5, 0.25, 0.75] {
        for _ in 0..12 {
            if let Some(element) = found() {
                return Some(element);
            }
            screen.dispatch_event(WindowEvent::PointerScrolled {
                position: LogicalPosition::new(size.width * across, size.height * 0.5),
                delta_x: 0.0,
                delta_y: -0.4 * size.height,
            });
            i_slint_backend_testing::mock_elapsed_time(Duration::from_millis(300));
        }
    }
    found()
}

pub fn tap(window: &Window, name: &str) {
    let is_control = |role| {
        matches!(
            role,
            Some(
                AccessibleRole::Button
                    | AccessibleRole::Tab
                    | AccessibleRole::RadioButton
                    | AccessibleRole::Checkbox
            )
        )
    };
    seek(window, name, is_control)
        .unwrap_or_else(|| panic!("no control is called {name}"))
        .invoke_accessible_default_action();
}

/// Types into the field of that name.
pub fn field(window: &Window, name: &str, text: &str) {
    seek(window, name, |role| role == Some(AccessibleRole::TextInput))
        .unwrap_or_else(|| panic!("no field {name}"))
        .set_accessible_value(text);
}

pub fn picture(window: &Window, name: &str) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("build-output/window");
    std::fs::create_dir_all(&folder).expect("a folder");
    i_slint_backend_testing::mock_elapsed_time(Duration::from_millis(600));
    let shot = window.app.window().take_snapshot().expect("drawn");
    let pixels = image::RgbaImage::from_raw(shot.width(), shot.height(), shot.as_bytes().to_vec())
        .expect("four bytes a pixel");
    pixels
        .save(folder.join(format!("{name}.png")))
        .expect("saved");
}

#[test]
fn the_demo_is_measured_judged_marked_ordered_and_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let data = window.app.global::<Data>();
    assert_eq!(data.get_screen(), Screen::Cases);
    picture(&window, "1-cases");

    // The left cast is clean.
    tap(&window, "Morwenna Ashdown, Left");
    until(&window, "the left cast", |s| case(s).results.is_some());
    picture(&window, "2-check-left");
    let check = data.get_check();
    assert!(
        check.ready && check.level != Level::Recast,
        "{}",
        check.sentence
    );
    assert!(check.findings.iter().any(|f| f.band.present));
    assert!(check.rear.dots.row_count() >= 4);

    // Its marks lie where they were tapped; a nudge makes a new measurement.
    tap(&window, "Marks");
    until(&window, "the photograph", |s| {
        case(s).marking.as_ref().is_some_and(Marking::is_shown)
    });
    picture(&window, "3-marks-left");
    let marks = data.get_mark();
    assert!(
        marks
            .items
            .iter()
            .filter(|i| i.state == MarkState::Placed)
            .count()
            >= 6
    );
    assert!(marks.photos.iter().all(|p| p.tags > 8));
    assert!(
        marks.tapped,
        "the first mark is tapped in the first photograph"
    );
    let before = case(&window.inner.session.borrow()).results.clone();
    window.app.global::<Backend>().invoke_nudge_mark(3.0, 0.0);
    until(&window, "the new measurement", |s| {
        case(s).results != before
    });
    tap(&window, "Undo");
    until(&window, "the old measurement", |s| {
        case(s).results == before
    });

    // Examination and order are filled from the visit.
    tap(&window, "Examine");
    assert!(
        data.get_examine()
            .tiles
            .iter()
            .filter(|t| !t.value.is_empty())
            .count()
            > 5
    );
    picture(&window, "4-examine");
    tap(&window, "Order");
    picture(&window, "5-order");
    tap(&window, "Fill from the measurement");

    // Label and papers are typeset and written.
    tap(&window, "Label");
    until(&window, "the label", |s| {
        let open = s.open.as_ref().expect("an open visit");
        open.papers
            .label_view(&open.case.visit, open.case.side, Lang::En)
            .ready
    });
    picture(&window, "6-label");
    tap(&window, "Hand over");
    tap(&window, "Write the papers");
    until(&window, "the papers", |s| {
        let open = s.open.as_ref().expect("an open visit");
        let view = open
            .papers
            .hand_over_view(&open.case.visit, open.case.side, None, "", Lang::En);
        view.papers
            .iter()
            .all(|p| !p.file.is_empty() || !p.problem.is_empty())
    });
    picture(&window, "7-hand-over");
    let view = data.get_hand_over();
    let failed: Vec<_> = view
        .papers
        .iter()
        .filter(|p| !p.problem.is_empty())
        .map(|p| p.problem)
        .collect();
    assert!(failed.is_empty(), "{failed:?}");
    assert!(
        view.papers
            .iter()
            .all(|p| Path::new(p.file.as_str()).is_file())
    );

    // The right one was squeezed, and one tap missed its dot: it says so instead of a result.
    tap(&window, "Put the visit away");
    tap(&window, "Tobias Fennimore, Right");
    until(&window, "the right cast", |s| {
        let case = case(s);
        let said = |m: &Marking| !m.view(Lang::En).remark.text.is_empty();
        case.results.is_some() || case.marking.as_ref().is_some_and(said)
    });
    picture(&window, "8-check-right");
    let check = data.get_check();
    assert!(check.ready || (check.level == Level::None && !check.sentence.is_empty()));
}

#[test]
fn a_typed_answer_stays_with_its_own_question() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "Person");
    let backend = window.app.global::<Backend>();
    let tiles = window.app.global::<Data>().get_person_questions().tiles;
    let at = |label: &str| tiles.iter().position(|t| t.label == label);
    let field = |name: &str| {
        ElementHandle::find_by_accessible_label(&window.app, name)
            .find(|e| e.accessible_role() == Some(AccessibleRole::TextInput))
            .unwrap_or_else(|| panic!("no field {name}"))
    };
    backend.invoke_choose_question(at("Reason of the visit").expect("asked") as i32);
    field("Reason of the visit").set_accessible_value("trips on stairs");
    backend.invoke_choose_question(at("Telephone").expect("asked") as i32);
    i_slint_backend_testing::mock_elapsed_time(Duration::from_millis(50));
    let telephone = field("Telephone").accessible_value().unwrap_or_default();
    assert_ne!(telephone, "trips on stairs");
    let kept = &case(&window.inner.session.borrow()).visit.clone();
    assert_eq!(kept.reason, "trips on stairs");
    assert_eq!(kept.person.telephone, telephone.as_str());
}

#[test]
fn the_whole_program_speaks_german_after_one_tap() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "Settings");
    tap(&window, "Deutsch");
    assert_eq!(window.app.global::<Data>().get_language(), "de");
    picture(&window, "9-einstellungen");
    window.app.global::<Backend>().invoke_go(Screen::Check);
    tap(&window, "Befund");
    let examine = window.app.global::<Data>().get_examine();
    let german = |t: plinthside_ui::QuestionTile| t.label.contains("Dorsalextension");
    assert!(examine.tiles.iter().any(german));
    picture(&window, "9-befund");
    tap(&window, "Prüfen");
    picture(&window, "10-pruefen");
}
