//! The measurement reads the rendered photographs as it reads any: tags, EXIF, marks, refusals.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use plinthside_demo_data::truth::Truth;
use plinthside_demo_data::{CASTS, DemoCast, MAT_JSON};
use plinthside_measure::detect::{DetectOptions, tags};
use plinthside_measure::marks::{MarkName, Surface};
use plinthside_measure::mat::Mat;
use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::photo::decode_luma;
use plinthside_measure::solve::{Solution, SolveError, SolveOptions, solve};
use serde_json::Value;
use std::sync::OnceLock;

fn truth(cast: &DemoCast) -> Truth {
    serde_json::from_str(cast.truth_json).expect("truth file")
}

/// Tags of all photographs, found once for all tests.
fn found() -> &'static [Vec<PhotoTags>; 2] {
    static FOUND: OnceLock<[Vec<PhotoTags>; 2]> = OnceLock::new();
    FOUND.get_or_init(|| {
        let options = DetectOptions {
            threads: 2,
            ..DetectOptions::default()
        };
        [0, 1].map(|i| {
            let photos = CASTS[i].photos.iter();
            photos
                .map(|p| {
                    tags(
                        &decode_luma(p.name, p.jpeg).expect("a photograph"),
                        &options,
                    )
                })
                .collect()
        })
    })
}

fn views(marks_json: &str) -> Vec<MarkView> {
    let file: Value = serde_json::from_str(marks_json).expect("marks file");
    let number = |v: &Value| v.as_f64().expect("number");
    let list = file["marks"].as_array().expect("a list").iter();
    list.map(|t| MarkView {
        mark: MarkName::from(t["mark"].as_str().expect("a name")),
        photo: t["photo"].as_str().expect("a name").to_owned(),
        px: [number(&t["x"]), number(&t["y"])],
        sd_px: number(&t["sd_px"]),
        surface: Surface::Inside,
    })
    .collect()
}

fn solved(i: usize, marks_json: &str) -> Result<Solution, SolveError> {
    let mat = Mat::from_json(MAT_JSON).expect("mat file");
    solve(
        &mat,
        &found()[i],
        &views(marks_json),
        &SolveOptions::default(),
    )
}

#[test]
fn exif_tells_size_turn_camera_and_a_focal_length_a_little_off() {
    for (cast, photos) in CASTS.iter().zip(found()) {
        for (photo, exact) in photos.iter().zip(&truth(cast).photos) {
            assert_eq!([photo.width, photo.height], exact.size_px);
            assert_eq!(photo.orientation, exact.orientation);
            assert_eq!(photo.camera.model, "Slate 12");
            assert_eq!(
                [photo.camera.sensor_width_px, photo.camera.sensor_height_px],
                [4000, 3000]
            );
            let claimed = photo.exif_focal_px.expect("a focal length");
            let off = claimed / exact.f_px - 1.0;
            assert!(
                off.abs() < 0.08,
                "{}: {claimed} px said, {} true",
                photo.photo,
                exact.f_px
            );
        }
    }
}

#[test]
fn every_open_tag_is_found_where_it_is() {
    for (cast, photos) in CASTS.iter().zip(found()) {
        for (photo, exact) in photos.iter().zip(&truth(cast).photos) {
            let mut squares = Vec::new();
            for (id, corners) in &exact.tags_px {
                let tag = photo.tags.iter().find(|t| t.id == *id);
                let tag = tag.unwrap_or_else(|| panic!("tag {id} missing in {}", photo.photo));
                for (a, b) in tag.corners_px.iter().zip(corners) {
                    squares.extend([(a[0] - b[0]).powi(2), (a[1] - b[1]).powi(2)]);
                }
            }
            let rms = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
            println!(
                "{}: {} tags, {rms:.3} px rms",
                photo.photo,
                exact.tags_px.len()
            );
            assert!(rms < 0.15, "{}: {rms} px", photo.photo);
        }
    }
}

#[test]
fn marks_come_back_where_they_are() {
    for (i, cast) in CASTS.iter().enumerate() {
        let solution = solved(i, cast.marks_corrected_json).expect("a solution");
        let truth = truth(cast);
        let mut worst_mm: f64 = 0.0;
        for mark in &truth.marks {
            let (index, point) = solution.point(&mark.mark).expect("a solved mark");
            let sd = solution.sd_mm(index);
            for axis in 0..3 {
                let off = point.mat_mm[axis] - mark.mat_mm[axis];
                worst_mm = worst_mm.max(off.abs());
                // The rest of the print's scale, 0.02 % here, is no part of this sd.
                assert!(
                    off.abs() < 4.5 * sd[axis] + 0.1,
                    "{} axis {axis}: {off} mm",
                    mark.mark
                );
            }
        }
        println!("{}: worst coordinate {worst_mm:.3} mm off", cast.visit);
        assert!(worst_mm < 1.5, "{worst_mm} mm");
    }
}

#[test]
fn the_tap_that_missed_is_named() {
    match solved(1, CASTS[1].marks_json) {
        Err(SolveError::WrongTap {
            mark,
            photo,
            off_px,
        }) => {
            assert_eq!(mark.as_str(), "mtp-1");
            assert_eq!(photo, "right-5.jpg");
            assert!((off_px - 25.0).abs() < 6.0, "{off_px}");
        }
        other => panic!("{other:?}"),
    }
}
