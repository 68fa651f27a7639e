//! How long `solve` takes for 8 photographs and 20 marks, without images, and how long a
//! general-purpose solver takes for the plainest form of the same problem: poses, one lens and marks, no nuisances, no
//! covariance. A row of `tests/bench/table.py`, as JSON.
//!
//! `cargo run --release -p plinthside-measure --example solve_time`

mod dense;

use dense::{Dense, Sight};
use nalgebra::{Matrix3, Vector3};
use plinthside_measure::marks::Surface;
use plinthside_measure::mat::{Mat, Paper, file::MatError};
use plinthside_measure::observed::{CameraKey, MarkView, PhotoTags, SeenTag};
use plinthside_measure::solve::{SolveOptions, solve};
use serde_json::json;
use std::time::Instant;

const SIZE: [f64; 2] = [4032.0, 3024.0];

/// A cheap repeatable scatter in −1..1; its shape does not matter for the time.
fn scatter(i: usize) -> f64 {
    (i as f64 * 12.9898).sin() * 43_758.545_3 % 1.0
}

fn main() -> Result<(), MatError> {
    let mat = Paper::A3.layout().mat()?;
    let marks: Vec<Vector3<f64>> = (0..20)
        .map(|i| {
            let t = f64::from(i);
            Vector3::new(
                110.0 + 9.0 * t,
                148.0 + 38.0 * (1.3 * t).sin(),
                15.0 + 7.5 * t,
            )
        })
        .collect();
    let (mut photos, mut taps, mut n) = (Vec::new(), Vec::new(), 0);
    let mut poses = Vec::new();
    for i in 0..8 {
        let azimuth = 0.25 + f64::from(i) * std::f64::consts::FRAC_PI_4;
        let elevation = 0.6 + 0.05 * f64::from(i % 4);
        let back = Vector3::new(
            azimuth.cos() * elevation.cos(),
            azimuth.sin() * elevation.cos(),
            elevation.sin(),
        );
        let right = (-back).cross(&Vector3::z()).normalize();
        let down = (-back).cross(&right);
        let rows = if i == 3 {
            [down, -right, -back]
        } else {
            [right, down, -back]
        };
        let rotation = Matrix3::from_rows(&rows.map(|r| r.transpose()));
        let centre = Vector3::new(195.0, 148.0, 50.0) + back * 500.0;
        poses.push((rotation, rotation * -centre));
        let mut pixel = |p: Vector3<f64>, sd: f64| {
            let q = rotation * (p - centre);
            n += 2;
            [0, 1].map(|k| 3000.0 * q[k] / q.z + SIZE[k] / 2.0 + sd * scatter(n + k))
        };
        let mut tags = Vec::new();
        for tag in &mat.tags {
            let corners_px = tag.corners_mm.map(|c| pixel(Vector3::from(c), 0.3));
            let inside =
                |p: &[f64; 2]| (0.0..SIZE[0]).contains(&p[0]) && (0.0..SIZE[1]).contains(&p[1]);
            if corners_px.iter().all(inside) {
                tags.push(SeenTag {
                    id: tag.id,
                    corners_px,
                });
            }
        }
        let photo = format!("{i}.jpg");
        for (m, mark) in marks.iter().enumerate() {
            let px = pixel(*mark, 1.5);
            taps.push(MarkView {
                mark: format!("mark-{m}").as_str().into(),
                photo: photo.clone(),
                px,
                sd_px: 1.5,
                surface: Surface::Inside,
            });
        }
        photos.push(PhotoTags {
            photo,
            width: 4032,
            height: 3024,
            orientation: 1,
            camera: CameraKey::default(),
            exif_focal_px: None,
            tags,
        });
    }
    let corners: usize = photos.iter().map(|p| 4 * p.tags.len()).sum();
    let mut times = Vec::new();
    for _ in 0..50 {
        let start = Instant::now();
        match solve(&mat, &photos, &taps, &SolveOptions::default()) {
            Ok(solution) => assert_eq!(solution.points.len(), marks.len()),
            Err(error) => eprintln!("refused: {error}"),
        }
        times.push(start.elapsed().as_secs_f64() * 1000.0);
    }
    times.sort_by(f64::total_cmp);
    let by_crate = general_purpose(&mat, &photos, &taps, &poses, marks.len());
    println!(
        "{}",
        json!({
            "what": format!("8 photographs, {corners} corners, 20 marks, {} taps: fastest", taps.len()),
            "unit": "ms", "ours": times[0], "beside": by_crate[0],
            "reference": "the levenberg-marquardt crate, plainest form", "aim": "<= 20 ms",
        })
    );
    println!(
        "{}",
        json!({"what": "  median", "unit": "ms", "ours": times[times.len() / 2], "aim": "<= 20 ms"})
    );
    Ok(())
}

/// Times of the general-purpose solver, the shortest first, ms.
fn general_purpose(
    mat: &Mat,
    photos: &[PhotoTags],
    taps: &[MarkView],
    poses: &[(Matrix3<f64>, Vector3<f64>)],
    marks: usize,
) -> Vec<f64> {
    let sights = || {
        let mut sights = Vec::new();
        for (shot, photo) in photos.iter().enumerate() {
            for tag in &photo.tags {
                let corners = mat.tag(tag.id).map(|t| t.corners_mm).unwrap_or_default();
                let seen = corners.into_iter().zip(tag.corners_px);
                sights.extend(seen.map(|(place, px)| Sight {
                    shot,
                    what: Ok(place.into()),
                    px,
                    sd_px: 0.17,
                }));
            }
        }
        for (i, tap) in taps.iter().enumerate() {
            sights.push(Sight {
                shot: i / marks,
                what: Err(i % marks),
                px: tap.px,
                sd_px: tap.sd_px,
            });
        }
        sights
    };
    let off = |i: usize| (poses[i].0, poses[i].1 + Vector3::new(4.0, -3.0, 12.0));
    let mut times = Vec::new();
    for _ in 0..5 {
        let problem = Dense::new(sights(), (0..poses.len()).map(off).collect(), marks);
        let start = Instant::now();
        match problem.fit() {
            Some(rms) => assert!(rms < 1.5, "not the same problem: {rms}"),
            None => eprintln!("the crate did not settle"),
        }
        times.push(start.elapsed().as_secs_f64() * 1000.0);
    }
    times.sort_by(f64::total_cmp);
    times
}
