//! Photographs that others took with a telephone: a 36h11 grid on a flat screen (aprilgrid-py, BSD-3,
//! 5 photographs of 12 megapixels). Skipped where the data is not beside the project.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use nalgebra::Vector3;
use plinthside_measure::detect::{Border, DetectOptions, tags};
use plinthside_measure::mat::{Bar, Mat, MatTag, Printed};
use plinthside_measure::observed::PhotoTags;
use plinthside_measure::photo::decode_luma;
use plinthside_measure::solve::{SolveError, SolveOptions, Warning, solve};
use std::path::PathBuf;
use support::held_out;

/// A tag of the screen is taken to be 30 mm wide: its ratios are exact, its size is unknown.
const TAG_MM: f64 = 30.0;
const SCREEN_MM: f64 = TAG_MM * (5.0 * 1.3 + 1.0);
/// Corners of the grid on the screen lie this far from an ideal grid, alike in all five photographs:
/// a screen draws on whole pixels.
const SCREEN_SD_MM: f64 = 0.07;

fn corner(id: u32, corner: usize) -> Vector3<f64> {
    let at = [[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]][corner];
    let (x, y) = (f64::from(id % 6) * 1.3, f64::from(id / 6) * 1.3);
    Vector3::new(x + at[0], y + at[1], 0.0) * TAG_MM
}

fn mat(ids: impl Iterator<Item = u32>) -> Mat {
    let tags = ids.map(|id| MatTag {
        id,
        corners_mm: [0, 1, 2, 3].map(|k| corner(id, k).into()),
        sheet: 0,
    });
    let bar = Some(Bar {
        nominal_mm: 200.0,
        measured_mm: 200.0,
        sd_mm: 0.02,
    });
    let printed = Printed {
        across: bar,
        along: bar,
    };
    Mat::new("a grid on a screen", tags.collect(), 2, Some(printed)).expect("a good grid")
}

fn photographs() -> Option<Vec<PhotoTags>> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../../shared/data/tags/aprilgrid-py/example/data");
    if !folder.exists() {
        println!("skipped: data not here ({})", folder.display());
        return None;
    }
    let options = DetectOptions {
        border: Border::Two,
        ..DetectOptions::default()
    };
    let one = |i: u32| {
        let name = format!("{i:03}.jpg");
        let bytes = std::fs::read(folder.join(&name)).expect("readable");
        tags(&decode_luma(&name, &bytes).expect("a photograph"), &options)
    };
    Some((0..5).map(one).collect())
}

#[test]
fn tags_on_a_screen_come_back_where_the_grid_says() {
    let Some(photos) = photographs() else {
        return;
    };
    for held in [[7_u32, 10, 14, 21, 25, 28], [8, 9, 13, 16, 19, 26]] {
        let mut photos = photos.clone();
        let mut taps = held_out::split(&mut photos, &held, 1.0);
        let mat = mat((0..36).filter(|id| !held.contains(id)));
        let options = SolveOptions::default();
        // The corners' own scatter, from the kept tags, is what the held-out ones are given.
        let cameras = solve(&mat, &photos, &[], &options).expect("cameras");
        let sd_px = held_out::corner_sd_px(&cameras);
        for tap in &mut taps {
            tap.sd_px = sd_px;
        }
        let solution = solve(&mat, &photos, &taps, &options).expect("solved");
        let found = held_out::judge(&solution, corner, SCREEN_SD_MM);
        println!(
            "{held:?}: 1 in {:.0}, corner sd {sd_px:.2} px, {found:.3?}",
            SCREEN_MM / found.rms_mm
        );
        // 1 in 2000 is the aim; on the screen's own edges it is 1 in 4100, see
        // `tests/outside/test_targets.py`.
        assert!(found.rms_mm < SCREEN_MM / 1350.0);
        assert!(found.distances_held > 0.9 && found.places_held > 0.9);
    }
}

/// Real photographs of a flat target raise no word about unevenness; the same corners moved as a
/// sheet bowed by 2.5 mm would show them are told, or refused.
#[test]
fn bowed_paper_is_refused_and_flat_paper_is_not() {
    let Some(mut photos) = photographs() else {
        return;
    };
    let mat = mat(0..36);
    let flat = solve(&mat, &photos, &[], &SolveOptions::default()).expect("flat");
    println!(
        "bow {:.2} mm, heights {:.2} mm",
        flat.mat_shape.bow_mm, flat.mat_shape.sd_height_mm
    );
    let told = |w: &Warning| matches!(w, Warning::UnevenMat { .. });
    assert!(!flat.warnings.iter().any(told) && flat.mat_shape.sd_height_mm < 0.2);
    let middle = Vector3::new(SCREEN_MM / 2.0, SCREEN_MM / 2.0, 0.0);
    for (photo, camera) in photos.iter_mut().zip(&flat.cameras) {
        let row = |k: usize| {
            Vector3::new(
                camera.mat_from_camera[0][k],
                camera.mat_from_camera[1][k],
                camera.mat_from_camera[2][k],
            )
        };
        let (axes, centre) = ([row(0), row(1), row(2)], row(3));
        let pixel = |p: Vector3<f64>| {
            let [x, y, z] = axes.map(|axis| axis.dot(&(p - centre)));
            [x / z, y / z].map(|v| v * camera.f_px)
        };
        assert_eq!(photo.orientation, 1, "the shift below is the sensor's");
        for tag in &mut photo.tags {
            for (k, px) in tag.corners_px.iter_mut().enumerate() {
                let p = corner(tag.id, k);
                let off = (p - middle) / (SCREEN_MM / 2.0);
                let raised = p + Vector3::z() * 2.5 * off.x * off.x;
                let ([x, y], [u, v]) = (pixel(p), pixel(raised));
                *px = [px[0] + u - x, px[1] + v - y];
            }
        }
    }
    match solve(&mat, &photos, &[], &SolveOptions::default()) {
        Err(SolveError::MatNotFlat { bow_mm }) => {
            println!("refused: {bow_mm:.1} mm");
            assert!((1.5..3.5).contains(&bow_mm));
        }
        Ok(bowed) => {
            println!("told: {:?}", bowed.warnings);
            assert!(bowed.warnings.iter().any(told));
        }
        Err(error) => panic!("{error}"),
    }
}
