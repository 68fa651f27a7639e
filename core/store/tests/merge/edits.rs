//! One edit here and another there: what comes out.

use crate::device::{Device, pair, stamp};
use plinthside_store::document::{ConflictKind, DocumentError};
use serde_json::{Value, json};

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

#[test]
fn a_removal_that_conflicts_stays_open_while_its_neighbour_is_edited() {
    let (mut a, mut b) = pair(json!({"readings": [{"id": "r", "n": 1}, {"id": "s", "n": 1}]}));
    a.edit(|v| drop(v["readings"].as_array_mut().expect("list").remove(0)));
    b.edit(|v| v["readings"][0]["n"] = 2.into());
    a.meet(&mut b);
    a.edit(|v| v["readings"][1]["n"] = 3.into());
    a.meet(&mut b);
    let conflicts = b.doc.conflicts().expect("conflicts");
    assert_eq!(conflicts.len(), 1);
    assert_eq!(conflicts[0].kind, ConflictKind::RemovedAndChanged);
}

#[test]
fn an_entry_goes_to_the_element_it_names_in_whatever_order_they_are_listed() {
    let start =
        json!({"readings": [{"id": "a", "n": 1}, {"id": "b", "n": 2}, {"id": "c", "n": 3}]});
    let (mut a, _) = pair(start);
    let mut before = a.value();
    before["readings"].as_array_mut().expect("list").reverse();
    let mut after = before.clone();
    after["readings"][0]["n"] = 30.into();
    let heads = a.doc.heads();
    a.doc
        .edit(&heads, &before, &after, &stamp("Ada", 9))
        .expect("edit");
    let read = json!([{"id": "a", "n": 1}, {"id": "b", "n": 2}, {"id": "c", "n": 30}]);
    assert_eq!(a.value()["readings"], read);
    // And past one that was removed, which is still in the document.
    a.edit(|v| drop(v["readings"].as_array_mut().expect("list").remove(1)));
    a.edit(|v| v["readings"][1]["n"] = 31.into());
    let read = json!([{"id": "a", "n": 1}, {"id": "c", "n": 31}]);
    assert_eq!(a.value()["readings"], read);
}
