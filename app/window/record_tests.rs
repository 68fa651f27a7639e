//! History and two versions on the screen: what changed in words, the visit as it was, and the
//! choice between what two devices said.

use super::tests::{case, demo_window, picture, tap};
use super::*;
use plinthside_store::{Incoming, Kdf, Options, Store, VISIT};
use plinthside_ui::{Fill, Screen};
use plinthside_visit::{Entry, Visit};
use slint::Model;

#[test]
fn history_tells_who_changed_what_and_shows_the_visit_as_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let data = window.app.global::<Data>();
    let backend = window.app.global::<Backend>();
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "Examine");
    backend.invoke_choose_question(0);
    backend.invoke_set_value(3.0);
    backend.invoke_step_value(2);
    backend.invoke_choose_question(5);
    backend.invoke_choose_answer(1);
    let shown = data
        .get_examine()
        .tiles
        .row_data(0)
        .expect("the reading")
        .value;
    tap(&window, "History");
    assert_eq!(data.get_screen(), Screen::History);
    let view = data.get_history();
    let newest = view.rows.row_data(0).expect("a sitting");
    let line = newest
        .lines
        .iter()
        .find(|l| l.label.contains("dorsiflexion, knee straight"))
        .expect("the reading");
    assert_eq!(line.after, shown);
    assert!(!line.before.is_empty() && line.before != line.after);
    picture(&window, "record-1-history");
    // The first sitting is the import; the visit as it was then has the old value.
    let first = view.rows.row_count() as i32 - 1;
    backend.invoke_show_then(first);
    let then = data.get_history();
    assert!(then.then && then.then_facts.row_count() > 20);
    let old = then
        .then_facts
        .iter()
        .find(|f| f.label.contains("dorsiflexion, knee straight"))
        .expect("the reading");
    assert_eq!(old.value, line.before);
    picture(&window, "record-2-then");
    tap(&window, "Back to the list");
    tap(&window, "Back to the visit");
    assert_eq!(data.get_screen(), Screen::Examine);
}

/// Everything another device has to tell about a visit of `store`, after it changed it there.
fn changed_elsewhere(
    store: &mut Store,
    folder: &std::path::Path,
    id: &str,
    change: impl FnOnce(&mut Visit),
) -> Vec<u8> {
    let out = store.whole(id).expect("read").expect("there");
    let options = Options::new("tablet home visits").kdf(Kdf::LEAST);
    let path = folder.join("other.store");
    let mut other = Store::create(&path, "another passphrase", options).expect("made");
    other.receive(id, VISIT, &out.changes).expect("received");
    let mut visit = other.open_record::<Visit>(id).expect("opened");
    change(&mut visit.value);
    other
        .save(&mut visit, "Rosalind Okafor", "")
        .expect("saved");
    other.finish(id).expect("finished");
    other.whole(id).expect("read").expect("there").changes
}

#[test]
fn two_versions_are_shown_with_who_and_when_and_one_is_chosen() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let data = window.app.global::<Data>();
    let backend = window.app.global::<Backend>();
    tap(&window, "Morwenna Ashdown, Left");
    let id = case(&window.inner.session.borrow()).visit.id.clone();
    let other = {
        let mut session = window.inner.session.borrow_mut();
        let store = session.records().expect("open").store();
        changed_elsewhere(store, folder.path(), &id, |visit| {
            visit.person.body_mass_kg = Some(Entry::number(75.0));
        })
    };
    window.inner.change(|s| {
        let open = s.open.as_mut().expect("open");
        open.case.visit.person.body_mass_kg = Some(Entry::number(72.0));
    });
    tap(&window, "Put the visit away");
    {
        let mut session = window.inner.session.borrow_mut();
        let store = session.records().expect("open").store();
        let record = Incoming {
            id: id.clone(),
            kind: VISIT.to_owned(),
            changes: other,
        };
        for done in store.receive_all(&[record]).expect("received") {
            done.expect("taken");
        }
        session.refresh_list();
    }
    window.inner.show();
    tap(&window, "Morwenna Ashdown, Left");
    assert_eq!(data.get_two_versions(), 1);
    let attention: Vec<Screen> = data
        .get_steps()
        .iter()
        .filter(|s| s.fill == Fill::Attention)
        .map(|s| s.screen)
        .collect();
    assert!(attention.contains(&Screen::Order) && attention.contains(&Screen::Label));
    tap(&window, "1 place with two versions");
    let row = data.get_conflicts().rows.row_data(0).expect("a conflict");
    assert_eq!(row.title, "Body mass");
    let texts: Vec<String> = row.versions.iter().map(|v| v.text.to_string()).collect();
    assert!(
        texts.contains(&"72 kg".into()) && texts.contains(&"75 kg".into()),
        "{texts:?}"
    );
    let theirs = row
        .versions
        .iter()
        .position(|v| v.text == "75 kg")
        .expect("theirs");
    let who = row.versions.row_data(theirs).expect("theirs").who;
    assert!(
        who.contains("Rosalind Okafor") && who.contains("tablet home visits"),
        "{who}"
    );
    backend.invoke_choose_version(0, theirs as i32);
    picture(&window, "record-3-versions");
    tap(&window, "Body mass: take the chosen one");
    assert_eq!(data.get_two_versions(), 0);
    let session = window.inner.session.borrow();
    let mass = case(&session).visit.person.body_mass_kg.clone();
    assert_eq!(mass.and_then(|m| m.value), Some(75.0));
}
