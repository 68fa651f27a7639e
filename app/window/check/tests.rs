//! The worked example of the measurement (left cast) through the check screen's adapter.

use super::*;
use plinthside_measure::cast::{CastPoints, MeasuredPoint, Settings, Source, results};
use plinthside_measure::leg::{Leg, Readings};
use plinthside_measure::marks::{MarkName, Side, Surface};
use plinthside_visit::verdict::{Evidence, verdict};
use slint::Model;

const POINTS: [(&str, [f64; 3]); 8] = [
    (MarkName::HEEL_LOWER, [0.0, 0.0, 14.0]),
    (MarkName::HEEL_UPPER, [-2.99, 2.52, 62.0]),
    (MarkName::MALLEOLUS_MEDIAL, [44.82, -35.23, 86.0]),
    (MarkName::MALLEOLUS_LATERAL, [36.18, 33.81, 73.0]),
    (MarkName::MTP_1, [147.80, -37.77, 20.0]),
    (MarkName::MTP_5, [136.21, 40.29, 11.0]),
    (MarkName::CALF_LOWER, [10.01, 0.95, 120.0]),
    (MarkName::CALF_UPPER, [12.02, 3.94, 170.0]),
];

fn example(side: Side, bimalleolar_mm: f64) -> Results {
    let points = POINTS.map(|(mark, [x, y, z])| MeasuredPoint {
        mark: mark.into(),
        mm: [x, y * side.sign(), z],
        surface: Surface::Inside,
        views: 3,
        worst_residual_px: Some(0.5),
    });
    let n = 3 * points.len();
    let covariance = nalgebra::DMatrix::identity(n, n) * 0.04;
    let cast = CastPoints::new(
        points.into(),
        covariance,
        60.0,
        0.001,
        Source::Photographs,
        None,
    )
    .expect("points");
    let leg = Leg {
        bimalleolar_breadth_mm: Readings(vec![bimalleolar_mm]),
        ..Leg::default()
    };
    results(&cast, side, &Settings::default(), &leg).expect("results")
}

fn shown(side: Side, bimalleolar_mm: f64, lang: Lang) -> ui::CheckView {
    let results = example(side, bimalleolar_mm);
    let tolerances = Tolerances::shipped().expect("the shipped table");
    let verdict = verdict(&Evidence::of_results(&results), &tolerances);
    view(
        Some(&results),
        &verdict,
        &tolerances,
        None,
        true,
        None,
        lang,
    )
}

#[test]
fn drawings_are_to_scale_and_mirrored_between_the_sides() {
    for (side, sign) in [(Side::Left, 1.0), (Side::Right, -1.0)] {
        let view = shown(side, 70.0, Lang::En);
        let rear: Vec<_> = view.rear.dots.iter().map(|d| (d.x_mm, d.y_mm)).collect();
        let above: Vec<_> = view.above.dots.iter().map(|d| (d.x_mm, d.y_mm)).collect();
        let inner: Vec<_> = view.side.dots.iter().map(|d| (d.x_mm, d.y_mm)).collect();
        // Origin below HL: the drawn positions differ from the given ones by the frame alone, so
        // distances are compared. MM to LM is 69.04 mm across and 13 mm up.
        let near = |a: f32, b: f64| assert!((f64::from(a) - b).abs() < 0.35, "{a} is not {b}");
        let (mm, lm) = (rear[4], rear[5]);
        near((mm.0 - lm.0) * sign, 69.04);
        near(lm.1 - mm.1, 13.0);
        // From above: toes up, medial on the right of a left foot.
        near((above[0].0 - above[1].0) * sign, 69.04);
        assert!(above[2].1 < -100.0, "the first MTP lies towards the toes");
        // Inner side of a left foot: toes to the right.
        assert!(f64::from(inner[3].0) * f64::from(sign) > 100.0, "{inner:?}");
        // Nothing is drawn outside the box that is made visible.
        for (d, dots) in [
            (&view.rear, &rear),
            (&view.above, &above),
            (&view.side, &inner),
        ] {
            for (x, y) in dots {
                assert!(*x >= d.left_mm && *x <= d.left_mm + d.width_mm);
                assert!(*y >= d.top_mm && *y <= d.top_mm + d.height_mm);
            }
        }
    }
}

#[test]
fn a_spread_shell_is_said_with_its_amount_in_both_languages() {
    let english = shown(Side::Left, 66.0, Lang::En);
    let row = english
        .findings
        .iter()
        .find(|f| f.label == "Bimalleolar breadth")
        .expect("the row");
    assert_eq!(row.other, "66 mm");
    assert!(row.value.starts_with('+'), "{}", row.value);
    assert_eq!(row.level, ui::Level::LabCanCorrect);
    assert!(row.band.at > row.band.keep.to && row.band.at < row.band.correct.to);
    assert!(
        row.band.instrument.from > row.band.total.from
            && row.band.instrument.to < row.band.total.to
    );
    assert!((row.band.zero - 0.5).abs() < 1e-6);
    assert!(
        !english.sentence.starts_with("Lab can correct"),
        "the word stands above the sentence"
    );
    assert!(english.sentence.contains("mm"), "{}", english.sentence);
    let german = shown(Side::Left, 66.0, Lang::De);
    assert!(german.findings.iter().any(|f| f.label == "Knöchelbreite"));
    assert_ne!(english.sentence, german.sentence);
}

#[test]
fn without_results_the_screen_says_what_is_missing() {
    let tolerances = Tolerances::shipped().expect("the shipped table");
    let evidence = Evidence {
        side: Side::Left,
        results: None,
        record: None,
        inspection: None,
        leg: None,
        readings: &[],
    };
    let view = view(
        None,
        &verdict(&evidence, &tolerances),
        &tolerances,
        None,
        true,
        None,
        Lang::En,
    );
    assert_eq!((view.ready, view.level), (false, ui::Level::None));
    assert!(view.not_judged.row_count() > 5);
    assert!(!view.rear_value.present);
}
