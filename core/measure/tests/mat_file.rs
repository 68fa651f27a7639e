//! Mat files: what is read, what is refused in words, and the layouts of our own.
//! Source of the border and its 8 modules: the tag36h11 table of the AprilTag 3 library
//! (width_at_border 8).
#![allow(clippy::expect_used)] // a failed expectation is a failed test

use plinthside_measure::mat::{Mat, MatError, Paper};
use proptest::prelude::*;

const GOOD: &str = r#"{"name": "m", "family": "tag36h11", "tags": [
  {"id": 0, "corners_mm": [[0,30],[30,30],[30,0],[0,0]]},
  {"id": 1, "corners_mm": [[60,30],[90,30],[90,0],[60,0]]},
  {"id": 2, "corners_mm": [[0,90],[30,90],[30,60],[0,60]]}]}"#;

#[test]
fn a_plain_file_is_read_and_written_back() {
    let mat = Mat::from_json(GOOD).expect("good");
    assert_eq!((mat.tags.len(), mat.border_bits, mat.printed), (3, 1, None));
    assert_eq!(Mat::from_json(&mat.to_json()).expect("round"), mat);
    let raised = GOOD.replace(
        "[0,30],[30,30],[30,0],[0,0]",
        "[0,30,5],[30,30,5],[30,0,5],[0,0,5]",
    );
    let mat = Mat::from_json(&raised).expect("three coordinates");
    assert_eq!(Mat::from_json(&mat.to_json()).expect("round"), mat);
}

#[test]
fn each_fault_is_refused_in_a_sentence() {
    let swapped = |from: &str, to: &str| GOOD.replace(from, to);
    let cases = [
        (
            "repeated id",
            "give every tag its own number",
            swapped("\"id\": 2", "\"id\": 1"),
        ),
        (
            "no such id",
            "correct its number",
            swapped("\"id\": 2", "\"id\": 587"),
        ),
        (
            "family",
            "Print a mat of that family",
            swapped("tag36h11", "tag25h9"),
        ),
        (
            "border",
            "correct border_bits",
            swapped("\"name\"", "\"border_bits\": 3, \"name\""),
        ),
        (
            "collinear",
            "in turn round",
            swapped("[0,30],[30,30],[30,0],[0,0]", "[0,0],[10,0],[20,0],[30,0]"),
        ),
        (
            "crossing",
            "in turn round",
            swapped("[0,30],[30,30],[30,0],[0,0]", "[0,30],[30,0],[30,30],[0,0]"),
        ),
        (
            "same point",
            "in turn round",
            swapped("[0,30],[30,30],[30,0],[0,0]", "[0,0],[0,0],[0,0],[0,0]"),
        ),
        (
            "three corners",
            "needs four corners",
            swapped(",[0,0]]},\n  {\"id\": 1", "]},\n  {\"id\": 1"),
        ),
        (
            "one coordinate",
            "needs four corners",
            swapped("[0,30],", "[0],"),
        ),
        (
            "mixed coordinates",
            "needs four corners",
            swapped("[0,30],", "[0,30,1],"),
        ),
        (
            "not a number",
            "plinthside mat",
            swapped("[0,30],", "[0,null],"),
        ),
        (
            "metres of nonsense",
            "give its corners in millimetres",
            swapped("[0,30],", "[0,1e300],"),
        ),
        (
            "few tags",
            "use a mat with more",
            swapped("{\"id\": 0", "{\"id\": 9")
                .split(",\n")
                .next()
                .map(|s| format!("{s}]}}"))
                .unwrap_or_default(),
        ),
        (
            "sheet gap",
            "without a gap",
            swapped("\"id\": 2,", "\"id\": 2, \"sheet\": 5,"),
        ),
        (
            "bar of nothing",
            "measure it again in millimetres",
            swapped(
                "\"name\"",
                "\"printed\": {\"across_mm\": [0, 200, 0.3]}, \"name\"",
            ),
        ),
        (
            "bar in centimetres",
            "measure it again in millimetres",
            swapped(
                "\"name\"",
                "\"printed\": {\"along_mm\": [200, 20, 0.3]}, \"name\"",
            ),
        ),
        (
            "negative sd",
            "measure it again in millimetres",
            swapped(
                "\"name\"",
                "\"printed\": {\"along_mm\": [200, 199, -1]}, \"name\"",
            ),
        ),
        (
            "kilometres, in turn",
            "give its corners in millimetres",
            swapped(
                "[0,30],[30,30],[30,0],[0,0]",
                "[0,1e6],[1e6,1e6],[1e6,0],[0,0]",
            ),
        ),
        ("empty", "plinthside mat", String::new()),
        ("cut off", "plinthside mat", GOOD[..90].to_owned()),
    ];
    for (name, remedy, text) in cases {
        let error = Mat::from_json(&text).expect_err(name).to_string();
        println!("{name}: {error}");
        assert!(error.contains(remedy), "{name}: {error}");
    }
    assert!(matches!(
        Mat::from_json(&GOOD.replace("\"id\": 2", "\"id\": 1")),
        Err(MatError::RepeatedId { id: 1 })
    ));
}

#[test]
fn measured_bars_scale_the_print_and_leave_one_common_factor() {
    let with = |printed: &str| {
        let text = GOOD.replace("\"name\"", &format!("\"printed\": {printed}, \"name\""));
        Mat::from_json(&text).expect("good").print_scale()
    };
    let none = Mat::from_json(GOOD).expect("good").print_scale();
    assert!(!none.measured && (none.common_sd - 0.03).abs() < 1e-12);
    let both = with(r#"{"across_mm": [200, 196, 0.2], "along_mm": [100, 99, 0.3]}"#);
    assert_eq!(both.factor, [0.98, 0.99]);
    // The common factor must not depend on the aspect: wy·σx² = wx·σy².
    let [wx, wy] = both.aspect_share;
    assert!((wy * 0.001_f64.powi(2) - wx * 0.003_f64.powi(2)).abs() < 1e-15);
    assert!((both.common_sd - (1e6 + 1e6 / 9.0_f64).powf(-0.5)).abs() < 1e-9);
    let one = with(r#"{"across_mm": [200, 196, 0.2]}"#);
    assert_eq!((one.factor, one.aspect_share), ([0.98, 0.98], [0.0, 1.0]));
}

#[test]
fn our_layouts_fit_their_paper_and_share_no_number() {
    let mut all = std::collections::BTreeSet::new();
    for paper in Paper::ALL {
        let layout = paper.layout();
        let mat = layout.mat().expect("a good mat");
        for page in &layout.pages {
            let [x0, y0] = page.outline.min_mm;
            let [x1, y1] = page.outline.max_mm;
            for (i, tag) in page.tags.iter().enumerate() {
                assert!(all.insert(tag.id), "{paper:?}: tag {} again", tag.id);
                let [x, y] = tag.centre_mm;
                // Half the side, and at least a module of white before the paper's edge.
                let reach = tag.side_mm / 2.0 + tag.side_mm / 8.0;
                assert!(x - reach > x0 && x + reach < x1 && y - reach > y0 && y + reach < y1);
                for other in &page.tags[..i] {
                    let apart = (other.centre_mm[0] - x)
                        .abs()
                        .max((other.centre_mm[1] - y).abs());
                    assert!(apart >= tag.side_mm * 1.25, "{paper:?}: white between tags");
                }
                let outside = |r: &plinthside_measure::mat::sheet::Rect| {
                    x + reach <= r.min_mm[0] + 1e-9
                        || x - reach >= r.max_mm[0] - 1e-9
                        || y + reach <= r.min_mm[1] + 1e-9
                        || y - reach >= r.max_mm[1] - 1e-9
                };
                assert!(outside(&layout.cast_field) && outside(&layout.label_place));
                assert!(outside(&page.title));
            }
            for bar in [page.across, page.along] {
                let length = (bar.to_mm[0] - bar.from_mm[0]).hypot(bar.to_mm[1] - bar.from_mm[1]);
                assert!((length - bar.nominal_mm).abs() < 1e-9 && bar.nominal_mm >= 80.0);
                assert!(bar.from_mm[0] > x0 && bar.to_mm[0] < x1 && bar.to_mm[1] < y1);
            }
        }
        let [w, h] = layout.cast_field.size_mm();
        println!(
            "{paper:?}: {} tags, cast {w:.0} × {h:.0} mm, label {:?}",
            mat.tags.len(),
            layout.label_place.size_mm()
        );
        assert!(w > 100.0 && h > 90.0, "{paper:?}: no room for a cast");
        assert_eq!(Mat::from_json(&mat.to_json()).expect("round"), mat);
    }
}

proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in ".{0,300}", cut in 0_usize..300, byte in any::<char>()) {
        let _ = Mat::from_json(&text);
        let mut broken: Vec<char> = GOOD.chars().collect();
        let at = cut % broken.len();
        broken[at] = byte;
        let _ = Mat::from_json(&broken.into_iter().collect::<String>());
    }
}
