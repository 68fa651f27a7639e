//! What goes wrong is said in German where the screen speaks German.

use super::tests::{demo_window, picture, tap, test_window, until};
use super::*;
use crate::error::AppError;
use crate::records::{Place, Records};
use plinthside_store::{Kdf, StoreError};
use plinthside_ui::{ExchangePage, LabelDoing, Printing, Screen};
use plinthside_visit::Clinic;
use slint::Model;

#[test]
fn a_wrong_passphrase_is_refused_in_german() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("practice.store");
    let clinic = Clinic::default();
    drop(
        Records::create(&path, "the right passphrase", &clinic, "", Some(Kdf::LEAST))
            .expect("made"),
    );
    let door = Door::new(Place {
        path,
        passphrase_file: None,
    });
    let tables = Tables::shipped().expect("tables");
    let mut session = Session::new(
        Desk::Closed(door),
        Look::default(),
        tables,
        folder.path().to_owned(),
    );
    session.look.lang = Lang::De;
    let window = test_window(session);
    window
        .app
        .global::<Backend>()
        .invoke_unlock("the wrong one".into());
    let door = || window.app.global::<Data>().get_door();
    until(&window, "the refusal", |_| !door().problem.is_empty());
    assert_eq!(
        door().problem,
        "Diese Passphrase schließt die Ablage nicht auf. Nichts wurde verändert; bitte noch einmal versuchen."
    );
    picture(&window, "de-1-passphrase");
}

#[test]
fn photograph_code_target_and_full_disk_are_said_in_german() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let backend = window.app.global::<Backend>();
    let data = window.app.global::<Data>();
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "Settings");
    tap(&window, "Deutsch");

    // A file that is no photograph lies in the watched folder.
    let pictures = folder.path().join("pictures");
    std::fs::create_dir_all(&pictures).expect("a folder");
    std::fs::write(pictures.join("a.jpg"), b"%PDF-1.7 no photograph").expect("written");
    window.inner.session.borrow_mut().taking.folder = pictures;
    backend.invoke_go(Screen::Photographs);
    backend.invoke_choose_offered(0);
    tap(&window, "1 Foto übernehmen");
    let problems = || data.get_taking().problems;
    until(&window, "what is wrong with it", |_| {
        problems().row_count() > 0
    });
    assert_eq!(
        problems().row_data(0).expect("a sentence"),
        "a.jpg ist ein PDF-Dokument, kein JPEG- oder PNG-Foto: bitte als JPEG oder PNG speichern und noch einmal versuchen"
    );
    picture(&window, "de-2-foto");

    // A code that is none.
    let printing = window.app.global::<Printing>();
    backend.invoke_go(Screen::Label);
    printing.invoke_label_do(LabelDoing::Binding);
    printing.invoke_label_typed("0000-0000".into());
    assert_eq!(
        printing.get_labelling().stop,
        "Ein Abdruck-Code hat 13 Zeichen, dieser hat 8; bitte noch einmal ablesen"
    );
    picture(&window, "de-3-code");

    // A target that is not there.
    let exchange = window.app.global::<plinthside_ui::Exchange>();
    exchange.invoke_open(ExchangePage::Home);
    backend.invoke_go(Screen::Exchange);
    exchange.invoke_begin();
    exchange.invoke_choose_target(-1);
    let away = folder.path().join("stick").join("practice");
    let away = away.display().to_string();
    exchange.invoke_keep_target("Stick".into(), away.into(), "".into(), "".into(), "".into());
    exchange.invoke_sync();
    until(&window, "that it is away", |_| {
        exchange.get_view().results.row_count() > 0
    });
    let said = exchange
        .get_view()
        .results
        .row_data(0)
        .expect("a sentence")
        .text;
    assert!(
        said.starts_with("Stick ist nicht erreichbar (") && said.contains("bleibt alles erhalten"),
        "{said}"
    );
    picture(&window, "de-4-ziel");

    // No room for an entry.
    window.inner.change(|s| {
        s.try_records(|_| Err::<(), _>(AppError::Store(StoreError::Full)));
    });
    assert_eq!(
        data.get_problem().text,
        "Der Datenträger ist voll. Der letzte Eintrag wurde nicht gespeichert, alles davor schon. Bitte Platz schaffen und noch einmal speichern."
    );
    picture(&window, "de-5-voll");
}
