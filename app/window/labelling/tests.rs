//! Labels through accessible names: printed, bound by photograph and typing, made void, proven.

use crate::window::tests::{case, demo_window, field, picture, tap, until};
use crate::window::*;
use plinthside_paper::CastCode;
use plinthside_ui::{Printing, Screen};
use plinthside_visit::person::ClinicPrinter;
use slint::Model;

fn labelling(window: &Window) -> plinthside_ui::LabellingView {
    window.app.global::<Printing>().get_labelling()
}

fn code(window: &Window) -> String {
    let session = window.inner.session.borrow();
    let case = case(&session);
    let cast = case.visit.cast(case.side);
    cast.and_then(|cast| cast.code.clone()).unwrap_or_default()
}

/// The label screen of the invented left foot, its cast with a label of its own.
fn at_label(window: &Window) -> String {
    tap(window, "Morwenna Ashdown, Left");
    tap(window, "Label");
    if code(window).is_empty() {
        tap(window, "Bind a new code");
    }
    code(window)
}

#[test]
fn a_bag_is_proven_by_its_own_label_and_stopped_by_any_other() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let own = at_label(&window);
    tap(&window, "Prove the bag");
    picture(&window, "label-1-prove");
    let type_in = |text: &str| {
        window
            .app
            .global::<Printing>()
            .invoke_label_typed(text.into());
    };
    type_in("not a code");
    assert!(labelling(&window).stop.contains("13"));
    // One symbol of its own code mistyped: the group to look at is said.
    let third = own[10..11]
        .parse::<u8>()
        .map_or('3', |digit| char::from(b'0' + (digit + 1) % 10));
    type_in(&format!("{}{third}{}", &own[..10], &own[11..]));
    assert!(
        labelling(&window).stop.contains("third group"),
        "{}",
        labelling(&window).stop
    );
    let foreign = CastCode::mint().expect("randomness").to_string();
    type_in(&foreign);
    let shown = labelling(&window);
    assert!(
        !shown.proven && shown.stop.contains("not known here"),
        "{}",
        shown.stop
    );
    picture(&window, "label-2-stop");
    type_in(&own);
    let shown = labelling(&window);
    assert!(shown.proven && shown.stop.is_empty(), "{}", shown.stop);
    picture(&window, "label-3-proven");
    // Right or wrong, it is recorded.
    let mut session = window.inner.session.borrow_mut();
    let id = case(&session).visit.id.clone();
    let proofs = session
        .records()
        .expect("records")
        .store()
        .bag_proofs(&id)
        .expect("read");
    assert_eq!(proofs.len(), 2);
}

#[test]
fn a_lost_label_is_made_void_and_a_pre_printed_one_bound_by_its_photograph() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let lost = at_label(&window);
    // A photograph of the label lies in the watched folder.
    let source = window
        .inner
        .session
        .borrow()
        .source()
        .expect("an open visit");
    let png = source.label_png().expect("a label");
    let pictures = folder.path().join("pictures");
    std::fs::create_dir_all(&pictures).expect("a folder");
    std::fs::write(pictures.join("label.png"), png).expect("written");
    window.inner.session.borrow_mut().taking.folder = pictures;

    tap(&window, "Make the label void");
    tap(&window, "lost");
    assert!(code(&window).is_empty());
    // The void label is refused for good, by photograph as by typing.
    tap(&window, "Bind a pre-printed label");
    picture(&window, "label-4-bind");
    tap(&window, "label.png");
    until(&window, "the label in the photograph", |s| {
        s.open
            .as_ref()
            .is_some_and(|_| !s.labelling_view().stop.is_empty())
    });
    assert!(
        labelling(&window).stop.contains("void"),
        "{}",
        labelling(&window).stop
    );
    picture(&window, "label-5-void");
    let fresh = CastCode::mint().expect("randomness");
    window
        .app
        .global::<Printing>()
        .invoke_label_typed(fresh.to_string().into());
    assert_eq!(code(&window), fresh.to_string());
    assert!(code(&window) != lost);
    assert!(labelling(&window).stop.is_empty());
}

#[test]
fn a_label_of_another_cast_is_not_bound() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let other = at_label(&window);
    tap(&window, "Put the visit away");
    tap(&window, "Tobias Fennimore, Right");
    tap(&window, "Label");
    if !code(&window).is_empty() {
        tap(&window, "Make the label void");
        tap(&window, "torn or unreadable");
    }
    tap(&window, "Bind a pre-printed label");
    field(&window, "The 13 symbols under the code", &other);
    window
        .app
        .global::<Printing>()
        .invoke_label_typed(other.into());
    assert!(code(&window).is_empty());
    assert!(
        labelling(&window).stop.contains("already belongs"),
        "{}",
        labelling(&window).stop
    );
}

#[test]
fn a_job_waits_for_a_printer_that_is_away_and_can_be_cancelled() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    window.inner.change(|s| {
        s.change_clinic(|clinic| {
            clinic.printers.push(ClinicPrinter {
                name: "labels".into(),
                address: "ipp://127.0.0.1:9/ipp/print".into(),
                dpi: 300,
                label: "62x100".into(),
                ..ClinicPrinter::default()
            });
            clinic.printers.push(ClinicPrinter {
                name: "office".into(),
                address: "ipp://127.0.0.1:9/ipp/print".into(),
                ..ClinicPrinter::default()
            });
        });
    });
    at_label(&window);
    until(&window, "the label", |s| {
        let open = s.open.as_ref().expect("an open visit");
        open.papers
            .label_view(&open.case.visit, open.case.side, Lang::En)
            .ready
    });
    window.inner.show();
    tap(&window, "Print the label");
    let job = |s: &Session| {
        let clinic = s.clinic();
        let view = s.prints.view(&clinic, true, Lang::En);
        view.jobs.row_data(0)
    };
    until(&window, "the waiting job", |s| {
        job(s).is_some_and(|job| job.waits && job.status.contains("to answer"))
    });
    picture(&window, "label-6-waits");
    tap(&window, "Cancel job 1: Label, left");
    until(&window, "the cancelled job", |s| {
        job(s).is_some_and(|job| job.status == "cancelled")
    });
    window.app.global::<Backend>().invoke_go(Screen::HandOver);
    tap(&window, "Print: Order");
    until(&window, "the order's job", |s| {
        job(s).is_some_and(|job| job.title == "Order" && job.waits)
    });
    picture(&window, "label-7-hand-over");
}

#[test]
fn a_photograph_beside_the_label_of_another_visit_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Tobias Fennimore, Right");
    let photographs = |s: &Session| s.sources().map_or(0, |s| s.photographs.len());
    let before = photographs(&window.inner.session.borrow());
    let pictures = folder.path().join("pictures");
    std::fs::create_dir_all(&pictures).expect("a folder");
    let photo = &plinthside_demo_data::CASTS[0].photos[0];
    std::fs::write(pictures.join(photo.name), photo.jpeg).expect("written");
    window.inner.session.borrow_mut().taking.folder = pictures;
    window
        .app
        .global::<Backend>()
        .invoke_go(Screen::Photographs);
    tap(&window, "Take in 1 photograph");
    let problems = || window.app.global::<Data>().get_taking().problems;
    until(&window, "what is wrong with it", |_| {
        problems().row_count() > 0
    });
    let said = problems().row_data(0).expect("a sentence");
    assert!(said.contains("of another visit: stop"), "{said}");
    assert_eq!(photographs(&window.inner.session.borrow()), before);
}

#[test]
fn a_cast_takes_the_label_of_its_photographs_and_no_other() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    window.app.global::<Backend>().invoke_new_visit(true, false);
    let seen = CastCode::mint().expect("randomness").to_string();
    window.inner.change(|s| {
        let open = s.open.as_mut().expect("an open visit");
        open.case.cast_mut().record.label_seen = seen.clone();
    });
    tap(&window, "Label");
    tap(&window, "Bind a pre-printed label");
    let other = CastCode::mint().expect("randomness").to_string();
    let backend = window.app.global::<Printing>();
    backend.invoke_label_typed(other.into());
    assert!(
        labelling(&window).stop.contains(&seen),
        "{}",
        labelling(&window).stop
    );
    assert!(code(&window).is_empty());
    tap(&window, "Back");
    tap(&window, "Bind the photographed label");
    assert_eq!(code(&window), seen);
}
