//! The settings through their accessible names, on the invented clinic.

use crate::window::tests::{demo_window, field, picture, tap};
use crate::window::*;
use plinthside_ui::{Screen, Settings as Shown, SettingsPage};
use plinthside_visit::verdict::Check;
use slint::Model;

fn clinic(window: &Window) -> plinthside_visit::Clinic {
    window.inner.session.borrow().clinic()
}

fn shown(window: &Window) -> plinthside_ui::SettingsView {
    window.app.global::<Shown>().get_view()
}

fn row(window: &Window, title: &str) -> Option<plinthside_ui::SettingsRow> {
    shown(window)
        .rows
        .iter()
        .find(|row| row.title.starts_with(title))
}

fn next(window: &Window) {
    tap(window, "Next");
}

#[test]
fn clinic_and_people_are_typed_and_kept_in_the_records() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Settings");
    picture(&window, "settings-1");
    tap(&window, "Clinic");
    field(&window, "Name", "Tidewater Clinic");
    next(&window);
    field(&window, "Address", "1 Quay Street, Netherquay");
    next(&window);
    field(&window, "Telephone", "01632 960000");
    picture(&window, "settings-2-clinic");
    tap(&window, "Back");
    let kept = clinic(&window);
    assert_eq!(kept.name, "Tidewater Clinic");
    assert_eq!(kept.address, ["1 Quay Street", "Netherquay"]);
    assert_eq!(kept.telephone, "01632 960000");
    assert!(
        row(&window, "Clinic")
            .expect("a row")
            .detail
            .contains("Tidewater Clinic")
    );

    tap(&window, "People");
    tap(&window, "Add a person");
    field(&window, "Name", "Jory Penhale");
    next(&window);
    next(&window);
    field(&window, "Registration", "X-1");
    tap(&window, "Back");
    picture(&window, "settings-3-people");
    tap(&window, "Works now: Jory Penhale");
    assert_eq!(window.inner.session.borrow().person, "Jory Penhale");
    // An entry nothing was typed into is not kept.
    let people = clinic(&window).prescribers.len();
    tap(&window, "Add a person");
    tap(&window, "Back");
    assert_eq!(clinic(&window).prescribers.len(), people);
    // It is in the store, not on the screen alone.
    window
        .inner
        .session
        .borrow_mut()
        .records()
        .expect("records")
        .refresh()
        .expect("read anew");
    let kept = clinic(&window).prescribers;
    let last = kept.last().expect("a person");
    assert_eq!(
        (last.name.as_str(), last.registration.as_str()),
        ("Jory Penhale", "X-1")
    );
    tap(&window, "Jory Penhale");
    tap(&window, "Take out of the list");
    assert_eq!(clinic(&window).prescribers.len(), people - 1);
}

#[test]
fn a_key_that_is_none_is_said_and_not_kept() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Settings");
    tap(&window, "Labs");
    tap(&window, "Kiln Row Orthotic Workshop");
    tap(&window, "Key for sealed packages");
    field(&window, "Key for sealed packages", "age1nonsense");
    picture(&window, "settings-4-lab");
    assert!(shown(&window).list.question.problem.contains("age1"));
    assert!(clinic(&window).labs[0].public_key.is_empty());
    let key = "age1ql3z7hjy54pw3hyww5ayyfg7zqgvc7w3j2elw8zmrj2kg5sfn9aqmcac8p";
    field(&window, "Key for sealed packages", key);
    assert_eq!(clinic(&window).labs[0].public_key, key);
}

#[test]
fn an_own_limit_judges_at_once_and_the_shipped_one_comes_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Settings");
    tap(&window, "Limits: keep or recast");
    picture(&window, "settings-5-limits");
    tap(&window, "Rock at the edge on a flat table");
    window.app.global::<Backend>().invoke_set_value(1.0);
    picture(&window, "settings-6-limit");
    let of = |window: &Window| {
        let session = window.inner.session.borrow();
        let rows = &session.tables.tolerances.limit;
        rows.iter()
            .find(|l| l.check == Check::RockMm)
            .and_then(|l| l.keep?.high)
    };
    assert_eq!(of(&window), Some(1.0));
    assert!(shown(&window).own);
    // Keeping more than the lab can correct is no limit: said, and the shipped one judges.
    window.app.global::<Backend>().invoke_set_value(9.0);
    assert!(
        shown(&window).problem.contains("shipped"),
        "{}",
        shown(&window).problem
    );
    assert_eq!(of(&window), Some(2.0));
    tap(&window, "Back to the shipped limits");
    assert!(clinic(&window).limits.is_empty());
    assert_eq!(of(&window), Some(2.0));
}

#[test]
fn rules_are_switched_off_and_a_broken_rule_file_is_refused_with_its_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let in_force = |window: &Window, id: &str| {
        window
            .inner
            .session
            .borrow()
            .tables
            .rules
            .rule(id)
            .is_some()
    };
    tap(&window, "Settings");
    tap(&window, "Rules");
    picture(&window, "settings-7-rules");
    assert!(in_force(&window, "dorsiflexion-below-neutral"));
    tap(&window, "1 · caution");
    assert!(!in_force(&window, "dorsiflexion-below-neutral"));
    tap(&window, "1 · caution · switched off");
    assert!(in_force(&window, "dorsiflexion-below-neutral"));

    tap(&window, "Write the rule file");
    let path = folder.path().join("rules.toml");
    let shipped = std::fs::read_to_string(&path).expect("written");
    let before = window.inner.session.borrow().tables.rules.clone();
    std::fs::write(
        &path,
        shipped.replacen("between 0 and 5", "betwixt 0 and 5", 1),
    )
    .expect("written");
    let load = |window: &Window| {
        let path = path.display().to_string();
        window.app.global::<Shown>().invoke_load_rules(path.into());
    };
    load(&window);
    let problem = shown(&window).problem;
    assert!(
        problem.contains("line ") && problem.contains("dorsiflexion-barely-enough"),
        "{problem}"
    );
    picture(&window, "settings-8-rules-refused");
    assert_eq!(window.inner.session.borrow().tables.rules, before);

    let own = shipped.replacen("the heel lifts", "the clinic says that the heel lifts", 1);
    std::fs::write(&path, own).expect("written");
    load(&window);
    assert!(row(&window, "1 · caution · the clinic's own").is_some());
    tap(&window, "Shipped rules only");
    assert_eq!(window.inner.session.borrow().tables.rules, before);
}

#[test]
fn a_mat_is_saved_measured_and_used_and_fit_to_page_is_said() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    tap(&window, "Settings");
    tap(&window, "Mats");
    let before = clinic(&window).mats.len();
    tap(&window, "Print and measure a mat");
    assert_eq!(
        (shown(&window).list.chosen, shown(&window).title.as_str()),
        (0, "Mats")
    );
    tap(&window, "A4, for a short shell");
    tap(&window, "Save the sheet");
    assert!(folder.path().join("mat-a4.pdf").is_file());
    tap(&window, "Keep the lengths");
    assert!(
        shown(&window).problem.contains("both"),
        "{}",
        shown(&window).problem
    );
    let layout = plinthside_measure::mat::sheet::Paper::A4.layout();
    let page = &layout.pages[0];
    let shrunk = |mm: f64| format!("{:.1}", 0.96 * mm);
    window.app.global::<Backend>().invoke_choose_question(2);
    field(&window, "Check bar across, mm", "20");
    // What could not be taken is not lost on the way to the next question.
    next(&window);
    let question = shown(&window).list.question;
    assert!(!question.problem.is_empty());
    assert_eq!(
        (shown(&window).list.chosen, question.value_text.as_str()),
        (2, "20")
    );
    field(
        &window,
        "Check bar across, mm",
        &shrunk(page.across.nominal_mm),
    );
    next(&window);
    field(
        &window,
        "Check bar along, mm",
        &shrunk(page.along.nominal_mm).replace('.', ","),
    );
    picture(&window, "settings-9-mat");
    tap(&window, "Keep the lengths");
    let view = shown(&window);
    assert!(view.problem.contains("fit to page"), "{}", view.problem);
    assert_eq!(view.page, SettingsPage::Mats);
    picture(&window, "settings-10-mats");
    let mats = clinic(&window).mats;
    assert_eq!(mats.len(), before + 1);
    // The newest mat with these tags is the one photographs are measured with.
    let ids: Vec<u32> = page.tags.iter().map(|tag| tag.id).collect();
    let seen = crate::window::take::mat_seen(&clinic(&window), &ids);
    assert_eq!(
        seen,
        Some(crate::window::take::MatSeen::Printed(
            mats[before].id.clone()
        ))
    );
}

#[test]
fn the_settings_are_whole_in_german_and_with_large_text() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    window
        .app
        .global::<Backend>()
        .invoke_set_language("de".into());
    window.app.global::<Backend>().invoke_set_text_scale(150);
    window.app.global::<Backend>().invoke_go(Screen::Settings);
    picture(&window, "einstellungen-1");
    for (name, n) in [
        ("Personen", 2),
        ("Grenzen: behalten oder neu abformen", 3),
        ("Regeln", 4),
    ] {
        tap(&window, name);
        picture(&window, &format!("einstellungen-{n}"));
        tap(&window, "Zurück");
    }
}
