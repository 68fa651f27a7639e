//! The store as a user meets it.
#![allow(clippy::expect_used)]

mod common;

use common::{CHEAP, Hands, PASSPHRASE, create, open, options, order, read, visit};
use plinthside_store::{
    DocumentError, Filter, Finding, Kdf, Match, Opened, Store, StoreError, VISIT,
};
use plinthside_visit::Visit;
use serde_json::{Value, json};
use std::io::Cursor;
use std::time::{Duration, Instant};

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("folder")
}

#[test]
fn opens_with_its_passphrase_only_and_once_at_a_time() {
    let folder = folder();
    let path = folder.path().join("store");
    assert!(matches!(
        Store::open(&path, PASSPHRASE, options("t")),
        Err(StoreError::Missing { .. })
    ));
    assert!(matches!(
        Store::create(&path, "short", options("t")),
        Err(StoreError::WeakPassphrase { least: 8 })
    ));
    let mut store = create(&path);
    store
        .import("v1", VISIT, &visit("v1", "Anna"), "Ada")
        .expect("import");
    let again = Store::open(&path, PASSPHRASE, options("t")).expect_err("in use");
    assert!(
        matches!(&again, StoreError::InUse { process } if *process == std::process::id().to_string()),
        "{again}"
    );
    assert!(matches!(
        Store::create(&path, PASSPHRASE, options("t")),
        Err(StoreError::Exists { .. })
    ));
    store.lock().expect("lock");

    let before = std::fs::read(&path).expect("file");
    let wrong = Store::open(&path, "plaster sets in hours", options("t")).expect_err("wrong");
    assert!(matches!(wrong, StoreError::WrongPassphrase));
    assert_eq!(
        before,
        std::fs::read(&path).expect("file"),
        "a wrong passphrase changes nothing"
    );

    let mut store = open(&path);
    let wrong = store.change_passphrase("not this one", "another passphrase", Some(CHEAP), "Ada");
    assert!(matches!(wrong, Err(StoreError::WrongPassphrase)));
    store
        .change_passphrase(PASSPHRASE, "another passphrase", Some(CHEAP), "Ada")
        .expect("change");
    store.lock().expect("lock");
    assert!(matches!(
        Store::open(&path, PASSPHRASE, options("t")),
        Err(StoreError::WrongPassphrase)
    ));
    let mut store = Store::open(&path, "another passphrase", options("t")).expect("open");
    assert_eq!(read(&mut store, "v1")["person"]["name"], "Anna");
}

#[test]
fn a_key_file_survives_a_damaged_half_and_is_missed_when_gone() {
    let folder = folder();
    let path = folder.path().join("store");
    create(&path).lock().expect("lock");
    let key = plinthside_store::key_path(&path);
    let whole = std::fs::read(&key).expect("key file");
    for damaged in [10, whole.len() - 10] {
        let mut bytes = whole.clone();
        bytes[damaged] ^= 0x40;
        std::fs::write(&key, bytes).expect("write");
        open(&path).lock().expect("one copy is left");
    }
    std::fs::write(&key, "nothing").expect("write");
    assert!(matches!(
        Store::open(&path, PASSPHRASE, options("t")),
        Err(StoreError::KeyFile { .. })
    ));
    std::fs::remove_file(&key).expect("remove");
    assert!(matches!(
        Store::open(&path, PASSPHRASE, options("t")),
        Err(StoreError::KeyFile { .. })
    ));
}

#[test]
fn the_cost_of_a_guess_is_about_half_a_second() {
    let kdf = Kdf::calibrated(Duration::from_millis(500));
    let folder = folder();
    let path = folder.path().join("store");
    Store::create(&path, PASSPHRASE, options("t").kdf(kdf))
        .expect("create")
        .lock()
        .expect("lock");
    let started = Instant::now();
    plinthside_store::passphrase_fits(&path, PASSPHRASE).expect("fits");
    println!(
        "calibrated to {kdf:?}: one guess takes {:?}",
        started.elapsed()
    );
    assert!(kdf.memory_kib >= Kdf::LEAST.memory_kib && kdf.passes >= Kdf::LEAST.passes);
}

#[test]
fn drafts_are_durable_asked_for_and_never_another_visits() {
    let folder = folder();
    let path = folder.path().join("store");
    let hands = Hands::at(1_780_000_000_000);
    let mut store =
        Store::create(&path, PASSPHRASE, options("t").clock(hands.clone())).expect("create");
    store
        .import("v1", VISIT, &visit("v1", "Anna"), "Ada")
        .expect("import");
    let mut one: Opened<Value> = store.open_record("v1").expect("open");
    hands.add(5000);
    one.value["reason"] = "stumbles".into();
    let saved = store.save(&mut one, "Bo", "").expect("save");
    assert_eq!(
        (saved.at_ms, saved.changed_elsewhere),
        (1_780_000_005_000, false)
    );
    let mut new: Opened<Value> = store
        .begin("v2", VISIT, &visit("v2", "Berta"), "Bo")
        .expect("begin");
    new.value["reason"] = "pain".into();
    store.save(&mut new, "Bo", "").expect("save");
    assert_eq!(
        store.unfinished().expect("list"),
        [],
        "this session's own work is not asked about"
    );
    drop(store); // no goodbye

    let mut store = open(&path);
    let unfinished = store.unfinished().expect("list");
    let said: Vec<_> = unfinished
        .iter()
        .map(|u| (u.id.as_str(), u.entries, u.new))
        .collect();
    assert_eq!(said, [("v2", 2, true), ("v1", 1, false)]);
    assert_eq!(unfinished[1].saved_at_ms, 1_780_000_005_000);
    assert!(matches!(
        store.open_record::<Value>("v1"),
        Err(StoreError::Undecided { .. })
    ));
    assert_eq!(
        read(&mut store, "v1")["reason"],
        "trips when tired",
        "not silently applied"
    );
    assert_eq!(
        store.count(&Filter::All).expect("count"),
        1,
        "a draft is not in the list"
    );
    assert!(store.check().expect("check").is_clean());
    store.recover("v1").expect("recover");
    store.discard("v2").expect("discard");
    assert!(matches!(store.read("v2"), Err(StoreError::NoRecord { .. })));
    let opened: Opened<Value> = store.open_record("v1").expect("open");
    assert_eq!(opened.value["reason"], "stumbles");
    store.finish("v1").expect("finish");
    drop(store);

    let mut store = open(&path);
    assert_eq!(store.unfinished().expect("list"), []);
    assert_eq!(read(&mut store, "v1")["reason"], "stumbles");
    // Discarding goes back to what was finished last.
    let mut one: Opened<Value> = store.open_record("v1").expect("open");
    one.value["reason"] = "nonsense".into();
    store.save(&mut one, "Bo", "").expect("save");
    store.discard("v1").expect("discard");
    assert_eq!(read(&mut store, "v1")["reason"], "stumbles");
    assert!(store.check().expect("check").is_clean());
}

#[test]
fn a_visit_of_the_program_goes_in_and_comes_out_alike_with_fields_it_does_not_know() {
    let folder = folder();
    let path = folder.path().join("store");
    let mut store = create(&path);
    let mut json = visit("v1", "Anna");
    json["orders"] = order(false);
    json["casts"] = json!([{"id": "c1", "side": "left", "code": "K7Q2-M9TR-B4HX-C", "record": {"water_cel": {"typed": "24 C", "value": 24.0}}}]);
    json["newer"] = json!({"deep": [1, {"er": 2}]});
    store.import("v1", VISIT, &json, "Ada").expect("import");
    let mut opened: Opened<Visit> = store.open_record("v1").expect("open");
    let typed: Visit = serde_json::from_value(json.clone()).expect("visit");
    assert_eq!(opened.value, typed);
    opened.value.reason = "falls".into();
    opened.value.casts[0].record.material = "plaster of Paris".into();
    for i in 0..20 {
        opened.value.place = format!("room {i}");
        store.save(&mut opened, "Ada", "").expect("save");
    }
    store.finish("v1").expect("finish");
    drop(store);
    let mut store = open(&path);
    let mut back: Opened<Visit> = store.open_record("v1").expect("open");
    assert_eq!(back.value, opened.value);
    assert_eq!(
        read(&mut store, "v1")["newer"],
        json!({"deep": [1, {"er": 2}]})
    );
    let history = store.document("v1").expect("doc").history();
    assert_eq!(history.len(), 21);
    assert_eq!(history[20].differences[0].path, ["place"]);
    assert_eq!(history[20].differences[0].before, "room 18");
    // Signing freezes; the store refuses what would change it.
    back.value.orders = serde_json::from_value(order(true)).expect("order");
    store.save(&mut back, "Ada", "").expect("sign");
    back.value.orders[0].revisions[0].prescription.note = "changed".into();
    let refused = store.save(&mut back, "Ada", "");
    assert!(
        matches!(
            refused,
            Err(StoreError::Document(DocumentError::Frozen { .. }))
        ),
        "{refused:?}"
    );
    store.finish("v1").expect("finish");
    assert_eq!(
        read(&mut store, "v1")["orders"][0]["revisions"][0]["prescription"]["note"],
        "relieve the navicular"
    );
    assert!(store.check().expect("check").is_clean());
}

#[test]
fn finds_by_patient_code_label_lab_state_and_note_with_typing_errors() {
    let folder = folder();
    let path = folder.path().join("store");
    let mut store = create(&path);
    let codes = [
        "K7Q2-M9TR-B4HX-C",
        "ABCD-EFGH-JKMN-P",
        "0123-4567-89AB-D",
        "ZZZZ-YYYY-XXXX-W",
    ];
    for (i, name) in [
        "Anna Müller",
        "Bernd Straßer",
        "Chloé Lefèvre",
        "Dmitri Sokolow",
    ]
    .iter()
    .enumerate()
    {
        let mut v = visit(&format!("v{i}"), name);
        v["orders"] = order(i % 2 == 0);
        v["orders"][0]["revisions"][0]["prescription"]["identity"]["lab"] =
            ["Gipswerk", "Nordlab"][i / 2].into();
        v["casts"] = json!([{"id": "c", "side": "left", "code": codes[i]}]);
        v["follow_up"] = json!([{"order": "o1", "review_due": format!("2026-0{}-01", 9 - i)}]);
        store
            .import(&format!("v{i}"), VISIT, &v, "Ada")
            .expect("import");
    }
    let mut find = |text: &str| -> Vec<(String, Match)> {
        store
            .find(text, 10)
            .expect("find")
            .into_iter()
            .map(|f| (f.case.id, f.because))
            .collect()
    };
    let words = |ids: &[&str]| {
        ids.iter()
            .map(|id| ((*id).to_owned(), Match::Words))
            .collect::<Vec<_>>()
    };
    assert_eq!(find("mull"), words(&["v0"]), "without accents");
    assert_eq!(find("MÜLLER anna"), words(&["v0"]));
    assert_eq!(find("strasser"), words(&["v1"]));
    assert_eq!(find("lefevre"), words(&["v2"]));
    assert_eq!(
        find("navicular"),
        words(&["v3", "v2", "v1", "v0"]),
        "notes, newest first"
    );
    assert_eq!(find("nordlab"), words(&["v3", "v2"]));
    assert_eq!(find("signed"), words(&["v2", "v0"]));
    assert_eq!(find("1951"), words(&["v3", "v2", "v1", "v0"]));
    assert_eq!(find("P-v2").first(), Some(&("v2".into(), Match::Words)));
    for typo in ["Muelle", "Mülelr", "Mlüler", "Müllr", "Moller"] {
        assert_eq!(find(typo), [("v0".into(), Match::Similar)], "{typo}");
    }
    assert_eq!(find("sokolov"), [("v3".into(), Match::Similar)]);
    assert_eq!(find("naviculra")[0].1, Match::Similar);
    assert_eq!(find("K7Q2-M9TR-B4HX-C"), [("v0".into(), Match::Code)]);
    assert_eq!(find("m9tr"), [("v0".into(), Match::Code)], "from any group");
    assert_eq!(find("ol23"), [("v2".into(), Match::Code)], "look-alikes");
    assert_eq!(
        find("K7Q2-M9TR-B4HX-D"),
        [("v0".into(), Match::SimilarCode)]
    );
    assert_eq!(find("zebra"), []);
    assert_eq!(find("\"*) OR NEAR("), []);
    assert_eq!(find(""), []);

    let names = |store: &mut Store, filter: &Filter, offset, limit| -> Vec<String> {
        store
            .cases(filter, offset, limit)
            .expect("page")
            .into_iter()
            .map(|c| c.id)
            .collect()
    };
    assert_eq!(names(&mut store, &Filter::All, 1, 2), ["v2", "v1"]);
    assert_eq!(
        names(&mut store, &Filter::State("draft".into()), 0, 9),
        ["v3", "v1"]
    );
    assert_eq!(
        names(&mut store, &Filter::DueBy("2026-07-31".into()), 0, 9),
        ["v3", "v2"]
    );
    assert_eq!(
        store.count(&Filter::State("signed".into())).expect("count"),
        2
    );
    assert_eq!(
        store.label("k7q2m9trb4hxc").expect("label"),
        Some(("v0".into(), "left".into()))
    );
    assert!(matches!(
        store.label_is_free("K7Q2-M9TR-B4HX-C", "v0", "right"),
        Err(StoreError::LabelOtherSide { .. })
    ));
    store
        .label_is_free("K7Q2-M9TR-B4HX-C", "v0", "left")
        .expect("its own");

    // The lists can be made again, and a list that is wrong is noticed.
    let before = store.cases(&Filter::All, 0, 9).expect("page");
    assert_eq!(store.rebuild().expect("rebuild"), Vec::<String>::new());
    let mut after = store.cases(&Filter::All, 0, 9).expect("page");
    after.sort_by(|a, b| b.id.cmp(&a.id));
    assert_eq!(before, after);
    assert_eq!(store.find("moller", 9).expect("find").len(), 1);
    assert!(store.check().expect("check").is_clean());
}

fn jpeg(seed: u32, width: u32, height: u32) -> Vec<u8> {
    let picture = image::RgbImage::from_fn(width, height, |x, y| {
        image::Rgb([(x * 7 + seed) as u8, (y * 5) as u8, (x * y / 50) as u8])
    });
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 90)
        .encode_image(&picture)
        .expect("jpeg");
    bytes
}

#[test]
fn photographs_are_kept_byte_for_byte_once_and_missed_when_gone() {
    let folder = folder();
    let path = folder.path().join("store");
    let mut store = create(&path);
    let bytes = jpeg(1, 1200, 900);
    let photo = store.add_photo(&mut Cursor::new(&bytes)).expect("add");
    assert_eq!(
        store.add_photo(&mut Cursor::new(&bytes)).expect("again"),
        photo
    );
    assert_eq!(photo.size, bytes.len() as u64);
    let mut out = Vec::new();
    assert_eq!(
        store.export_photo(&photo.sha256, &mut out).expect("export"),
        photo.size
    );
    assert_eq!(out, bytes);
    let small = store.small_photo(&photo.sha256, 320).expect("small");
    let picture = image::load_from_memory(&small).expect("picture");
    assert_eq!((picture.width(), picture.height()), (320, 240));
    // Not a picture, but kept all the same.
    let odd = store
        .add_photo(&mut Cursor::new(b"not a picture"))
        .expect("add");
    assert!(matches!(
        store.small_photo(&odd.sha256, 320),
        Err(StoreError::NotAPicture { .. })
    ));
    let empty = store.add_photo(&mut Cursor::new(b"")).expect("add");
    assert_eq!(
        empty.sha256,
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    );
    assert!(matches!(store.photo("00"), Err(StoreError::NoPhoto { .. })));

    let mut v = visit("v1", "Anna");
    let absent = "11".repeat(32);
    v["casts"] = json!([{"id": "c", "side": "left", "measurement": {"photos": [photo.sha256, absent], "by": "Ada"}}]);
    store.import("v1", VISIT, &v, "Ada").expect("import");
    let report = store.check().expect("check");
    assert_eq!(report.photos, 3);
    assert_eq!(
        report.findings,
        [Finding::PhotoMissing {
            sha256: absent,
            visit: "v1".into()
        }]
    );
    let mut unsent = store.unsent_photos(9).expect("list");
    assert_eq!(unsent.len(), 3);
    store.photo_sent(&unsent.remove(0)).expect("sent");
    assert_eq!(store.unsent_photos(9).expect("list"), unsent);
}

#[test]
fn a_source_that_changes_while_it_is_read_is_refused() {
    struct Shifty(Cursor<Vec<u8>>, bool);
    impl std::io::Read for Shifty {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            self.0.read(buffer)
        }
    }
    impl std::io::Seek for Shifty {
        fn seek(&mut self, to: std::io::SeekFrom) -> std::io::Result<u64> {
            if matches!(to, std::io::SeekFrom::Start(_)) && self.1 {
                self.0.get_mut()[3] ^= 1;
            }
            self.0.seek(to)
        }
    }
    let folder = folder();
    let mut store = create(&folder.path().join("store"));
    let refused = store.add_photo(&mut Shifty(Cursor::new(vec![7; 500_000]), true));
    assert!(matches!(refused, Err(StoreError::SourceChanged)));
    assert_eq!(store.check().expect("check").photos, 0);
    store
        .add_photo(&mut Shifty(Cursor::new(vec![7; 500_000]), false))
        .expect("add");
}

#[test]
fn two_stores_exchange_changes_and_settle_a_conflict() {
    let folder = folder();
    let (mut a, mut b) = (
        create(&folder.path().join("a")),
        create(&folder.path().join("b")),
    );
    assert_ne!(a.device_id(), b.device_id());
    a.import("v1", VISIT, &visit("v1", "Anna"), "Ada")
        .expect("import");
    let carry = |from: &mut Store, to: &mut Store| {
        for out in from.unsent(10).expect("unsent") {
            to.receive(&out.id, &out.kind, &out.changes)
                .expect("receive");
            assert!(
                !to.receive(&out.id, &out.kind, &out.changes).expect("twice"),
                "twice changes nothing"
            );
            from.sent(&out.id, &out.heads).expect("sent");
        }
        assert_eq!(from.unsent(10).expect("unsent"), []);
    };
    carry(&mut a, &mut b);
    assert_eq!(read(&mut b, "v1"), read(&mut a, "v1"));
    assert_eq!(
        b.unsent(10).expect("unsent"),
        [],
        "what came from elsewhere is not sent back"
    );
    let edit = |store: &mut Store, reason: &str| {
        let mut opened: Opened<Visit> = store.open_record("v1").expect("open");
        opened.value.reason = reason.into();
        store.save(&mut opened, "someone", "").expect("save");
        store.finish("v1").expect("finish");
    };
    edit(&mut a, "one");
    edit(&mut b, "two");
    carry(&mut a, &mut b);
    carry(&mut b, &mut a);
    assert_eq!(read(&mut b, "v1"), read(&mut a, "v1"));
    let listed = a.cases(&Filter::InConflict, 0, 9).expect("page");
    assert_eq!((listed.len(), listed[0].conflicts), (1, 1));
    let conflict = a.conflicts("v1").expect("conflicts").remove(0);
    assert_eq!(conflict.alternatives.len(), 2);
    a.resolve("v1", &conflict, 1, "Ada").expect("resolve");
    assert_eq!(a.count(&Filter::InConflict).expect("count"), 0);
    carry(&mut a, &mut b);
    assert_eq!(b.conflicts("v1").expect("conflicts"), []);
    assert_eq!(read(&mut b, "v1")["reason"], conflict.alternatives[1].value);
    // What arrives while somebody edits does not get lost, and the editor is told.
    let mut opened: Opened<Visit> = a.open_record("v1").expect("open");
    edit(&mut b, "three");
    carry(&mut b, &mut a);
    opened.value.place = "home".into();
    assert!(
        a.save(&mut opened, "Ada", "")
            .expect("save")
            .changed_elsewhere
    );
    a.finish("v1").expect("finish");
    assert_eq!(
        (&read(&mut a, "v1")["reason"], &read(&mut a, "v1")["place"]),
        (&"three".into(), &"home".into())
    );
    // One label on two casts, bound apart: found by the check.
    for store in [&mut a, &mut b] {
        let name = store.device_id().to_owned();
        let mut v = visit(&name, "X");
        v["casts"] = json!([{"id": "c", "side": "left", "code": "AAAA-BBBB-CCCC-D"}]);
        store.import(&name, VISIT, &v, "x").expect("import");
    }
    carry(&mut b, &mut a);
    let report = a.check().expect("check");
    assert!(
        matches!(&report.findings[..], [Finding::LabelTwice { holders, .. }] if holders.len() == 2),
        "{report}"
    );
}

#[test]
fn a_restored_backup_is_the_store_with_another_identity() {
    let folder = folder();
    let (path, file, copy) = (
        folder.path().join("a"),
        folder.path().join("a.backup"),
        folder.path().join("b"),
    );
    let mut store = create(&path);
    store
        .import("v1", VISIT, &visit("v1", "Anna"), "Ada")
        .expect("import");
    let photo = store
        .add_photo(&mut Cursor::new(jpeg(3, 800, 600)))
        .expect("add");
    let mut seen = (0, 0);
    let mut progress = |done, all| {
        seen = (done, all);
        std::ops::ControlFlow::Continue(())
    };
    let size = store
        .backup(&file, "Ada", &mut progress)
        .expect("backup")
        .expect("size");
    assert_eq!(size, std::fs::metadata(&file).expect("file").len());
    assert_eq!(seen.0, seen.1);
    // Cancelled: what was there stays.
    let stopped = store
        .backup(&file, "Ada", &mut |_, _| std::ops::ControlFlow::Break(()))
        .expect("stop");
    assert_eq!(stopped, None);
    assert_eq!(std::fs::metadata(&file).expect("file").len(), size);
    assert_eq!(
        std::fs::read_dir(folder.path()).expect("dir").count(),
        6,
        "nothing half done stays"
    );

    let restore = |file: &std::path::Path, to: &std::path::Path, pass: &str| {
        plinthside_store::restore(file, to, pass, options("Tablet 2"))
    };
    assert!(matches!(
        restore(&file, &path, PASSPHRASE),
        Err(StoreError::Exists { .. })
    ));
    assert!(matches!(
        restore(&file, &copy, "not the right one"),
        Err(StoreError::WrongPassphrase)
    ));
    assert!(!copy.exists());
    let whole = std::fs::read(&file).expect("file");
    let cut = folder.path().join("cut");
    for length in [0, 100, 600, 5000, whole.len() / 2] {
        std::fs::write(&cut, &whole[..length]).expect("write");
        let refused = restore(&cut, &copy, PASSPHRASE);
        assert!(
            matches!(refused, Err(StoreError::NotABackup { .. })),
            "{length}: {refused:?}"
        );
        assert!(!copy.exists());
    }
    let report = restore(&file, &copy, PASSPHRASE).expect("restore");
    assert!(report.is_clean(), "{report}");
    assert_eq!((report.records, report.photos), (1, 1));
    let mut restored = open(&copy);
    assert_ne!(restored.device_id(), store.device_id());
    assert_eq!(read(&mut restored, "v1"), read(&mut store, "v1"));
    assert!(restored.has_photo(&photo.sha256).expect("photo"));
    // The same visit edited in both: the changes differ in their maker, so they merge.
    for (store, reason) in [(&mut store, "one"), (&mut restored, "two")] {
        let mut opened: Opened<Visit> = store.open_record("v1").expect("open");
        opened.value.reason = reason.into();
        store.save(&mut opened, "x", "").expect("save");
        store.finish("v1").expect("finish");
    }
    let out = restored.unsent(9).expect("unsent").remove(0);
    store
        .receive(&out.id, &out.kind, &out.changes)
        .expect("receive");
    assert_eq!(store.conflicts("v1").expect("conflicts").len(), 1);
}

#[test]
fn the_list_stays_in_order_though_the_clock_is_set_back_a_year() {
    let folder = folder();
    let path = folder.path().join("store");
    let hands = Hands::at(1_780_000_000_000);
    let mut store =
        Store::create(&path, PASSPHRASE, options("t").clock(hands.clone())).expect("create");
    store
        .import("v1", VISIT, &visit("v1", "A"), "x")
        .expect("import");
    hands.add(-365 * 86_400_000);
    store
        .import("v2", VISIT, &visit("v2", "B"), "x")
        .expect("import");
    let mut opened: Opened<Value> = store.open_record("v2").expect("open");
    opened.value["reason"] = "later".into();
    store.save(&mut opened, "x", "").expect("save");
    store.finish("v2").expect("finish");
    drop(store);
    let mut store = Store::open(&path, PASSPHRASE, options("t").clock(hands)).expect("open");
    store
        .import("v3", VISIT, &visit("v3", "C"), "x")
        .expect("import");
    let ids: Vec<_> = store
        .cases(&Filter::All, 0, 9)
        .expect("page")
        .into_iter()
        .map(|c| c.id)
        .collect();
    assert_eq!(ids, ["v3", "v2", "v1"]);
    let history = store.document("v2").expect("doc").history();
    assert_eq!(history[1].differences[0].after, "later");
    assert!(store.check().expect("check").is_clean());
}

#[test]
fn a_backup_holds_the_moment_it_began_while_work_goes_on() {
    let folder = folder();
    let (path, file, copy) = (
        folder.path().join("a"),
        folder.path().join("a.backup"),
        folder.path().join("b"),
    );
    let mut store = create(&path);
    for i in 0..30 {
        let id = format!("v{i}");
        store
            .import(&id, VISIT, &visit(&id, "Anna"), "Ada")
            .expect("import");
    }
    let job = store.begin_backup().expect("begin");
    store
        .import("later", VISIT, &visit("later", "Berta"), "Ada")
        .expect("import");
    let written = std::thread::spawn({
        let file = file.clone();
        move || job.write(&file, &mut |_, _| std::ops::ControlFlow::Continue(()))
    });
    for i in 0..30 {
        let mut opened: Opened<Visit> = store.open_record(&format!("v{i}")).expect("open");
        opened.value.reason = "changed meanwhile".into();
        store
            .save(&mut opened, "Ada", "")
            .expect("saving is not held up");
        store.finish(&format!("v{i}")).expect("finish");
    }
    written
        .join()
        .expect("thread")
        .expect("backup")
        .expect("size");
    let report =
        plinthside_store::restore(&file, &copy, PASSPHRASE, options("t")).expect("restore");
    assert!(report.is_clean(), "{report}");
    assert_eq!(report.records, 30, "not the visit that came later");
    let mut restored = open(&copy);
    assert_eq!(read(&mut restored, "v7")["reason"], "trips when tired");
    assert_eq!(read(&mut store, "v7")["reason"], "changed meanwhile");
    assert!(store.check().expect("check").is_clean());
}

#[test]
fn the_log_tells_what_was_done_with_the_store() {
    let folder = folder();
    let path = folder.path().join("a");
    let mut store = create(&path);
    store
        .import("v1", VISIT, &visit("v1", "Anna"), "Ada")
        .expect("import");
    store
        .change_passphrase(PASSPHRASE, "another passphrase", Some(CHEAP), "Ada")
        .expect("change");
    store.erase("v1", "Bo").expect("erase");
    let log = store.log(9).expect("log");
    let said: Vec<_> = log
        .iter()
        .map(|l| (l.by.as_str(), l.what.as_str(), l.record.as_deref()))
        .collect();
    assert_eq!(
        said,
        [
            ("Bo", "erased", Some("v1")),
            ("Ada", "passphrase changed", None)
        ]
    );
}
