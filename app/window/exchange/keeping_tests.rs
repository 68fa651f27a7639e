//! What is asked twice or settled: a visit erased, the practice key changed, settings chosen between.

use super::tests::{
    NEVER, clinic_window, devices_screen, first, met, other_device, run, shown, synchronise, wait,
};
use crate::outbox;
use crate::window::tests::{case, picture, tap};
use crate::window::*;
use plinthside_exchange::package::lab_path;
use plinthside_measure::marks::Side;
use plinthside_store::{Kdf, Options, Store, StoreError};
use plinthside_ui::{Screen, Tone};
use plinthside_visit::Clinic;
use slint::Model;

#[test]
fn a_visit_is_erased_after_a_question_that_names_it_and_its_package_goes_from_the_target() {
    let (folder, meeting, window) = met();
    let data = window.app.global::<Data>();
    let backend = window.app.global::<Backend>();
    backend.invoke_go(Screen::Cases);
    tap(&window, "Morwenna Ashdown, Left");
    let (id, patient, code) = {
        let session = window.inner.session.borrow();
        let visit = &case(&session).visit;
        let cast = visit.casts.iter().find_map(|cast| cast.code.clone());
        (visit.id.clone(), visit.person.code.clone(), cast)
    };
    // A package of it lies at the target.
    let name = format!("{}-r1.age", code.expect("a code"));
    let file = folder.path().join(&name);
    std::fs::write(&file, b"sealed").expect("written");
    window.inner.change(|s| {
        let store = s.records().expect("open").store();
        outbox::add(store, "Kiln Row Workshop", &file).expect("waits");
    });
    synchronise(&window);
    let lies = meeting.join(lab_path("Kiln Row Workshop", &name));
    assert!(lies.is_file());

    backend.invoke_go(Screen::Cases);
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "History");
    tap(&window, "Erase the visit");
    let view = data.get_history();
    assert_eq!(view.erasing, patient);
    assert!(view.goes.contains(&id) && view.stays.contains("Local law"));
    picture(&window, "record-5-erase");
    // Left as it is, nothing goes; without the question nothing goes either.
    tap(&window, "Keep the visit");
    assert_eq!(data.get_history().erasing, "");
    backend.invoke_erase_visit();
    assert_eq!(case(&window.inner.session.borrow()).visit.id, id);
    tap(&window, "Erase the visit");
    tap(&window, "Erase it for good");
    assert_eq!(data.get_screen(), Screen::Cases);
    {
        let mut session = window.inner.session.borrow_mut();
        let read = session.records().expect("open").store().read(&id);
        assert!(matches!(read, Err(StoreError::Erased { .. })), "{read:?}");
    }
    synchronise(&window);
    assert!(!lies.exists(), "the package is taken away");
}

#[test]
fn the_practice_key_is_changed_and_the_others_go_on_with_the_new_one() {
    let (folder, meeting, window) = met();
    let other = other_device(folder.path(), &window, &meeting);
    devices_screen(&window);
    tap(&window, "Devices");
    tap(&window, "Change the practice key");
    assert_eq!(shown(&window).problem, "");
    assert!(
        shown(&window).said.contains("new key"),
        "{}",
        shown(&window).said
    );
    picture(&window, "exchange-16-new-key");
    synchronise(&window);
    let told = run(&other, &meeting).expect("synchronised with the new key");
    assert!(!told.iter().any(|line| line.contains("cannot")), "{told:?}");
}

#[test]
fn settings_that_differ_are_shown_with_both_values_and_settled() {
    let (folder, meeting, window) = met();
    let other = other_device(folder.path(), &window, &meeting);
    let theirs = Clinic {
        name: "Name of another day".into(),
        ..window.inner.session.borrow().clinic()
    };
    // It had settings of its own before it learned of the clinic's.
    let lone = Options::new("Lost tablet").kdf(Kdf::LEAST);
    let path = folder.path().join("lone.store");
    let mut lone = Store::create(path, "another passphrase", lone).expect("made");
    lone.import("clinic", "settings", &theirs, "Bo")
        .expect("kept");
    let whole = lone.whole("clinic").expect("read").expect("there");
    let received = other
        .lock()
        .expect("alone")
        .receive("clinic", &whole.kind, &whole.changes);
    received.expect("taken");
    run(&other, &meeting).expect("synchronised");
    synchronise(&window);
    tap(&window, "Choose between the settings");
    let disputed = shown(&window).disputed;
    let all: Vec<_> = disputed.iter().collect();
    let name = all.iter().position(|row| row.title == "Name of the clinic");
    let name = name.expect("the name is disputed");
    let versions: Vec<_> = all[name].versions.iter().collect();
    let theirs = versions
        .iter()
        .position(|v| v.text == "Name of another day");
    let theirs = theirs.expect("their name");
    assert!(
        versions[theirs].who.contains("Bo"),
        "{}",
        versions[theirs].who
    );
    assert!(versions[1 - theirs].text.contains("Saltmarsh"));
    picture(&window, "exchange-17-settings");
    tap(&window, "Name of the clinic: Name of another day");
    tap(&window, "Name of the clinic: take the chosen one");
    let left = shown(&window).disputed;
    assert!(left.iter().all(|row| row.title != "Name of the clinic"));
    let clinic = window.inner.session.borrow().clinic();
    assert_eq!(clinic.name, "Name of another day");
    let tones = shown(&window).results;
    assert_eq!(
        tones.iter().any(|line| line.tone == Tone::Caution),
        left.row_count() > 0
    );
}

/// What keeps a visit on this device stands in its history, with what to do.
#[test]
fn a_target_that_cannot_be_reached_is_said_of_each_visit_that_waits_for_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let meeting = folder.path().join("stick").join("practice");
    std::fs::create_dir_all(&meeting).expect("made");
    let window = clinic_window(folder.path(), NEVER);
    first(&window, &meeting);
    let told = |of: &str| {
        window.app.global::<Backend>().invoke_go(Screen::Cases);
        tap(&window, of);
        tap(&window, "History");
        let lies = window.app.global::<Data>().get_history().lies;
        lies.row_data(0).expect("of the target")
    };
    assert_eq!(told("Morwenna Ashdown, Left").tone, Tone::Good);
    std::fs::remove_dir_all(folder.path().join("stick")).expect("pulled out");
    window
        .inner
        .change(|s| s.begin_visit(vec![Side::Right], None));
    let person = case(&window.inner.session.borrow())
        .visit
        .person
        .code
        .clone();
    window.app.global::<Backend>().invoke_go(Screen::Cases);
    devices_screen(&window);
    tap(&window, "Synchronise now");
    wait(&window, "why", |v| {
        let mut results = v.results.iter();
        results.any(|said| said.text.contains("cannot be reached"))
    });
    let waits = told(&format!("{person}, Right"));
    assert_eq!(waits.tone, Tone::Caution);
    assert!(waits.text.contains("cannot be reached"), "{}", waits.text);
}
