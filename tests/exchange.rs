//! Two devices and a lab from the command line: packed, opened, answered, synchronised.
#![allow(clippy::unwrap_used, clippy::expect_used)] // helpers of tests, not only #[test] functions

mod support;

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use support::{DemoCopy, demonstration, done, plinthside, refusal};

/// The demonstration's package.
fn sealed(demo: &DemoCopy) -> PathBuf {
    let files = fs::read_dir(demo.0.path()).expect("folder").flatten();
    let sealed = files
        .map(|f| f.path())
        .find(|f| f.extension().is_some_and(|e| e == "age"));
    sealed.expect("the demonstration leaves a package")
}

fn text(path: &Path) -> String {
    path.display().to_string()
}

fn named(demo: &DemoCopy, name: &str) -> String {
    text(&demo.path(name))
}

#[test]
fn anyone_can_open_the_demonstrations_package_and_answer_it() {
    let demo = DemoCopy::new();
    let (sealed, key, out) = (
        text(&sealed(&demo)),
        named(&demo, "lab-key.txt"),
        named(&demo, "lab"),
    );
    let said = done(&plinthside([
        "open",
        &sealed,
        "--key",
        &key,
        "--out",
        &out,
        "--answer",
        "question",
        "--by",
        "Bench",
        "--reason",
        "which strap",
    ]));
    assert!(
        said.contains("SL-2031") && !said.contains("Ashdown"),
        "the code, not the name: {said}"
    );
    assert!(said.contains("verified"), "{said}");
    let bag = fs::read_dir(&out)
        .expect("opened")
        .flatten()
        .map(|f| f.path())
        .find(|p| p.is_dir());
    let bag = bag.expect("a bag");
    for file in [
        "order.pdf",
        "bench.pdf",
        "order.fhir.json",
        "measurement.json",
        "photographs/photo-08.jpg",
    ] {
        assert!(bag.join("data").join(file).is_file(), "{file}");
    }
    // One flipped bit, another key: nothing opens and nothing is left.
    let mut bytes = fs::read(&sealed).expect("package");
    let at = bytes.len() / 2;
    bytes[at] ^= 1;
    let broken = named(&demo, "broken.age");
    fs::write(&broken, bytes).expect("written");
    let nowhere = named(&demo, "nowhere");
    refusal(&plinthside([
        "open", &broken, "--key", &key, "--out", &nowhere,
    ]));
    refusal(&plinthside([
        "open",
        &sealed,
        "--key",
        &named(&demo, "passphrase.txt"),
        "--out",
        &nowhere,
    ]));
    assert!(!Path::new(&nowhere).exists());
}

#[test]
fn a_signed_order_is_packed_and_a_draft_is_not() {
    let demo = DemoCopy::new();
    let out = named(&demo, "p.age");
    let lab = "Kiln Row Orthotic Workshop";
    done(&demo.on(
        "demo.store",
        &["pack", "demo-left", "--lab", lab, "--out", &out],
    ));
    // Or laid at a target, in the lab's own folder.
    let stick = named(&demo, "stick");
    let at_the_stick = ["pack", "demo-left", "--lab", lab, "--at", &stick];
    refusal(&demo.on("demo.store", &at_the_stick));
    assert!(
        !Path::new(&stick).exists(),
        "a stick that is out is not made"
    );
    fs::create_dir(&stick).expect("folder");
    done(&demo.on("demo.store", &at_the_stick));
    let laid = fs::read_dir(Path::new(&stick).join("labs/kiln-row-orthotic-workshop"));
    assert_eq!(laid.expect("the lab's folder").count(), 1);
    let opened = named(&demo, "opened");
    done(&plinthside([
        "open",
        &out,
        "--key",
        &named(&demo, "lab-key.txt"),
        "--out",
        &opened,
    ]));
    let draft = named(&demo, "draft.age");
    let said = refusal(&demo.on(
        "demo.store",
        &["pack", "demo-right", "--lab", lab, "--out", &draft],
    ));
    assert!(said.contains("sign"), "{said}");
    assert!(!Path::new(&draft).exists());
    let said = refusal(&demo.on(
        "demo.store",
        &["pack", "demo-left", "--lab", "Nobody", "--out", &draft],
    ));
    assert!(said.contains(lab), "{said}");
}

#[test]
fn two_devices_meet_over_a_folder() {
    let demo = DemoCopy::new();
    let stick = named(&demo, "stick");
    fs::create_dir(&stick).expect("folder");
    done(&demo.on("demo.store", &["sync", &stick]));
    let code = done(&demo.on("demo.store", &["devices", "invite", "--at", &stick]));
    // The second tablet has a store with nothing in it.
    let empty = named(&demo, "empty.json");
    fs::write(&empty, r#"{"clinic": {"name": ""}, "visits": []}"#).expect("written");
    done(&demo.on("second.store", &["import", &empty]));
    done(&demo.on(
        "second.store",
        &["devices", "join", code.trim(), "--at", &stick],
    ));
    done(&demo.on("demo.store", &["sync", &stick]));
    let said = done(&demo.on("second.store", &["sync", &stick]));
    assert!(said.contains("received"), "{said}");
    let shown = |store: &str| done(&demo.on(store, &["show", "demo-right", "--json"]));
    assert_eq!(shown("second.store"), shown("demo.store"));
    assert!(done(&demo.on("second.store", &["check"])).contains("16 photographs"));
    // A new practice key is heard of with the next meeting, and what is sealed with it is read.
    assert!(done(&demo.on("demo.store", &["devices", "change-key"])).contains("new key"));
    done(&demo.on("demo.store", &["erase", "demo-right", "--yes-erase"]));
    done(&demo.on("demo.store", &["sync", &stick]));
    done(&demo.on("second.store", &["sync", &stick]));
    assert!(refusal(&demo.on("second.store", &["show", "demo-right"])).contains("was erased"));
    // A target that is not there is said, and nothing is lost.
    refusal(&demo.on("second.store", &["sync", "https://127.0.0.1:1/nobody"]));
}

/// A lab that asks after it has accepted, by the command line alone; its clock runs late.
#[test]
fn synchronising_takes_the_labs_answers_from_the_target() {
    let demo = DemoCopy::new();
    let stick = named(&demo, "stick");
    fs::create_dir(&stick).expect("folder");
    // The left order has been handed over, in a store of its own.
    let mut file: Value =
        serde_json::from_str(&fs::read_to_string(named(&demo, "visits.json")).expect("read"))
            .expect("JSON");
    let visits = file["visits"].as_array_mut().expect("visits");
    let left = visits.iter_mut().find(|v| v["id"] == "demo-left");
    let history = left.expect("the left one")["orders"][0]["history"].as_array_mut();
    let history = history.expect("signed");
    let mut handed_over = history.last().expect("signed").clone();
    handed_over["to"] = "handed_over".into();
    handed_over["at"] = "2100-01-01T00:00:00Z".into();
    history.push(handed_over);
    let handed = named(&demo, "handed.json");
    fs::write(&handed, file.to_string()).expect("written");
    let photographs = text(&demonstration().join("photographs"));
    done(&demo.on("own.store", &["import", &handed, "--photos", &photographs]));
    let lab = "Kiln Row Orthotic Workshop";
    let key = named(&demo, "lab-key.txt");
    let file = fs::read_to_string(&key).expect("a key");
    let public = file
        .split_whitespace()
        .find(|word| word.starts_with("age1"));
    let public = public.expect("age-keygen's comment");
    done(&demo.on(
        "own.store",
        &[
            "pack",
            "demo-left",
            "--lab",
            lab,
            "--key",
            public,
            "--at",
            &stick,
        ],
    ));
    let laid = Path::new(&stick).join("labs/kiln-row-orthotic-workshop");
    let package = fs::read_dir(laid).expect("laid").flatten().next();
    let package = text(&package.expect("a package").path());
    for (answer, reason, state) in [
        ("accepted", "", "received"),
        ("question", "which strap", "lab_hold"),
        ("question", "which hinge", "lab_hold"),
    ] {
        let out = named(&demo, &format!("lab-{reason}"));
        done(&plinthside([
            "open", &package, "--key", &key, "--out", &out, "--answer", answer, "--by", "Bench",
            "--reason", reason,
        ]));
        let said = done(&demo.on("own.store", &["sync", &stick]));
        assert!(said.contains("Answer of the lab to order"), "{said}");
        let said = done(&demo.on("own.store", &["sync", &stick]));
        assert!(!said.contains("Answer of the lab"), "once: {said}");
        let visit: Value = serde_json::from_str(&done(
            &demo.on("own.store", &["show", "demo-left", "--json"]),
        ))
        .expect("JSON");
        let history = visit["orders"][0]["history"].as_array().expect("history");
        let newest = history.last().expect("entries");
        assert_eq!(newest["to"], state);
        assert_eq!(newest["reason"].as_str().unwrap_or_default(), reason);
    }
}
