//! The store from the command line: taken in, found, shown, checked, backed up, and refused in
//! words where it can't be.
#![allow(clippy::unwrap_used, clippy::expect_used)] // helpers of tests, not only #[test] functions

mod support;

use serde_json::Value;
use std::fs;
use support::{DemoCopy, demonstration, done, plinthside, refusal};

#[test]
fn a_visit_is_found_by_what_is_known_of_it() {
    let copy = DemoCopy::new();
    for text in ["ashdwn", "SL-2031", "7R3K", "kiln", "signed"] {
        let found: Value =
            serde_json::from_str(&done(&copy.run(&["find", text, "--json"]))).unwrap();
        let found = found.as_array().unwrap();
        let left = |case: &Value| case["id"] == "demo-left";
        assert!(found.iter().any(left), "{text}: {found:?}");
    }
    assert!(done(&copy.run(&["find", "nobody-of-this-name"])).contains("Nothing was found"));
}

#[test]
fn a_visit_is_shown_whole_with_its_history_and_as_it_was() {
    let copy = DemoCopy::new();
    let visit: Value =
        serde_json::from_str(&done(&copy.run(&["show", "demo-left", "--json"]))).unwrap();
    assert_eq!(visit["person"]["code"], "SL-2031");
    assert_eq!(
        visit["casts"][0]["sources"]["photographs"]
            .as_array()
            .unwrap()
            .len(),
        8
    );
    let code = visit["casts"][0]["code"].as_str().unwrap();
    let by_code: Value = serde_json::from_str(&done(&copy.run(&["show", code, "--json"]))).unwrap();
    assert_eq!(by_code, visit);

    let history: Value = serde_json::from_str(&done(&copy.run(&[
        "show",
        "demo-left",
        "--history",
        "--json",
    ])))
    .unwrap();
    let history = history.as_array().unwrap();
    assert!(history.len() >= 3, "imported, measured, ordered");
    let imported = history[0]["stamp"]["at_ms"].as_i64().unwrap();
    let then = chrono::DateTime::from_timestamp_millis(imported)
        .unwrap()
        .to_rfc3339();
    let before: Value = serde_json::from_str(&done(&copy.run(&[
        "show",
        "demo-left",
        "--at",
        &then,
        "--json",
    ])))
    .unwrap();
    assert!(before["casts"][0]["measurement"].is_null());
    assert!(!visit["casts"][0]["measurement"].is_null());
    let said = refusal(&copy.run(&["show", "demo-left", "--at", "1999-01-01T00:00:00Z"]));
    assert!(said.contains("did not exist"), "{said}");
    assert!(refusal(&copy.run(&["show", "demo-left", "--at", "yesterday"])).contains("yesterday"));
    assert!(refusal(&copy.run(&["show", "nobody"])).contains("nobody"));
}

#[test]
fn papers_come_out_of_the_store_by_visit_or_by_the_code_on_the_bag() {
    let copy = DemoCopy::new();
    for (command, visit, file) in [
        ("order", "demo-left", "order.pdf"),
        ("bench", "7R3K-M2XD-9TQ4-7", "bench.pdf"),
        ("label", "demo-left", "label.png"),
        ("packing", "demo-left", "packing.pdf"),
    ] {
        let path = copy.path(file);
        done(&copy.run(&[command, visit, "--out", path.to_str().unwrap()]));
        assert!(fs::metadata(&path).unwrap().len() > 1000, "{file}");
    }
}

#[test]
fn what_was_exported_is_taken_in_again_with_its_photographs() {
    let copy = DemoCopy::new();
    let file = copy.path("visits.json");
    let file = file.to_str().unwrap();
    let photographs = demonstration().join("photographs");
    let without: Value =
        serde_json::from_str(&done(&copy.on("new.store", &["import", file, "--json"]))).unwrap();
    assert_eq!(without["visits"].as_array().unwrap().len(), 2);
    assert_eq!(without["missing"].as_array().unwrap().len(), 16);
    assert!(refusal(&copy.on("new.store", &["check"])).contains("findings"));
    let args = [
        "import",
        file,
        "--photos",
        photographs.to_str().unwrap(),
        "--json",
    ];
    let again: Value = serde_json::from_str(&done(&copy.on("new.store", &args))).unwrap();
    assert_eq!(
        (
            again["photographs"].as_u64(),
            again["unchanged"].as_array().unwrap().len()
        ),
        (Some(16), 2)
    );
    done(&copy.on("new.store", &["check"]));
    let shown = |store| -> Value {
        serde_json::from_str(&done(&copy.on(store, &["show", "demo-right", "--json"]))).unwrap()
    };
    assert_eq!(shown("new.store"), shown("demo.store"));

    // A visit that is here with other content is refused, and nothing is taken in.
    let mut changed: Value = serde_json::from_str(&fs::read_to_string(file).unwrap()).unwrap();
    changed["visits"][0]["reason"] = "another".into();
    changed["visits"][1]["id"] = "a-new-one".into();
    let path = copy.path("changed.json");
    fs::write(&path, changed.to_string()).unwrap();
    let said = refusal(&copy.on("new.store", &["import", path.to_str().unwrap()]));
    assert!(said.contains("demo-left"), "{said}");
    refusal(&copy.on("new.store", &["show", "a-new-one"]));
}

#[test]
fn a_backup_restores_whole_under_a_new_identity() {
    let copy = DemoCopy::new();
    let backup = copy.path("backup.tar");
    let backup = backup.to_str().unwrap();
    done(&copy.run(&["backup", backup]));
    assert!(done(&copy.on("restored.store", &["restore", backup])).contains("in order"));
    assert!(done(&copy.on("restored.store", &["check"])).contains("in order"));
    let said = refusal(&copy.on("restored.store", &["restore", backup]));
    assert!(said.contains("already"), "{said}");
    fs::write(copy.path("no.tar"), b"no backup").unwrap();
    let no = copy.path("no.tar");
    refusal(&copy.on("other.store", &["restore", no.to_str().unwrap()]));
    assert!(!copy.path("other.store").exists());
}

#[test]
fn a_store_that_can_not_be_opened_says_why() {
    let copy = DemoCopy::new();
    fs::write(copy.path("passphrase.txt"), "not the passphrase\n").unwrap();
    let said = refusal(&copy.run(&["find", "x"]));
    assert!(said.contains("passphrase"), "{said}");
    let said = refusal(&copy.on("none.store", &["check"]));
    assert!(said.contains("no store"), "{said}");
    let store = copy.path("demo.store");
    let said = refusal(&plinthside([
        "check".as_ref(),
        "--store".as_ref(),
        store.as_os_str(),
    ]));
    assert!(said.contains("--passphrase-file"), "{said}");
    fs::write(copy.path("passphrase.txt"), "short\n").unwrap();
    let file = copy.path("visits.json");
    refusal(&copy.on("weak.store", &["import", file.to_str().unwrap()]));
    assert!(!copy.path("weak.store").exists());
}

#[test]
fn a_flipped_bit_is_named_and_the_rest_still_reads() {
    let copy = DemoCopy::new();
    let store = copy.path("demo.store");
    let mut bytes = fs::read(&store).unwrap();
    let at = bytes.len() / 2;
    bytes[at] ^= 1;
    fs::write(&store, bytes).unwrap();
    let output = copy.run(&["check"]);
    let said = refusal(&output);
    assert!(said.contains("findings"), "{said}");
    assert!(!output.stdout.is_empty(), "what was found is printed");
    done(&copy.run(&["show", "demo-left"]));
}

#[test]
fn a_visit_is_erased_only_when_that_is_said() {
    let copy = DemoCopy::new();
    let said = refusal(&copy.run(&["erase", "demo-left"]));
    assert!(
        said.contains("SL-2031") && said.contains("Local law"),
        "{said}"
    );
    assert!(said.contains("--yes-erase"), "{said}");
    done(&copy.run(&["show", "demo-left"]));
    // By the code on the bag; its shortened option is no consent.
    let code = "7R3K-M2XD-9TQ4-7";
    assert_eq!(copy.run(&["erase", code, "--yes"]).status.code(), Some(2));
    let said = done(&copy.run(&["erase", code, "--yes-erase"]));
    assert!(said.contains("photographs that went with it: 8"), "{said}");
    let said = refusal(&copy.run(&["show", "demo-left"]));
    assert!(said.contains("was erased"), "{said}");
    assert!(done(&copy.run(&["check"])).contains("in order"));
    let store = fs::read(copy.path("demo.store")).unwrap();
    assert!(!store.windows(7).any(|bytes| bytes == b"Ashdown"));
    refusal(&copy.run(&["erase", "clinic", "--yes-erase"]));
    refusal(&copy.run(&["erase", "nobody", "--yes-erase"]));
    done(&copy.run(&["show", "demo-right"]));
}

#[test]
fn the_passphrase_is_changed_and_the_old_one_opens_nothing() {
    let copy = DemoCopy::new();
    let new = copy.path("new.txt");
    fs::write(&new, "short\n").unwrap();
    let change = ["passphrase", "--new-passphrase-file", new.to_str().unwrap()];
    refusal(&copy.run(&change));
    done(&copy.run(&["show", "demo-left"]));
    fs::write(&new, "quite another passphrase\n").unwrap();
    let said = done(&copy.run(&change));
    assert!(said.contains("Backups"), "{said}");
    let said = refusal(&copy.run(&["show", "demo-left"]));
    assert!(said.contains("passphrase"), "{said}");
    fs::copy(&new, copy.path("passphrase.txt")).unwrap();
    done(&copy.run(&["show", "demo-left"]));
    // Without the new one and with nobody to ask, nothing is changed.
    let said = refusal(&copy.run(&["passphrase"]));
    assert!(said.contains("--new-passphrase-file"), "{said}");
}

#[test]
fn what_is_readable_of_a_damaged_store_is_copied_into_a_new_one() {
    let copy = DemoCopy::new();
    let store = copy.path("demo.store");
    let mut bytes = fs::read(&store).unwrap();
    let at = bytes.len() / 2;
    bytes[at] ^= 1;
    fs::write(&store, bytes).unwrap();
    let new = copy.path("saved.store");
    let passphrase = copy.path("passphrase.txt");
    let passphrase = passphrase.to_str().unwrap();
    let salvage = [
        "salvage",
        store.to_str().unwrap(),
        new.to_str().unwrap(),
        "--passphrase-file",
        passphrase,
    ];
    let said = done(&plinthside(salvage));
    assert!(said.contains("Not readable, photographs: "), "{said}");
    done(&copy.on("saved.store", &["show", "demo-left"]));
    // What is there already is left as it is.
    refusal(&plinthside(salvage));
}

#[test]
fn the_practice_is_told_in_figures() {
    let copy = DemoCopy::new();
    let said = done(&copy.run(&["figures"]));
    assert!(said.contains("nothing to count yet"), "{said}");
    // Two braces fitted, one of them made again for the shape of its cast.
    let mut file: Value =
        serde_json::from_str(&fs::read_to_string(copy.path("visits.json")).unwrap()).unwrap();
    let at = |day: u32| format!("2026-06-{day:02}T10:00:00+01:00");
    for visit in file["visits"].as_array_mut().unwrap() {
        let remade = visit["id"] == "demo-left";
        visit["orders"][0]["history"] = serde_json::json!([
            { "to": "handed_over", "at": at(1), "by": "Ada", "revision": 1 },
            { "to": "fitted", "at": at(22), "by": "Ada", "revision": 1 },
        ]);
        let causes = if remade { vec!["cast_shape"] } else { vec![] };
        let remakes = causes
            .iter()
            .map(|cause| serde_json::json!({ "at": at(24), "causes": [cause], "reason": "heel" }));
        visit["follow_up"] = serde_json::json!([{
            "order": visit["orders"][0]["id"],
            "remakes": remakes.collect::<Vec<_>>(),
        }]);
    }
    let changed = copy.path("fitted.json");
    fs::write(&changed, file.to_string()).unwrap();
    done(&copy.on("fitted.store", &["import", changed.to_str().unwrap()]));
    let said = done(&copy.on("fitted.store", &["figures"]));
    for line in [
        "fitted or made again: 2; made again: 1 of 2, 50 %",
        "shape of the cast: 1 of 2",
        "all labs: 21 days in the middle",
    ] {
        assert!(said.contains(line), "{line}: {said}");
    }
    let json: Value =
        serde_json::from_str(&done(&copy.on("fitted.store", &["figures", "--json"]))).unwrap();
    assert_eq!(json["by_cause"]["cast_shape"]["count"], 1);
    let later = ["figures", "--from", "2100-01-01"];
    assert!(done(&copy.on("fitted.store", &later)).contains("nothing to count yet"));
}
