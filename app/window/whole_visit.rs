//! A first visit by touch, from an empty store to the order filled from the measurement: every tap is
//! counted, nearly all go through an accessible name. No text is typed after the store was made.

use super::finger::{Finger, settle};
use super::tests::{case, demo_window, picture, tap, test_window, until};
use super::*;
use i_slint_backend_testing::{AccessibleRole, ElementHandle};
use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::{ImageDecoder, ImageEncoder};
use plinthside_demo_data::CASTS;
use plinthside_measure::marks::Marks;
use plinthside_paper::qr::{Luma, read_codes};
use plinthside_ui::Screen;
use plinthside_visit::Clinic;
use plinthside_visit::person::Lab;
use serde_json::json;
use slint::Model;
use std::io::Cursor;

pub const EXAMINATION: [(&str, &str); 19] = [
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
    ("Dorsalis pedis pulse", "Nothing amiss in all 4"),
    ("Bimalleolar breadth", "72"),
    ("Heel to first MTP", "158"),
];

pub const POSITION: [(&str, &str); 5] = [
    ("The patient lies", "prone"),
    ("Rearfoot held", "neutral by palpation"),
    ("Midtarsal joint", "loaded"),
    ("First ray", "as found"),
    ("Foot to leg, intended", "-2"),
];

pub const BY_HAND: [(&str, &str); 3] = [
    ("Cracks", "none"),
    ("Rock at the edge on a flat table", "1"),
    ("Thinnest wall", "4"),
];

/// A key of an invented lab (the recipient that age's own manual shows).
pub const LAB_KEY: &str = "age1ql3z7hjy54pw3hyww5ayyfg7zqgvc7w3j2elw8zmrj2kg5sfn9aqmcac8p";

/// What is chosen for this patient; the workshop matters are the clinic's usual ones.
pub const ORDER: [(&str, &str); 12] = [
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

/// The clinic has a workshop, a hinge and what it usually orders.
pub fn stock(clinic: &mut Clinic) {
    clinic.labs.push(Lab {
        name: "Kiln Row Workshop".into(),
        public_key: LAB_KEY.into(),
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
}

/// The photographs of the invented cast are older than its dipping.
fn forget_the_dipping(window: &Window) {
    let mut session = window.inner.session.borrow_mut();
    let open = session.open.as_mut().expect("open");
    open.case.cast_mut().record.dipped_at = None;
}

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
    let finger = Finger::new(&window);
    let data = window.app.global::<Data>();

    // The first start: passphrase, clinic, person.
    for (label, text) in [
        (
            "New passphrase, at least 8 characters",
            "correct horse battery",
        ),
        ("The same passphrase once more", "correct horse battery"),
        ("Name of the clinic, as papers print it", "Tidewater Clinic"),
        ("Its telephone, for lab and patient", "01632 960 330"),
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

    window.inner.session.borrow_mut().change_clinic(stock);

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
    println!("{} taps to the end of the examination", finger.taps());
    finger.tap("Position");
    finger.answer(&POSITION);
    finger.tap("Cast");
    finger.tap("fast plaster");
    finger.tap("First slab dipped");
    picture(&window, "visit-03-cast");
    finger.tap("Removed");
    println!("{} taps to the removal of the cast", finger.taps());

    // Photographs, marks, check.
    forget_the_dipping(&window);
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
    println!("{} taps to the end of marking", finger.taps());
    picture(&window, "visit-06-marks");
    finger.tap("Results");
    println!("{} taps to the results", finger.taps());
    measured_without_refusal(&window);
    picture(&window, "visit-07-check");
    finger.tap("By hand");
    finger.answer(&BY_HAND);
    finger.tap("Check");
    finger.tap("Keep this cast");
    // Order: filled from measurement and clinic, answered where it must be, signed.
    picture(&window, "visit-08-order");
    println!("{} taps to the order", finger.taps());
    finger.answer_blocks(&ORDER);
    picture(&window, "visit-09-answered");
    println!("{} taps to the order answered", finger.taps());
    finger.tap("Sign as Ines Calloway");
    assert_eq!(
        data.get_screen(),
        Screen::Label,
        "{}",
        data.get_order_state().refusal
    );
    picture(&window, "visit-10-signed");
    finger.tap("Bind the photographed label");
    settle(&window);
    picture(&window, "visit-11-label");
    finger.tap("On to the hand-over");
    finger.tap("Write papers and package");
    until(&window, "the papers and the package", |_| {
        let view = data.get_hand_over();
        view.papers.iter().all(|paper| !paper.file.is_empty()) && !view.package.file.is_empty()
    });
    picture(&window, "visit-12-hand-over");
    println!("first visit: {} taps", finger.taps());
    assert!(finger.taps() <= 110, "{} taps", finger.taps());

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

/// The cast is measured from the marks as they are: nothing the program found contradicts a tap.
fn measured_without_refusal(window: &Window) {
    until(window, "the results", |s| case(s).results.is_some());
    settle(window);
    let session = window.inner.session.borrow();
    assert_eq!(case(&session).refused, None);
    let marking = case(&session).marking.as_ref().expect("photographs");
    assert!(!marking.found_views().is_empty(), "some were found");
}

/// The photograph with the label painted over.
pub fn without_label(jpeg: &[u8]) -> Vec<u8> {
    let mut decoder = JpegDecoder::new(Cursor::new(jpeg)).expect("a photograph");
    let exif = decoder.exif_metadata().expect("read").unwrap_or_default();
    let photo = image::DynamicImage::from_decoder(decoder).expect("a photograph");
    let mut photo = photo.into_rgb8();
    let grey = image::DynamicImage::from(photo.clone()).into_luma8();
    let luma = Luma::from_grey(photo.width(), photo.height(), grey.as_raw()).expect("a picture");
    for code in read_codes(&luma) {
        let [xs, ys] = [0, 1].map(|axis| code.corners_px.map(|corner| corner[axis]));
        let range = |values: [f64; 4]| {
            let low = values.into_iter().fold(f64::INFINITY, f64::min);
            let high = values.into_iter().fold(0.0, f64::max);
            low as u32..high as u32
        };
        for (x, y) in range(xs).flat_map(|x| range(ys).map(move |y| (x, y))) {
            photo.put_pixel(x, y, image::Rgb([200, 200, 196]));
        }
    }
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, 92);
    encoder.set_exif_metadata(exif).expect("as it was");
    encoder.encode_image(&photo).expect("encoded");
    bytes
}

/// A known patient comes again: what was found then is confirmed or measured anew, the order is
/// taken over.
#[test]
fn a_repeat_visit_takes_few_taps() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = &CASTS[0];
    // The label of the first cast does not lie beside the second.
    for photo in &demo.photos {
        std::fs::write(folder.path().join(photo.name), without_label(photo.jpeg)).expect("written");
    }
    let window = demo_window(folder.path());
    window.inner.change(|s| {
        s.taking.folder = folder.path().to_owned();
        s.change_clinic(|clinic| clinic.labs[0].public_key = LAB_KEY.into());
    });
    let finger = Finger::new(&window);
    let data = window.app.global::<Data>();
    // The earlier order was signed.
    tap(&window, "Morwenna Ashdown, Left");
    tap(&window, "Order");
    tap(&window, "Sign as Ines Calloway");
    assert_eq!(data.get_screen(), Screen::Label);
    tap(&window, "Put the visit away");

    finger.tap("Morwenna Ashdown, Left");
    finger.tap("Person");
    finger.tap("Next visit of this person");
    picture(&window, "again-01-person");
    finger.tap("Examine");
    picture(&window, "again-02-examine");
    finger.answer(&[("Ankle dorsiflexion, knee straight", "8")]);
    finger.next();
    while finger.list().question.copied {
        match finger.list().question.together_count {
            0 => finger.tap("As last time"),
            more => finger.tap(&format!("All {} as last time", more + 1)),
        }
    }
    println!("{} taps to the end of the examination", finger.taps());
    picture(&window, "again-03-examined");
    finger.tap("Position");
    finger.tap("All as last time");
    let lies = finger.list().tiles.row_data(0).expect("a tile").value;
    assert!(!lies.is_empty());
    finger.tap("Cast");
    finger.tap("fast plaster");
    finger.tap("First slab dipped");
    finger.tap("Removed");
    forget_the_dipping(&window);
    finger.tap("On to the check");
    println!("{} taps to the photographs", finger.taps());
    finger.tap("Take in 8 photographs");
    until(&window, "the marking screen", |s| s.screen == Screen::Mark);
    settle(&window);
    finger.mark(&Marks::from_json(demo.marks_json).expect("marks"));
    finger.tap("Results");
    measured_without_refusal(&window);
    println!("{} taps to the results", finger.taps());
    picture(&window, "again-04-check");
    finger.tap("By hand");
    finger.answer(&BY_HAND);
    finger.tap("Check");
    finger.tap("Keep this cast");
    picture(&window, "again-05-order");
    finger.answer_blocks(&ORDER);
    println!("{} taps to the order answered", finger.taps());
    finger.tap("Sign as Ines Calloway");
    assert_eq!(
        data.get_screen(),
        Screen::Label,
        "{}",
        data.get_order_state().refusal
    );
    finger.tap("Bind a new code");
    settle(&window);
    finger.tap("On to the hand-over");
    finger.tap("Write papers and package");
    until(&window, "the papers and the package", |_| {
        let view = data.get_hand_over();
        view.papers.iter().all(|paper| !paper.file.is_empty()) && !view.package.file.is_empty()
    });
    picture(&window, "again-06-handed-over");
    println!("repeat visit: {} taps", finger.taps());
    assert!(finger.taps() <= 60, "{} taps", finger.taps());
}
