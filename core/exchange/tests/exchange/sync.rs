//! Devices of one practice over a target in memory, with real stores.

use crate::common::{add, edit, join, memory, pair, reason, run, store, try_sync};
use plinthside_exchange::{Devices, ExchangeError, Memory, ProblemKind, Target, visit_state};
use plinthside_store::Store;
use std::sync::Mutex;

#[test]
fn visits_and_photographs_reach_the_other_device_and_steady_syncs_are_quiet() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    add(
        &a,
        "v1",
        "trips",
        &[
            b"first photograph".as_slice(),
            b"second photograph".as_slice(),
        ],
    );
    assert!(!visit_state(&a, "memory", "v1").expect("state").done);
    let sent = run(&a, &target);
    assert_eq!((sent.records_sent, sent.photos_sent), (1, 2));
    assert!(visit_state(&a, "memory", "v1").expect("state").done);
    let received = run(&b, &target);
    assert_eq!(
        (
            received.records_received,
            received.photos_received,
            received.problems.len()
        ),
        (1, 2, 0)
    );
    assert_eq!(reason(&b, "v1"), "trips");
    assert!(
        b.lock()
            .expect("lock")
            .missing_photos()
            .expect("missing")
            .is_empty()
    );
    // Nothing new: no batch, and as few requests as there are lists.
    for device in [&a, &b, &a, &b] {
        let quiet = run(device, &target);
        assert_eq!(
            (quiet.batches_sent, quiet.bytes_sent, quiet.records_received),
            (0, 0, 0)
        );
        assert!(quiet.requests <= 3, "{} requests", quiet.requests);
    }
}

#[test]
fn edits_of_one_field_on_two_devices_are_a_conflict_in_the_record_not_a_failed_sync() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    add(&a, "v1", "trips", &[]);
    run(&a, &target);
    run(&b, &target);
    edit(&a, "v1", "trips when tired");
    edit(&b, "v1", "drop foot");
    for device in [&a, &b, &a] {
        assert!(run(device, &target).problems.is_empty());
    }
    for device in [&a, &b] {
        assert_eq!(
            device
                .lock()
                .expect("lock")
                .conflicts("v1")
                .expect("conflicts")
                .len(),
            1
        );
    }
    assert_eq!(reason(&a, "v1"), reason(&b, "v1"));
}

#[test]
fn an_erasure_reaches_the_other_device_and_the_target() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    add(&a, "gone", "secret words", &[b"a photograph to go"]);
    add(&a, "stays", "kept", &[]);
    run(&a, &target);
    run(&b, &target);
    edit(&b, "gone", "secret words again");
    run(&b, &target);
    let photos = |target: &Memory| {
        target
            .files()
            .keys()
            .filter(|name| name.contains("/photos/"))
            .count()
    };
    assert_eq!(photos(&target), 1);
    let before: Vec<String> = target
        .files()
        .keys()
        .filter(|n| n.contains("/changes/"))
        .cloned()
        .collect();
    run(&a, &target);
    a.lock().expect("lock").erase("gone", "Ada").expect("erase");
    let told = run(&a, &target);
    assert!(told.files_erased >= 2, "{told:?}");
    run(&b, &target);
    run(&a, &target);
    assert_eq!(photos(&target), 0);
    for device in [&a, &b] {
        assert!(matches!(
            device.lock().expect("lock").read("gone"),
            Err(plinthside_store::StoreError::Erased { .. })
        ));
        assert_eq!(reason(device, "stays"), "kept");
    }
    // A newcomer that is handed every old file by a target that never unlinked takes nothing back.
    let c = store(folder.path(), "C");
    join(&a, &c, "Tablet C", &target);
    run(&c, &target);
    assert!(c.lock().expect("lock").read("gone").is_err());
    assert_eq!(reason(&c, "stays"), "kept");
    let left: Vec<String> = target
        .files()
        .keys()
        .filter(|n| n.contains("/changes/"))
        .cloned()
        .collect();
    assert!(
        before.iter().any(|name| !left.contains(name)),
        "no batch was unlinked"
    );
}

#[test]
fn a_lost_device_is_struck_off_and_locked_out() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    let c = store(folder.path(), "C");
    join(&a, &c, "Tablet C", &target);
    for device in [&a, &b, &c] {
        run(device, &target);
    }
    let lost = Devices(&a)
        .list()
        .expect("list")
        .into_iter()
        .find(|d| d.name == "Tablet C")
        .expect("C");
    Devices(&a).strike_off(&lost.id).expect("strike");
    // C does not know yet and publishes.
    add(&c, "late", "written after the strike", &[]);
    run(&c, &target);
    run(&a, &target);
    add(&a, "new", "sealed with the new key", &[]);
    run(&a, &target);
    let told = run(&b, &target);
    assert!(
        told.problems
            .iter()
            .any(|p| p.kind == ProblemKind::StruckOff),
        "{:?}",
        told.problems
    );
    assert!(b.lock().expect("lock").read("late").is_err());
    assert_eq!(reason(&b, "new"), "sealed with the new key");
    assert!(matches!(
        try_sync(&c, &target),
        Err(ExchangeError::StruckOff { .. })
    ));
    add(&c, "later", "written after the refusal", &[]);
    let state = visit_state(&c, "memory", "later").expect("state");
    assert!(
        state
            .failed
            .is_some_and(|why| why.contains("struck off by"))
    );
    assert_eq!(
        visit_state(&b, "memory", "new").expect("state").failed,
        None
    );
    assert!(
        c.lock().expect("lock").read("new").is_err(),
        "the struck device reads what came after"
    );
}

#[test]
fn forged_truncated_foreign_replayed_and_out_of_order_files_change_nothing_and_are_named() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    for i in 0..3 {
        add(&a, &format!("v{i}"), "whole", &[]);
        run(&a, &target);
    }
    let files = target.files();
    let batches: Vec<&String> = files.keys().filter(|n| n.contains("/changes/")).collect();
    let own =
        |n: &&&String| !b.lock().expect("lock").device_id().is_empty() && n.ends_with("00000003");
    let third = batches.iter().find(own).expect("batch 3");
    let (second, fourth) = (
        third.replace("00000003", "00000002"),
        third.replace("00000003", "00000004"),
    );
    let bytes = files[third.as_str()].to_vec();
    let mut flipped = bytes.clone();
    *flipped.last_mut().expect("bytes") ^= 1;
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let foreign = text
        .replacen(&third[..16], "0123456789abcdef", 1)
        .into_bytes();
    let mut forged = bytes.clone();
    let at = forged.iter().position(|b| *b == b'}').expect("header");
    forged[at - 2] ^= 1;
    let cases: [(&str, Vec<u8>, ProblemKind); 6] = [
        (
            "half copied",
            bytes[..bytes.len() / 2].to_vec(),
            ProblemKind::Damaged,
        ),
        ("empty", Vec::new(), ProblemKind::Damaged),
        ("one bit", flipped, ProblemKind::Damaged),
        ("other practice", foreign, ProblemKind::Foreign),
        (
            "replayed",
            files[second.as_str()].to_vec(),
            ProblemKind::Misplaced,
        ),
        (
            "out of order",
            files[fourth.as_str()].to_vec(),
            ProblemKind::Misplaced,
        ),
    ];
    for (name, bad, kind) in cases {
        let scratch = tempfile::tempdir().expect("folder");
        let copy = memory();
        for (file, bytes) in &files {
            copy.put(file, bytes).expect("put");
        }
        let c = store(scratch.path(), "C");
        let code = Devices(&a).invite(&copy).expect("invite");
        Devices(&c)
            .join(&copy, &code.text, "Tablet C")
            .expect("join");
        copy.put(third, &bad).expect("put");
        let told = run(&c, &copy);
        assert!(
            told.problems.iter().any(|p| p.kind == kind),
            "{name}: {:?}",
            told.problems
        );
    }
    // Signed by a key of nobody: the header alone is changed.
    target.put(third, &forged).expect("put");
    let told = run(&b, &target);
    assert!(
        told.problems
            .iter()
            .any(|p| matches!(p.kind, ProblemKind::Forged | ProblemKind::Damaged)),
        "{:?}",
        told.problems
    );
    // And it heals: asked for, published anew.
    for device in [&b, &b, &a, &b, &a, &b] {
        run(device, &target);
    }
    for i in 0..3 {
        assert_eq!(reason(&b, &format!("v{i}")), "whole");
    }
    assert!(run(&b, &target).problems.is_empty());
}

#[test]
fn a_code_lets_in_one_device_and_a_wrong_one_none() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = (store(folder.path(), "A"), store(folder.path(), "B"));
    assert!(matches!(
        Devices(&b).invite(&target),
        Err(ExchangeError::NoPractice)
    ));
    Devices(&a).begin("Tablet A").expect("begin");
    let code = Devices(&a).invite(&target).expect("invite");
    assert!(matches!(
        Devices(&b).join(&target, "AAAA", "B"),
        Err(ExchangeError::NotACode)
    ));
    Devices(&b)
        .join(&target, &code.qr, "Tablet B")
        .expect("join");
    let waiting = run(&b, &target);
    assert_eq!(waiting.waiting_for.as_deref(), Some("Tablet A"));
    assert_eq!(run(&a, &target).admitted, ["Tablet B"]);
    let c = store(folder.path(), "C");
    assert!(matches!(
        Devices(&c).join(&target, &code.text, "C"),
        Err(ExchangeError::NoInvitation { .. })
    ));
    assert!(run(&b, &target).waiting_for.is_none());
    assert_eq!(Devices(&b).list().expect("list").len(), 2);
}

#[test]
fn whoever_has_the_targets_files_reads_nothing_of_a_patient() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    add(
        &a,
        "visit-identifier",
        "unmistakable reason",
        &[b"the bytes of a photograph of a leg".as_slice()],
    );
    run(&a, &target);
    run(&b, &target);
    let words = [
        "visit-identifier",
        "unmistakable reason",
        "Zwetsch",
        "P-visit",
        "photograph of a leg",
        "Tablet A",
        "Tablet B",
    ];
    for (name, bytes) in target.files() {
        for word in words {
            let found =
                bytes.windows(word.len()).any(|w| w == word.as_bytes()) || name.contains(word);
            assert!(!found, "{name} shows {word}");
        }
    }
    // A photograph's name does not tell which it is, even to somebody who has the photograph.
    let sha = a
        .lock()
        .expect("lock")
        .photos_named_by("visit-identifier")
        .expect("photos")
        .pop()
        .expect("one");
    assert!(target.files().keys().all(|name| !name.contains(&sha[..16])));
}

#[test]
fn a_cancelled_sync_goes_on_where_it_stopped() {
    use plinthside_exchange::{Sync, sync};
    use std::sync::atomic::{AtomicBool, Ordering};
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    let photos: Vec<Vec<u8>> = (0..40_u8).map(|i| vec![i; 1000]).collect();
    let named: Vec<&[u8]> = photos.iter().map(Vec::as_slice).collect();
    add(&a, "v1", "trips", &named);
    let stop = AtomicBool::new(false);
    let mut steps = 0;
    let mut progress = |_| {
        steps += 1;
        stop.store(steps > 20, Ordering::Relaxed);
    };
    let how = Sync {
        address: "memory",
        cancel: &stop,
        progress: &mut progress,
        photographs: true,
    };
    let first = sync(&a, &target, how).expect("sync");
    assert!(
        first.cancelled && first.photos_sent > 0 && first.photos_to_send > 0,
        "{first:?}"
    );
    let second = run(&a, &target);
    assert_eq!(
        first.photos_sent + second.photos_sent,
        40,
        "none is sent twice"
    );
    assert_eq!(run(&b, &target).photos_received, 40);
}

/// Notes what is put, in order.
struct Watched(Memory, std::sync::Mutex<Vec<(String, usize)>>);

impl Target for Watched {
    fn list(&self, folder: &str) -> Result<Vec<String>, plinthside_exchange::TargetError> {
        self.0.list(folder)
    }
    fn get(&self, name: &str) -> Result<Vec<u8>, plinthside_exchange::TargetError> {
        self.0.get(name)
    }
    fn put(&self, name: &str, bytes: &[u8]) -> Result<(), plinthside_exchange::TargetError> {
        let mut put = self.1.lock().expect("lock");
        put.push((name.to_owned(), bytes.len()));
        self.0.put(name, bytes)
    }
    fn delete(&self, name: &str) -> Result<(), plinthside_exchange::TargetError> {
        self.0.delete(name)
    }
    fn describe(&self) -> String {
        self.0.describe()
    }
}

#[test]
fn changes_go_first_then_photographs_the_newest_first() {
    let (folder, target) = (
        tempfile::tempdir().expect("folder"),
        Watched(memory(), std::sync::Mutex::default()),
    );
    let (a, b) = pair(folder.path(), &target);
    // Longer ones for later visits: lengths tell them apart when sealed.
    let photos: Vec<Vec<u8>> = (1..=20_u8)
        .map(|i| vec![i; 1000 * usize::from(i)])
        .collect();
    for (i, photo) in photos.iter().enumerate() {
        add(&a, &format!("v{i:02}"), "trips", &[photo]);
    }
    target.1.lock().expect("lock").clear();
    run(&a, &target);
    let put = target.1.lock().expect("lock").clone();
    let photographs: Vec<usize> = put
        .iter()
        .filter(|(name, _)| name.contains("/photos/"))
        .map(|(_, bytes)| *bytes)
        .collect();
    assert_eq!(photographs.len(), 20);
    assert!(
        photographs.is_sorted_by(|earlier, later| earlier > later),
        "{photographs:?}"
    );
    let first_photo = put.iter().position(|(name, _)| name.contains("/photos/"));
    let first_batch = put.iter().position(|(name, _)| name.contains("/changes/"));
    assert!(first_batch < first_photo, "{put:?}");
    assert_eq!(run(&b, &target).photos_received, 20);
}

#[test]
fn a_photograph_that_two_visits_name_is_sent_once_and_announced_for_both() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    add(&a, "v1", "left", &[b"both feet".as_slice()]);
    add(&a, "v2", "right", &[b"both feet".as_slice()]);
    assert_eq!(run(&a, &target).photos_sent, 1);
    assert_eq!(run(&b, &target).photos_received, 1);
    // One of the two goes: the photograph stays for the other.
    a.lock().expect("lock").erase("v1", "Ada").expect("erase");
    run(&a, &target);
    let photos = |name: &&String| name.contains("/photos/");
    assert_eq!(target.files().keys().filter(photos).count(), 1);
}

#[test]
fn another_members_batch_under_a_devices_name_is_named_as_forged_and_changes_nothing() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, b) = pair(folder.path(), &target);
    let c = store(folder.path(), "C");
    join(&a, &c, "Tablet C", &target);
    add(&a, "v1", "whole", &[]);
    run(&a, &target);
    add(&b, "evil", "written by B", &[]);
    run(&b, &target);
    run(&c, &target);
    // B's newest batch is put where A's next one would be, announced as A's.
    let files = target.files();
    let newest = |device: &Mutex<Store>| {
        let own = Devices(device).list().expect("list")[0].id.clone();
        let mine = files
            .keys()
            .filter(|n| n.contains(&format!("/changes/{own}")));
        mine.max().expect("a batch").clone()
    };
    let (of_a, of_b) = (newest(&a), newest(&b));
    let (place, counter) = of_a.rsplit_once('/').expect("a counter");
    let next = format!("{:08}", counter.parse::<u64>().expect("number") + 1);
    target
        .put(&format!("{place}/{next}"), &files[&of_b])
        .expect("put");
    let head = place.replace("/changes/", "/heads/") + "-" + &next;
    target.put(&head, b"").expect("put");
    let told = run(&c, &target);
    let kinds: Vec<ProblemKind> = told.problems.iter().map(|p| p.kind).collect();
    assert_eq!(kinds, [ProblemKind::Forged], "{:?}", told.problems);
    assert_eq!((told.records_received, told.batches_received), (0, 0));
}
