//! Saving, drafts, and what is told of them afterwards.

use crate::common::{CHEAP, Hands, PASSPHRASE, create, folder, open, options, order, read, visit};
use plinthside_store::{DocumentError, Filter, Opened, Store, StoreError, VISIT, key_path};
use plinthside_visit::Visit;
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use serde_json::{Value, json};
use std::path::Path;

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

/// The log has its length before the entries come, so that a disk syncs each of them sooner; a copy
/// of the files in the middle, as a power cut leaves them, holds every entry.
#[test]
fn the_log_is_as_long_as_it_becomes_from_the_first_entry_on() {
    let folder = folder();
    let path = folder.path().join("a.store");
    let log = |path: &Path| path.with_extension("store-wal");
    let length = || std::fs::metadata(log(&path)).expect("log").len();
    let mut store = create(&path);
    let visit = visit("v1", "Anna");
    store.import("v0", VISIT, &visit, "Ada").expect("import");
    assert!(length() < 1 << 20, "reading needs no room");
    let mut opened: Opened<Value> = store.begin("v1", VISIT, &visit, "Ada").expect("begin");
    let before = length();
    assert!(before > 4_000_000);
    for i in 0..200 {
        opened.value["reason"] = i.to_string().into();
        store.save(&mut opened, "Ada", "").expect("save");
    }
    assert_eq!(length(), before);
    let copy = folder.path().join("copy.store");
    for (from, to) in [
        (path.clone(), copy.clone()),
        (log(&path), log(&copy)),
        (key_path(&path), key_path(&copy)),
    ] {
        std::fs::copy(from, to).expect("copy");
    }
    let mut copy = open(&copy);
    copy.recover("v1").expect("recover");
    assert_eq!(read(&mut copy, "v1")["reason"], "199");
    assert!(copy.check().expect("check").is_clean());
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

/// One change of a record, then a save.
#[derive(Debug, Clone)]
enum Change {
    Member(&'static str, Option<u8>),
    Reading(usize, u8),
    /// In the signed order, where it is refused; or back as it was signed.
    Signed(bool),
}

fn change() -> impl Strategy<Value = Change> {
    let member = (
        select(vec!["place", "reason", "newer"]),
        option::of(0..3_u8),
    );
    prop_oneof![
        4 => member.prop_map(|(key, value)| Change::Member(key, value)),
        2 => (0..2_usize, 0..3_u8).prop_map(|(at, value)| Change::Reading(at, value)),
        2 => any::<bool>().prop_map(Change::Signed),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// Whatever was saved or refused before: after a save that is not refused, the store holds what
    /// the record holds, also when it is opened anew.
    #[test]
    fn every_save_brings_all_that_was_changed(changes in vec(change(), 1..24)) {
        let folder = folder();
        let path = folder.path().join("store");
        let mut store = create(&path);
        let mut record = visit("v", "Anna");
        record["orders"] = order(true);
        record["readings"] = json!([{"id": "a", "value": 0}, {"id": "b", "value": 0}]);
        store.import("v", VISIT, &record, "Ada").expect("import");
        let mut opened: Opened<Value> = store.open_record("v").expect("open");
        let mut held = opened.value.clone();
        let mut refusing = false;
        for change in changes {
            let value = &mut opened.value;
            match change {
                Change::Member(key, Some(to)) => value[key] = to.to_string().into(),
                Change::Member(key, None) => {
                    value.as_object_mut().expect("a record").remove(key);
                }
                Change::Reading(at, to) => value["readings"][at]["value"] = to.into(),
                Change::Signed(changed) => {
                    let note = &mut value["orders"][0]["revisions"][0]["prescription"]["note"];
                    *note = if changed { "changed" } else { "relieve the navicular" }.into();
                    refusing = changed;
                }
            }
            let saved = store.save(&mut opened, "Ada", "");
            prop_assert_eq!(saved.is_err(), refusing);
            if !refusing {
                held = opened.value.clone();
            }
            prop_assert_eq!(read(&mut store, "v"), held.clone());
        }
        store.finish("v").expect("finish");
        drop(store);
        prop_assert_eq!(read(&mut open(&path), "v"), held);
    }
}
