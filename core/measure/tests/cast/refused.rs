//! What cannot be computed is refused by its own sentence, with the remedy.

use crate::marks_file::GOOD;
use crate::support::{cast, worked};
use nalgebra::DMatrix;
use plinthside_measure::cast::{
    CalfBand, CastError, CastPoints, ClearanceError, MarkingSd, MotionRange, OrderedLine,
    PointsError, Settings, Source, clearance, hinge_mismatch, results,
};
use plinthside_measure::flat::{FlatError, PlanePoint, Taps, flat};
use plinthside_measure::leg::{Leg, Readings};
use plinthside_measure::marks::{MarkName as M, Marks, MarksError, Side};

fn with(settings: Settings) -> CastError {
    let points = cast(&worked(Side::Left));
    results(&points, Side::Left, &settings, &Leg::default()).unwrap_err()
}

#[test]
fn settings_that_cannot_be_are_refused() {
    for rock in [-1.0, 101.0, f64::NAN] {
        let error = with(Settings {
            rock_mm: Some(rock),
            ..Settings::default()
        });
        assert!(matches!(error, CastError::Setting { .. }), "{error}");
        assert!(
            error.to_string().contains("the rock at the edge"),
            "{error}"
        );
    }
    for (within_mm, between_mm) in [(-1.0, 1.0), (1.0, 101.0), (f64::NAN, 1.0)] {
        let mut settings = Settings::default();
        let sd = MarkingSd {
            within_mm,
            between_mm,
        };
        settings.marking.sd.insert(M::MTP_1.into(), sd);
        let error = with(settings);
        assert!(matches!(error, CastError::Setting { .. }), "{error}");
        assert!(error.to_string().contains("enter millimetres"), "{error}");
    }
}

#[test]
fn points_and_covariances_that_cannot_be() {
    let good = cast(&worked(Side::Left));
    let n = 3 * good.points().len();
    let new = |points: Vec<_>, covariance| {
        CastPoints::new(points, covariance, 40.0, 0.0, Source::Photographs, None).unwrap_err()
    };
    let mut twice = good.points().to_vec();
    twice[1].mark = twice[0].mark.clone();
    let error = new(twice, DMatrix::identity(n, n));
    assert!(matches!(error, PointsError::Twice(_)), "{error}");
    let mut far = good.points().to_vec();
    far[0].mm[2] = 1e9;
    let error = new(far, DMatrix::identity(n, n));
    assert!(matches!(error, PointsError::OutOfRange { .. }), "{error}");
    let with = |value: f64| {
        let mut covariance = DMatrix::identity(n, n);
        covariance[(4, 4)] = value;
        covariance
    };
    for (part, covariance) in [
        ("the wrong size", DMatrix::identity(n, n - 1)),
        ("not finite", with(f64::NAN)),
        ("negative", with(-1.0)),
    ] {
        let error = new(good.points().to_vec(), covariance);
        assert!(matches!(error, PointsError::Covariance(_)), "{error}");
        assert!(error.to_string().contains(part), "{error}");
    }
}

#[test]
fn hinge_lines_and_areas_that_nothing_defines() {
    let mut same = worked(Side::Left);
    same[3].1 = same[2].1; // LM on MM
    let error = hinge_mismatch(
        &cast(&same),
        Side::Left,
        &Settings::default(),
        &OrderedLine::Level { external_deg: 10.0 },
        &CalfBand {
            height_mm: 170.0,
            width_mm: 80.0,
            depth_mm: 90.0,
        },
        &MotionRange {
            plantarflexion_deg: 20.0,
            dorsiflexion_deg: 10.0,
        },
    )
    .unwrap_err();
    assert!(matches!(error, CastError::NoHingeComparison), "{error}");
    let mut scratched = worked(Side::Left);
    scratched.push(("scratch".into(), [90.0, 30.0, 40.0]));
    let (points, scratch) = (cast(&scratched), "scratch".into());
    let error = clearance(&points, Side::Left, &Settings::default(), &scratch, &[]).unwrap_err();
    assert!(matches!(error, ClearanceError::NoSurface(_)), "{error}");
}

#[test]
fn a_lean_that_no_shank_has() {
    for lean in [61.0, -61.0, f64::NAN] {
        let leg = Leg {
            shank_lean_deg: Readings(vec![lean]),
            ..Leg::default()
        };
        let error = leg.check().unwrap_err().to_string();
        assert!(
            error.contains("shank_lean_deg") && error.contains("degrees"),
            "{error}"
        );
    }
}

/// Plantar in one photograph and on the side of the joint in another: two different dots.
#[test]
fn one_mark_in_two_places() {
    let other = r#"{"mark": "mtp-1", "photo": "b.jpg", "x": 5.0, "y": 6.0, "place": "plantar"},
    {"mark": "scratch""#;
    let text = GOOD.replacen(r#"{"mark": "scratch""#, other, 1);
    let error = Marks::from_json(&text).unwrap_err();
    assert!(matches!(error, MarksError::BothPlaces { .. }), "{error}");
    assert!(error.to_string().contains("mtp-1"), "{error}");
}

#[test]
fn planes_that_no_photograph_shows() {
    let square = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
    let seen = |px: [[f64; 2]; 4], mm: f64| {
        let point = |(px, [x, y]): ([f64; 2], [f64; 2])| PlanePoint {
            px,
            plane_mm: [mm * x, mm * y],
        };
        px.into_iter().zip(square).map(point).collect::<Vec<_>>()
    };
    let round = [
        [100.0, 100.0],
        [900.0, 100.0],
        [900.0, 900.0],
        [100.0, 900.0],
    ];
    let taps = Taps::Length([[200.0, 200.0], [204.0, 203.0]]);
    // Corners that cross would lie partly behind the camera.
    let aside = [
        [100.0, 100.0],
        [905.0, 910.0],
        [870.0, 60.0],
        [130.0, 820.0],
    ];
    for crossed in [[round[0], round[2], round[1], round[3]], aside] {
        let found = flat(&taps, 1.5, &seen(crossed, 50.0));
        assert_eq!(found, Err(FlatError::NoPlane));
    }
    // Apart in the picture, together in the plane.
    assert_eq!(
        flat(&taps, 1.5, &seen(round, 1e-5)),
        Err(FlatError::TooClose)
    );
    assert!(flat(&taps, 1.5, &seen(round, 50.0)).is_ok());
}
