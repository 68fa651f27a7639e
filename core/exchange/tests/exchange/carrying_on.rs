//! What would hold others up does not: damage on the device, a target that asks for everything or
//! is suddenly empty, codes nobody answered; and progress that counts up.

use crate::common::{
    add, batches, join, memory, pair, reason, run, store, sync_at, try_sync, visit,
};
use crate::sim::{Device, sha};
use plinthside_exchange::{
    Devices, ExchangeError, Local, Memory, ProblemKind, Progress, Report, Step, Sync, Target,
    TargetError, TargetSpec, Targets, connect, sync,
};
use plinthside_store::{Options, Store};
use rand::rngs::StdRng;
use rand::{RngCore, SeedableRng};
use std::sync::atomic::AtomicBool;
use std::sync::{Mutex, PoisonError};

fn watched<L: Local + ?Sized>(local: &L, target: &dyn Target) -> (Report, Vec<Progress>) {
    let (mut seen, never) = (Vec::new(), AtomicBool::new(false));
    let how = Sync {
        address: "memory",
        cancel: &never,
        progress: &mut |progress| seen.push(progress),
        photographs: true,
    };
    let report = sync(local, target, how).expect("sync");
    (report, seen)
}

fn unreadable(report: &Report) -> usize {
    let kinds = report.problems.iter().map(|p| p.kind);
    kinds.filter(|k| *k == ProblemKind::Unreadable).count()
}

#[test]
fn a_damaged_record_or_photograph_is_named_and_holds_nothing_else_up() {
    let target = memory();
    let (a, b) = (Device::new(0), Device::new(1));
    Devices(&a).begin("A").expect("begin");
    let code = Devices(&a).invite(&target).expect("invite");
    Devices(&b).join(&target, &code.text, "B").expect("join");
    for device in [&a, &b, &a] {
        watched(device, &target);
    }
    for id in ["v1", "v2", "v3"] {
        a.edit(id, 1);
    }
    // More than are sent in one go, so that the damaged ones would come up again and again.
    for i in 0..40 {
        a.photo("v3", format!("photograph {i}").as_bytes());
    }
    let mut bad: Vec<String> = (0..20)
        .map(|i| sha(format!("photograph {i}").as_bytes()))
        .collect();
    bad.push("v2".into());
    a.disk.borrow_mut().damaged.extend(bad);
    for _ in 0..2 {
        let (report, _) = watched(&a, &target);
        assert_eq!(unreadable(&report), 21, "{:?}", report.problems);
        assert_eq!(report.photos_to_send, 20);
    }
    watched(&b, &target);
    let has = |id: &str| b.disk.borrow().records.contains_key(id);
    assert!(has("v1") && !has("v2") && has("v3"));
    assert_eq!(b.disk.borrow().photos.len(), 20);
    // Mended, it goes.
    a.disk.borrow_mut().damaged.clear();
    assert_eq!(unreadable(&watched(&a, &target).0), 0);
    watched(&b, &target);
    assert!(has("v2"));
    assert_eq!(b.disk.borrow().photos.len(), 40);
}

#[test]
fn a_damaged_page_of_the_store_keeps_one_photograph_back() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    let mut large = vec![0; 4_000_000];
    StdRng::seed_from_u64(1).fill_bytes(&mut large);
    add(&a, "v1", "trips", &[&large]);
    add(&a, "v2", "trips", &[b"a small one".as_slice()]);
    drop(a.into_inner().unwrap_or_else(PoisonError::into_inner));
    // Most of the file is that photograph.
    let path = folder.path().join("A");
    let mut file = std::fs::read(&path).expect("file");
    let middle = file.len() / 2;
    file[middle] ^= 1;
    std::fs::write(&path, file).expect("file");
    let again = Store::open(&path, "plaster sets in minutes", Options::new("A"));
    let a = Mutex::new(again.expect("open"));
    let report = run(&a, &target);
    assert_eq!((unreadable(&report), report.photos_sent), (1, 1));
    run(&b, &target);
    assert_eq!(reason(&b, "v1"), "trips");
}

#[test]
fn requests_that_nobody_here_can_answer_do_not_block_one_that_can_be() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    let before = batches(&target);
    add(&a, "v1", "whole", &[]);
    run(&a, &target);
    let new = &batches(&target) - &before;
    let file = new.iter().next().expect("a batch");
    target.put(file, b"torn").expect("put");
    let practice = file.split('/').next().expect("practice");
    for i in 0..30 {
        let name = format!("{practice}/wanted/0000000000000000.00000000-{i:08}");
        target.put(&name, b"").expect("put");
    }
    for device in [&b, &b, &b, &a, &b] {
        run(device, &target);
    }
    assert_eq!(reason(&b, "v1"), "whole");
}

/// Notes what is fetched, in order.
struct Fetched(Memory, Mutex<Vec<usize>>);

impl Target for Fetched {
    fn list(&self, folder: &str) -> Result<Vec<String>, TargetError> {
        self.0.list(folder)
    }
    fn get(&self, name: &str) -> Result<Vec<u8>, TargetError> {
        let bytes = self.0.get(name)?;
        if name.contains("/photos/") {
            self.1.lock().expect("lock").push(bytes.len());
        }
        Ok(bytes)
    }
    fn put(&self, name: &str, bytes: &[u8]) -> Result<(), TargetError> {
        self.0.put(name, bytes)
    }
    fn delete(&self, name: &str) -> Result<(), TargetError> {
        self.0.delete(name)
    }
    fn describe(&self) -> String {
        self.0.describe()
    }
}

#[test]
fn photographs_of_the_newest_visits_are_fetched_first() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    // Entered in another order than the visits were; later visits have longer photographs.
    for i in 0..40_usize {
        let day = i * 7 % 40;
        let mut store = a.lock().expect("lock");
        let photo = vec![1; 1000 * (day + 1)];
        let photo = store
            .add_photo(&mut std::io::Cursor::new(photo))
            .expect("photo");
        let id = format!("v{i}");
        let mut value = visit(&id, "trips", &[photo.sha256]);
        let (month, day) = (day / 20 + 1, day % 20 + 1);
        value["at"] = format!("2026-{month:02}-{day:02}T09:30:00+01:00").into();
        store.import(&id, "visit", &value, "Ada").expect("import");
    }
    run(&a, &target);
    let watched = Fetched(target, Mutex::default());
    assert_eq!(run(&b, &watched).photos_received, 40);
    let fetched = watched.1.lock().expect("lock").clone();
    assert!(fetched.is_sorted_by(|a, b| a > b), "{fetched:?}");
}

#[test]
fn progress_counts_up_to_a_total_known_from_the_start() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = (Device::new(0), store(folder.path(), "B"));
    Devices(&a).begin("A").expect("begin");
    watched(&a, &target);
    for i in 0..1000 {
        a.edit(&format!("v{i}"), 1);
    }
    let (_, seen) = watched(&a, &target);
    let of = |seen: &[Progress], step| -> Vec<(u64, u64)> {
        let steps = seen.iter().filter(|p| p.step == step);
        steps.map(|p| (p.done, p.total)).collect()
    };
    let sent = of(&seen, Step::Publishing);
    assert_eq!(sent, [(0, 4), (1, 4), (2, 4), (3, 4), (4, 4)]);
    let code = Devices(&a).invite(&target).expect("invite");
    Devices(&b).join(&target, &code.text, "B").expect("join");
    watched(&a, &target);
    let read = of(&watched(&b, &target).1, Step::Reading);
    assert!(read.len() > 4, "{read:?}");
    let counts_up = read.is_sorted_by(|a, b| a.0 < b.0 && a.1 <= b.1);
    assert!(
        counts_up && read.iter().all(|(done, total)| done < total),
        "{read:?}"
    );
}

fn welcomes(target: &Memory) -> usize {
    let files = target.files();
    files.keys().filter(|n| n.starts_with("joining/")).count()
}

const SHOWN: &str = "exchange/invite/";

#[test]
fn a_code_is_withdrawn_by_the_next_one_after_a_day_and_when_a_device_is_struck_off() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    let invite = || Devices(&a).invite(&target).expect("invite");
    let shown = || a.marks(SHOWN, 100).expect("marks");
    let (first, second) = (invite(), invite());
    assert_eq!((welcomes(&target), shown().len()), (1, 1));
    let c = store(folder.path(), "C");
    let early = Devices(&c).join(&target, &first.text, "C");
    assert!(matches!(early, Err(ExchangeError::NoInvitation { .. })));
    // One that was answered is not taken back by showing another.
    Devices(&c).join(&target, &second.text, "C").expect("join");
    invite();
    assert_eq!(run(&a, &target).admitted, ["C"]);
    assert_eq!((welcomes(&target), shown().len()), (1, 1));
    // A day later.
    let (mark, json) = shown().pop().expect("shown");
    let mut kept: serde_json::Value = serde_json::from_slice(&json).expect("json");
    kept["at_ms"] = (kept["at_ms"].as_u64().expect("time") - 24 * 3_600_000 - 1).into();
    let late = (mark, Some(kept.to_string().into_bytes()));
    a.set_marks(&[late]).expect("set");
    run(&a, &target);
    assert_eq!((welcomes(&target), shown().len()), (0, 0));
    let quiet = run(&a, &target);
    assert!(quiet.requests <= 3, "{} requests", quiet.requests);
    invite();
    let list = Devices(&a).list().expect("list");
    let lost = list.iter().find(|d| d.name == "Tablet B").expect("B");
    Devices(&a).strike_off(&lost.id).expect("strike");
    run(&a, &target);
    assert_eq!((welcomes(&target), shown().len()), (0, 0));
    drop(b);
}

#[test]
fn a_target_that_is_suddenly_empty_is_sent_nothing_until_it_is_added_anew() {
    let folder = tempfile::tempdir().expect("folder");
    let share = folder.path().join("share");
    let (full, bare) = (share.join("full"), folder.path().join("away"));
    std::fs::create_dir_all(&full).expect("folder");
    let spec = TargetSpec::new("Share", full.display().to_string());
    let a = store(folder.path(), "A");
    Targets(&a).set(&spec).expect("set");
    Devices(&a).begin("Tablet A").expect("begin");
    let go = || {
        let target = connect(&spec).expect("connect");
        sync_at(&a, &*target, &spec.url, true)
    };
    add(&a, "v1", "kept", &[b"a photograph".as_slice()]);
    assert_eq!(go().expect("sync").records_sent, 1);
    // Unmounted: the folder it was mounted on remains.
    std::fs::rename(&full, &bare).expect("rename");
    std::fs::create_dir(&full).expect("folder");
    add(&a, "v2", "kept", &[]);
    for _ in 0..2 {
        let refused = go().expect_err("an empty folder");
        assert!(matches!(refused, ExchangeError::Emptied { .. }));
        assert_eq!(std::fs::read_dir(&full).expect("list").count(), 0);
    }
    // Mounted again, it goes on.
    std::fs::remove_dir(&full).expect("folder");
    std::fs::rename(&bare, &full).expect("rename");
    assert_eq!(go().expect("sync").records_sent, 1);
    // Emptied on purpose. Another name for the same address forgets nothing.
    std::fs::remove_dir_all(&full).expect("folder");
    std::fs::create_dir(&full).expect("folder");
    let mut renamed = spec.clone();
    renamed.name = "Clinic share".into();
    Targets(&a).set(&renamed).expect("set");
    Targets(&a).remove("Share").expect("remove");
    assert!(matches!(go(), Err(ExchangeError::Emptied { .. })));
    Targets(&a).remove("Clinic share").expect("remove");
    Targets(&a).set(&spec).expect("set");
    let anew = go().expect("sync");
    assert_eq!((anew.records_sent, anew.photos_sent), (2, 1));
}

/// Takes no batch's head: the line is cut in the middle of publishing.
struct Headless(Memory);

impl Target for Headless {
    fn list(&self, folder: &str) -> Result<Vec<String>, TargetError> {
        self.0.list(folder)
    }
    fn get(&self, name: &str) -> Result<Vec<u8>, TargetError> {
        self.0.get(name)
    }
    fn put(&self, name: &str, bytes: &[u8]) -> Result<(), TargetError> {
        let target = self.describe();
        match name.contains("/changes/") {
            true => Err(TargetError::Full { target }),
            false => self.0.put(name, bytes),
        }
    }
    fn delete(&self, name: &str) -> Result<(), TargetError> {
        self.0.delete(name)
    }
    fn describe(&self) -> String {
        "full".into()
    }
}

#[test]
fn a_target_set_back_while_a_batch_was_on_its_way_gets_everything() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    let old = target.files();
    add(&a, "v1", "kept", &[]);
    run(&a, &target);
    add(&a, "v2", "kept", &[]);
    assert!(try_sync(&a, &Headless(target.clone())).is_err());
    // A backup of the server is put back.
    let back = memory();
    for (name, bytes) in old {
        back.put(&name, &bytes).expect("put");
    }
    run(&a, &back);
    run(&b, &back);
    assert_eq!(
        (reason(&b, "v1"), reason(&b, "v2")),
        ("kept".into(), "kept".into())
    );
    let c = store(folder.path(), "C");
    join(&a, &c, "Tablet C", &back);
    assert_eq!(reason(&c, "v1"), "kept");
    assert!(batches(&back).len() > 1);
}
