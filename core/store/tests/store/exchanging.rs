//! Two stores that hear of each other's changes.

use crate::common::{create, folder, read, visit};
use plinthside_store::{Filter, Finding, Opened, Store, VISIT};
use plinthside_visit::Visit;
use serde_json::json;

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
    let carry = |from: &Store, to: &mut Store| {
        for changed in from.changed_since(0, 10).expect("changed") {
            let Some(out) = from.whole(&changed.id).expect("whole") else {
                continue;
            };
            to.receive(&out.id, &out.kind, &out.changes)
                .expect("receive");
            assert!(
                !to.receive(&out.id, &out.kind, &out.changes).expect("twice"),
                "twice changes nothing"
            );
        }
    };
    carry(&a, &mut b);
    assert_eq!(read(&mut b, "v1"), read(&mut a, "v1"));
    let edit = |store: &mut Store, reason: &str| {
        let mut opened: Opened<Visit> = store.open_record("v1").expect("open");
        opened.value.reason = reason.into();
        store.save(&mut opened, "someone", "").expect("save");
        store.finish("v1").expect("finish");
    };
    edit(&mut a, "one");
    edit(&mut b, "two");
    carry(&a, &mut b);
    carry(&b, &mut a);
    assert_eq!(read(&mut b, "v1"), read(&mut a, "v1"));
    let listed = a.cases(&Filter::InConflict, 0, 9).expect("page");
    assert_eq!((listed.len(), listed[0].conflicts), (1, 1));
    let conflict = a.conflicts("v1").expect("conflicts").remove(0);
    assert_eq!(conflict.alternatives.len(), 2);
    a.resolve("v1", &conflict, 1, "Ada").expect("resolve");
    assert_eq!(a.count(&Filter::InConflict).expect("count"), 0);
    carry(&a, &mut b);
    assert_eq!(b.conflicts("v1").expect("conflicts"), []);
    assert_eq!(read(&mut b, "v1")["reason"], conflict.alternatives[1].value);
    // What arrives while somebody edits does not get lost, and the editor is told.
    let mut opened: Opened<Visit> = a.open_record("v1").expect("open");
    edit(&mut b, "three");
    carry(&b, &mut a);
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
    carry(&b, &mut a);
    let report = a.check().expect("check");
    assert!(
        matches!(&report.findings[..], [Finding::LabelTwice { holders, .. }] if holders.len() == 2),
        "{report}"
    );
}
