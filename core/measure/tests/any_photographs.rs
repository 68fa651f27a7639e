//! Whatever stands in the mat file, the tags and the taps: a finite result or a refusal in words,
//! never a panic. `PROPTEST_CASES` runs it longer.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use plinthside_measure::mat::Mat;
use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::predict::{ghost_line, place};
use plinthside_measure::solve::{SolveOptions, solve};
use proptest::prelude::*;
use proptest::sample::Index;
use serde_json::{Value, json};
use std::sync::OnceLock;
use support::{World, four_corners};

/// A good mat file, photographs and taps, as JSON.
fn good() -> &'static (Value, Value, Value) {
    static GOOD: OnceLock<(Value, Value, Value)> = OnceLock::new();
    GOOD.get_or_init(|| {
        let world = World::new(four_corners());
        let (photos, taps) = world.noisy(1);
        let mat = serde_json::from_str(&world.mat.to_json()).expect("ours");
        (mat, json!(photos), json!(taps))
    })
}

/// Every place in a tree that holds a number, a text, nothing or a list.
fn places(value: &Value, at: String, found: &mut Vec<String>) {
    match value {
        Value::Object(map) => map
            .iter()
            .for_each(|(key, v)| places(v, format!("{at}/{key}"), found)),
        Value::Array(list) => {
            found.push(at.clone());
            list.iter()
                .enumerate()
                .for_each(|(i, v)| places(v, format!("{at}/{i}"), found));
        }
        _ => found.push(at),
    }
}

/// What is done to one place.
#[derive(Debug, Clone)]
enum Change {
    Number(f64),
    /// Times this much, plus this much.
    Moved(f64, f64),
    Whole(i64),
    Nothing,
    Text,
    /// Of a list: an element left out, given again, two exchanged, all left out.
    LeftOut(Index),
    Again(Index),
    Exchanged(Index, Index),
    Emptied,
}

fn change() -> impl Strategy<Value = Change> {
    prop_oneof![
        2 => any::<f64>().prop_map(Change::Number),
        3 => prop::sample::select(vec![0.0, -1.0, 1.0, 1e-300, 1e6, 1e15, 1e300]).prop_map(Change::Number),
        6 => (prop::sample::select(vec![0.0, -1.0, 1.0, 0.5, 2.0]), -300.0..300.0_f64)
            .prop_map(|(by, plus)| Change::Moved(by, plus)),
        2 => (-3..600_i64).prop_map(Change::Whole),
        1 => any::<i64>().prop_map(Change::Whole),
        1 => Just(Change::Nothing),
        1 => Just(Change::Text),
        3 => any::<Index>().prop_map(Change::LeftOut),
        3 => any::<Index>().prop_map(Change::Again),
        3 => (any::<Index>(), any::<Index>()).prop_map(|(a, b)| Change::Exchanged(a, b)),
        1 => Just(Change::Emptied),
    ]
}

fn apply(value: &mut Value, change: &Change) {
    match (change, &mut *value) {
        (Change::LeftOut(i), Value::Array(list)) if !list.is_empty() => {
            list.remove(i.index(list.len()));
        }
        (Change::Again(i), Value::Array(list)) if !list.is_empty() => {
            list.push(list[i.index(list.len())].clone());
        }
        (Change::Exchanged(a, b), Value::Array(list)) if !list.is_empty() => {
            let n = list.len();
            list.swap(a.index(n), b.index(n));
        }
        (Change::Emptied, Value::Array(list)) => list.clear(),
        (Change::Number(v), place) if !place.is_array() => *place = json!(v),
        (Change::Moved(by, plus), place) if place.is_number() => {
            *place = json!(by * place.as_f64().unwrap_or(0.0) + plus);
        }
        (Change::Whole(v), place) if !place.is_array() => *place = json!(v),
        (Change::Nothing, place) => *place = Value::Null,
        (Change::Text, place) => *place = json!("photo-1.jpg"),
        _ => {}
    }
}

fn damaged(good: &Value, changes: &[(Index, Change)]) -> Value {
    let mut value = good.clone();
    for (at, change) in changes {
        let mut all = Vec::new();
        places(&value, String::new(), &mut all);
        if let Some(place) = all.get(at.index(all.len().max(1))) {
            let place = place.clone();
            if let Some(value) = value.pointer_mut(&place) {
                apply(value, change);
            }
        }
    }
    value
}

fn check(mat: &Value, photos: &Value, taps: &Value) -> Result<(), TestCaseError> {
    let mat = match Mat::from_json(&mat.to_string()) {
        Ok(mat) => mat,
        Err(refusal) => {
            prop_assert!(refusal.to_string().len() > 20);
            return Ok(());
        }
    };
    let photos: Result<Vec<PhotoTags>, _> = serde_json::from_value(photos.clone());
    let taps: Result<Vec<MarkView>, _> = serde_json::from_value(taps.clone());
    let (Ok(photos), Ok(taps)) = (photos, taps) else {
        return Ok(());
    };
    for unfinished in [false, true] {
        let options = SolveOptions {
            unfinished,
            ..SolveOptions::default()
        };
        match solve(&mat, &photos, &taps, &options) {
            Err(refusal) => {
                let text = refusal.to_string();
                prop_assert!(text.len() > 20 && !text.contains("NaN"), "{text}");
            }
            Ok(s) => {
                let numbers = s
                    .covariance_mm2
                    .iter()
                    .chain(s.points.iter().flat_map(|p| &p.mat_mm));
                prop_assert!(numbers.copied().all(f64::is_finite));
                prop_assert!(s.covariance_mm2.diagonal().iter().all(|v| *v >= 0.0));
                for camera in &s.cameras {
                    let placed = camera.mat_from_camera.iter().flatten();
                    prop_assert!(placed.copied().all(f64::is_finite) && camera.f_px > 0.0);
                }
                for tap in taps.iter().take(3) {
                    let line = ghost_line(&s, tap, &photos[0].photo, 0.0..=300.0);
                    prop_assert!(line.iter().flatten().flatten().all(|v| v.is_finite()));
                    let there = place(&s, &tap.mark, &photos[0].photo, 1.5);
                    let px = there.ok().flatten().map(|p| p.px);
                    prop_assert!(px.iter().flatten().all(|v| v.is_finite()));
                }
            }
        }
    }
    Ok(())
}

fn changes() -> impl Strategy<Value = Vec<(Index, Change)>> {
    prop::collection::vec((any::<Index>(), change()), 1..5)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_damaged_mat_file_is_measured_or_refused(changes in changes()) {
        let (mat, photos, taps) = good();
        check(&damaged(mat, &changes), photos, taps)?;
    }

    #[test]
    fn damaged_tags_are_measured_or_refused(changes in changes()) {
        let (mat, photos, taps) = good();
        check(mat, &damaged(photos, &changes), taps)?;
    }

    #[test]
    fn damaged_taps_are_measured_or_refused(changes in changes()) {
        let (mat, photos, taps) = good();
        check(mat, photos, &damaged(taps, &changes))?;
    }

    /// All three at once.
    #[test]
    fn damage_everywhere_is_measured_or_refused(a in changes(), b in changes(), c in changes()) {
        let (mat, photos, taps) = good();
        check(&damaged(mat, &a), &damaged(photos, &b), &damaged(taps, &c))?;
    }
}
