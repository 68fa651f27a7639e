//! The demo's two casts: its marks files are read, and its truth, worked out by the renderer's own
//! formulas, comes out of ours.

use crate::support::{cast, value};
use plinthside_measure::cast::{ResultName as R, Settings, results};
use plinthside_measure::leg::Leg;
use plinthside_measure::marks::{Marks, Side};
use serde_json::Value;

const FILES: [(Side, &str, &str); 3] = [
    (
        Side::Left,
        include_str!("../../../../demo-data/left/marks.json"),
        include_str!("../../../../demo-data/left/truth.json"),
    ),
    (
        Side::Right,
        include_str!("../../../../demo-data/right/marks.json"),
        include_str!("../../../../demo-data/right/truth.json"),
    ),
    (
        Side::Right,
        include_str!("../../../../demo-data/right/marks-corrected.json"),
        include_str!("../../../../demo-data/right/truth.json"),
    ),
];

#[test]
fn the_demo_marks_files_are_read() {
    for (side, marks, _) in FILES {
        let marks = Marks::from_json(marks).unwrap();
        assert_eq!(marks.side, side);
        assert!(marks.wall.is_some() && marks.views.len() > 20);
    }
}

#[test]
fn the_demo_truth_comes_out() {
    for (side, _, truth) in FILES {
        let truth: Value = serde_json::from_str(truth).unwrap();
        let points: Vec<(String, [f64; 3])> = truth["marks"]
            .as_array()
            .unwrap()
            .iter()
            .map(|m| {
                let name = m["mark"].as_str().unwrap().to_owned();
                (name, serde_json::from_value(m["mat_mm"].clone()).unwrap())
            })
            .collect();
        let found = results(&cast(&points), side, &Settings::default(), &Leg::default()).unwrap();
        for (key, name) in [
            ("heel_deg", R::Heel),
            ("forefoot_deg", R::Forefoot),
            ("forefoot_to_rearfoot_deg", R::ForefootToRearfoot),
            ("foot_to_leg_deg", R::FootToLeg),
            ("calf_lean_deg", R::CalfLeanFrontal),
            ("hinge_lower_deg", R::HingeTiltFrontal),
            ("hinge_behind_deg", R::HingeTurnTransverse),
        ] {
            let expected = truth["results"][key].as_f64().unwrap();
            let ours = value(&found, name);
            assert!(
                (ours - expected).abs() < 1e-6,
                "{side} {name}: {ours}, not {expected}"
            );
        }
        assert!(!found.side_check.stops, "{:?}", found.side_check);
    }
}
