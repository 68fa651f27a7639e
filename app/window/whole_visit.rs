//! A first visit by touch, from an empty store to the order filled from the measurement: every tap is
//! counted, nearly all go through an accessible name. No text is typed after the store was made.

use super::tests::{case, picture, tap, test_window, until};
use super::*;
use i_slint_backend_testing::{AccessibleRole, ElementHandle};
use plinthside_demo_data::CASTS;
use plinthside_measure::marks::Marks;
use plinthside_ui::{Answer, QuestionList, Screen};
use plinthside_visit::person::Lab;
use serde_json::json;
use slint::Model;
use std::cell::Cell;

/// The window with a finger that counts.
struct Finger<'a> {
    window: &'a Window,
    taps: Cell<u32>,
}

impl Finger<'_> {
    fn tap(&self, name: &str) {
        tap(self.window, name);
        self.taps.set(self.taps.get() + 1);
    }

    fn data(&self) -> Data<'_> {
        self.window.app.global::<Data>()
    }

    fn list(&self) -> QuestionList {
        let data = self.data();
        match data.get_screen() {
            Screen::Person => data.get_person_questions(),
            Screen::Examine => data.get_examine(),
            Screen::Position => data.get_position(),
            Screen::Inspect => data.get_inspect(),
            Screen::Order => data.get_order(),
            other => panic!("{other:?} asks no questions"),
        }
    }

    /// Answers questions by their names in the list: a word, or a number on the dial.
    fn answer(&self, answers: &[(&str, &str)]) {
        for (label, answer) in answers {
            let list = self.list();
            let at = list.tiles.iter().position(|tile| tile.label == *label);
            let at = at.unwrap_or_else(|| panic!("no question {label}"));
            match at as i32 - list.chosen {
                0 => {}
                1 => self.next(),
                _ => self.tap_tile(label, at),
            }
            let question = self.list().question;
            if question.answer == Answer::Number {
                self.turn_dial(&question.title, answer);
            } else {
                for word in answer.split(", ") {
                    self.tap(word);
                }
            }
        }
    }

    /// Answers what stands in the way of signing, as it is asked.
    fn answer_blocks(&self, answers: &[(&str, &str)]) {
        for _ in 0..2 * answers.len() {
            if self.data().get_order_state().blocks.row_count() == 0 {
                return;
            }
            let question = self.list().question;
            let (_, answer) = answers
                .iter()
                .find(|(title, _)| question.title == *title)
                .unwrap_or_else(|| panic!("nobody said what to answer to {}", question.title));
            if question.answer == Answer::Number {
                self.turn_dial(&question.title, answer);
                self.next();
            } else {
                self.tap(answer);
                if question.answer == Answer::AnyOf {
                    self.next();
                }
            }
        }
        panic!(
            "{:?} still stand in the way",
            self.data().get_order_state().blocks.row_data(0)
        );
    }

    /// Takes a question in hand by its tile. Where it is scrolled out of view, or the list opens in
    /// place of the question, a swipe or a tap more is counted.
    fn tap_tile(&self, label: &str, index: usize) {
        let seen = ElementHandle::find_by_accessible_label(&self.window.app, label)
            .any(|e| e.accessible_role() == Some(AccessibleRole::RadioButton));
        if seen {
            self.tap(label);
        } else {
            let backend = self.window.app.global::<Backend>();
            backend.invoke_choose_question(index as i32);
            self.taps.set(self.taps.get() + 2);
        }
    }

    fn turn_dial(&self, title: &str, value: &str) {
        let dial = ElementHandle::find_by_accessible_label(&self.window.app, title)
            .find(|e| e.accessible_role() == Some(AccessibleRole::Spinbox))
            .unwrap_or_else(|| panic!("no dial for {title}"));
        dial.set_accessible_value(value);
        self.taps.set(self.taps.get() + 1);
    }

    fn next(&self) {
        let name = match self.data().get_screen() {
            Screen::Examine => "Next reading",
            Screen::Order if self.data().get_order_state().blocks.row_count() > 0 => {
                "Next to answer"
            }
            Screen::Order => "Next field",
            _ => "Next",
        };
        self.tap(name);
    }

    /// Marks the photographs: each mark in two of them by hand, then what the program proposes,
    /// until every mark was seen three times.
    fn mark(&self, marks: &Marks) {
        let photos = self.data().get_mark().photos.row_count();
        for n in 0..photos {
            until(self.window, "the photograph", |s| {
                let marking = case(s).marking.as_ref();
                marking.is_some_and(Marking::is_shown)
            });
            self.mark_by_hand(marks);
            settle(self.window);
            let view = self.data().get_mark();
            if view.items.iter().all(|item| item.views >= 3) {
                return;
            }
            if view.items.iter().all(|item| item.views >= 2) {
                self.tap("Find the marks in all photographs");
                until(self.window, "the marks found", |_| {
                    self.data()
                        .get_mark()
                        .items
                        .iter()
                        .all(|item| item.views >= 3)
                });
            } else if n + 1 < photos {
                self.tap("Next photograph");
            }
        }
    }

    fn mark_by_hand(&self, marks: &Marks) {
        let view = self.data().get_mark();
        let index = usize::try_from(view.photo_index).expect("an index");
        let photo = view.photos.row_data(index).expect("a photograph").name;
        for (i, item) in view.items.iter().enumerate() {
            let here = marks
                .views
                .iter()
                .find(|v| photo == v.photo && item.name == v.mark.as_str());
            let (Some(here), true) = (here, item.views < 2) else {
                continue;
            };
            let backend = self.window.app.global::<Backend>();
            if self.data().get_mark().chosen != i as i32 {
                backend.invoke_choose_mark(i as i32);
                self.taps.set(self.taps.get() + 1);
            }
            let [x, y] = here.px;
            backend.invoke_tap_photo(x as f32, y as f32);
            self.taps.set(self.taps.get() + 1);
        }
    }
}

/// Lets the worker finish what was posted.
fn settle(window: &Window) {
    for _ in 0..200 {
        std::thread::sleep(std::time::Duration::from_millis(5));
        window.pump();
    }
}

const EXAMINATION: [(&str, &str); 22] = [
    ("Ankle dorsiflexion, knee straight", "10"),
    ("Ankle dorsiflexion, knee bent", "15"),
    ("Ankle plantarflexion", "43"),
    ("Rearfoot inversion", "21"),
    ("Rearfoot eversion", "8"),
    ("Rearfoot reducible", "yes"),
    ("Resting heel", "-3"),
    ("Forefoot to rearfoot", "5"),
    ("Forefoot reducible", "yes"),
    ("First ray", "level"),
    ("Dorsiflexor strength", "2"),
    ("Plantarflexor strength", "4"),
    ("Quadriceps strength", "5"),
    ("Clonus", "no"),
    ("Sensation sites felt", "10"),
    ("Sensation sites tested", "10"),
    ("Dorsalis pedis pulse", "present"),
    ("Tibialis posterior pulse", "present"),
    ("Swelling", "none"),
    ("Skin under the plaster", "intact"),
    ("Bimalleolar breadth", "72"),
    ("Heel to first MTP", "176"),
];

/// What is chosen for this patient; the workshop matters are the clinic's usual ones.
const ORDER: [(&str, &str); 12] = [
    ("Plantarflexion", "free"),
    ("Dorsiflexion", "assisted"),
    ("Dorsiflexion assist", "medium"),
    ("Hinge on", "both sides"),
    ("Ankle angle on the bench", "as cast"),
    ("Hinge line", "through the patient's own marks"),
    ("Calf band's upper edge from the floor", "330"),
    ("Rearfoot post", "none"),
    ("Forefoot", "none"),
    ("Heel skive", "none"),
    ("Shoe, heel to ball drop", "8"),
    ("Straps", "calf"),
];

#[test]
fn a_first_visit_by_touch_is_measured_judged_and_its_order_filled() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = &CASTS[0];
    for photo in &demo.photos {
        std::fs::write(folder.path().join(photo.name), photo.jpeg).expect("written");
    }
    let place = Place::new(Some(folder.path().join("clinic.store")), None).expect("a place");
    let tables = Tables::shipped().expect("the shipped tables");
    let desk = Desk::Closed(Door::new(place));
    let mut session = Session::new(desk, Look::default(), tables, folder.path().join("papers"));
    session.taking.folder = folder.path().to_owned();
    let window = test_window(session);
    let finger = Finger {
        window: &window,
        taps: Cell::new(0),
    };
    let data = window.app.global::<Data>();

    // The first start: passphrase, clinic, person.
    for (label, text) in [
        (
            "New passphrase, at least 8 characters",
            "correct horse battery",
        ),
        ("The same passphrase once more", "correct horse battery"),
        ("Name of the clinic, as papers print it", "Tidewater Clinic"),
        ("Your name, as you sign", "Ines Calloway"),
    ] {
        ElementHandle::find_by_accessible_label(&window.app, label)
            .find(|e| e.accessible_role() == Some(AccessibleRole::TextInput))
            .unwrap_or_else(|| panic!("no field {label}"))
            .set_accessible_value(text);
    }
    picture(&window, "visit-01-first-start");
    tap(&window, "Make the store");
    until(&window, "the store", |s| match &s.desk {
        Desk::Open(_) => true,
        Desk::Closed(door) => {
            assert!(door.problem.is_empty(), "{}", door.problem);
            assert!(door.trying, "nothing was tried");
            false
        }
    });
    assert_eq!(data.get_screen(), Screen::Cases);

    // The clinic has a workshop, a hinge and what it usually orders.
    window.inner.session.borrow_mut().change_clinic(|clinic| {
        clinic.labs.push(Lab {
            name: "Kiln Row Workshop".into(),
            ..Lab::default()
        });
        clinic.prescribers[0].registration = "PT-20417".into();
        clinic.usual_order = [
            ("identity.quantity", json!(1)),
            ("identity.lab", json!("Kiln Row Workshop")),
            ("identity.cast_afterwards", json!("return")),
            ("motion.hinge", json!("ball bearing, stainless")),
            ("shell.plastic", json!("polypropylene")),
            ("shell.thickness_mm", json!(4)),
            ("shell.footplate_end", json!("sulcus")),
            (
                "closure.straps",
                json!([{ "place": "calf" }, { "place": "instep" }]),
            ),
        ]
        .map(|(path, value)| (path.to_owned(), value))
        .into();
    });

    // Person, examination, position.
    finger.tap("New visit");
    finger.tap("New visit, left foot");
    finger.answer(&[
        ("treatment", "given"),
        ("photographs", "given"),
        ("sharing with the lab", "given"),
        ("Body mass", "66"),
    ]);
    picture(&window, "visit-02-person");
    finger.tap("Examine");
    finger.answer(&EXAMINATION);
    picture(&window, "visit-03-examine");
    println!("{} taps to the end of the examination", finger.taps.get());
    finger.tap("Position");
    finger.answer(&[
        ("The patient lies", "prone"),
        ("Rearfoot held", "neutral by palpation"),
        ("Midtarsal joint", "loaded"),
        ("First ray", "as found"),
        ("Foot to leg, intended", "-2"),
    ]);
    finger.tap("Cast");
    finger.tap("fast plaster");
    finger.tap("First slab dipped");
    finger.tap("Removed");
    println!("{} taps to the removal of the cast", finger.taps.get());

    // Photographs, marks, check.
    window
        .inner
        .session
        .borrow_mut()
        .open
        .as_mut()
        .expect("open")
        .case
        .cast_mut()
        .record
        .dipped_at = None;
    finger.tap("On to the check");
    picture(&window, "visit-04-photographs");
    finger.tap("Take in 8 photographs");
    until(&window, "the photographs", |s| {
        s.sources().is_some_and(|s| s.photographs.len() == 8)
    });
    settle(&window);
    picture(&window, "visit-05-taken");
    until(&window, "the marking screen", |s| s.screen == Screen::Mark);
    let marks = Marks::from_json(demo.marks_json).expect("marks");
    finger.mark(&marks);
    println!("{} taps to the end of marking", finger.taps.get());
    picture(&window, "visit-06-marks");
    finger.tap("Results");
    println!("{} taps to the results", finger.taps.get());
    until(&window, "the results", |s| case(s).results.is_some());
    picture(&window, "visit-07-check");
    finger.tap("By hand");
    finger.answer(&[
        ("Cracks", "none"),
        ("Rock at the edge on a flat table", "1"),
        ("Thinnest wall", "4"),
    ]);
    finger.tap("Check");
    finger.tap("Keep this cast");
    // Order: filled from measurement and clinic, answered where it must be, signed.
    picture(&window, "visit-08-order");
    println!("{} taps to the order", finger.taps.get());
    finger.answer_blocks(&ORDER);
    picture(&window, "visit-09-answered");
    println!("{} taps to the order answered", finger.taps.get());
    finger.tap("Sign as Ines Calloway");
    assert_eq!(
        data.get_screen(),
        Screen::Label,
        "{}",
        data.get_order_state().refusal
    );
    picture(&window, "visit-10-signed");
    finger.tap("Bind a new code");
    settle(&window);
    picture(&window, "visit-11-label");
    finger.tap("On to the hand-over");
    finger.tap("Write the papers");
    until(&window, "the papers", |_| {
        let papers = data.get_hand_over().papers;
        papers.iter().all(|paper| !paper.file.is_empty())
    });
    picture(&window, "visit-12-hand-over");
    println!("first visit: {} taps", finger.taps.get());
    assert!(finger.taps.get() <= 110, "{} taps", finger.taps.get());

    // What was entered is on the disk, under its passphrase, as it was.
    let (id, before) = {
        let session = window.inner.session.borrow();
        (
            case(&session).visit.id.clone(),
            case(&session).visit.clone(),
        )
    };
    tap(&window, "Settings");
    tap(&window, "Lock");
    assert_eq!(data.get_screen(), Screen::Unlock);
    let store = folder.path().join("clinic.store");
    let mut records =
        crate::records::Records::open(&store, "correct horse battery").expect("opens");
    assert_eq!(records.visit(&id).expect("kept").value, before);
    assert!(records.store().check().expect("checked").is_clean());
}
