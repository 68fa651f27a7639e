//! What every target must do, and a whole exchange over it.

use crate::common::{add, edit, pair, reason, run};
use plinthside_exchange::{Target, TargetError};

/// The four verbs.
pub fn verbs(target: &dyn Target) {
    let folder = "contract/one";
    assert!(
        target
            .list(folder)
            .expect("a folder that is not there lists empty")
            .is_empty()
    );
    assert!(matches!(
        target.get("contract/one/none"),
        Err(TargetError::NotFound { .. })
    ));
    target
        .delete("contract/one/none")
        .expect("what is not there is deleted already");
    for name in ["b", "a", "0123456789abcdef.01234567-00000001"] {
        target
            .put(&format!("{folder}/{name}"), name.as_bytes())
            .expect("put");
    }
    target
        .put(&format!("{folder}/empty"), b"")
        .expect("put empty");
    target
        .put(&format!("{folder}/deeper/c"), b"c")
        .expect("put deeper");
    let names = ["0123456789abcdef.01234567-00000001", "a", "b", "empty"];
    assert_eq!(
        target.list(folder).expect("list"),
        names,
        "directly inside, sorted"
    );
    assert_eq!(target.get(&format!("{folder}/empty")).expect("get"), b"");
    target
        .put(&format!("{folder}/a"), b"again")
        .expect("overwrite");
    assert_eq!(target.get(&format!("{folder}/a")).expect("get"), b"again");
    let photograph: Vec<u8> = (0..3_000_000_u32)
        .map(|i| ((i * 7919) >> 8) as u8)
        .collect();
    target
        .put(&format!("{folder}/photograph"), &photograph)
        .expect("put 3 MB");
    assert!(
        target
            .get(&format!("{folder}/photograph"))
            .expect("get 3 MB")
            == photograph
    );
    for name in names.iter().copied().chain(["photograph", "deeper/c"]) {
        target.delete(&format!("{folder}/{name}")).expect("delete");
    }
    assert!(target.list(folder).expect("list").is_empty());
}

/// Files put at the same time into a folder that is not there yet all arrive.
pub fn together(target: &dyn Target) {
    for round in 0..100 {
        let name = |i: usize| format!("contract/round{round}/{i}");
        let gate = std::sync::Barrier::new(target.at_once());
        std::thread::scope(|scope| {
            for i in 0..target.at_once() {
                let gate = &gate;
                scope.spawn(move || {
                    gate.wait();
                    target.put(&name(i), b"x").expect("put together");
                });
            }
        });
        for i in 0..target.at_once() {
            assert_eq!(target.get(&name(i)).expect("get"), b"x");
            target.delete(&name(i)).expect("delete");
        }
    }
}

/// Two devices, visits, photographs, a conflict, an erasure.
pub fn exchange(target: &dyn Target) {
    let folder = tempfile::tempdir().expect("folder");
    let (a, b) = pair(folder.path(), target);
    add(
        &a,
        "v1",
        "trips",
        &[b"a photograph".as_slice(), b"another".as_slice()],
    );
    add(&b, "v2", "drop foot", &[]);
    run(&a, target);
    run(&b, target);
    run(&a, target);
    edit(&a, "v1", "from A");
    edit(&b, "v1", "from B");
    for device in [&a, &b, &a] {
        assert!(run(device, target).problems.is_empty());
    }
    assert_eq!(reason(&a, "v1"), reason(&b, "v1"));
    assert_eq!(reason(&a, "v2"), "drop foot");
    b.lock().expect("lock").erase("v1", "Bo").expect("erase");
    for device in [&b, &a, &b] {
        run(device, target);
    }
    assert!(a.lock().expect("lock").read("v1").is_err());
    assert_eq!(run(&a, target).bytes_sent, 0);
}
