//! What goes wrong at the couch is said where it happened, and nothing is lost: work that was
//! stopped, pictures that were dropped, two timers at once, entries that the disk refuses.

use super::finger::settle;
use super::tests::{case, demo_window, shown_window, tap, until};
use super::whole_visit::without_label;
use super::*;
use crate::sound::{Tone, Voice};
use plinthside_demo_data::CASTS;
use plinthside_measure::marks::Side;
use plinthside_ui::Screen;
use slint::Model;
use slint::platform::WindowEvent;
use std::time::Duration;

/// The demonstration's left cast, its tags not looked for yet.
fn left_cast(folder: &Path) -> Window {
    let window = demo_window(folder);
    tap(&window, "Morwenna Ashdown, Left");
    window
}

#[test]
fn a_search_for_tags_that_was_stopped_says_so_and_is_taken_up_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let data = window.app.global::<Data>();
    let backend = window.app.global::<Backend>();
    // Results are there: tags are looked for only once the photographs are to be seen.
    window.inner.change(|s| {
        let id = s.listed(0).expect("a visit");
        s.open_visit(&id, None, Screen::Person);
    });
    backend.invoke_go(Screen::Photographs);
    backend.invoke_cancel_work();
    until(&window, "the stop", |s| {
        case(s).marking.as_ref().is_some_and(Marking::is_stopped)
    });
    let taking = data.get_taking();
    assert!(taking.stopped && !data.get_progress().running);
    let unseen = taking.taken.iter().filter(|photo| photo.tags < 0).count();
    assert!(unseen > 0, "some were not looked through");
    let marks = case(&window.inner.session.borrow())
        .marking
        .as_ref()
        .map(|marking| marking.view(Lang::En).remark.text);
    assert!(marks.is_some_and(|said| said.contains("search for tags was stopped")));
    tap(&window, "Look for tags again");
    until(&window, "every tag", |s| {
        case(s)
            .marking
            .as_ref()
            .is_some_and(Marking::is_looked_through)
    });
    let taking = data.get_taking();
    assert!(!taking.stopped && taking.taken.iter().all(|photo| photo.tags > 8));
}

#[test]
fn work_posted_after_a_stop_is_done() {
    let (tell, told) = std::sync::mpsc::channel();
    let worker = Worker::new(move || {
        let _ = tell.send(());
    });
    let missing = || vec![PathBuf::from("/nowhere/a.jpg"), "/nowhere/b.jpg".into()];
    let take = |case| Job::Take {
        case,
        paths: missing(),
        look: crate::photographs::Look::default(),
    };
    worker.post(take(1));
    worker.cancel();
    worker.post(take(2));
    let mut taken = 0;
    while taken < 2 {
        told.recv_timeout(Duration::from_secs(30)).expect("told");
        taken += worker
            .take()
            .iter()
            .filter(|t| matches!(t, work::Told::Taken { case: 2, .. }))
            .count();
    }
}

#[test]
fn pictures_dropped_on_a_visit_are_taken_in_and_elsewhere_it_is_said_where() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let data = window.app.global::<Data>();
    // Their label is bound to another visit.
    let photos: Vec<PathBuf> = CASTS[0].photos[..2]
        .iter()
        .map(|photo| {
            let path = folder.path().join(photo.name);
            std::fs::write(&path, without_label(photo.jpeg)).expect("written");
            path
        })
        .collect();
    let drop_all = || {
        for path in &photos {
            window.inner.dropped(path);
        }
        i_slint_backend_testing::mock_elapsed_time(Duration::from_millis(200));
    };
    drop_all();
    let said = data.get_problem().text;
    assert!(said.contains("step Photographs"), "{said}");
    assert_eq!(data.get_screen(), Screen::Cases);
    window.inner.change(|s| {
        s.begin_visit(vec![Side::Left], None);
        let visit = &mut s.open.as_mut().expect("open").case.visit;
        visit.person.consents = invented::visits().expect("visits").visits[0]
            .person
            .consents
            .clone();
        s.go(Screen::Photographs);
    });
    drop_all();
    until(&window, "both photographs", |s| {
        s.sources().is_some_and(|s| s.photographs.len() == 2)
    });
    // Anything else is looked at as a package, as before.
    window.inner.dropped(&folder.path().join("order.age"));
    assert_eq!(data.get_screen(), Screen::Package);
}

#[test]
fn the_folder_of_pictures_is_kept_for_the_next_start() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = left_cast(folder.path());
    let pictures = folder.path().join("pictures");
    std::fs::create_dir(&pictures).expect("made");
    window
        .app
        .global::<Backend>()
        .invoke_go(Screen::Photographs);
    window
        .app
        .global::<Backend>()
        .invoke_set_photo_folder(pictures.display().to_string().into());
    window.inner.session.borrow_mut().put_away();
    drop(window);
    let store = folder.path().join("demo.store");
    let records = crate::records::Records::open(&store, invented::PASSPHRASE).expect("opens");
    let tables = Tables::shipped().expect("the shipped tables");
    let desk = Desk::Closed(Door::default());
    let mut session = Session::new(desk, Look::default(), tables, folder.path().to_owned());
    session.enter(Box::new(records));
    assert_eq!(session.taking.folder, pictures);
}

#[test]
fn photographs_read_for_one_foot_never_land_in_the_other() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let paths: Vec<PathBuf> = CASTS[0].photos[..3]
        .iter()
        .map(|photo| {
            let path = folder.path().join(photo.name);
            std::fs::write(&path, photo.jpeg).expect("written");
            path
        })
        .collect();
    window.inner.change(|s| {
        s.begin_visit(vec![Side::Left, Side::Right], None);
        s.go(Screen::Photographs);
    });
    window.inner.take_in(paths);
    window.inner.change(|s| s.turn_to(Side::Right));
    until(&window, "every photograph", |s| {
        s.taking.problems.len() == 3
    });
    let session = window.inner.session.borrow();
    assert!(session.taking.problems[0].contains("another cast"));
    assert!(session.sources().is_none_or(|s| s.photographs.is_empty()));
}

/// Keeps what was heard.
#[derive(Clone, Default)]
struct Ear(Rc<RefCell<Vec<String>>>);

impl Voice for Ear {
    fn sound(&mut self, tone: Tone) {
        self.0.borrow_mut().push(format!("{tone:?}"));
    }
    fn say(&mut self, words: &str, _: Lang) {
        self.0.borrow_mut().push(words.to_owned());
    }
    fn is_audible(&self) -> bool {
        true
    }
}

#[test]
fn both_feet_are_heard_and_told_apart_whichever_is_in_hand() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let data = window.app.global::<Data>();
    let ear = Ear::default();
    let now = crate::clock::now();
    window.inner.change(|s| {
        s.voice = Box::new(ear.clone());
        s.begin_visit(vec![Side::Left, Side::Right], None);
        let visit = &mut s.open.as_mut().expect("open").case.visit;
        let dipped = now - chrono::TimeDelta::seconds(2);
        questions::record_mut(visit, Side::Left).dipped_at = Some(dipped);
        s.go(Screen::Cast);
    });
    // Turned away from the foot that sets.
    window.inner.change(|s| s.turn_to(Side::Right));
    assert_eq!(data.get_side(), plinthside_ui::Side::Right);
    window.inner.tick();
    assert_eq!(*ear.0.borrow(), ["Next", "left: lay on and mould"]);
    let other = data.get_other_timer();
    assert!(other.starts_with("left: lay on and mould · "), "{other}");
    assert!(window.inner.session.borrow().is_setting());
    // The other foot waits until those words are over, and is heard then.
    window.inner.change(|s| {
        let visit = &mut s.open.as_mut().expect("open").case.visit;
        questions::record_mut(visit, Side::Right).dipped_at = Some(crate::clock::now());
    });
    window.inner.tick();
    assert_eq!(ear.0.borrow().len(), 2);
    for clock in &mut window.inner.session.borrow_mut().clocks {
        clock.heard = clock.heard.map(|at| at - chrono::TimeDelta::seconds(9));
    }
    window.inner.tick();
    assert_eq!(ear.0.borrow()[2..], ["Next", "right: lay on and mould"]);
}

/// Somebody still wears the plaster when its visit is put away and the screen is locked.
#[test]
fn a_cast_is_heard_when_its_visit_is_put_away_and_says_no_name() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let data = window.app.global::<Data>();
    let ear = Ear::default();
    let plaster = &plinthside_visit::aids::Timers::shipped()
        .expect("the times")
        .plaster[0];
    let hold = chrono::TimeDelta::seconds(i64::from(plaster.hold_s));
    let dipped = crate::clock::now() - hold + chrono::TimeDelta::seconds(14);
    window.inner.change(|s| {
        s.voice = Box::new(ear.clone());
        s.begin_visit(vec![Side::Left], None);
        let visit = &mut s.open.as_mut().expect("open").case.visit;
        let record = questions::record_mut(visit, Side::Left);
        (record.material, record.dipped_at) = (plaster.id.clone(), Some(dipped));
        s.go(Screen::Cast);
    });
    window.inner.tick();
    assert!(ear.0.borrow().is_empty(), "an old stage is no news");
    window.inner.change(|s| s.lock());
    window.inner.tick();
    assert!(
        data.get_other_timer()
            .starts_with("another cast: left: hold")
    );
    // The stage's end drew near; then the next begins.
    let pass = |s| {
        for clock in &mut window.inner.session.borrow_mut().clocks {
            let earlier = |at: plinthside_visit::When| at - chrono::TimeDelta::seconds(s);
            for stage in &mut clock.stages {
                (stage.from, stage.until) = (earlier(stage.from), stage.until.map(earlier));
            }
            clock.heard = clock.heard.map(earlier);
        }
        window.inner.tick();
    };
    pass(20);
    assert_eq!(
        *ear.0.borrow(),
        [
            "Soon",
            "another cast",
            "Next",
            "another cast: let it harden"
        ]
    );
    // After the last stage has begun and been heard, nothing is left of it.
    pass(24 * 3600);
    assert!(window.inner.session.borrow().clocks.is_empty());
    assert_eq!(data.get_other_timer(), "");
}

#[test]
fn a_window_with_entries_that_the_disk_refused_closes_on_the_second_request() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = left_cast(folder.path());
    let data = window.app.global::<Data>();
    let close = |window: &Window| {
        window
            .app
            .window()
            .dispatch_event(WindowEvent::CloseRequested);
        !window.app.window().is_visible()
    };
    let refuse = |window: &Window| {
        let mut session = window.inner.session.borrow_mut();
        let open = session.open.as_mut().expect("an open visit");
        open.case.visit.reason = "falls on stairs".into();
        let id = open.case.visit.id.clone();
        let records = session.records().expect("open");
        let going = records.going(&id).expect("a visit to erase");
        records.erase(&going, "Ines Calloway").expect("erased");
    };
    refuse(&window);
    assert!(!close(&window), "held back");
    let said = data.get_problem().text;
    assert!(said.contains("once more"), "{said}");
    assert!(window.inner.session.borrow().open.is_some(), "nothing lost");
    // A touch in between, and it is asked anew.
    window.app.global::<Backend>().invoke_go(Screen::Person);
    assert!(!close(&window));
    assert!(close(&window), "asked for twice");

    // With everything saved it closes at once.
    let folder = tempfile::tempdir().expect("a folder");
    let mut session = demo_session(folder.path(), folder.path().to_owned()).expect("a session");
    session.look = Look::default();
    let other = shown_window(session);
    tap(&other, "Morwenna Ashdown, Left");
    settle(&other);
    assert!(close(&other));
}

/// Unreadable, mirrored, foreign and doubled photographs: each is refused in its own words, and what
/// is good among them is taken in.
#[test]
fn every_photograph_that_is_no_use_says_why_and_the_good_one_is_taken_in() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let good = without_label(CASTS[0].photos[0].jpeg);
    let turned = |photo: image::DynamicImage| {
        let mut bytes = std::io::Cursor::new(Vec::new());
        let rgb = photo.to_rgb8();
        rgb.write_to(&mut bytes, image::ImageFormat::Jpeg)
            .expect("encoded");
        bytes.into_inner()
    };
    let photo = image::load_from_memory(&good).expect("a photograph");
    let files = [
        ("1-good.jpg", good.clone()),
        ("2-text.jpg", b"no picture at all".to_vec()),
        ("3-cut.jpg", good[..good.len() / 3].to_vec()),
        ("4-mirrored.jpg", turned(photo.fliph())),
        (
            "5-foreign.jpg",
            turned(image::DynamicImage::new_rgb8(2000, 1500)),
        ),
        ("6-doubled.jpg", good),
    ];
    let paths: Vec<PathBuf> = files
        .iter()
        .map(|(name, bytes)| {
            let path = folder.path().join(name);
            std::fs::write(&path, bytes).expect("written");
            path
        })
        .collect();
    window.inner.change(|s| {
        s.begin_visit(vec![Side::Left], None);
        s.go(Screen::Photographs);
    });
    window.inner.take_in(paths);
    until(&window, "every photograph", |s| {
        s.taking.problems.len() + s.sources().map_or(0, |s| s.photographs.len()) >= 6
    });
    settle(&window);
    let shown = window.app.global::<Data>().get_taking().problems;
    let problems: Vec<String> = shown.iter().map(Into::into).collect();
    println!("{}", problems.join("\n"));
    for (name, _) in &files[1..] {
        assert!(
            problems.iter().any(|problem| problem.contains(name)),
            "{name} is not spoken of: {problems:?}"
        );
    }
    let session = window.inner.session.borrow();
    let taken = &session.sources().expect("a cast").photographs;
    assert_eq!(taken.len(), 1);
    assert_eq!(taken[0].id, "1-good.jpg");
}
