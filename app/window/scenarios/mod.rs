//! The twelve scenarios that every release passes, through screens, store and exchange: each says
//! what the clinician sees and what the bench gets. All of it is invented.

mod casts;
mod lab;
mod orders;
mod visits;

use super::finger::{Finger, settle};
use super::tests::{case, demo_window, test_window, until};
use super::whole_visit::{BY_HAND, EXAMINATION, ORDER, POSITION, stock, without_label};
use super::*;
use crate::records::Records;
use crate::{clock, papers};
use plinthside_demo_data::DemoCast;
use plinthside_measure::marks::Marks;
use plinthside_paper::{Document, Paper};
use plinthside_ui::Screen;
use plinthside_visit::Visit;
use slint::Model;

/// A clinic that has seen nobody yet.
fn new_clinic(folder: &Path) -> Window {
    let mut clinic = invented::clinic().expect("the invented clinic");
    stock(&mut clinic);
    let store = folder.join("clinic.store");
    let by = "Ines Calloway";
    let records = Records::create(&store, invented::PASSPHRASE, &clinic, by, Some(Kdf::LEAST));
    test_window(session_on(records.expect("a store"), folder))
}

/// A session on records that are open.
fn session_on(records: Records, folder: &Path) -> Session {
    let tables = Tables::shipped().expect("the shipped tables");
    let desk = Desk::Closed(Door::default());
    let mut session = Session::new(desk, Look::default(), tables, folder.join("papers"));
    session.enter(Box::new(records.for_demo()));
    session
}

/// The cast's photographs, changed on their way, in a folder that is looked through.
fn offer(window: &Window, folder: &Path, cast: &DemoCast, change: impl Fn(&[u8]) -> Vec<u8>) {
    let pictures = folder.join(format!("pictures-{}", cast.side));
    std::fs::create_dir_all(&pictures).expect("a folder");
    for photo in &cast.photos {
        std::fs::write(pictures.join(photo.name), change(photo.jpeg)).expect("written");
    }
    window.inner.session.borrow_mut().taking.folder = pictures;
    window
        .app
        .global::<Backend>()
        .invoke_go(Screen::Photographs);
}

/// Takes in what is offered and marks it.
fn take_and_mark(window: &Window, finger: &Finger<'_>, marks: &str) {
    finger.tap("Take in 8 photographs");
    until(window, "the marking screen", |s| s.screen == Screen::Mark);
    settle(window);
    finger.mark(&Marks::from_json(marks).expect("marks"));
    finger.tap("Results");
    settle(window);
}

/// A visit of one foot that was examined and positioned.
fn examined(finger: &Finger<'_>, which: &str) {
    finger.tap("New visit");
    finger.tap(which);
    finger.answer(&[
        ("treatment", "given"),
        ("photographs", "given"),
        ("sharing with the lab", "given"),
        ("Body mass", "66"),
    ]);
    finger.tap("Examine");
    finger.answer(&EXAMINATION);
    finger.tap("Position");
    finger.answer(&POSITION);
}

/// Answers what the order still asks and signs it.
fn sign(window: &Window, finger: &Finger<'_>) {
    window.app.global::<Backend>().invoke_go(Screen::Order);
    finger.answer_blocks(&ORDER);
    finger.tap("Sign as Ines Calloway");
    let data = window.app.global::<Data>();
    let refusal = data.get_order_state().refusal;
    assert_eq!(data.get_screen(), Screen::Label, "{refusal}");
}

fn visit(window: &Window) -> Visit {
    case(&window.inner.session.borrow()).visit.clone()
}

fn words(document: &Document) -> String {
    let text = document.text().concat();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The order as the bench reads it.
fn order_paper(window: &Window) -> String {
    let source = window.inner.session.borrow().source().expect("a visit");
    words(&papers::order(&source.foot(), Paper::A4, clock::today()).expect("an order"))
}

/// The bench sheet as the bench reads it.
fn bench_paper(window: &Window) -> String {
    let source = window.inner.session.borrow().source().expect("a visit");
    words(&papers::bench(&source.foot(), Paper::A4, clock::today()).expect("a bench sheet"))
}

/// What stands in the way of signing, in words.
fn blocks(window: &Window) -> Vec<String> {
    let state = window.app.global::<Data>().get_order_state();
    state.blocks.iter().map(|block| block.text.into()).collect()
}
