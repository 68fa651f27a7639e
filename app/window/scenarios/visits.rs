//! Patients and places that don't fit the usual course.

use super::*;
use crate::window::tests::{field, shown_window};
use plinthside_demo_data::CASTS;

/// 1 Cannot lie prone: cast sitting with the knee bent; the bench reads how.
#[test]
fn s01_cast_sitting_with_the_knee_bent() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let finger = Finger::new(&window);
    finger.tap("Morwenna Ashdown, Left");
    finger.tap("Position");
    finger.answer(&[("The patient lies", "sitting"), ("Knee flexion", "85")]);
    finger.tap("All steps");
    finger.tap("Order");
    finger.tap("Sign as Ines Calloway");
    let order = order_paper(&window);
    assert!(
        order.contains("sitting") && order.contains("85°"),
        "{order}"
    );
}

/// 8 Numb heel, and a blister found after the water is poured: casting is put off, nothing is lost.
#[test]
fn s08_a_blister_puts_the_casting_off() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = new_clinic(folder.path());
    let finger = Finger::new(&window);
    let data = window.app.global::<Data>();
    examined(&finger, "New visit, left foot");
    finger.tap("Cast");
    assert_eq!(data.get_cast().cautions.row_count(), 0);
    finger.tap("All steps");
    finger.tap("Examine");
    finger.answer(&[
        ("Sensation sites felt", "6"),
        ("Skin under the plaster", "blister"),
    ]);
    finger.tap("Cast");
    let said: Vec<String> = data
        .get_cast()
        .cautions
        .iter()
        .map(|caution| caution.text.into())
        .collect();
    assert!(
        said.iter()
            .any(|text| text.contains("Broken or infected skin")),
        "{said:?}"
    );
    finger.tap("Put the casting off");
    assert_eq!(data.get_screen(), Screen::Position);
    finger.tap("the skin is not sound");
    let kept = visit(&window);
    finger.tap("All steps");
    finger.tap("Put the visit away");
    let row = data.get_cases().row_data(0).expect("the visit");
    assert!(row.state.contains("casting put off"), "{}", row.state);
    window.app.global::<Backend>().invoke_open_case(0);
    assert_eq!(visit(&window), kept);
    finger.tap("Cast");
    let said = data.get_cast().cautions;
    assert!(said.iter().any(|c| c.text.contains("put off")));
}

/// 10 The tablet dies as the plaster sets; the cast is finished on paper and entered later, bound
/// to the code pencilled on it.
#[test]
fn s10_the_tablet_dies_and_the_cast_is_entered_later() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = new_clinic(folder.path());
    let finger = Finger::new(&window);
    examined(&finger, "New visit, left foot");
    finger.tap("Cast");
    finger.tap("fast plaster");
    finger.tap("First slab dipped");
    let before = visit(&window);
    // Nothing is put away: the store is found as it was left.
    drop(window);
    let store = folder.path().join("clinic.store");
    let records = Records::open(&store, invented::PASSPHRASE).expect("opens");
    let window = shown_window(session_on(records, folder.path()));
    let finger = Finger::new(&window);
    let data = window.app.global::<Data>();
    assert_eq!(data.get_screen(), Screen::Recover);
    window.app.global::<Backend>().invoke_recover(0);
    assert_eq!(visit(&window), before);

    // The couch card holds the rest: six marks by ruler, the code pencilled on the plaster.
    finger.tap("Cast");
    finger.tap("Removed");
    by_ruler(&window);
    finger.tap("Check");
    finger.tap("By hand");
    finger.answer(&BY_HAND);
    finger.answer(&[("Letter on the plaster", "L")]);
    sign(&window, &finger);
    let pencilled = plinthside_paper::CastCode::mint()
        .expect("a code")
        .to_string();
    finger.tap("Bind a pre-printed label");
    window
        .app
        .global::<plinthside_ui::Printing>()
        .invoke_label_typed(pencilled.clone().into());
    assert_eq!(visit(&window).casts[0].code.as_ref(), Some(&pencilled));
    let order = order_paper(&window);
    assert!(
        order.contains(&pencilled) && order.contains("Without photographs"),
        "{order}"
    );
}

/// 11 A child: dorsiflexion reaches 0° with the knee bent only, room to grow, a parent consents.
#[test]
fn s11_a_child_whose_parent_consents() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let finger = Finger::new(&window);
    let data = window.app.global::<Data>();
    finger.tap("Morwenna Ashdown, Left");
    finger.tap("Person");
    let ask = |label: &str| {
        let tiles = data.get_person_questions().tiles;
        let at = tiles.iter().position(|tile| tile.label == label);
        let backend = window.app.global::<Backend>();
        backend.invoke_choose_question(at.expect("asked") as i32);
    };
    for (label, text) in [
        ("Born (day month year)", "14.3.2019"),
        ("Consents for the patient", "R. Ashdown, mother"),
    ] {
        ask(label);
        field(&window, label, text);
    }
    ask("treatment");
    finger.tap("refused");
    finger.tap("given");
    finger.tap("Examine");
    finger.answer(&[
        ("Ankle dorsiflexion, knee straight", "-8"),
        ("Ankle dorsiflexion, knee bent", "0"),
    ]);
    finger.tap("Order");
    finger.answer(&[("Growth allowance", "6")]);
    assert_eq!(blocks(&window), Vec::<String>::new());
    finger.tap("Sign as Ines Calloway");
    let seen = visit(&window);
    let consent = seen.person.consents.last().expect("a consent");
    assert_eq!(consent.by, "R. Ashdown, mother");
    let facts = data.get_person_facts();
    drop(facts);
    let order = order_paper(&window);
    assert!(order.contains("Growth allowance 6 mm"), "{order}");
    assert!(
        order.to_lowercase().contains("dorsiflexion"),
        "the contracture is cautioned of: {order}"
    );
}

/// Six marks of an invented shell by ruler.
pub(super) fn by_ruler(window: &Window) {
    let backend = window.app.global::<Backend>();
    backend.invoke_go(Screen::Ruler);
    for (i, mm) in crate::window::by_ruler::NUMBERS
        .concat()
        .into_iter()
        .enumerate()
    {
        backend.invoke_choose_question(i as i32);
        backend.invoke_set_value(mm as f32);
    }
    assert!(case(&window.inner.session.borrow()).results.is_some());
}

/// 9 A dim kitchen: the mat is buckled and half its tags are hidden. The photographs are refused in
/// words, and the ruler finishes the visit.
#[test]
fn s09_hidden_tags_are_refused_and_the_ruler_finishes() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = new_clinic(folder.path());
    let finger = Finger::new(&window);
    let data = window.app.global::<Data>();
    examined(&finger, "New visit, left foot");
    offer(&window, folder.path(), &CASTS[0], dim);
    finger.tap("Take in 8 photographs");
    settle(&window);
    until(&window, "every photograph", |s| {
        s.taking.problems.len() + s.sources().map_or(0, |s| s.photographs.len()) == 8
    });
    settle(&window);
    window
        .app
        .global::<Backend>()
        .invoke_go(Screen::Photographs);
    let view = data.get_taking();
    let refused: Vec<String> = view.problems.iter().map(Into::into).collect();
    let doubted = view.taken.iter().filter(|photo| !photo.problem.is_empty());
    println!("{refused:?}");
    assert_eq!(refused.len() + doubted.count(), 8, "every one is spoken of");
    assert!(case(&window.inner.session.borrow()).results.is_none());
    by_ruler(&window);
    finger.tap("Check");
    finger.tap("By hand");
    finger.answer(&BY_HAND);
    sign(&window, &finger);
    assert!(order_paper(&window).contains("Without photographs"));
    assert!(bench_paper(&window).contains("ruler"));
}

/// A photograph in too little light, a wet towel over the mat.
fn dim(jpeg: &[u8]) -> Vec<u8> {
    let photo = image::load_from_memory(jpeg).expect("a photograph");
    let mut photo = photo.into_rgb8();
    let (width, height) = photo.dimensions();
    for (x, y, pixel) in photo.enumerate_pixels_mut() {
        // All but a corner of the sheet is covered.
        let covered = x > width / 3 || y > height / 3;
        for channel in &mut pixel.0 {
            *channel = if covered { 30 } else { *channel / 3 };
        }
    }
    let mut bytes = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 80);
    photo.write_with_encoder(encoder).expect("encoded");
    bytes
}
