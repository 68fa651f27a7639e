//! What a newer version wrote survives; what was typed survives; files in force.

use crate::common::{self, complete, measured};
use plinthside_measure::marks::Side;
use plinthside_visit::cast_record::Measurement;
use plinthside_visit::knowledge::{ClinicFile, Knowledge};
use plinthside_visit::rules::Level;
use plinthside_visit::{Entry, Lang, Reading, Visit};
use serde_json::{Value, json};

/// Puts an unknown field into every object of a JSON document.
fn newer(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            fields.values_mut().for_each(newer);
            fields.insert("from_a_newer_version".into(), json!({"kept": [1, 2]}));
        }
        Value::Array(items) => items.iter_mut().for_each(newer),
        _ => {}
    }
}

fn whole_visit() -> Value {
    let mut visit = complete(Side::Left);
    visit.person.body_mass_kg = Some(plinthside_visit::norms::typed("80 kilos", "kg", None));
    visit.readings.push(Reading {
        kind: "a_kind_of_tomorrow".into(),
        repeats: vec![1.5.into()],
        choices: vec!["new word".into()],
        ..Reading::default()
    });
    let mut leg = plinthside_visit::LegDimensions::new(Side::Left);
    leg.values.insert(
        plinthside_visit::Dimension::HeelBreadthMm,
        vec![61.0.into(), 62.0.into()],
    );
    visit.legs.push(leg);
    visit.casts[0].measurement =
        Some(Measurement::with_results(&measured(Side::Left, 0.0)).unwrap());
    let mut json = serde_json::to_value(&visit).unwrap();
    let revision = &mut json["orders"][0]["revisions"][0];
    revision["prescription"]["motion"]["dorsiflexion"]["kind"] = json!("a_word_of_tomorrow");
    revision["because"] = json!({"shell.plastic": {"from": "oracle", "because": "x"}});
    json["follow_up"] = json!([{"order": "o-1", "receipts": [{"answer": "maybe", "at": "2026-03-02T10:15:00+01:00", "revision": 1}]}]);
    json
}

#[test]
fn unknown_fields_and_words_survive() {
    let mut json = whole_visit();
    // Maps from free keys (dimensions, consents by list …) hold objects of their own; they too.
    let measurement = json["casts"][0]["measurement"]["results"].take();
    newer(&mut json);
    // `because` and `overrides` are maps by key: an unknown key there is data.
    let revision = &mut json["orders"][0]["revisions"][0];
    for path in ["because", "overrides"] {
        revision[path]
            .as_object_mut()
            .unwrap()
            .remove("from_a_newer_version");
    }
    json["casts"][0]["measurement"]["results"] = measurement;
    json["casts"][0]["measurement"]["results"]["from_a_newer_version"] = json!(true);
    let visit: Visit = serde_json::from_value(json.clone()).unwrap();
    let back = serde_json::to_value(&visit).unwrap();
    fn missing(a: &Value, b: &Value, path: &str) {
        match (a, b) {
            (Value::Object(x), Value::Object(y)) => {
                for (key, value) in x {
                    let path = format!("{path}.{key}");
                    missing(
                        value,
                        y.get(key).unwrap_or_else(|| panic!("{path} was lost")),
                        &path,
                    );
                }
            }
            (Value::Array(x), Value::Array(y)) => {
                assert_eq!(x.len(), y.len(), "{path}");
                x.iter()
                    .zip(y)
                    .enumerate()
                    .for_each(|(i, (a, b))| missing(a, b, &format!("{path}[{i}]")));
            }
            _ => assert!(a == b || a.as_f64() == b.as_f64(), "{path}: {a} became {b}"),
        }
    }
    missing(&json, &back, "visit");
    assert_eq!(serde_json::from_value::<Visit>(back).unwrap(), visit);
}

#[test]
fn entries_are_numbers_or_keep_what_was_typed() {
    let plain: Entry = serde_json::from_str("12.5").unwrap();
    assert_eq!(plain.usable(), Some(12.5));
    assert_eq!(serde_json::to_string(&plain).unwrap(), "12.5");
    let typed = plinthside_visit::norms::typed("12,5 cm", "mm", None);
    let json = serde_json::to_string(&typed).unwrap();
    assert!(json.contains("12,5 cm"));
    assert_eq!(serde_json::from_str::<Entry>(&json).unwrap(), typed);
    let odd = plinthside_visit::norms::typed("twelve", "mm", None);
    let json = serde_json::to_string(&odd).unwrap();
    assert_eq!(serde_json::from_str::<Entry>(&json).unwrap(), odd);
    assert_eq!(Entry::number(f64::NAN).usable(), None);
    assert!(
        serde_json::to_string(&Entry::number(f64::INFINITY))
            .unwrap()
            .contains("not_a_number")
    );
}

#[test]
fn an_empty_visit_of_tomorrow_is_read() {
    let visit: Visit = serde_json::from_value(json!({"id": "x", "at": null})).unwrap();
    assert_eq!(visit.id, "x");
}

#[test]
fn a_broken_clinic_file_leaves_the_shipped_in_force() {
    let shipped = Knowledge::shipped().unwrap();
    let file = |name: &str, text: &str| ClinicFile {
        name: name.into(),
        text: text.into(),
    };
    let broken = [
        file("rules.toml", "schema = 1\n[[rule]]\nid = \"x\"\n"),
        file("tolerances.toml", "nonsense"),
        file("checklists.toml", "schema = 2\nlist = []"),
        file(
            "timers.toml",
            include_str!("../../data/timers.toml")
                .replace("mould_s = 90", "mould_s = 900")
                .as_str(),
        ),
        file(
            "leaflet.toml",
            include_str!("../../data/leaflet.toml")
                .replacen("[1, 2", "[1, 25", 1)
                .as_str(),
        ),
        file("other.toml", ""),
    ];
    let (all, refused) = Knowledge::with_clinic_files(&broken).unwrap();
    assert_eq!(all, shipped);
    assert_eq!(refused.len(), broken.len());
    assert!(refused.iter().all(|e| e.line >= 1 && !e.problem.is_empty()));
    let timer = &refused[3];
    assert_eq!(timer.entry.as_deref(), Some("extra_fast"));
}

#[test]
fn a_clinic_adds_and_replaces_rules_but_not_identity() {
    let own = r#"
schema = 1
[[rule]]
id = "own-rule"
number = 101
level = "note"
when = "pain_0_10 >= 7"
say = { en = "Much pain: look before casting.", de = "Starker Schmerz: vor dem Abformen nachsehen." }
source = { certainty = "common_practice" }
examples = [ { fires = true, given = { pain_0_10 = 7 } }, { fires = false, given = { pain_0_10 = 6 } } ]
"#;
    let take = |text: &str| {
        let file = ClinicFile {
            name: "rules.toml".into(),
            text: text.into(),
        };
        Knowledge::with_clinic_files(&[file]).unwrap()
    };
    let (all, refused) = take(own);
    assert!(refused.is_empty(), "{refused:?}");
    let shipped = Knowledge::shipped().unwrap();
    assert_eq!(all.rules.rules.len(), shipped.rules.rules.len() + 1);
    let (_, refused) = take(&own.replace("\"note\"", "\"absolute_block\""));
    assert!(refused[0].problem.contains("stops for good"));
    let softer = include_str!("../../data/rules.toml")
        .replace("level = \"absolute_block\"", "level = \"note\"");
    let (all, refused) = take(&softer);
    assert!(refused.is_empty(), "{refused:?}");
    assert_eq!(
        all.rules.rule("sides-differ").unwrap().level,
        Level::AbsoluteBlock
    );
    let milder = include_str!("../../data/rules.toml").replacen(
        "level = \"caution\"",
        "level = \"note\"",
        1,
    );
    assert_eq!(
        take(&milder)
            .0
            .rules
            .rule("dorsiflexion-below-neutral")
            .unwrap()
            .level,
        Level::Note
    );
}

#[test]
fn lists_and_timers_serve_the_hands() {
    use plinthside_visit::aids::{Stage, StageKind};
    let all = Knowledge::shipped().unwrap();
    for list in ["position", "marks"] {
        assert!(!all.checklists.list(list).unwrap().items.is_empty());
    }
    let plaster = all.timers.plaster("fast").unwrap();
    assert!(plaster.source.line(Lang::En).contains("unverified"));
    let stages = all.timers.on_the_leg(plaster, common::when());
    let at = |s: i64| {
        let now = common::when() + chrono::TimeDelta::seconds(s);
        Stage::at(&stages, now).map(|(stage, left)| (stage.kind.clone(), left))
    };
    assert_eq!(at(-1), None);
    assert_eq!(at(0), Some((StageKind::Mould, Some(180))));
    assert_eq!(at(180), Some((StageKind::Hold, Some(120))));
    assert_eq!(at(479), Some((StageKind::Harden, Some(1))));
    assert_eq!(at(480), Some((StageKind::Remove, None)));
    let off = all.timers.off_the_leg(common::when());
    assert_eq!(off[1].from - off[0].from, chrono::TimeDelta::minutes(5));
    assert_eq!(
        all.timers.uncovered_until(common::when()) - common::when(),
        chrono::TimeDelta::minutes(20)
    );
}

#[test]
fn copies_are_marked_until_confirmed_and_alarms_are_asked_anew() {
    let mut earlier = complete(Side::Left);
    earlier
        .readings
        .push(common::number("resting_heel_deg", Side::Left, -6.0));
    earlier
        .readings
        .push(common::choice("calf_hot_swollen_painful", Side::Left, "no"));
    let mut now = complete(Side::Left);
    now.id = "v-2".into();
    now.copy_from(&earlier);
    assert_eq!(now.readings.len(), 1);
    assert!(now.readings[0].is_unconfirmed_copy());
    now.copy_from(&earlier);
    assert_eq!(now.readings.len(), 1);
}
