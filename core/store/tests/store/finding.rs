//! Search and the case list.

use crate::common::{create, folder, order, visit};
use plinthside_store::{Filter, Match, Store, VISIT};
use serde_json::json;

#[test]
fn finds_by_patient_code_label_lab_state_and_note_with_typing_errors() {
    let folder = folder();
    let path = folder.path().join("store");
    let mut store = create(&path);
    let codes = [
        "K7Q2-M9TR-B4HX-C",
        "ABCD-EFGH-JKMN-P",
        "0123-4567-89AB-D",
        "ZZZZ-YYYY-XXXX-W",
    ];
    for (i, name) in [
        "Anna Müller",
        "Bernd Straßer",
        "Chloé Lefèvre",
        "Dmitri Sokolow",
    ]
    .iter()
    .enumerate()
    {
        let mut v = visit(&format!("v{i}"), name);
        v["orders"] = order(i % 2 == 0);
        v["orders"][0]["revisions"][0]["prescription"]["identity"]["lab"] =
            ["Gipswerk", "Nordlab"][i / 2].into();
        v["casts"] = json!([{"id": "c", "side": "left", "code": codes[i]}]);
        v["follow_up"] = json!([{"order": "o1", "review_due": format!("2026-0{}-01", 9 - i)}]);
        store
            .import(&format!("v{i}"), VISIT, &v, "Ada")
            .expect("import");
    }
    let mut find = |text: &str| -> Vec<(String, Match)> {
        store
            .find(text, 10)
            .expect("find")
            .into_iter()
            .map(|f| (f.case.id, f.because))
            .collect()
    };
    let words = |ids: &[&str]| {
        ids.iter()
            .map(|id| ((*id).to_owned(), Match::Words))
            .collect::<Vec<_>>()
    };
    assert_eq!(find("mull"), words(&["v0"]), "without accents");
    assert_eq!(find("MÜLLER anna"), words(&["v0"]));
    assert_eq!(find("strasser"), words(&["v1"]));
    assert_eq!(find("lefevre"), words(&["v2"]));
    assert_eq!(
        find("navicular"),
        words(&["v3", "v2", "v1", "v0"]),
        "notes, newest first"
    );
    assert_eq!(find("nordlab"), words(&["v3", "v2"]));
    assert_eq!(find("signed"), words(&["v2", "v0"]));
    assert_eq!(find("1951"), words(&["v3", "v2", "v1", "v0"]));
    assert_eq!(find("P-v2").first(), Some(&("v2".into(), Match::Words)));
    for typo in ["Muelle", "Mülelr", "Mlüler", "Müllr", "Moller"] {
        assert_eq!(find(typo), [("v0".into(), Match::Similar)], "{typo}");
    }
    assert_eq!(find("sokolov"), [("v3".into(), Match::Similar)]);
    assert_eq!(find("naviculra")[0].1, Match::Similar);
    assert_eq!(find("K7Q2-M9TR-B4HX-C"), [("v0".into(), Match::Code)]);
    assert_eq!(find("m9tr"), [("v0".into(), Match::Code)], "from any group");
    assert_eq!(find("ol23"), [("v2".into(), Match::Code)], "look-alikes");
    assert_eq!(
        find("K7Q2-M9TR-B4HX-D"),
        [("v0".into(), Match::SimilarCode)]
    );
    assert_eq!(find("zebra"), []);
    assert_eq!(find("\"*) OR NEAR("), []);
    assert_eq!(find(""), []);

    let names = |store: &mut Store, filter: &Filter, offset, limit| -> Vec<String> {
        store
            .cases(filter, offset, limit)
            .expect("page")
            .into_iter()
            .map(|c| c.id)
            .collect()
    };
    assert_eq!(names(&mut store, &Filter::All, 1, 2), ["v2", "v1"]);
    assert_eq!(
        names(&mut store, &Filter::State("draft".into()), 0, 9),
        ["v3", "v1"]
    );
    assert_eq!(
        names(&mut store, &Filter::DueBy("2026-07-31".into()), 0, 9),
        ["v3", "v2"]
    );
    assert_eq!(
        store.count(&Filter::State("signed".into())).expect("count"),
        2
    );
    assert_eq!(
        store.label("k7q2m9trb4hxc").expect("label"),
        Some(("v0".into(), "left".into()))
    );
    // The lists can be made again, and a list that is wrong is noticed.
    let before = store.cases(&Filter::All, 0, 9).expect("page");
    assert_eq!(store.rebuild().expect("rebuild"), Vec::<String>::new());
    let mut after = store.cases(&Filter::All, 0, 9).expect("page");
    after.sort_by(|a, b| b.id.cmp(&a.id));
    assert_eq!(before, after);
    assert_eq!(store.find("moller", 9).expect("find").len(), 1);
    assert!(store.check().expect("check").is_clean());
}

/// What is searched, each by a beginning, by a beginning with a typing error, and by the whole.
#[test]
fn every_searched_field_is_found_by_its_beginning_with_a_typing_error() {
    let folder = folder();
    let mut store = create(&folder.path().join("store"));
    let mut v = visit("v1", "Quirinius Zwetschgenbaum");
    v["person"]["code"] = "P-48213".into();
    v["reason"] = "stumbles over carpets".into();
    v["orders"] = order(true);
    v["orders"][0]["history"][0]["to"] = "handed_over".into();
    v["casts"] = json!([{"id": "c", "side": "left", "code": "K7Q2-M9TR-B4HX-C"}]);
    store.import("v1", VISIT, &v, "Ada").expect("import");
    for i in 0..50 {
        let id = format!("other{i}");
        let mut other = visit(&id, "Berta Musterfrau");
        other["person"]["code"] = format!("P-{}", 70_000 + i).into();
        other["reason"] = "tired".into();
        store.import(&id, VISIT, &other, "Ada").expect("import");
    }
    let all = [
        ("patient", "Zwetschgenbaum", "zwetsch", "zwteschg"),
        ("given name", "Quirinius", "quiri", "qiuri"),
        ("patient's code", "P-48213", "48213", "48231"),
        ("label", "K7Q2-M9TR-B4HX-C", "K7Q2-M9", "K7Q2-N9"),
        ("lab", "Gipswerk Musterstadt", "gipsw", "gispw"),
        ("state", "handed_over", "hande", "hadned"),
        ("words of a note", "relieve navicular", "navic", "navvic"),
        ("reason", "stumbles", "stumb", "stubml"),
    ];
    for (field, whole, beginning, mistyped) in all {
        for text in [whole, beginning, mistyped] {
            let found = store.find(text, 10).expect("find");
            let ids: Vec<&str> = found.iter().map(|f| f.case.id.as_str()).collect();
            assert_eq!(ids, ["v1"], "{field}: {text}");
            let exact = matches!(found[0].because, Match::Words | Match::Code);
            assert_eq!(exact, text != mistyped, "{field}: {text}");
        }
    }
}

#[test]
fn a_date_written_oddly_is_found_and_passes_the_check() {
    let folder = folder();
    let mut store = create(&folder.path().join("store"));
    let mut odd = visit("v1", "Anna");
    odd["person"]["born"] = "4/5?1951".into();
    store.import("v1", VISIT, &odd, "Ada").expect("import");
    assert_eq!(store.find("451951", 9).expect("find").len(), 1);
    let report = store.check().expect("check");
    assert!(report.is_clean(), "{report}");
}

#[test]
fn a_visit_is_listed_by_the_state_of_any_of_its_orders_and_one_entry_made_twice_is_one() {
    let folder = folder();
    let mut store = create(&folder.path().join("store"));
    let mut v = visit("v", "Anna");
    let entry =
        |to: &str| json!({"to": to, "at": "2026-03-05T10:00:00+01:00", "by": "Ada", "revision": 1});
    // Received was taken in on two devices, and the order went on before they met.
    v["orders"] = json!([
        {"id": "o1", "side": "left", "history": [entry("handed_over"), entry("received"), entry("fitted"), entry("received")], "revisions": []},
        {"id": "o2", "side": "left", "history": [entry("lab_hold")], "revisions": []},
        {"id": "o3", "side": "left", "history": [], "revisions": []},
    ]);
    store.import("v", VISIT, &v, "Ada").expect("import");
    let mut listed = |state: &str| {
        let filter = Filter::Holding(state.to_owned());
        store.cases(&filter, 0, 10).expect("listed").len()
    };
    assert_eq!(
        (listed("lab_hold"), listed("fitted"), listed("draft")),
        (1, 1, 1)
    );
    assert_eq!(
        (listed("received"), listed("hold"), listed("lab")),
        (0, 0, 0)
    );
}
