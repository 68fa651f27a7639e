//! Two or three devices edit one record apart: what comes out when they meet.
#![allow(clippy::expect_used, clippy::unwrap_used)]

use automerge::ActorId;
use plinthside_store::document::{ConflictKind, Document, DocumentError, Stamp};
use proptest::prelude::*;
use serde_json::{Value, json};

fn stamp(by: &str, at_ms: i64) -> Stamp {
    Stamp {
        by: by.into(),
        device: format!("tablet of {by}"),
        at_ms,
        why: String::new(),
    }
}

/// A device: a document and who holds it.
struct Device {
    doc: Document,
    by: &'static str,
    clock: i64,
}

impl Device {
    fn new(by: &'static str, actor: u8) -> Self {
        Self {
            doc: Document::new(ActorId::from(&[actor; 16][..])),
            by,
            clock: 1_700_000_000_000,
        }
    }

    fn value(&self) -> Value {
        self.doc.value().expect("value")
    }

    fn try_edit(&mut self, edit: impl FnOnce(&mut Value)) -> Result<Vec<u8>, DocumentError> {
        let before = self.value();
        let mut after = before.clone();
        edit(&mut after);
        self.clock += 1000;
        let (heads, stamp) = (self.doc.heads(), stamp(self.by, self.clock));
        Ok(self
            .doc
            .edit(&heads, &before, &after, &stamp)?
            .map(|(_, bytes)| bytes)
            .unwrap_or_default())
    }

    fn edit(&mut self, edit: impl FnOnce(&mut Value)) -> Vec<u8> {
        self.try_edit(edit).expect("edit")
    }

    fn meet(&mut self, other: &mut Device) {
        let (mine, theirs) = (
            self.doc.changes_since(&other.doc.heads()),
            other.doc.changes_since(&self.doc.heads()),
        );
        self.doc.apply(&theirs).expect("apply");
        other.doc.apply(&mine).expect("apply");
        assert_eq!(self.doc.heads(), other.doc.heads());
        assert_eq!(self.value(), other.value());
    }
}

fn pair(start: Value) -> (Device, Device) {
    let (mut a, mut b) = (Device::new("Ada", 1), Device::new("Bo", 2));
    a.edit(|v| *v = start);
    a.meet(&mut b);
    (a, b)
}

#[test]
fn different_fields_merge_and_the_same_field_keeps_both_values() {
    let (mut a, mut b) = pair(json!({"reason": "", "person": {"name": "N", "telephone": "1"}}));
    a.edit(|v| v["person"]["name"] = "Anna".into());
    b.edit(|v| v["person"]["telephone"] = "22".into());
    a.edit(|v| v["reason"] = "pain".into());
    b.edit(|v| v["reason"] = "falls".into());
    a.meet(&mut b);
    assert_eq!(
        a.value()["person"],
        json!({"name": "Anna", "telephone": "22"})
    );
    let conflicts = a.doc.conflicts().expect("conflicts");
    assert_eq!(conflicts, b.doc.conflicts().expect("conflicts"));
    assert_eq!(conflicts.len(), 1);
    assert_eq!(conflicts[0].path, ["reason"]);
    assert_eq!(conflicts[0].kind, ConflictKind::Changed);
    let mut said: Vec<(String, String, i64)> = conflicts[0]
        .alternatives
        .iter()
        .map(|x| {
            let stamp = x.stamp.as_ref().expect("who");
            (
                x.value.as_str().expect("text").to_owned(),
                stamp.by.clone(),
                stamp.at_ms,
            )
        })
        .collect();
    said.sort();
    assert_eq!(said[0], ("falls".into(), "Bo".into(), 1_700_000_002_000));
    assert_eq!(said[1], ("pain".into(), "Ada".into(), 1_700_000_003_000));
    // Somebody chooses the value that is not shown; the other device agrees.
    let chosen = conflicts[0].alternatives[1].value.clone();
    a.doc
        .resolve(&conflicts[0], 1, &stamp("Ada", 9))
        .expect("resolve");
    a.meet(&mut b);
    assert_eq!(b.value()["reason"], chosen);
    assert_eq!(b.doc.conflicts().expect("conflicts"), []);
    // And the choice cannot be made twice.
    let again = a.doc.resolve(&conflicts[0], 0, &stamp("Ada", 10));
    assert!(matches!(again, Err(DocumentError::NoSuchChoice)));
}

#[test]
fn readings_and_photographs_unite() {
    let (mut a, mut b) =
        pair(json!({"readings": [{"id": "r1", "kind": "x", "repeats": [1.0]}], "photos": []}));
    a.edit(|v| {
        v["readings"]
            .as_array_mut()
            .expect("list")
            .push(json!({"id": "ra", "kind": "y", "repeats": [2.0]}));
        v["photos"].as_array_mut().expect("list").push("aa".into());
    });
    b.edit(|v| {
        v["readings"]
            .as_array_mut()
            .expect("list")
            .push(json!({"id": "rb", "kind": "z", "repeats": []}));
        v["readings"][0]["repeats"]
            .as_array_mut()
            .expect("list")
            .push(3.5.into());
        v["photos"].as_array_mut().expect("list").push("bb".into());
        v["photos"].as_array_mut().expect("list").push("aa".into());
    });
    a.meet(&mut b);
    let value = a.value();
    let mut ids: Vec<_> = value["readings"]
        .as_array()
        .expect("list")
        .iter()
        .map(|r| r["id"].clone())
        .collect();
    ids.sort_by_key(Value::to_string);
    assert_eq!(ids, ["r1", "ra", "rb"]);
    assert_eq!(value["readings"][0]["repeats"], json!([1.0, 3.5]));
    let mut photos: Vec<_> = value["photos"].as_array().expect("list").clone();
    photos.sort_by_key(Value::to_string);
    assert_eq!(
        photos,
        ["aa", "bb"],
        "the same photograph from both is there once"
    );
    assert_eq!(a.doc.conflicts().expect("conflicts"), []);
}

#[test]
fn the_same_record_begun_on_both_is_one_record() {
    let (mut a, mut b) = pair(json!({"legs": []}));
    a.edit(|v| v["legs"] = json!([{"side": "left", "values": {"heel_breadth_mm": [60.0]}}]));
    b.edit(|v| v["legs"] = json!([{"side": "left", "values": {"ankle_girth_mm": [240.0], "heel_breadth_mm": [61.0]}, "by": "Bo"}]));
    a.meet(&mut b);
    assert_eq!(a.value()["legs"].as_array().expect("list").len(), 1);
    let leg = &a.value()["legs"][0];
    assert_eq!(leg["values"]["ankle_girth_mm"], json!([240.0]));
    assert_eq!(
        leg["values"]["heel_breadth_mm"]
            .as_array()
            .expect("list")
            .len(),
        2,
        "repeats of both"
    );
    assert_eq!(leg["by"], "Bo");
    a.edit(|v| v["legs"][0]["by"] = "Ada".into());
    a.edit(|v| v["legs"][0]["values"]["ankle_girth_mm"] = json!([241.0]));
    a.meet(&mut b);
    assert_eq!(b.value()["legs"][0]["by"], "Ada");
    assert_eq!(
        b.value()["legs"][0]["values"]["ankle_girth_mm"],
        json!([241.0])
    );
    assert_eq!(b.doc.conflicts().expect("conflicts"), []);
}

#[test]
fn an_entry_is_never_half_of_one_and_half_of_another() {
    let typed = |t: &str, x: f64| json!({"typed": t, "value": x, "confirmed": true});
    let (mut a, mut b) = pair(json!({"rock_mm": 1.0}));
    a.edit(|v| v["rock_mm"] = typed("12 mm", 12.0));
    b.edit(|v| v["rock_mm"] = typed("13", 13.0));
    b.edit(|v| v["rock_mm"] = typed("14", 14.0));
    a.meet(&mut b);
    let shown = a.value()["rock_mm"].clone();
    assert!(
        shown == typed("12 mm", 12.0) || shown == typed("14", 14.0),
        "{shown}"
    );
    assert_eq!(
        a.doc.conflicts().expect("conflicts")[0].alternatives.len(),
        2
    );
}

#[test]
fn removed_here_and_changed_there_is_shown_and_asked() {
    let (mut a, mut b) = pair(
        json!({"readings": [{"id": "r", "text": "old"}, {"id": "s", "text": "kept"}], "x": {"y": 1}}),
    );
    a.edit(|v| {
        v["readings"].as_array_mut().expect("list").remove(0);
        v.as_object_mut().expect("record").remove("x");
    });
    assert_eq!(
        a.value(),
        json!({"readings": [{"id": "s", "text": "kept"}]})
    );
    b.edit(|v| v["readings"][0]["text"] = "new".into());
    a.meet(&mut b);
    assert_eq!(
        a.value(),
        json!({"readings": [{"id": "r", "text": "new"}, {"id": "s", "text": "kept"}]})
    );
    let conflicts = a.doc.conflicts().expect("conflicts");
    assert_eq!(conflicts.len(), 1);
    assert_eq!(conflicts[0].kind, ConflictKind::RemovedAndChanged);
    assert_eq!(conflicts[0].path, ["readings", "r"]);
    assert_eq!(
        conflicts[0].alternatives[0].stamp.as_ref().expect("who").by,
        "Bo"
    );
    assert_eq!(
        conflicts[0].alternatives[1].stamp.as_ref().expect("who").by,
        "Ada"
    );
    let mut c = Device::new("Cy", 3);
    c.meet(&mut a);
    c.doc
        .resolve(&conflicts[0], 1, &stamp("Cy", 5))
        .expect("resolve");
    a.doc
        .resolve(&conflicts[0], 0, &stamp("Ada", 5))
        .expect("resolve");
    assert_eq!(c.value()["readings"].as_array().expect("list").len(), 1);
    assert_eq!(a.value()["readings"].as_array().expect("list").len(), 2);
    assert_eq!(a.doc.conflicts().expect("conflicts"), []);
    // Put back what had been removed.
    b.edit(|v| v["x"] = json!({"y": 2}));
    assert_eq!(b.value()["x"], json!({"y": 2}));
}

fn order() -> Value {
    json!({"orders": [{"id": "o", "side": "left", "revisions": [
        {"number": 1, "prescription": {"note": "a", "plastic": "PP"}, "reason": "", "signature": null}]}]})
}

fn revision(v: &mut Value, at: usize) -> &mut Value {
    &mut v["orders"][0]["revisions"][at]
}

#[test]
fn a_signed_order_is_frozen_and_an_amendment_is_a_new_revision_with_a_reason() {
    let mut a = Device::new("Ada", 1);
    a.edit(|v| *v = order());
    a.edit(|v| revision(v, 0)["prescription"]["note"] = "b".into());
    a.edit(|v| revision(v, 0)["signature"] = json!({"at": "t", "prescriber": {"name": "Ada"}}));
    let signed = a.value();
    let refused = [
        a.try_edit(|v| revision(v, 0)["prescription"]["note"] = "c".into()),
        a.try_edit(|v| revision(v, 0)["signature"] = Value::Null),
        a.try_edit(|v| v["orders"] = json!([])),
        a.try_edit(|v| v["orders"][0]["revisions"] = json!([])),
        a.try_edit(|v| v["orders"] = Value::Null),
        a.try_edit(|v| *v = json!({})),
    ];
    for refused in refused {
        assert!(
            matches!(refused, Err(DocumentError::Frozen { .. })),
            "{refused:?}"
        );
    }
    assert_eq!(a.value(), signed);
    let next = |number: u64, reason: &str| {
        let mut new = signed["orders"][0]["revisions"][0].clone();
        new["number"] = number.into();
        new["reason"] = reason.into();
        move |v: &mut Value| {
            v["orders"][0]["revisions"]
                .as_array_mut()
                .expect("list")
                .push(new)
        }
    };
    assert!(matches!(
        a.try_edit(next(3, "x")),
        Err(DocumentError::RevisionNumber {
            expected: 2,
            found: 3,
            ..
        })
    ));
    assert!(matches!(
        a.try_edit(next(2, " ")),
        Err(DocumentError::NoReason { number: 2 })
    ));
    a.edit(next(2, "lab asked"));
    assert_eq!(
        a.value()["orders"][0]["revisions"]
            .as_array()
            .expect("list")
            .len(),
        2
    );
}

#[test]
fn changed_while_signed_elsewhere_keeps_what_was_signed() {
    let (mut a, mut b) = pair(order());
    a.edit(|v| revision(v, 0)["signature"] = json!({"at": "t"}));
    b.edit(|v| revision(v, 0)["prescription"]["plastic"] = "PE".into());
    a.meet(&mut b);
    assert_eq!(
        b.value()["orders"][0]["revisions"][0]["prescription"]["plastic"],
        "PP"
    );
    let conflicts = b.doc.conflicts().expect("conflicts");
    assert_eq!(conflicts[0].kind, ConflictKind::ChangedWhileSigned);
    assert_eq!(
        conflicts[0].alternatives[1].value["prescription"]["plastic"],
        "PE"
    );
    assert_eq!(
        conflicts[0].alternatives[1].stamp.as_ref().expect("who").by,
        "Bo"
    );
    assert!(matches!(
        b.doc.resolve(&conflicts[0], 1, &stamp("Bo", 1)),
        Err(DocumentError::Frozen { .. })
    ));
    b.doc
        .resolve(&conflicts[0], 0, &stamp("Bo", 1))
        .expect("resolve");
    a.meet(&mut b);
    assert_eq!(a.doc.conflicts().expect("conflicts"), []);
    assert_eq!(
        a.value()["orders"][0]["revisions"][0]["prescription"]["plastic"],
        "PP"
    );
}

#[test]
fn both_amending_is_a_conflict_and_no_revision_is_lost() {
    let (mut a, mut b) = pair(order());
    a.edit(|v| revision(v, 0)["signature"] = json!({"at": "t"}));
    a.meet(&mut b);
    let amend = |d: &mut Device, number: u64, note: &str| {
        d.edit(|v| {
            let mut new = revision(v, 0).clone();
            (new["number"], new["reason"]) = (number.into(), "asked".into());
            new["prescription"]["note"] = note.into();
            v["orders"][0]["revisions"]
                .as_array_mut()
                .expect("list")
                .push(new);
        });
    };
    amend(&mut a, 2, "from Ada");
    amend(&mut b, 2, "from Bo");
    a.meet(&mut b);
    let notes: Vec<_> = a.value()["orders"][0]["revisions"]
        .as_array()
        .expect("list")
        .iter()
        .map(|r| r["prescription"]["note"].clone())
        .collect();
    assert_eq!(notes.len(), 3);
    assert!(notes.contains(&"from Ada".into()) && notes.contains(&"from Bo".into()));
    let conflicts = a.doc.conflicts().expect("conflicts");
    assert_eq!(conflicts.len(), 1);
    assert_eq!(conflicts[0].kind, ConflictKind::SameRevisionTwice);
    amend(&mut a, 3, "both");
    a.meet(&mut b);
    assert_eq!(b.doc.conflicts().expect("conflicts"), []);
    assert_eq!(
        b.value()["orders"][0]["revisions"]
            .as_array()
            .expect("list")
            .len(),
        4
    );
}

#[test]
fn an_edit_of_an_older_state_does_not_undo_what_arrived_meanwhile() {
    let (mut a, mut b) = pair(json!({"x": 1, "y": 1, "list": ["one"]}));
    let (seen, heads) = (a.value(), a.doc.heads());
    b.edit(|v| {
        v["y"] = 2.into();
        v["list"] = json!(["one", "two"]);
    });
    a.meet(&mut b);
    let mut after = seen.clone();
    after["x"] = 5.into();
    after["list"] = json!(["one", "three"]);
    a.doc
        .edit(&heads, &seen, &after, &stamp("Ada", 7))
        .expect("edit");
    assert_eq!(a.value()["x"], 5);
    assert_eq!(a.value()["y"], 2);
    assert_eq!(a.value()["list"].as_array().expect("list").len(), 3);
    assert_eq!(a.doc.conflicts().expect("conflicts"), []);
}

#[test]
fn fields_of_a_newer_version_survive_an_older_ones_edit() {
    let (mut a, mut b) = pair(
        json!({"x": 1, "from_the_future": {"deep": [1, 2]}, "l": [{"id": "i", "new": true, "z": 1}]}),
    );
    // The older program does not see the newer fields at all.
    let (old, heads) = (json!({"x": 1, "l": [{"id": "i", "z": 1}]}), b.doc.heads());
    b.doc
        .edit(
            &heads,
            &old,
            &json!({"x": 2, "l": [{"id": "i", "z": 3}]}),
            &stamp("Bo", 1),
        )
        .expect("edit");
    a.meet(&mut b);
    assert_eq!(
        a.value(),
        json!({"x": 2, "from_the_future": {"deep": [1, 2]}, "l": [{"id": "i", "new": true, "z": 3}]})
    );
}

#[test]
fn history_tells_who_changed_what_in_the_right_order_though_a_clock_was_set_back() {
    let mut a = Device::new("Ada", 1);
    a.edit(|v| *v = json!({"reason": "pain", "readings": [{"id": "r", "text": "t"}]}));
    a.clock -= 365 * 24 * 3600 * 1000;
    a.by = "Bo";
    a.edit(|v| v["readings"][0]["text"] = "u".into());
    a.by = "Cy";
    a.edit(|v| v["readings"] = json!([]));
    let history = a.doc.history();
    let who: Vec<_> = history
        .iter()
        .map(|h| h.stamp.as_ref().expect("who").by.clone())
        .collect();
    assert_eq!(who, ["Ada", "Bo", "Cy"]);
    let second = &history[1].differences;
    assert_eq!(second.len(), 1);
    assert_eq!(
        (
            second[0].path.join("/").as_str(),
            &second[0].before,
            &second[0].after
        ),
        ("readings/r/text", &"t".into(), &"u".into())
    );
    assert_eq!(history[2].differences[0].path.join("/"), "readings/r");
    assert_eq!(history[2].differences[0].after, "removed");
    // As it was: by what each change knew of, within what the clocks said.
    let first = a.doc.value_at(&[history[0].change]).expect("then");
    assert_eq!(first["readings"][0]["text"], "t");
    assert_eq!(a.doc.value_at_time(i64::MAX).expect("then"), a.value());
}

#[test]
fn damaged_or_foreign_bytes_change_nothing() {
    let (mut a, mut b) = pair(json!({"x": 1}));
    let change = b.edit(|v| v["x"] = 2.into());
    let before = (a.value(), a.doc.heads());
    for cut in 0..change.len() {
        assert!(cut == 0 || a.doc.apply(&change[..cut]).is_err());
    }
    let mut refused = 0;
    for at in 0..change.len() {
        let mut flipped = change.clone();
        flipped[at] ^= 0x10;
        refused += u32::from(a.doc.apply(&flipped).is_err());
        assert_eq!((a.value(), a.doc.heads()), before, "byte {at}");
    }
    assert_eq!(refused as usize, change.len());
    let later = b.edit(|v| v["x"] = 3.into());
    assert!(matches!(
        a.doc.apply(&later),
        Err(DocumentError::Incomplete)
    ));
    a.doc
        .apply(&[later.clone(), change.clone(), later].concat())
        .expect("any order, repeated");
    assert_eq!(a.value(), b.value());
}

/// One random edit of one of three devices.
#[derive(Debug, Clone)]
enum Act {
    Set(u8, String, i64),
    AddReading(String, i64),
    EditReading(usize, i64),
    RemoveReading(usize),
    Repeat(usize, i64),
    Tick(String, String),
    Leg(bool, String, i64),
    Entry(i64),
    Sign,
    Amend,
    Draft(i64),
    Clear(String),
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        (0..3_u8, "[a-c]", 0..4_i64).prop_map(|(d, k, v)| Act::Set(d, k, v)),
        ("[a-d]", 0..9_i64).prop_map(|(k, v)| Act::AddReading(k, v)),
        (0..4_usize, 0..9_i64).prop_map(|(i, v)| Act::EditReading(i, v)),
        (0..4_usize).prop_map(Act::RemoveReading),
        (0..4_usize, 0..9_i64).prop_map(|(i, v)| Act::Repeat(i, v)),
        ("[a-b]", "[a-c]").prop_map(|(l, i)| Act::Tick(l, i)),
        (any::<bool>(), "[a-b]", 0..9_i64).prop_map(|(s, d, v)| Act::Leg(s, d, v)),
        (0..9_i64).prop_map(Act::Entry),
        Just(Act::Sign),
        Just(Act::Amend),
        (0..9_i64).prop_map(Act::Draft),
        "[a-c]".prop_map(Act::Clear),
    ]
}

fn perform(v: &mut Value, act: &Act) {
    let readings = v["readings"].as_array().map_or(0, Vec::len);
    match act {
        Act::Set(depth, key, x) => match depth {
            0 => v[key] = (*x).into(),
            1 => v["sub"][key] = (*x).into(),
            _ => v["sub"]["sub"][key] = x.to_string().into(),
        },
        Act::AddReading(id, x) => {
            let known = v["readings"]
                .as_array()
                .is_some_and(|l| l.iter().any(|r| r["id"] == **id));
            if !known {
                let list = v["readings"].as_array_mut().expect("list");
                list.push(json!({"id": id, "n": x, "repeats": [x]}));
            }
        }
        Act::EditReading(i, x) if readings > 0 => v["readings"][i % readings]["n"] = (*x).into(),
        Act::RemoveReading(i) if readings > 0 => {
            v["readings"]
                .as_array_mut()
                .expect("list")
                .remove(i % readings);
        }
        Act::Repeat(i, x) if readings > 0 => {
            let list = v["readings"][i % readings]["repeats"]
                .as_array_mut()
                .expect("list");
            if x % 3 == 0 && !list.is_empty() {
                list.remove(0);
            } else {
                list.push((*x as f64 + 0.5).into());
            }
        }
        Act::Tick(list, item) => {
            if v["checked"].get(list).is_none() {
                v["checked"][list] = json!([]);
            }
            let ticked = v["checked"][list].as_array_mut().expect("list");
            match ticked.iter().position(|t| t == item) {
                Some(at) => drop(ticked.remove(at)),
                None => ticked.push(item.clone().into()),
            }
        }
        Act::Leg(left, key, x) => {
            let side = if *left { "left" } else { "right" };
            let legs = v["legs"].as_array_mut().expect("list");
            let at = legs
                .iter()
                .position(|l| l["side"] == side)
                .unwrap_or_else(|| {
                    legs.push(json!({"side": side, "values": {}}));
                    legs.len() - 1
                });
            v["legs"][at]["values"][key] = json!([x]);
        }
        Act::Entry(x) => v["entry"] = json!({"typed": x.to_string(), "value": x}),
        Act::Sign => {
            let last = v["orders"][0]["revisions"]
                .as_array_mut()
                .and_then(|r| r.last_mut())
                .expect("revision");
            if last["signature"].is_null() {
                last["signature"] = json!({"at": "now"});
            }
        }
        Act::Amend => {
            let all = v["orders"][0]["revisions"].as_array_mut().expect("list");
            let mut new = all.last().expect("revision").clone();
            let highest = all
                .iter()
                .filter_map(|r| r["number"].as_u64())
                .max()
                .unwrap_or(0);
            if !new["signature"].is_null() {
                (new["number"], new["reason"], new["signature"]) =
                    ((highest + 1).into(), "why".into(), Value::Null);
                all.push(new);
            }
        }
        Act::Draft(x) => {
            let last = v["orders"][0]["revisions"]
                .as_array_mut()
                .and_then(|r| r.last_mut())
                .expect("revision");
            if last["signature"].is_null() {
                last["prescription"]["note"] = x.to_string().into();
            }
        }
        Act::Clear(key) => drop(v.as_object_mut().expect("record").remove(key)),
        _ => {}
    }
}

fn start() -> Value {
    let mut start = order();
    for (key, value) in json!({"readings": [], "legs": [], "checked": {}, "sub": {"sub": {}}})
        .as_object()
        .expect("record")
    {
        start[key] = value.clone();
    }
    start
}

/// A field that is null and one that is not there are the same, and an element that was removed
/// and put back is where it was before.
fn comparable(v: &Value) -> Value {
    match v {
        Value::Object(members) => members
            .iter()
            .filter(|(_, m)| !m.is_null())
            .map(|(k, m)| (k.clone(), comparable(m)))
            .collect(),
        Value::Array(elements) => {
            let mut elements: Vec<Value> = elements.iter().map(comparable).collect();
            if elements.iter().all(|e| e.get("id").is_some()) {
                elements.sort_by_key(|e| e["id"].to_string());
            }
            Value::Array(elements)
        }
        leaf => leaf.clone(),
    }
}

fn sorted(mut signed: Vec<Value>) -> Vec<String> {
    signed.sort_by_key(Value::to_string);
    signed.dedup();
    signed.iter().map(Value::to_string).collect()
}

fn signed_revisions(v: &Value) -> Vec<Value> {
    let all = v["orders"][0]["revisions"]
        .as_array()
        .cloned()
        .unwrap_or_default();
    all.into_iter()
        .filter(|r| !r["signature"].is_null())
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig::default())]

    /// Whatever three devices do, in whatever order they meet, they end alike: the same value, the
    /// same conflicts and, saved, the same bytes. What any of them signed is there in the end.
    #[test]
    fn any_interleaving_on_three_devices_converges(
        steps in prop::collection::vec((0..3_usize, prop_oneof![4 => act().prop_map(Some), 1 => Just(None)], 0..3_usize), 1..60)
    ) {
        let mut devices = [Device::new("Ada", 1), Device::new("Bo", 2), Device::new("Cy", 3)];
        devices[0].edit(|v| *v = start());
        for i in 1..3 {
            let all = devices[0].doc.changes_since(&[]);
            devices[i].doc.apply(&all).expect("apply");
        }
        let mut signed = Vec::new();
        for (who, act, other) in &steps {
            match act {
                Some(act) => {
                    let before = devices[*who].value();
                    let mut wanted = before.clone();
                    perform(&mut wanted, act);
                    devices[*who].edit(|v| perform(v, act));
                    prop_assert_eq!(comparable(&devices[*who].value()), comparable(&wanted), "after {:?} on {}", act, before);
                    signed.extend(signed_revisions(&devices[*who].value()));
                }
                None if who != other => {
                    let theirs = devices[*other].doc.changes_since(&[]);
                    devices[*who].doc.apply(&theirs).expect("apply");
                }
                None => {}
            }
        }
        let all: Vec<Vec<u8>> = devices.iter().map(|d| d.doc.changes_since(&[])).collect();
        for (i, device) in devices.iter_mut().enumerate() {
            // Each hears of the others in another order, of some twice.
            for j in 0..4 {
                device.doc.apply(&all[(i + j) % 3]).expect("apply");
            }
        }
        let [a, b, c] = &devices;
        prop_assert_eq!(a.value(), b.value());
        prop_assert_eq!(a.value(), c.value());
        prop_assert_eq!(a.doc.save(), b.doc.save());
        prop_assert_eq!(a.doc.save(), c.doc.save());
        prop_assert_eq!(a.doc.conflicts().expect("conflicts"), c.doc.conflicts().expect("conflicts"));
        // A revision signed on two devices at once has two signed texts; both are kept, one shown
        // as a conflict.
        let mut kept = signed_revisions(&a.value());
        for conflict in a.doc.conflicts().expect("conflicts") {
            kept.extend(conflict.alternatives.into_iter().map(|x| x.value).filter(|v| v.get("signature").is_some()));
        }
        let kept = sorted(kept);
        for one in sorted(signed) {
            prop_assert!(kept.contains(&one), "lost: {}", one);
        }
        let again = Document::load(&a.doc.save(), ActorId::from(&[9; 16][..])).expect("load");
        prop_assert_eq!(again.value().expect("value"), a.value());
    }
}
