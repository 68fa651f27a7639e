//! The JSON of `measure`.

use crate::support::{cast, measure, worked};
use plinthside_measure::cast::{MeasureReport, ResultName};
use plinthside_measure::marks::Side;
use serde_json::Value;

#[test]
fn the_report_has_the_form_others_read() {
    let cast = cast(&worked(Side::Left));
    let results = measure(&worked(Side::Left), Side::Left);
    let report = MeasureReport::new(Side::Left, &cast, None, Some(&results));
    let json = serde_json::to_value(&report).unwrap();
    let point = &json["points"][2];
    assert_eq!(point["mark"], "malleolus-medial");
    for (key, len) in [
        ("mat_mm", 3),
        ("cast_mm", 3),
        ("instrument_sd_mm", 3),
        ("covariance_mm2", 3),
    ] {
        assert_eq!(point[key].as_array().map(Vec::len), Some(len), "{key}");
    }
    assert!(point["views"].is_u64() && point["worst_residual_px"].is_f64());
    for key in ["cameras", "intrinsics", "warnings"] {
        assert!(json[key].is_array(), "{key}");
    }
    assert_eq!(json["verdict"], Value::Null);
    let heel = &json["results"]["heel_deg"];
    assert_eq!(heel["unit"], "deg");
    for key in ["value", "instrument_sd", "total_sd", "low95", "high95"] {
        assert!(heel[key].is_f64(), "{key}");
    }
    let back: MeasureReport = serde_json::from_value(json).unwrap();
    assert_eq!(back, report);
}

#[test]
fn without_a_cast_frame_the_points_remain() {
    let points = worked(Side::Left)[2..4].to_vec();
    let report = MeasureReport::new(Side::Left, &cast(&points), None, None);
    let json = serde_json::to_value(&report).unwrap();
    assert_eq!(json["points"][0]["cast_mm"], Value::Null);
    assert!(
        json["results"]
            .as_object()
            .is_some_and(serde_json::Map::is_empty)
    );
}

#[test]
fn every_name_is_unique_and_carries_its_unit() {
    let mut seen = std::collections::BTreeSet::new();
    for name in ResultName::ALL {
        assert!(seen.insert(name.as_str()));
        let unit = serde_json::to_value(name.unit()).unwrap();
        assert!(
            name.as_str()
                .ends_with(&format!("_{}", unit.as_str().unwrap())),
            "{name}"
        );
        assert_eq!(serde_json::to_value(name).unwrap(), name.as_str());
    }
}
