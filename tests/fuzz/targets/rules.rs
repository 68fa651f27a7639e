//! A clinic's own rule file, asked of a visit.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_measure::marks::Side;
use plinthside_visit::Visit;
use plinthside_visit::rules::{Case, RuleSet, check};
use std::sync::LazyLock;

static VISITS: LazyLock<Vec<Visit>> =
    LazyLock::new(|| serde_json::from_str(plinthside_demo_data::VISITS_JSON).expect("the demo"));

fuzz_target!(|text: &str| {
    if let Ok(rules) = RuleSet::parse("own.toml", text) {
        let day = chrono::NaiveDate::from_ymd_opt(2026, 11, 26).expect("a day");
        let _ = check(&rules, &Case::of_visit(&VISITS[0], Side::Left, day));
    }
});
