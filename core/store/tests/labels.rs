//! Labels: their states, what stops hard, the proven bag, and two devices that bound one label.
#![allow(clippy::expect_used)]

mod common;

use common::{CHEAP, Hands, PASSPHRASE, create, options, visit};
use plinthside_store::{
    BagProblem, Binding, BoundBy, Finding, LabelAct, LabelState, Options, Store, StoreError, VISIT,
};
use serde_json::json;

const ONE: &str = "K7Q2-M9TR-B4HX-C";
const TWO: &str = "AAAA-BBBB-CCCC-D";

fn to(visit: &str, side: &str, revision: u32) -> Binding {
    Binding {
        visit: visit.into(),
        side: side.into(),
        revision,
    }
}

/// Takes everything from one store to another.
fn carry(from: &Store, into: &mut Store) {
    for changed in from.changed_since(0, 100).expect("changed") {
        let Some(out) = from.whole(&changed.id).expect("whole") else {
            continue;
        };
        into.receive(&out.id, &out.kind, &out.changes)
            .expect("receive");
    }
}

#[test]
fn a_label_goes_from_unbound_to_bound_to_void_and_never_back() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("store");
    let clock = Hands::at(1_780_000_000_000);
    let mut store = Store::create(
        &path,
        PASSPHRASE,
        Options::new("Tablet 1").kdf(CHEAP).clock(clock.clone()),
    )
    .expect("create");
    assert_eq!(store.label_state(ONE).expect("state"), LabelState::Unknown);
    store.labels_printed(&[ONE, TWO], "Ada").expect("printed");
    store
        .labels_printed(&[TWO], "Ada")
        .expect("printed once more");
    assert_eq!(store.label_state(ONE).expect("state"), LabelState::Unbound);

    clock.add(1000);
    let cast = to("v1", "left", 1);
    let known = store
        .bind_label("k7q2 m9tr b4hx c", &cast, BoundBy::Typing, "Bo")
        .expect("bind");
    assert!(known);
    assert_eq!(
        store.label_state(ONE).expect("state"),
        LabelState::Bound { to: cast.clone() }
    );
    // Once more the same, and a later revision.
    store
        .bind_label(ONE, &cast, BoundBy::Camera, "Bo")
        .expect("the same");
    assert_eq!(store.label_history(ONE).expect("history").len(), 2);
    store
        .bind_label(ONE, &to("v1", "left", 2), BoundBy::Photograph, "Bo")
        .expect("revised");
    assert_eq!(
        store.label_state(ONE).expect("state"),
        LabelState::Bound {
            to: to("v1", "left", 2)
        }
    );
    assert_eq!(
        store.label(ONE).expect("label"),
        Some(("v1".into(), "left".into()))
    );

    // Hard stops: another visit, the other side.
    let refused = store.bind_label(ONE, &to("v2", "left", 1), BoundBy::Typing, "Bo");
    assert!(
        matches!(&refused, Err(StoreError::LabelTaken { visit, .. }) if visit == "v1"),
        "{refused:?}"
    );
    let refused = store.bind_label(ONE, &to("v1", "right", 1), BoundBy::Typing, "Bo");
    assert!(
        matches!(&refused, Err(StoreError::LabelOtherSide { side, wanted, .. }) if side == "left" && wanted == "right"),
        "{refused:?}"
    );
    assert_eq!(
        store.label_history(ONE).expect("history").len(),
        3,
        "a refusal binds nothing"
    );

    store
        .void_label(ONE, "torn off in the rain", "Cy")
        .expect("void");
    assert!(matches!(
        store.label_state(ONE).expect("state"),
        LabelState::Void { by, why, was, .. }
            if by == "Cy" && why == "torn off in the rain" && was == [to("v1", "left", 2)]
    ));
    for cast in [&cast, &to("v9", "right", 1)] {
        assert!(matches!(
            store.bind_label(ONE, cast, BoundBy::Typing, "Bo"),
            Err(StoreError::LabelVoid { .. })
        ));
    }

    let history = store.label_history(ONE).expect("history");
    let acts: Vec<LabelAct> = history.iter().map(|e| e.what).collect();
    assert_eq!(
        acts,
        [
            LabelAct::Printed,
            LabelAct::Bound,
            LabelAct::Bound,
            LabelAct::Void
        ]
    );
    assert_eq!(
        (
            history[1].by.as_str(),
            history[1].note.as_str(),
            history[1].at_ms
        ),
        ("Bo", "typing", 1_780_000_001_000)
    );

    // What was bound is on the disk, and the lists can be made again.
    drop(store);
    let mut store = common::open(&path);
    assert_eq!(store.label_history(ONE).expect("history"), history);
    assert!(store.rebuild().expect("rebuild").is_empty());
    assert_eq!(store.label_history(ONE).expect("history"), history);
    let report = store.check().expect("check");
    assert!(report.is_clean(), "{report}");
    assert!(
        store.unfinished().expect("unfinished").is_empty(),
        "labels are never drafts"
    );
}

#[test]
fn a_label_printed_elsewhere_can_be_bound_and_a_wrong_text_cannot() {
    let folder = tempfile::tempdir().expect("folder");
    let mut store = create(&folder.path().join("store"));
    let known = store
        .bind_label(ONE, &to("v1", "left", 1), BoundBy::Typing, "Bo")
        .expect("bind");
    assert!(!known, "nobody here printed it: the caller can say so");
    let heard_of = store.label_codes().expect("codes");
    assert_eq!(heard_of, [ONE.replace('-', "")]);
    for text in [
        "",
        "K7Q2",
        "K7Q2-M9TR-B4HX-CC",
        "K7Q2-M9TR-B4HX-*",
        "Übüngüö",
    ] {
        assert!(
            matches!(
                store.bind_label(text, &to("v1", "left", 1), BoundBy::Typing, "Bo"),
                Err(StoreError::NotALabel { .. })
            ),
            "{text}"
        );
        assert!(store.labels_printed(&[TWO, text], "Ada").is_err());
        assert_eq!(store.label(text).expect("label"), None);
    }
    assert_eq!(
        store.label_state(TWO).expect("state"),
        LabelState::Unknown,
        "all labels of a sheet or none"
    );
}

/// A cast that names a code is bound by that alone: labels printed with their order.
#[test]
fn a_code_in_a_visit_counts_as_bound() {
    let folder = tempfile::tempdir().expect("folder");
    let mut store = create(&folder.path().join("store"));
    let mut v = visit("v1", "Anna");
    v["casts"] = json!([{"id": "c", "side": "right", "code": ONE}]);
    store.import("v1", VISIT, &v, "Ada").expect("import");
    assert!(matches!(
        store.bind_label(ONE, &to("v1", "left", 1), BoundBy::Camera, "Bo"),
        Err(StoreError::LabelOtherSide { .. })
    ));
    store
        .bind_label(ONE, &to("v1", "right", 3), BoundBy::Printing, "Bo")
        .expect("its own");
    assert_eq!(
        store.label_state(ONE).expect("state"),
        LabelState::Bound {
            to: to("v1", "right", 3)
        }
    );
    // An erased visit's label stays used.
    store.erase("v1", "Ada").expect("erase");
    assert!(matches!(
        store.bind_label(ONE, &to("v2", "right", 1), BoundBy::Camera, "Bo"),
        Err(StoreError::LabelTaken { .. })
    ));
}

#[test]
fn the_bag_is_proven_or_the_fault_named_with_person_and_time() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("store");
    let clock = Hands::at(1_780_000_000_000);
    let options = Options::new("Tablet 1").kdf(CHEAP).clock(clock.clone());
    let mut store = Store::create(&path, PASSPHRASE, options).expect("create");
    store.labels_printed(&[TWO], "Ada").expect("printed");
    let cast = to("v1", "left", 2);
    store
        .bind_label(ONE, &cast, BoundBy::Photograph, "Ada")
        .expect("bind");

    clock.add(60_000);
    let right = store.prove_bag(ONE, Some(&cast), "Dee").expect("prove");
    assert!(right.is_right());
    assert_eq!(
        (right.is.as_ref(), right.by.as_str(), right.at_ms),
        (Some(&cast), "Dee", 1_780_000_060_000)
    );
    assert_eq!(
        store.prove_bag(ONE, None, "Dee").expect("prove").is,
        Some(cast.clone())
    );

    let mut problems = |code: &str, expected: &Binding| {
        store
            .prove_bag(code, Some(expected), "Dee")
            .expect("prove")
            .problems
    };
    assert!(matches!(
        problems(ONE, &to("v1", "right", 2))[..],
        [BagProblem::OtherSide { .. }]
    ));
    assert!(matches!(
        problems(ONE, &to("v1", "left", 3))[..],
        [BagProblem::OtherRevision { label: 2, order: 3 }]
    ));
    assert!(matches!(
        problems(ONE, &to("v7", "right", 2))[..],
        [BagProblem::OtherVisit { .. }, BagProblem::OtherSide { .. }]
    ));
    assert!(matches!(problems(TWO, &cast)[..], [BagProblem::Unbound]));
    assert!(matches!(
        problems("0000-0000-0000-1", &cast)[..],
        [BagProblem::Unknown]
    ));
    store.void_label(ONE, "wet", "Ada").expect("void");
    let void = store.prove_bag(ONE, Some(&cast), "Dee").expect("prove");
    assert!(matches!(void.problems[..], [BagProblem::Void { .. }]));
    assert!(
        store.prove_bag("K7Q2", Some(&cast), "Dee").is_err(),
        "not a code"
    );

    let proofs = store.bag_proofs("v1").expect("proofs");
    assert_eq!(
        proofs.iter().filter(|p| p.note.is_empty()).count(),
        2,
        "the two that were right"
    );
    assert_eq!(proofs.len(), 7, "and five of this visit that were wrong");
    assert!(
        proofs
            .iter()
            .all(|p| p.by == "Dee" && p.at_ms == 1_780_000_060_000)
    );
    assert_eq!(store.bag_proofs("v7").expect("proofs").len(), 1);
    assert_eq!(
        store.label_state("0000-0000-0000-1").expect("state"),
        LabelState::Unknown,
        "a scan makes no label known"
    );
}

/// Two tablets without a connection bind one label to two casts: both learn of it when they meet.
#[test]
fn one_label_bound_on_two_devices_is_reused_on_both() {
    let folder = tempfile::tempdir().expect("folder");
    let mut a = create(&folder.path().join("a"));
    let mut b = Store::create(folder.path().join("b"), PASSPHRASE, options("Tablet 2")).expect("b");
    a.labels_printed(&[ONE], "Ada").expect("printed");
    carry(&a, &mut b);
    assert_eq!(b.label_state(ONE).expect("state"), LabelState::Unbound);
    a.bind_label(ONE, &to("v1", "left", 1), BoundBy::Typing, "Ada")
        .expect("bind");
    b.bind_label(ONE, &to("v2", "left", 1), BoundBy::Typing, "Bo")
        .expect("bind");
    // A label neither had heard of, begun on both, for the same cast: that is no reuse.
    for store in [&mut a, &mut b] {
        store
            .bind_label(TWO, &to("v3", "right", 1), BoundBy::Typing, "x")
            .expect("bind");
    }
    carry(&b, &mut a);
    carry(&a, &mut b);
    for store in [&mut a, &mut b] {
        let state = store.label_state(ONE).expect("state");
        assert!(
            matches!(&state, LabelState::Reused { to } if to.len() == 2),
            "{state:?}"
        );
        assert!(matches!(
            store.bind_label(ONE, &to("v1", "left", 1), BoundBy::Typing, "Ada"),
            Err(StoreError::LabelReused { .. })
        ));
        let proof = store
            .prove_bag(ONE, Some(&to("v1", "left", 1)), "Dee")
            .expect("prove");
        assert!(matches!(proof.problems[..], [BagProblem::Reused { .. }]));
        assert!(matches!(
            store.label_state(TWO).expect("state"),
            LabelState::Bound { .. }
        ));
        assert_eq!(store.label_history(TWO).expect("history").len(), 2);
        let report = store.check().expect("check");
        assert!(
            matches!(&report.findings[..], [Finding::LabelTwice { code, holders }] if code.starts_with("K7Q2") && holders.len() == 2),
            "{report}"
        );
    }
    // Made void, it harms nobody any more.
    a.void_label(ONE, "on two bags", "Ada").expect("void");
    carry(&a, &mut b);
    assert!(matches!(
        b.label_state(ONE).expect("state"),
        LabelState::Void { .. }
    ));
    let report = b.check().expect("check");
    assert!(report.is_clean(), "{report}");
}
