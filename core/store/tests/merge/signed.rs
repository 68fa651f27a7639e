//! Signed orders and their revisions.

use crate::device::{Device, order, pair, revision, stamp};
use plinthside_store::document::{ConflictKind, DocumentError};
use serde_json::{Value, json};

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
                .push(new);
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
