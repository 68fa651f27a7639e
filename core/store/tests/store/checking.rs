//! The check: each kind of damage, done with the key behind the store's back, is named.

use crate::common::{create, folder, open, order, visit};
use plinthside_store::{Finding, Opened, Report, Store, VISIT};
use serde_json::{Value, json};
use std::io::Cursor;
use std::path::Path;

const CODE: &str = "K7Q2M9TRB4HXC";

/// Two visits, one with a photograph, an order, a review, a remake and changes in several pieces.
fn store_at(path: &Path) -> (String, String) {
    let mut store = create(path);
    let mut photo = Cursor::new(b"pixels of a cast ".repeat(3000));
    let sha256 = store.add_photo(&mut photo).expect("photo").sha256;
    let mut v = visit("v1", "Quirinius Zwetschgenbaum");
    v["orders"] = order(true);
    v["casts"] =
        json!([{"id": "c1", "side": "left", "code": CODE, "measurement": {"photos": [sha256]}}]);
    v["follow_up"] = json!([{"order": "o1", "review_due": "2026-09-01", "remakes": [
        {"at": "2026-06-01T10:00:00+02:00", "causes": ["marking"], "reason": "mark rubbed off"}]}]);
    store.import("v1", VISIT, &v, "Ada").expect("import");
    let other = visit("v2", "Berta");
    store.import("v2", VISIT, &other, "Ada").expect("import");
    let mut opened: Opened<Value> = store.open_record("v1").expect("open");
    for i in 0..3 {
        // Shown in no list: only the document can tell that it is missing.
        opened.value["checked"]["count"] = i.into();
        store.save(&mut opened, "Ada", "").expect("save");
    }
    store.finish("v1").expect("finish");
    let key = store.raw_key().to_string();
    store.lock().expect("lock");
    (key, sha256)
}

fn tamper(path: &Path, key: &str, sql: &str) {
    let conn = rusqlite::Connection::open(path).expect("open");
    conn.execute_batch(&format!("PRAGMA key = \"x'{key}'\"; {sql}"))
        .expect(sql);
    assert!(conn.changes() > 0 || sql.contains("search"), "{sql}");
}

fn checked(store: &mut Store) -> Report {
    store.check().expect("check")
}

#[test]
fn damage_to_records_and_photographs_is_named() {
    let folder = folder();
    let base = folder.path().join("base");
    let (key, sha256) = store_at(&base);
    let record = |f: &Finding| matches!(f, Finding::Record { id, .. } if id == "v1");
    let missing = |f: &Finding| matches!(f, Finding::PhotoMissing { sha256: s, visit } if *s == sha256 && visit == "v1");
    let altered = |f: &Finding| matches!(f, Finding::PhotoAltered { sha256: s, visits } if *s == sha256 && *visits == ["v1"]);
    type Named<'a> = &'a dyn Fn(&Finding) -> bool;
    let all: [(&str, &str, Named<'_>); 8] = [
        (
            "bytes of a change",
            "UPDATE chunk SET bytes = CAST(bytes || x'00' AS BLOB) WHERE n = 1 AND k & 1",
            &record,
        ),
        (
            "hash of a change",
            "UPDATE chunk SET sha256 = zeroblob(32) WHERE n = 1",
            &record,
        ),
        (
            "a change in the middle",
            "DELETE FROM chunk WHERE k = (1 << 20) + 1",
            &record,
        ),
        (
            "the newest change",
            "DELETE FROM chunk WHERE k = (SELECT max(k) FROM chunk WHERE n = 1)",
            &record,
        ),
        (
            "the state it was finished in",
            "UPDATE record SET heads = zeroblob(32) WHERE n = 1",
            &record,
        ),
        (
            "bytes of a photograph",
            "UPDATE photo SET bytes = CAST(x'00' || substr(bytes, 2) AS BLOB)",
            &altered,
        ),
        (
            "end of a photograph",
            "UPDATE photo SET bytes = substr(bytes, 1, 5000)",
            &altered,
        ),
        ("a photograph", "DELETE FROM photo", &missing),
    ];
    for (what, sql, named) in all {
        let path = folder.path().join("one");
        copy(&base, &path);
        tamper(&path, &key, sql);
        let mut store = open(&path);
        let report = checked(&mut store);
        assert!(report.findings.iter().any(named), "{what}: {report}");
        store.read("v2").expect("the other visit");
        // Making the lists again does not hide it.
        store.rebuild().expect("rebuild");
        let report = checked(&mut store);
        assert!(
            report.findings.iter().any(named),
            "{what} after rebuilding: {report}"
        );
    }
}

#[test]
fn lists_that_differ_from_the_records_are_named_and_rebuilt() {
    let folder = folder();
    let base = folder.path().join("base");
    let (key, _) = store_at(&base);
    let all = [
        "UPDATE case_list SET patient = 'Somebody Else' WHERE n = 1",
        "UPDATE case_list SET state = 'draft' WHERE n = 1",
        "UPDATE case_list SET due = NULL WHERE n = 1",
        "UPDATE case_list SET words = 'berta' WHERE n = 1",
        "UPDATE case_list SET conflicts = 3 WHERE n = 1",
        "DELETE FROM case_list WHERE n = 1",
        "DELETE FROM label WHERE n = 1",
        "DELETE FROM code_part WHERE n = 1",
        "DELETE FROM photo_use WHERE n = 1",
        "DELETE FROM word WHERE word = 'zwetschgenbaum'",
        "DELETE FROM search WHERE rowid = 1",
        "DELETE FROM search WHERE rowid = 1; INSERT INTO search(rowid, words) VALUES(1, 'berta')",
    ];
    for sql in all {
        let path = folder.path().join("one");
        copy(&base, &path);
        tamper(&path, &key, sql);
        let mut store = open(&path);
        let report = checked(&mut store);
        let named = |f: &Finding| matches!(f, Finding::List { id } if id == "v1");
        assert!(report.findings.iter().any(named), "{sql}: {report}");
        assert_eq!(store.rebuild().expect("rebuild"), Vec::<String>::new());
        let report = checked(&mut store);
        assert!(report.is_clean(), "{sql}: {report}");
        for text in ["zwetschgenbaum", "zwetschgenbamu", CODE, "signed"] {
            let found = store.find(text, 5).expect("find");
            assert_eq!(found.len(), 1, "{sql}: {text}");
            assert_eq!(found[0].case.id, "v1");
        }
    }
}

#[test]
fn one_label_on_two_casts_and_remains_of_an_erased_visit_are_named() {
    let folder = folder();
    let path = folder.path().join("base");
    let (key, _) = store_at(&path);
    let mut store = open(&path);
    let mut v = visit("v3", "Carla");
    v["casts"] = json!([{"id": "c1", "side": "right", "code": "k7q2-m9tr-b4hx-c"}]);
    store.import("v3", VISIT, &v, "Ada").expect("import");
    let report = checked(&mut store);
    let holders = vec![
        ("v1".to_owned(), "left".to_owned()),
        ("v3".into(), "right".into()),
    ];
    let code = CODE.to_owned();
    assert_eq!(report.findings, [Finding::LabelTwice { code, holders }]);
    store.erase("v3", "Ada").expect("erase");
    assert!(checked(&mut store).is_clean());
    drop(store);
    tamper(
        &path,
        &key,
        "UPDATE chunk SET n = 3, k = 3 << 20 WHERE n = 2",
    );
    let report = checked(&mut open(&path));
    let remains = |f: &Finding| matches!(f, Finding::Record { id, .. } if id == "v3");
    assert!(report.findings.iter().any(remains), "{report}");
}

fn copy(from: &Path, to: &Path) {
    std::fs::copy(from, to).expect("store");
    let key = plinthside_store::key_path;
    std::fs::copy(key(from), key(to)).expect("key");
    for old in ["-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{old}", to.display()));
    }
}
