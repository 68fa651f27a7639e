//! Other devices through accessible names: two windows that meet in a folder.

use crate::records::Records;
use crate::window::tests::{
    case, demo_window, field, picture, shown_window, tap, test_window, until,
};
use crate::window::*;
use plinthside_exchange::{Devices, Sync, Targets, connect};
use plinthside_paper::qr::{Luma, read_codes};
use plinthside_store::{Kdf, Options, Store};
use plinthside_ui::{Exchange as Shown, ExchangePage, ExchangeView, Screen, Tone};
use plinthside_visit::{Clinic, Entry, Visit};
use slint::Model;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

const ADDRESS: &str = "Address: a folder, https://… (WebDAV) or s3://…";
pub(super) const NEVER: Duration = Duration::from_hours(1);
const OFTEN: Duration = Duration::from_millis(200);

pub(super) fn shown(window: &Window) -> ExchangeView {
    window.app.global::<Shown>().get_view()
}

/// Waits until the screen of other devices shows something.
pub(super) fn wait(window: &Window, what: &str, holds: impl Fn(&ExchangeView) -> bool) {
    until(window, what, |_| holds(&shown(window)));
}

pub(super) fn results(window: &Window) -> String {
    let all = shown(window).results;
    all.iter().map(|line| format!("{}\n", line.text)).collect()
}

/// The invented clinic in a window that looks at its targets every so often.
pub(super) fn clinic_window(folder: &Path, every: Duration) -> Window {
    let mut session = demo_session(folder, folder.join("papers")).expect("the demo data");
    session.look = Look::default();
    session.exchange.every = every;
    test_window(session)
}

/// A second device with a store of its own, in a second window.
fn new_device(folder: &Path, every: Duration) -> Window {
    let path = folder.join("second.store");
    let clinic = Clinic::default();
    let records = Records::create(&path, "a second passphrase", &clinic, "", Some(Kdf::LEAST));
    let tables = Tables::shipped().expect("tables");
    let desk = Desk::Closed(Door::default());
    let mut session = Session::new(desk, Look::default(), tables, folder.join("papers"));
    session.exchange.every = every;
    session.enter(Box::new(records.expect("a store")));
    shown_window(session)
}

pub(super) fn devices_screen(window: &Window) {
    window.app.global::<Backend>().invoke_go(Screen::Settings);
    tap(window, "Other devices");
    assert_eq!(window.app.global::<Data>().get_screen(), Screen::Exchange);
}

pub(super) fn add_target(window: &Window, name: &str, address: &Path) {
    devices_screen(window);
    tap(window, "Add a target");
    field(window, "Name of the target", name);
    field(window, ADDRESS, &address.display().to_string());
    tap(window, "Keep the target");
    assert_eq!(shown(window).problem, "");
}

/// Begins a practice in a window and meets at a folder.
pub(super) fn first(window: &Window, address: &Path) {
    devices_screen(window);
    tap(window, "This is the first one");
    assert!(shown(window).practice);
    add_target(window, "Stick", address);
    until(window, "the first meeting", |s| {
        !s.exchange.outcomes.is_empty()
    });
}

/// The invented clinic's window, met at a folder, and the folder around both.
pub(super) fn met() -> (tempfile::TempDir, PathBuf, Window) {
    let folder = tempfile::tempdir().expect("a folder");
    let meeting = folder.path().join("meeting");
    std::fs::create_dir(&meeting).expect("made");
    let window = clinic_window(folder.path(), NEVER);
    first(&window, &meeting);
    (folder, meeting, window)
}

pub(super) fn synchronise(window: &Window) {
    devices_screen(window);
    until(window, "the end of what runs by itself", |s| {
        !s.exchange.progress(Lang::En).running
    });
    window.inner.session.borrow_mut().exchange.close();
    window.inner.show();
    tap(window, "Synchronise now");
    until(window, "a synchronisation", |s| {
        !s.exchange.outcomes.is_empty()
    });
}

pub(super) fn visit_of(window: &Window, id: &str) -> Visit {
    let mut session = window.inner.session.borrow_mut();
    let store = session.records().expect("open").store();
    serde_json::from_value(store.read(id).expect("there")).expect("a visit")
}

#[test]
fn two_devices_join_by_a_shown_code_and_a_visit_goes_both_ways() {
    let folder = tempfile::tempdir().expect("a folder");
    let meeting = folder.path().join("meeting");
    std::fs::create_dir(&meeting).expect("made");
    let a = clinic_window(folder.path(), NEVER);
    tap(&a, "Settings");
    devices_screen(&a);
    picture(&a, "exchange-2-alone");
    assert!(!shown(&a).practice);
    first(&a, &meeting);
    let files = |folder: &str| {
        let practice = std::fs::read_dir(&meeting).expect("listed").flatten();
        let below = practice.map(|e| e.path().join(folder));
        below
            .filter_map(|path| std::fs::read_dir(path).ok())
            .flatten()
            .count()
    };
    assert!(files("photos") > 0, "{}", results(&a));
    picture(&a, "exchange-3-home");
    tap(&a, "Devices");
    tap(&a, "Let a device in");
    wait(&a, "the code", |v| !v.invitation.is_empty());
    picture(&a, "exchange-4-code");
    let view = shown(&a);
    // The picture holds the same code as the text.
    let small = view.qr.to_rgb8().expect("a picture");
    let pixels =
        image::RgbImage::from_raw(small.width(), small.height(), small.as_bytes().to_vec());
    let large = image::imageops::resize(
        &pixels.expect("three bytes a pixel"),
        8 * small.width(),
        8 * small.height(),
        image::imageops::FilterType::Nearest,
    );
    let grey = image::imageops::grayscale(&large);
    let luma = Luma::from_grey(grey.width(), grey.height(), &grey).expect("pixels");
    let read = read_codes(&luma);
    let plain = view.invitation.replace('-', "");
    assert_eq!(read.len(), 1);
    assert_eq!(read[0].text, format!("PLINTHSIDE-JOIN:{plain}"));

    let b = new_device(folder.path(), NEVER);
    add_target(&b, "Stick", &meeting);
    tap(&b, "Join others");
    field(&b, "The code shown there", "nonsense");
    tap(&b, "Join with this code");
    wait(&b, "a refusal", |v| {
        v.problem.contains("not a joining code")
    });
    field(&b, "The code shown there", &view.invitation.to_lowercase());
    tap(&b, "Join with this code");
    wait(&b, "having joined", |v| v.page == ExchangePage::Devices);
    assert!(
        shown(&b).said.contains("showed the code"),
        "{}",
        shown(&b).said
    );
    // The member looks by itself while the code is shown, the newcomer while it waits.
    wait(&a, "the newcomer", |v| v.said.contains("has joined"));
    assert_eq!(shown(&a).page, ExchangePage::Devices);
    assert_eq!(shown(&a).devices.row_count(), 2);
    picture(&a, "exchange-6-devices");
    until(&b, "the visits", |s| s.list.count > 0);
    until(&b, "the settings", |s| !s.clinic().name.is_empty());
    let clinic = a.inner.session.borrow().clinic();
    assert_eq!(b.inner.session.borrow().clinic(), clinic);
    assert!(!results(&a).contains("differently"));

    // A visit edited on the second device appears on the first.
    let body_mass = |window: &Window, mass: f64| {
        window.app.global::<Backend>().invoke_go(Screen::Cases);
        tap(window, "Morwenna Ashdown, Left");
        window.inner.change(|s| {
            let open = s.open.as_mut().expect("open");
            open.case.visit.person.body_mass_kg = Some(Entry::number(mass));
        });
        let id = case(&window.inner.session.borrow()).visit.id.clone();
        tap(window, "History");
        let lies = window.app.global::<Data>().get_history().lies;
        let lies = lies.row_data(0).expect("a target").text;
        picture(window, "exchange-7-history");
        tap(window, "Put the visit away");
        (id, lies)
    };
    let (id, lies) = body_mass(&b, 81.0);
    assert!(
        lies.starts_with("Stick: ") && lies.ends_with("goes after it is put away."),
        "{lies}"
    );
    synchronise(&b);
    assert!(!results(&b).contains("sent nothing"), "{}", results(&b));
    // It is open on the first one when the change arrives: what is on its screen follows.
    a.app.global::<Backend>().invoke_go(Screen::Cases);
    tap(&a, "Morwenna Ashdown, Left");
    synchronise(&a);
    let mass = |window: &Window| {
        let session = window.inner.session.borrow();
        let mass = case(&session).visit.person.body_mass_kg.clone();
        mass.and_then(|m| m.value)
    };
    assert_eq!(mass(&a), Some(81.0));
    // And back.
    a.app.global::<Backend>().invoke_close_visit();
    let (same, _) = body_mass(&a, 82.0);
    assert_eq!(same, id);
    synchronise(&a);
    synchronise(&b);
    let there = visit_of(&b, &id).person.body_mass_kg;
    assert_eq!(there.and_then(|m| m.value), Some(82.0));
    a.app.global::<Backend>().invoke_go(Screen::Cases);
    tap(&a, "Morwenna Ashdown, Left");
    tap(&a, "History");
    let lies = a.app.global::<Data>().get_history().lies;
    let lies = lies.row_data(0).expect("a target");
    assert_eq!(lies.text, "Stick: At the target, with every photograph.");
    assert_eq!(lies.tone, Tone::Good);
    picture(&a, "exchange-8-at-the-target");
}

#[test]
fn a_device_is_struck_off_after_being_asked_once_more() {
    let (folder, meeting, window) = met();
    let lost = other_device(folder.path(), &window, &meeting);
    devices_screen(&window);
    tap(&window, "Devices");
    let device = shown(&window).devices.row_data(1).expect("another");
    assert_eq!(device.title, "Lost tablet");
    let name = format!("Strike off: {} {}", device.title, device.detail);
    tap(&window, &name);
    assert_eq!(shown(&window).striking, "Lost tablet");
    tap(&window, "Leave it in");
    assert_eq!(shown(&window).devices.row_data(1).expect("still").mark, 0);
    tap(&window, &name);
    tap(&window, "Strike it off");
    assert_eq!(shown(&window).devices.row_data(1).expect("listed").mark, -1);
    assert!(shown(&window).said.contains("password"));
    synchronise(&window);
    let refused = run(&lost, &meeting);
    assert!(
        refused.as_ref().is_err_and(|e| e.contains("struck off")),
        "{refused:?}"
    );
}

/// Another device of the practice of a window, without a window: joined and synchronised.
pub(super) fn other_device(folder: &Path, window: &Window, meeting: &Path) -> Mutex<Store> {
    let options = Options::new("Lost tablet").kdf(Kdf::LEAST);
    let path = folder.join("lost.store");
    let store = Store::create(&path, "another passphrase", options).expect("made");
    let store = Mutex::new(store);
    devices_screen(window);
    tap(window, "Devices");
    tap(window, "Let a device in");
    wait(window, "the code", |v| !v.invitation.is_empty());
    let code = shown(window).invitation;
    let spec = plinthside_exchange::TargetSpec::new("Stick", meeting.display().to_string());
    Targets(&store).set(&spec).expect("kept");
    let target = connect(&spec).expect("there");
    Devices(&store)
        .join(target.as_ref(), &code, "Lost tablet")
        .expect("joined");
    synchronise(window);
    run(&store, meeting).expect("synchronised");
    store
}

pub(super) fn run(store: &Mutex<Store>, meeting: &Path) -> Result<Vec<String>, String> {
    let spec = Targets(store).named("Stick").map_err(|e| e.to_string())?;
    assert_eq!(spec.url, meeting.display().to_string());
    let target = connect(&spec).map_err(|e| e.to_string())?;
    let how = Sync {
        address: &spec.url,
        cancel: &AtomicBool::new(false),
        progress: &mut |_| {},
        photographs: true,
    };
    plinthside_exchange::sync(store, target.as_ref(), how)
        .map(|report| report.words())
        .map_err(|e| e.to_string())
}

#[test]
fn it_runs_with_numbers_is_stopped_and_goes_on_from_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let meeting = folder.path().join("meeting");
    std::fs::create_dir(&meeting).expect("made");
    let window = clinic_window(folder.path(), NEVER);
    devices_screen(&window);
    tap(&window, "This is the first one");
    add_target(&window, "Stick", &meeting);
    let progress = || window.app.global::<Shown>().get_progress();
    until(&window, "numbers", |_| {
        progress().running && progress().text.contains(" of ")
    });
    let status = window.app.global::<Data>().get_status();
    assert!(
        status
            .row_data(0)
            .is_some_and(|s| s.text.starts_with("synchronising"))
    );
    tap(&window, "Stop synchronising");
    wait(&window, "the end", |v| v.results.row_count() > 0);
    let said = results(&window);
    assert!(said.contains("Stopped on request"), "{said}");
    picture(&window, "exchange-11-stopped");
    synchronise(&window);
    let said = results(&window);
    assert!(
        !said.contains("still have") && !said.contains("Stopped"),
        "{said}"
    );
}

#[test]
fn a_target_that_is_away_is_said_and_met_by_itself_once_it_is_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let meeting = folder.path().join("stick").join("practice");
    let window = clinic_window(folder.path(), OFTEN);
    devices_screen(&window);
    tap(&window, "This is the first one");
    add_target(&window, "Stick", &meeting);
    wait(&window, "that it is away", |v| {
        v.targets
            .row_data(0)
            .is_some_and(|t| t.note.contains("not there at"))
    });
    assert_eq!(window.app.global::<Data>().get_status().row_count(), 0);
    tap(&window, "Synchronise now");
    wait(&window, "why", |v| v.results.row_count() > 0);
    let said = results(&window);
    assert!(
        said.contains("cannot be reached") && said.contains("kept on this device"),
        "{said}"
    );
    picture(&window, "exchange-12-away");
    // Nobody touches anything from here on, on another screen than that of the devices.
    window.app.global::<Backend>().invoke_go(Screen::Cases);
    std::fs::create_dir_all(&meeting).expect("made");
    until(&window, "a synchronisation by itself", |_| {
        let changes = |at: &Path| {
            let below = std::fs::read_dir(at).into_iter().flatten().flatten();
            below.filter(|e| e.path().join("changes").is_dir()).count()
        };
        changes(&meeting) > 0
    });
    devices_screen(&window);
    wait(&window, "what came of it", |v| {
        v.targets
            .row_data(0)
            .is_some_and(|t| t.note.contains(": sent") && t.tone == Tone::Plain)
    });
    // A locked store is not lent: the thread ends.
    window.app.global::<Backend>().invoke_lock();
    assert!(window.inner.carrier.borrow().is_none());
}

#[test]
fn a_forged_file_in_the_folder_is_named_in_words() {
    let (folder, meeting, window) = met();
    let other = other_device(folder.path(), &window, &meeting);
    synchronise(&window);
    // The window's own newest batch is put where the other device's next one would be.
    let practice = std::fs::read_dir(&meeting)
        .expect("listed")
        .flatten()
        .map(|e| e.path())
        .find(|path| path.join("changes").is_dir())
        .expect("a practice");
    let newest = |device: &str| -> PathBuf {
        let streams = std::fs::read_dir(practice.join("changes")).expect("listed");
        let own = streams.flatten().map(|e| e.path()).find(|path| {
            let name = path.file_name().expect("a name").to_string_lossy();
            name.starts_with(device)
        });
        let batches = std::fs::read_dir(own.expect("a stream")).expect("listed");
        batches.flatten().map(|e| e.path()).max().expect("a batch")
    };
    let theirs = Devices(&other).list().expect("listed")[0].id.clone();
    let mine = Devices(&other).list().expect("listed")[1].id.clone();
    let (of_theirs, of_mine) = (newest(&theirs), newest(&mine));
    let counter = of_theirs.file_name().expect("a name").to_string_lossy();
    let next = format!("{:08}", counter.parse::<u64>().expect("a number") + 1);
    let stream = of_theirs.parent().expect("a stream");
    std::fs::copy(&of_mine, stream.join(&next)).expect("copied");
    let head = stream.file_name().expect("a name").to_string_lossy();
    std::fs::write(practice.join("heads").join(format!("{head}-{next}")), b"").expect("written");
    synchronise(&window);
    let lines = shown(&window).results;
    let named = lines.iter().find(|line| line.tone == Tone::Caution);
    let named = named.unwrap_or_else(|| panic!("{}", results(&window)));
    assert!(
        named.text.contains("Lost tablet") && named.text.contains("signature"),
        "{}",
        named.text
    );
    let status = window.app.global::<Data>().get_status();
    assert_eq!(status.row_data(0).expect("said").tone, Tone::Caution);
    picture(&window, "exchange-13-forged");
}

#[test]
fn a_target_keeps_its_secret_to_itself_and_is_taken_out_of_the_list() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    devices_screen(&window);
    tap(&window, "Add a target");
    field(&window, ADDRESS, "http://nas.invalid/x");
    tap(&window, "Keep the target");
    assert!(shown(&window).problem.contains("https://"));
    field(&window, "Name of the target", "NAS");
    field(&window, ADDRESS, "https://nas.invalid/x");
    field(
        &window,
        "User name or access key, if it asks for one",
        "clinic",
    );
    field(&window, "Password or secret", "very secret");
    picture(&window, "exchange-14-target");
    tap(&window, "Keep the target");
    let kept = |window: &Window| {
        let mut session = window.inner.session.borrow_mut();
        let here = std::sync::Mutex::new(session.records().expect("open").store());
        Targets(&here).list().expect("read")
    };
    let secret = |window: &Window| kept(window)[0].credentials.clone().expect("kept").secret;
    assert_eq!(secret(&window), "very secret");
    // Opened again, it is not shown; kept again without typing, it stays; renamed, there is one.
    tap(&window, "NAS");
    assert!(shown(&window).secret_kept);
    field(&window, "Name of the target", "Office NAS");
    tap(&window, "Keep the target");
    assert_eq!(secret(&window), "very secret");
    assert_eq!(kept(&window).len(), 1);
    // Another address never gets the secret of this one.
    tap(&window, "Office NAS");
    field(&window, ADDRESS, "https://elsewhere.invalid/x");
    tap(&window, "Keep the target");
    assert_eq!(secret(&window), "");
    tap(&window, "Office NAS");
    tap(&window, "Take out of the list");
    assert!(kept(&window).is_empty());
}

#[test]
fn settings_of_two_devices_are_joined_and_what_differs_is_said() {
    let (folder, meeting, window) = met();
    let before = window.inner.session.borrow().clinic();
    let other = other_device(folder.path(), &window, &meeting);
    let theirs = Clinic {
        name: "Name of another day".into(),
        email: "desk@saltmarsh.invalid".into(),
        ..Clinic::default()
    };
    // It had settings of its own before it learned of the clinic's.
    let lone = Options::new("Lost tablet").kdf(Kdf::LEAST);
    let path = folder.path().join("lone.store");
    let mut lone = Store::create(path, "another passphrase", lone).expect("made");
    lone.import("clinic", "settings", &theirs, "Bo")
        .expect("kept");
    let whole = lone.whole("clinic").expect("read").expect("there");
    other
        .lock()
        .expect("alone")
        .receive("clinic", &whole.kind, &whole.changes)
        .expect("taken");
    run(&other, &meeting).expect("synchronised");
    synchronise(&window);
    let clinic = window.inner.session.borrow().clinic();
    // Nothing typed gives way to something empty, on either side.
    assert_eq!(clinic.telephone, before.telephone);
    assert_eq!(clinic.prescribers, before.prescribers);
    assert!(clinic.name == before.name || clinic.name == theirs.name);
    assert!(clinic.email == before.email || clinic.email == theirs.email);
    assert!(!clinic.email.is_empty());
    assert!(
        results(&window).contains("set differently on two devices"),
        "{}",
        results(&window)
    );
}
