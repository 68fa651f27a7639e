//! The truth files agree with themselves, with the marks files and with `plinthside_measure`.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use nalgebra::{DMatrix, Matrix4, Vector4};
use plinthside_demo_data::truth::{Rows, TruePhoto, Truth};
use plinthside_demo_data::{CASTS, DemoCast, MAT_JSON};
use plinthside_measure::cast::{CastPoints, MeasuredPoint, ResultName, Settings, Source, results};
use plinthside_measure::leg::Leg;
use plinthside_measure::marks::{MarkName, Surface};
use plinthside_measure::mat::{Mat, Paper};
use serde_json::Value;
use std::path::Path;

fn truth(cast: &DemoCast) -> Truth {
    serde_json::from_str(cast.truth_json).expect("truth file")
}

fn matrix(rows: &Rows) -> Matrix4<f64> {
    Matrix4::from_fn(|r, c| rows[r][c])
}

/// The camera model of the measurement, written out once more: pinhole, k1 and k2 on normalised
/// coordinates, first pixel centre (0.5, 0.5), EXIF turn applied last.
fn project(photo: &TruePhoto, [x, y, z]: [f64; 3]) -> [f64; 2] {
    let camera_from_mat = matrix(&photo.mat_from_camera)
        .try_inverse()
        .expect("a pose");
    let p = camera_from_mat * Vector4::new(x, y, z, 1.0);
    assert!(p.z > 100.0, "in front of the camera");
    let (u, v) = (p.x / p.z, p.y / p.z);
    let r2 = u * u + v * v;
    let swell = 1.0 + photo.radial[0] * r2 + photo.radial[1] * r2 * r2;
    let stored = [
        photo.centre_px[0] + photo.f_px * u * swell,
        photo.centre_px[1] + photo.f_px * v * swell,
    ];
    match photo.orientation {
        1 => stored,
        6 => [f64::from(photo.size_px[0]) - stored[1], stored[0]],
        other => panic!("orientation {other}"),
    }
}

#[test]
fn marks_and_tags_stand_where_the_cameras_put_them() {
    let mat = Mat::from_json(MAT_JSON).expect("mat file");
    for cast in &CASTS {
        let truth = truth(cast);
        for photo in &truth.photos {
            let far = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
            for (name, px) in &photo.marks_px {
                let mark = truth
                    .marks
                    .iter()
                    .find(|m| m.mark == *name)
                    .expect("a known mark");
                assert!(
                    far(project(photo, mark.mat_mm), *px) < 1e-6,
                    "{name} in {}",
                    photo.photo
                );
            }
            assert!(photo.tags_px.len() >= 15, "{} shows few tags", photo.photo);
            for (id, corners) in &photo.tags_px {
                let tag = mat.tag(*id).expect("a tag of the mat");
                for (drawn, px) in tag.corners_mm.iter().zip(corners) {
                    let printed = drawn.map(|v| v * truth.print_scale);
                    assert!(
                        far(project(photo, printed), *px) < 1e-6,
                        "tag {id} in {}",
                        photo.photo
                    );
                }
            }
        }
    }
}

#[test]
fn every_mark_is_in_three_photographs_of_different_heights_and_one_is_turned() {
    for cast in &CASTS {
        let truth = truth(cast);
        for mark in &truth.marks {
            let seen = truth
                .photos
                .iter()
                .filter(|p| p.marks_px.contains_key(&mark.mark))
                .count();
            assert!(
                seen >= 3,
                "{} {} is in {seen} photographs",
                cast.visit,
                mark.mark
            );
        }
        let turned: Vec<u8> = truth.photos.iter().map(|p| p.orientation).collect();
        assert_eq!(turned.iter().filter(|o| **o == 6).count(), 1, "{turned:?}");
        let elevation_deg = |p: &TruePhoto| matrix(&p.mat_from_camera)[(2, 2)].asin().to_degrees();
        let lowest = truth
            .photos
            .iter()
            .map(elevation_deg)
            .fold(f64::MAX, f64::min);
        let highest = truth
            .photos
            .iter()
            .map(elevation_deg)
            .fold(f64::MIN, f64::max);
        assert!(highest - lowest > 10.0, "{lowest} to {highest}");
    }
}

#[test]
fn the_measurement_finds_the_same_angles_in_the_true_points() {
    use ResultName as R;
    for cast in &CASTS {
        let truth = truth(cast);
        let points: Vec<MeasuredPoint> = truth
            .marks
            .iter()
            .map(|m| MeasuredPoint {
                mark: MarkName::from(m.mark.as_str()),
                mm: m.mat_mm,
                surface: Surface::Inside,
                views: 3,
                worst_residual_px: None,
            })
            .collect();
        let n = 3 * points.len();
        let certain = DMatrix::identity(n, n) * 1e-8;
        let points = CastPoints::new(points, certain, 100.0, 0.0, Source::Photographs, None)
            .expect("true points");
        let found = results(&points, cast.side, &Settings::default(), &Leg::default())
            .expect("results of the true points");
        for (name, key) in [
            (R::Heel, "heel_deg"),
            (R::Forefoot, "forefoot_deg"),
            (R::ForefootToRearfoot, "forefoot_to_rearfoot_deg"),
            (R::HingeTiltFrontal, "hinge_lower_deg"),
            (R::HingeTurnTransverse, "hinge_behind_deg"),
            (R::CalfLeanFrontal, "calf_lean_deg"),
            (R::FootToLeg, "foot_to_leg_deg"),
            (R::BalanceToVertical, "balance_mm"),
            (R::Bimalleolar, "bimalleolar_breadth_mm"),
            (R::HeelToFirstMtp, "heel_to_first_mtp_mm"),
            (R::HeelToFifthMtp, "heel_to_fifth_mtp_mm"),
        ] {
            let (measured, exact) = (found.quantities[&name].value, truth.results[key]);
            assert!(
                (measured - exact).abs() < 1e-6,
                "{} {key}: {measured} {exact}",
                cast.visit
            );
        }
    }
}

#[test]
fn one_shell_is_clean_and_the_other_squeezed_by_8_mm() {
    let narrower = |cast: &DemoCast| {
        let truth = truth(cast);
        truth.leg["bimalleolar_breadth_mm"] - truth.results["bimalleolar_breadth_mm"]
    };
    assert!(narrower(&CASTS[0]).abs() < 0.01);
    assert!(
        (narrower(&CASTS[1]) - 8.0).abs() < 0.1,
        "{}",
        narrower(&CASTS[1])
    );
}

/// Taps of a marks file: (mark, photograph, x, y).
fn taps(json: &str) -> Vec<(String, String, f64, f64)> {
    let file: Value = serde_json::from_str(json).expect("marks file");
    let text = |v: &Value| v.as_str().expect("text").to_owned();
    let number = |v: &Value| v.as_f64().expect("number");
    let list = file["marks"].as_array().expect("a list").iter();
    list.map(|t| {
        (
            text(&t["mark"]),
            text(&t["photo"]),
            number(&t["x"]),
            number(&t["y"]),
        )
    })
    .collect()
}

#[test]
fn taps_scatter_as_stated_and_one_of_them_missed() {
    for cast in &CASTS {
        let truth = truth(cast);
        let off: Vec<f64> = taps(cast.marks_corrected_json)
            .iter()
            .flat_map(|(mark, photo, x, y)| {
                let photo = truth
                    .photos
                    .iter()
                    .find(|p| p.photo == *photo)
                    .expect("a photograph");
                let [tx, ty] = photo.marks_px[mark];
                [x - tx, y - ty]
            })
            .collect();
        let rms = (off.iter().map(|d| d * d).sum::<f64>() / off.len() as f64).sqrt();
        assert!(
            (1.1..1.9).contains(&rms),
            "{} taps scatter by {rms} px",
            cast.visit
        );
        let moved: Vec<_> = taps(cast.marks_json)
            .into_iter()
            .zip(taps(cast.marks_corrected_json))
            .filter(|(a, b)| a != b)
            .collect();
        if let [(wrong, right)] = &moved[..] {
            let px = (wrong.2 - right.2).hypot(wrong.3 - right.3);
            assert!((px - 25.0).abs() < 0.2, "{px}");
        }
        assert_eq!(moved.len(), usize::from(cast.side == CASTS[1].side));
    }
}

#[test]
fn the_mat_file_is_the_a3_mat_with_its_bars_measured() {
    let mat = Mat::from_json(MAT_JSON).expect("mat file");
    let drawn = Paper::A3.layout().mat().expect("the layout");
    assert_eq!(mat.tags, drawn.tags);
    let bars = mat.printed.expect("measured bars");
    for bar in [bars.across, bars.along] {
        let bar = bar.expect("both bars");
        let true_mm = truth(&CASTS[0]).print_scale * bar.nominal_mm;
        assert!((bar.measured_mm - true_mm).abs() <= 2.0 * bar.sd_mm);
    }
}

#[test]
fn everything_fits_into_12_mb() {
    fn bytes(folder: &Path) -> u64 {
        let entries = std::fs::read_dir(folder).expect("a folder");
        entries
            .map(|entry| {
                let path = entry.expect("an entry").path();
                if path.is_dir() {
                    bytes(&path)
                } else {
                    path.metadata().expect("a file").len()
                }
            })
            .sum()
    }
    let whole = bytes(Path::new(env!("CARGO_MANIFEST_DIR")));
    assert!(whole <= 12_000_000, "{whole} bytes");
}
