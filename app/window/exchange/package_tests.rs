//! Sealed packages and the lab's answers through accessible names.

use super::tests::{NEVER, add_target, clinic_window, results, synchronise, visit_of};
use crate::window::tests::{case, field, picture, tap, until};
use crate::window::*;
use plinthside_exchange::{Answer, Devices, PackInputs, SecretKey, package::lab_path};
use plinthside_ui::{Exchange as Shown, Screen, Tone};
use plinthside_visit::order::{OrderState, Signature, StateChange};
use plinthside_visit::person::Lab;
use plinthside_visit::{Clinic, Visit};
use slint::Model;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The demonstration's left order, signed, with a key of its lab; and packages of revisions.
struct Ordered {
    visit: Visit,
    clinic: Clinic,
    lab: Lab,
    key: SecretKey,
}

impl Ordered {
    fn new(window: &Window) -> Self {
        tap(window, "Morwenna Ashdown, Left");
        let key = SecretKey::generate();
        window.inner.change(|s| {
            let by = s.prescriber().expect("a prescriber");
            let code = plinthside_paper::CastCode::mint().expect("random");
            let open = s.open.as_mut().expect("open");
            let side = open.case.side;
            open.case.cast_mut().code = Some(code.to_string());
            let cast = open.case.cast_mut().id.clone();
            let order = questions::order_mut(&mut open.case.visit, side);
            let at = crate::clock::now();
            order.cast = Some(cast);
            let draft = order.draft_mut().expect("a draft");
            draft.prescription.identity.lab = "Kiln Row Orthotic Workshop".into();
            draft.signature = Some(Signature {
                prescriber: by.clone(),
                at,
                cautions: Vec::new(),
                extra: Default::default(),
            });
            for to in [OrderState::Signed, OrderState::HandedOver] {
                order.history.push(StateChange {
                    to,
                    at,
                    by: by.name.clone(),
                    revision: 1,
                    reason: String::new(),
                    extra: Default::default(),
                });
            }
        });
        let session = window.inner.session.borrow();
        Self {
            visit: case(&session).visit.clone(),
            clinic: session.clinic(),
            lab: Lab {
                name: "Kiln Row Orthotic Workshop".into(),
                public_key: key.public().expect("a key"),
                ..Lab::default()
            },
            key,
        }
    }

    fn pack(&self, window: &Window, visit: &Visit) -> plinthside_exchange::Package {
        let mut session = window.inner.session.borrow_mut();
        let here = std::sync::Mutex::new(session.records().expect("open").store());
        let sender = Devices(&here).sender("Tablet").expect("a practice");
        let order = visit.orders.iter().find(|o| o.in_force().is_some());
        plinthside_exchange::pack(&PackInputs {
            visit,
            order: &order.expect("signed").id,
            clinic: &self.clinic,
            lab: &self.lab,
            sender: &sender,
            order_pdf: b"%PDF-1.7\norder\n%%EOF\n",
            bench_pdf: None,
            photographs: &[],
            with_name: false,
            at: crate::clock::now(),
            lang: Lang::En,
        })
        .expect("packed")
    }
}

#[test]
fn a_package_is_dropped_opened_verified_and_tells_what_changed() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = clinic_window(folder.path(), NEVER);
    let ordered = Ordered::new(&window);
    let inbox = folder.path().join("inbox");
    std::fs::create_dir(&inbox).expect("made");
    let first = ordered.pack(&window, &ordered.visit);
    let mut amended = ordered.visit.clone();
    let order = amended.orders.iter_mut().find(|o| o.in_force().is_some());
    let order = order.expect("signed");
    let signature = order.in_force().and_then(|r| r.signature.clone());
    let draft = order.amend("shoe changed").expect("a draft");
    let padding = serde_json::json!(true);
    draft
        .prescription
        .set("shell.full_padding", padding)
        .expect("set");
    draft.signature = signature;
    let second = ordered.pack(&window, &amended);
    for package in [&first, &second] {
        std::fs::write(inbox.join(&package.name), &package.bytes).expect("written");
    }
    let key = folder.path().join("lab-key.txt");
    std::fs::write(&key, ordered.key.file().expect("a key")).expect("written");
    let wrong = folder.path().join("other-key.txt");
    std::fs::write(&wrong, SecretKey::generate().file().expect("a key")).expect("written");
    let view = || window.app.global::<Shown>().get_package();
    let data = window.app.global::<Data>();
    let done = |what: &str| {
        until(&window, what, |_| {
            let view = view();
            !view.opening && (!view.problem.is_empty() || !view.place.is_empty())
        });
    };

    // Something else that is dropped is told apart; a package leads to its screen.
    window.inner.dropped(Path::new("cast.txt"));
    assert_ne!(data.get_screen(), Screen::Package);
    assert!(data.get_problem().text.contains(".age"));
    window.inner.dropped(&inbox.join(&first.name));
    assert_eq!(data.get_screen(), Screen::Package);
    assert!(view().path.ends_with(&first.name));
    tap(&window, "Open the package");
    assert!(view().problem.contains("key file"));
    field(&window, "The lab's key file", &wrong.display().to_string());
    tap(&window, "Open the package");
    done("the wrong key");
    assert!(
        view().problem.contains("does not open the package"),
        "{}",
        view().problem
    );
    picture(&window, "package-1-wrong-key");
    field(&window, "The lab's key file", &key.display().to_string());
    tap(&window, "Open the package");
    done("the first revision");
    assert_eq!(view().problem, "");
    let said = |tone: Option<Tone>| -> String {
        let lines = view().lines;
        let lines = lines.iter().filter(|l| tone.is_none_or(|t| l.tone == t));
        lines.map(|line| format!("{}\n", line.text)).collect()
    };
    assert!(
        said(None).contains("This is the first revision"),
        "{}",
        said(None)
    );
    picture(&window, "package-2-first");

    // The second one is chosen in the folder.
    tap(&window, &second.name);
    tap(&window, "Open the package");
    done("the second revision");
    assert_eq!(view().problem, "");
    assert!(said(None).contains("shoe changed"), "{}", said(None));
    assert!(!said(Some(Tone::Chosen)).is_empty(), "{}", said(None));
    let place = PathBuf::from(view().place.as_str());
    assert!(place.starts_with(folder.path().join("papers/packages")));
    assert!(place.join("data/order.pdf").is_file() && place.join("bagit.txt").is_file());
    picture(&window, "package-3-second");

    // A damaged one stays closed and writes nothing.
    let mut bytes = second.bytes.clone();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    std::fs::write(inbox.join("damaged.age"), bytes).expect("written");
    window.inner.dropped(&inbox.join("damaged.age"));
    i_slint_backend_testing::mock_elapsed_time(Duration::from_millis(50));
    tap(&window, "Open the package");
    done("the damaged one");
    assert!(!view().problem.is_empty() && view().place.is_empty());
    // From there back to the visit that was open.
    tap(&window, "Back");
    tap(&window, "Back");
    assert!(data.get_in_visit() && data.get_screen() == Screen::Check);
}

#[test]
fn the_labs_answer_at_the_target_is_read_into_the_follow_up() {
    let folder = tempfile::tempdir().expect("a folder");
    let meeting = folder.path().join("meeting");
    std::fs::create_dir(&meeting).expect("made");
    let window = clinic_window(folder.path(), NEVER);
    let ordered = Ordered::new(&window);
    let package = ordered.pack(&window, &ordered.visit);
    let opened = plinthside_exchange::open(&package.bytes, &ordered.key).expect("opened");
    let answer = |answer: Answer, reason: &str| {
        let at = crate::clock::now();
        let (name, bytes) = opened.receipt(answer, "Bo", reason, at).expect("written");
        let path = meeting.join(lab_path(&ordered.lab.name, &name));
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        std::fs::write(path, bytes).expect("written");
    };
    tap(&window, "Put the visit away");
    answer(Answer::Question, "Which hinge?");
    // Another target that has just been looked through does not put this one off.
    let office = folder.path().join("office");
    std::fs::create_dir(&office).expect("made");
    add_target(&window, "Office", &office);
    until(&window, "the first meeting", |s| {
        s.exchange.status(Lang::En).is_empty() && s.exchange.has_met("Office")
    });
    add_target(&window, "Stick", &meeting);
    let state = || {
        let visit = visit_of(&window, &ordered.visit.id);
        let order = visit.orders.iter().find(|o| o.in_force().is_some());
        order.expect("signed").state()
    };
    // The practice was begun by packing: the new target is met, and looked through, at once.
    for _ in 0..3000 {
        if state() == OrderState::LabHold {
            break;
        }
        std::thread::sleep(Duration::from_millis(10));
        window.pump();
    }
    assert_eq!(state(), OrderState::LabHold);
    // Read again it is nothing new; the answer that follows it is, also into the open visit.
    synchronise(&window);
    assert!(!results(&window).contains("Answers of labs"));
    answer(Answer::Accepted, "");
    window.app.global::<Backend>().invoke_go(Screen::Cases);
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "Follow up");
    window.app.global::<Shown>().invoke_sync();
    until(&window, "the answer", |s| {
        let visit = &case(s).visit;
        let follow_up = visit.follow_up.first();
        follow_up.is_some_and(|f| f.receipts.len() == 2)
    });
    window.inner.show();
    let happened = window.app.global::<Data>().get_follow().happened;
    let lines: Vec<String> = happened.iter().map(|h| h.detail.to_string()).collect();
    assert!(
        lines.iter().any(|l| l.contains("Which hinge?")),
        "{lines:?}"
    );
    picture(&window, "exchange-15-answers");
    tap(&window, "Put the visit away");
    assert_eq!(state(), OrderState::Received);
}
