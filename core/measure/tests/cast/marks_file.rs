//! The marks file: what is read, and what is refused in words.

use plinthside_measure::cast::Reference;
use plinthside_measure::marks::{Marks, MarksError, Side, Surface};
use plinthside_measure::observed::PhotoTags;
use plinthside_measure::ruler::RulerLine;

pub const GOOD: &str = r#"{
  "side": "left",
  "marks": [
    {"mark": "malleolus-medial", "photo": "a.jpg", "x": 1234.5, "y": 987.0, "sd_px": 1.2, "surface": "inside"},
    {"mark": "mtp-1", "photo": "a.jpg", "x": 400.0, "y": 300.0, "surface": "inside", "place": "side"},
    {"mark": "mtp-5", "photo": "a.jpg", "x": 500.0, "y": 310.0},
    {"mark": "scratch", "photo": "b.jpg", "x": 1.0, "y": 2.0, "surface": "outside"}
  ],
  "wall_mm": 5.0,
  "outlines": [{"mark": "malleolus-medial", "photo": "a.jpg", "points": [[1, 2], [3, 4], [5, 6]]}],
  "ruler": [
    {"mark": "heel-lower", "height_mm": [14, 15], "forward_mm": 0, "lateral_mm": 0},
    {"mark": "mtp-1", "height_mm": 20, "forward_mm": 147.8},
    {"mark": "mtp-5", "height_mm": 11, "forward_mm": 136.2},
    {"medial": "mtp-1", "lateral": "mtp-5", "breadth_mm": 79.4}
  ],
  "leg": {"bimalleolar_breadth_mm": [72, 73], "heel_breadth_mm": 63, "shank_lean_deg": 4, "worn": "sock"},
  "settings": {"reference": "mtp-2", "rock_mm": 1.5},
  "note": "wet"
}"#;

#[test]
fn a_good_file_is_read_whole() {
    let marks = Marks::from_json(GOOD).unwrap();
    assert_eq!(marks.side, Side::Left);
    assert_eq!(marks.views.len(), 4);
    assert_eq!((marks.views[0].sd_px, marks.views[1].sd_px), (1.2, 1.5));
    assert_eq!(marks.views[3].surface, Surface::Outside);
    assert_eq!(marks.wall.unwrap().mm, 5.0);
    assert_eq!(marks.outlines[0].points_px.len(), 3);
    assert_eq!(marks.ruler.0.len(), 4);
    assert!(matches!(marks.ruler.0[3], RulerLine::Breadth(_)));
    assert_eq!(marks.leg.bimalleolar_breadth_mm.mean(), Some(72.5));
    assert_eq!(marks.settings.reference, Reference::Mtp2);
    assert!(marks.settings.side_of_joint.contains(&"mtp-1".into()));
    assert!(
        marks.warnings.iter().any(|w| w.contains("note")),
        "{:?}",
        marks.warnings
    );
    assert!(
        marks
            .warnings
            .iter()
            .any(|w| w.contains("mtp-5") && w.contains("plantar"))
    );
}

/// The good file with one passage replaced.
fn with(old: &str, new: &str) -> MarksError {
    assert!(GOOD.contains(old), "{old}");
    Marks::from_json(&GOOD.replacen(old, new, 1)).unwrap_err()
}

#[test]
fn bad_files_are_refused_in_words() {
    use MarksError as E;
    assert!(matches!(
        with("\"side\": \"left\",", ""),
        E::Side { found: None }
    ));
    assert!(matches!(
        with("\"left\"", "\"middle\""),
        E::Side { found: Some(_) }
    ));
    assert!(matches!(with("\"left\"", "3"), E::Side { found: Some(_) }));
    assert!(matches!(with("1234.5", "NaN"), E::Form(_)));
    assert!(matches!(with("1234.5", "1e999"), E::Form(_)));
    assert!(matches!(with("1234.5", "-3.0"), E::OutsidePhoto { .. }));
    assert!(matches!(with("1234.5", "1e40"), E::OutsidePhoto { .. }));
    assert!(matches!(
        with("\"sd_px\": 1.2", "\"sd_px\": 0"),
        E::OutOfRange { .. }
    ));
    assert!(matches!(
        with("\"sd_px\": 1.2", "\"sd_px\": -1"),
        E::OutOfRange { .. }
    ));
    assert!(matches!(
        with("\"mark\": \"mtp-1\"", "\"mark\": \"malleolus-medial\""),
        E::Twice { .. }
    ));
    assert!(matches!(
        with("\"mark\": \"mtp-1\"", "\"mark\": \" \""),
        E::NoName { number: 2 }
    ));
    assert!(matches!(
        with("\"mark\": \"scratch\"", "\"mark\": \"malleolus-medial\""),
        E::BothFaces { .. }
    ));
    assert!(matches!(
        with("\"surface\": \"inside\"", "\"surface\": \"between\""),
        E::Form(_)
    ));
    assert!(matches!(
        with("\"wall_mm\": 5.0", "\"wall_mm\": 0"),
        E::OutOfRange { .. }
    ));
    assert!(matches!(
        with("\"wall_mm\": 5.0", "\"wall_mm\": 900"),
        E::OutOfRange { .. }
    ));
    assert!(matches!(with("[1, 2]", "[-1, 2]"), E::OutsidePhoto { .. }));
    assert!(matches!(with("[1, 2]", "[1]"), E::Form(_)));
    assert!(matches!(with("[72, 73]", "[72, -73]"), E::Leg(_)));
    assert!(matches!(
        with("\"worn\": \"sock\"", "\"worn\": \"boot\""),
        E::Form(_)
    ));
    assert!(matches!(
        with("\"breadth_mm\": 79.4", "\"breadth_mm\": 4"),
        E::Ruler(_)
    ));
    assert!(matches!(
        with("\"height_mm\": 20", "\"height_mm\": \"tall\""),
        E::Form(_)
    ));
    assert!(matches!(Marks::from_json(""), Err(E::Form(_))));
    assert!(matches!(Marks::from_json("[]"), Err(E::Form(_))));
    for error in [
        with("\"left\"", "\"middle\""),
        with("1234.5", "-3.0"),
        with("[72, 73]", "[0]"),
    ] {
        let sentence = error.to_string();
        assert!(
            sentence.len() > 20 && !sentence.contains("Error"),
            "{sentence}"
        );
    }
}

#[test]
fn positions_are_checked_against_the_photographs() {
    let photo = |name: &str, width, height| PhotoTags {
        photo: name.to_owned(),
        width,
        height,
        orientation: 1,
        camera: plinthside_measure::observed::CameraKey::default(),
        exif_focal_px: None,
        tags: Vec::new(),
    };
    let marks = Marks::from_json(GOOD).unwrap();
    assert!(
        marks
            .check_photos(&[photo("a.jpg", 4000, 3000), photo("b.jpg", 4000, 3000)])
            .is_ok()
    );
    assert!(matches!(
        marks.check_photos(&[photo("a.jpg", 4000, 3000)]),
        Err(MarksError::UnknownPhoto { .. })
    ));
    let small = marks
        .check_photos(&[photo("a.jpg", 1000, 3000), photo("b.jpg", 4000, 3000)])
        .unwrap_err();
    assert!(matches!(small, MarksError::OutsidePhoto { .. }));
    assert!(small.to_string().contains("1000 × 3000"), "{small}");
}
