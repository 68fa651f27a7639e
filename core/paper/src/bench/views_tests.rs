//! The views at true scale, sides and labels.

use super::*;
use plinthside_measure::cast::{CastPoints, MeasuredPoint, Settings, Source, results};
use plinthside_measure::leg::Leg;
use plinthside_measure::marks::Surface;

/// The worked example of the measurement's description, mirrored for a right foot.
const EN: Words = Words(plinthside_visit::Lang::En);

fn example(side: Side) -> Results {
    let marks = [
        ("heel-lower", [0.0, 0.0, 14.0]),
        ("heel-upper", [-2.99, 2.52, 62.0]),
        ("malleolus-medial", [44.82, -35.23, 86.0]),
        ("malleolus-lateral", [36.18, 33.81, 73.0]),
        ("mtp-1", [147.80, -37.77, 20.0]),
        ("mtp-5", [136.21, 40.29, 11.0]),
    ];
    let points: Vec<_> = marks
        .into_iter()
        .map(|(mark, [x, y, z])| MeasuredPoint {
            mark: mark.into(),
            mm: [x, y * side.sign(), z],
            surface: Surface::Inside,
            views: 3,
            worst_residual_px: None,
        })
        .collect();
    let covariance = nalgebra::DMatrix::identity(18, 18) * 0.04;
    let cast = CastPoints::new(points, covariance, 60.0, 0.002, Source::Photographs, None).unwrap();
    results(&cast, side, &Settings::default(), &Leg::default()).unwrap()
}

fn mark(view: &View, text: &str) -> [f64; 2] {
    let starts = |s: &&Value| s["text"].as_str().is_some_and(|t| t.starts_with(text));
    let found = view
        .shapes
        .iter()
        .filter(|s| s["kind"] == "mark")
        .find(starts)
        .unwrap();
    [0, 1].map(|i| found["at"][i].as_f64().unwrap())
}

fn apart([ax, ay]: [f64; 2], [bx, by]: [f64; 2]) -> [f64; 2] {
    [bx - ax, by - ay]
}

/// One millimetre of the cast is one millimetre of the page, in every view.
#[test]
fn views_are_true_to_scale_and_side() {
    for side in [Side::Left, Side::Right] {
        let results = example(side);
        let at = |name: &str| {
            let p = results.points.iter().find(|p| p.mark.as_str() == name);
            p.unwrap().cast_mm
        };
        let (mm, lm, hl) = (
            at("malleolus-medial"),
            at("malleolus-lateral"),
            at("heel-lower"),
        );
        let views = all(&results, &[], EN).unwrap();
        assert_eq!(views.len(), 4);
        // From behind the patient's left is on the left: page x is −y; up is −page y.
        let [dx, dy] = apart(mark(&views[0], "MM"), mark(&views[0], "LM"));
        assert!((dx - (mm[1] - lm[1])).abs() < 1e-9 && (dy - (mm[2] - lm[2])).abs() < 1e-9);
        let [dx, dy] = apart(mark(&views[1], "MM"), mark(&views[1], "LM"));
        assert!((dx - (mm[1] - lm[1])).abs() < 1e-9 && (dy - (mm[0] - lm[0])).abs() < 1e-9);
        // The medial face of a left foot is seen with the toes to the right.
        let [dx, dy] = apart(mark(&views[2], "HL"), mark(&views[2], "MM"));
        assert!(
            (dx - side.sign() * (mm[0] - hl[0])).abs() < 1e-9
                && (dy - (hl[2] - mm[2])).abs() < 1e-9
        );
        let [dx, _] = apart(mark(&views[3], "HL"), mark(&views[3], "LM"));
        assert!((dx + side.sign() * (lm[0] - hl[0])).abs() < 1e-9);
    }
}

/// The lateral side of a left foot is on the left of the page seen from behind, of a right
/// foot on the right; side views show their own marks only.
#[test]
fn lateral_lies_on_its_own_side_of_every_view() {
    for (side, words) in [
        (Side::Left, ("lateral", "medial")),
        (Side::Right, ("medial", "lateral")),
    ] {
        let views = all(&example(side), &[], EN).unwrap();
        assert_eq!((views[0].left.as_str(), views[0].right.as_str()), words);
        let [lm, mm] = [mark(&views[0], "LM")[0], mark(&views[0], "MM")[0]];
        assert_eq!(lm < mm, side == Side::Left);
        let names = |view: &View| -> Vec<String> {
            let marks = view.shapes.iter().filter(|s| s["kind"] == "mark");
            marks
                .filter_map(|s| s["text"].as_str().map(str::to_owned))
                .collect()
        };
        assert!(!names(&views[2]).iter().any(|n| n == "LM" || n == "M5"));
        assert!(!names(&views[3]).iter().any(|n| n == "MM" || n == "M1"));
    }
}

/// Every mark and every label lies inside its drawing, and no two labels overlap.
#[test]
fn no_label_is_clipped_or_covered() {
    for view in all(&example(Side::Left), &[], EN).unwrap() {
        let labels: Vec<([f64; 2], f64)> = view
            .shapes
            .iter()
            .filter(|s| s["kind"] == "mark")
            .map(|s| {
                let at = [0, 1].map(|i| s["label"][i].as_f64().unwrap());
                (
                    at,
                    s["text"].as_str().unwrap().chars().count() as f64 * 0.85,
                )
            })
            .collect();
        for (i, ([x, y], half)) in labels.iter().enumerate() {
            assert!(
                x - half >= 0.0 && x + half <= view.width,
                "{}: {x}",
                view.title
            );
            assert!(*y >= 0.0 && *y <= view.height);
            for ([u, v], other) in &labels[..i] {
                assert!(
                    (x - u).abs() >= half + other || (y - v).abs() >= 3.0,
                    "{}",
                    view.title
                );
            }
        }
    }
}
