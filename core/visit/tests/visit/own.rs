//! What a clinic sets itself: limits, rules switched off, its own rule file.

use plinthside_visit::Clinic;
use plinthside_visit::knowledge::Knowledge;
use plinthside_visit::rules::{Level, RuleSet};
use plinthside_visit::verdict::{Call, Check, OwnLimit, Range, Tolerances};
use plinthside_visit::words::Lang;

#[allow(clippy::unnecessary_wraps)] // as the table holds it
fn range(high: f64) -> Option<Range> {
    Some(Range {
        low: None,
        high: Some(high),
    })
}

fn rock(clinic: &Clinic) -> plinthside_visit::verdict::Limit {
    let (all, _) = Knowledge::for_clinic(clinic).unwrap();
    let rows = all.tolerances.limit;
    rows.into_iter().find(|l| l.check == Check::RockMm).unwrap()
}

#[test]
fn an_own_limit_judges_in_place_of_the_shipped_one_and_says_whose_it_is() {
    let mut clinic = Clinic::default();
    assert_eq!(rock(&clinic).call(4.0), Call::Correct);
    let own = OwnLimit {
        keep: range(1.0),
        correct: range(3.0),
        ..OwnLimit::default()
    };
    clinic.limits.insert(Check::RockMm.name(), own);
    assert_eq!(rock(&clinic).call(4.0), Call::Recast);
    assert_eq!(
        rock(&clinic).source.line(Lang::En),
        "the clinic's own value"
    );
    let kept: Clinic = serde_json::from_str(&serde_json::to_string(&clinic).unwrap()).unwrap();
    assert_eq!(kept, clinic);
}

#[test]
fn an_own_limit_that_is_none_leaves_the_shipped_one_in_force() {
    let mut clinic = Clinic::default();
    let shipped = Tolerances::shipped().unwrap();
    for (keep, correct) in [(range(6.0), range(3.0)), (range(f64::NAN), None)] {
        let own = OwnLimit {
            keep,
            correct,
            ..OwnLimit::default()
        };
        assert!(own.in_place_of(&shipped.limit[2]).is_err());
        clinic.limits.insert(Check::RockMm.name(), own);
        assert_eq!(rock(&clinic).call(4.0), Call::Correct);
    }
    clinic
        .limits
        .insert("of_a_newer_version".into(), OwnLimit::default());
    assert!(Knowledge::for_clinic(&clinic).is_ok());
}

#[test]
fn rules_can_be_switched_off_but_not_identity_or_completeness() {
    let shipped = RuleSet::shipped().unwrap();
    let clinic = Clinic {
        rules_off: shipped.rules.iter().map(|r| r.id.clone()).collect(),
        ..Clinic::default()
    };
    let (all, _) = Knowledge::for_clinic(&clinic).unwrap();
    assert!(!all.rules.rules.is_empty());
    assert!(all.rules.rule("sides-differ").is_some());
    assert!(all.rules.rule("plaster-can-burn").is_none());
    let left = |r: &plinthside_visit::rules::Rule| r.number == 0 || r.level == Level::AbsoluteBlock;
    assert!(all.rules.rules.iter().all(left));
}

#[test]
fn a_rule_file_with_an_error_names_line_and_rule_and_the_shipped_rules_stay() {
    let text = "schema = 1\n\n[[rule]]\nid = \"own\"\nnumber = 90\nlevel = \"caution\"\nwhen = \"nonsense > 3\"\nsay = { en = \"a\", de = \"b\" }\nsource = { certainty = \"common_practice\" }\nexamples = []\n";
    let clinic = Clinic {
        rule_file: text.into(),
        ..Clinic::default()
    };
    let (all, refused) = Knowledge::for_clinic(&clinic).unwrap();
    assert_eq!(all.rules, RuleSet::shipped().unwrap());
    assert_eq!(
        (refused[0].line, refused[0].entry.as_deref()),
        (7, Some("own"))
    );
}
