//! Any interleaving of edits on three devices.

use crate::device::{Device, order};
use automerge::ActorId;
use plinthside_store::document::Document;
use proptest::prelude::*;
use serde_json::{Value, json};

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

/// Keys as the program has them, and others that look like the store's own or lie beside them.
const KEY: &str = "[ab!=-]?";

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        (0..3_u8, KEY, 0..4_i64).prop_map(|(d, k, v)| Act::Set(d, k, v)),
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
        KEY.prop_map(Act::Clear),
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
