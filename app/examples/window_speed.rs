//! How fast the window is, beside an empty one. Prints figures as JSON; `tests/bench/window.py` runs it.
//!
//! ```text
//! window_speed first STORE           at the door of a store: says when its first picture is drawn
//! window_speed make STORE VISITS     a store of invented visits
//! window_speed list STORE            scrolling and searching in it, frame by frame, drawn in memory
//! window_speed mark                  from a moved mark to the new result, six photographs loaded
//! ```
#![allow(clippy::expect_used)]

use i_slint_backend_testing::{AccessibleRole, ElementHandle, TestingBackend};
use plinthside::records::{Place, Records};
use plinthside::window::{Window, demo_session, own_session};
use plinthside_measure::marks::Side;
use plinthside_store::{Kdf, VISIT};
use plinthside_ui::{Backend, Data, Screen};
use plinthside_visit::{Clinic, Visit};
use slint::platform::WindowEvent;
use slint::{ComponentHandle, LogicalPosition, LogicalSize, Model};
use std::path::Path;
use std::time::{Duration, Instant};

const PASSPHRASE: &str = "a passphrase for the benchmark";

/// Says when the first whole picture was drawn in the running event loop, and ends.
fn until_drawn<T: ComponentHandle + 'static>(window: &T) {
    let weak = window.as_weak();
    let timer = slint::Timer::default();
    timer.start(
        slint::TimerMode::Repeated,
        Duration::from_millis(1),
        move || {
            // No picture before the window has its size.
            if weak
                .upgrade()
                .is_some_and(|w| w.window().take_snapshot().is_ok())
            {
                println!("drawn");
                let _ = slint::quit_event_loop();
            }
        },
    );
    window.run().expect("a screen");
}

/// The window of a tablet, drawn in memory.
fn headless(make: impl FnOnce() -> Window) -> Window {
    let backend = TestingBackend::new(i_slint_backend_testing::TestingBackendOptions {
        mock_time: true,
        threading: false,
        renderer_name: Some("software".into()),
    });
    slint::platform::set_platform(Box::new(backend)).expect("the first backend");
    let window = make();
    window
        .app()
        .window()
        .set_size(LogicalSize::new(1280.0, 800.0));
    window.app().show().expect("shown");
    window
}

fn frame(window: &Window) {
    window.app().window().take_snapshot().expect("drawn");
}

fn milliseconds(mut times: Vec<Duration>) -> serde_json::Value {
    times.sort();
    let ms = |t: &Duration| t.as_secs_f64() * 1e3;
    let at = |p: f64| ms(&times[((times.len() - 1) as f64 * p).round() as usize]);
    serde_json::json!({"median": at(0.5), "p99": at(0.99), "slowest": at(1.0), "of": times.len()})
}

/// Most memory ever held, MB.
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let kib = line.and_then(|l| l.split_whitespace().next()?.parse::<f64>().ok());
    kib.unwrap_or(0.0) * 1024.0 / 1e6
}

fn make(store: &Path, visits: usize) {
    let given = [
        "Anna", "Bernd", "Carla", "Dieter", "Elif", "Fritz", "Greta", "Hanno", "Ida",
    ];
    let family = [
        "Acker", "Berg", "Dorn", "Eichen", "Feld", "Hagen", "Linden", "Moor", "Rosen", "Wald",
    ];
    let ending = ["bach", "brunn", "garten", "heim", "hof", "kamp", "ried"];
    let clinic = Clinic::default();
    let mut records =
        Records::create(store, PASSPHRASE, &clinic, "Ada", Some(Kdf::LEAST)).expect("made");
    let at = plinthside::clock::now();
    for batch in (0..visits).collect::<Vec<_>>().chunks(500) {
        let batch: Vec<Visit> = batch
            .iter()
            .map(|n| {
                let mut visit = Visit::new(format!("v{n}"), at, vec![Side::Left]);
                let (a, b, c) = (given[n % 9], family[n / 9 % 10], ending[n / 90 % 7]);
                visit.person.name = format!("{a} {b}{c}");
                visit.person.code = format!("P{n:06}");
                visit
            })
            .collect();
        let all = batch.iter().map(|v| (v.id.as_str(), v));
        records
            .store()
            .import_all(VISIT, all, "Ada")
            .expect("imported");
    }
}

fn list(store: &Path) {
    let window = headless(|| {
        let place = Place::new(Some(store.to_owned()), None).expect("a place");
        let mut session = own_session(place, std::env::temp_dir()).expect("the tables");
        session.enter(Box::new(Records::open(store, PASSPHRASE).expect("opens")));
        Window::new(session).expect("a window")
    });
    let data = window.app().global::<Data>();
    assert_eq!(data.get_screen(), Screen::Cases);
    frame(&window);
    let mut scrolls = Vec::new();
    for i in 0..400 {
        // A finger's pace, and every tenth time a throw a long way on.
        let delta_y = if i % 10 == 9 { -200_000.0 } else { -120.0 };
        let start = Instant::now();
        window
            .app()
            .window()
            .dispatch_event(WindowEvent::PointerScrolled {
                position: LogicalPosition::new(600.0, 500.0),
                delta_x: 0.0,
                delta_y,
            });
        frame(&window);
        scrolls.push(start.elapsed());
    }
    let field = ElementHandle::find_by_accessible_label(
        window.app(),
        "Find a patient, code, lab, state or note",
    )
    .find(|e| e.accessible_role() == Some(AccessibleRole::TextInput))
    .expect("the field");
    let mut searches = Vec::new();
    for text in [
        "Greta Lindenheim",
        "Elif Moorbach",
        "P064321",
        "Hano Rosnkamp",
        "Wald",
    ] {
        for end in 1..=text.len() {
            let start = Instant::now();
            field.set_accessible_value(&text[..end]);
            frame(&window);
            searches.push(start.elapsed());
        }
        assert!(data.get_found() > 0, "nothing found for {text}");
    }
    println!(
        "{}",
        serde_json::json!({
            "scroll_frame_ms": milliseconds(scrolls),
            "search_frame_ms": milliseconds(searches),
            "peak_mb": peak_mb(),
        })
    );
}

fn mark() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = headless(|| {
        let session = demo_session(folder.path(), folder.path().to_owned()).expect("the demo");
        Window::new(session).expect("a window")
    });
    let backend = window.app().global::<Backend>();
    let data = window.app().global::<Data>();
    let until = |holds: &dyn Fn() -> bool| {
        let start = Instant::now();
        while !holds() {
            assert!(start.elapsed() < Duration::from_mins(2), "waited in vain");
            std::thread::sleep(Duration::from_micros(300));
            window.pump();
        }
    };
    let left = data
        .get_cases()
        .iter()
        .position(|c| c.left)
        .expect("a left cast");
    backend.invoke_open_case(left as i32);
    backend.invoke_go(Screen::Mark);
    backend.invoke_leave_photo_out(7);
    backend.invoke_leave_photo_out(6);
    backend.invoke_go(Screen::Mark);
    until(&|| {
        let mark = data.get_mark();
        mark.photos.row_count() == 6
            && mark.photos.iter().all(|p| p.tags > 0)
            && mark.photo.size().width > 0
    });
    let mut times = Vec::new();
    for i in 0..40 {
        let before = window.results();
        let step = if i % 2 == 0 { 4.0 } else { -4.0 };
        let start = Instant::now();
        backend.invoke_nudge_mark(step, 0.0);
        until(&|| window.results() != before);
        frame(&window);
        times.push(start.elapsed());
    }
    println!(
        "{}",
        serde_json::json!({"result_after_tap_ms": milliseconds(times)})
    );
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["first", store] => {
            let place = Place::new(Some(store.into()), None).expect("a place");
            let session = own_session(place, std::env::temp_dir()).expect("the tables");
            let window = Window::new(session).expect("a screen");
            until_drawn(window.app());
        }
        ["make", store, visits] => make(store.as_ref(), visits.parse().expect("a number")),
        ["list", store] => list(store.as_ref()),
        ["mark"] => mark(),
        _ => panic!("see the top of this file"),
    }
}
