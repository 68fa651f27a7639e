//! Lenses that the telephone's model does not describe: the terms they need are found where the tags
//! call for them, and only there. Source: projections written here, apart from the library's: the
//! perspective one with k1 k2 k3 p1 p2 and fx, fy as OpenCV's documentation of its camera model
//! gives it, and the equidistant one, r = f·θ.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use nalgebra::{Matrix3, Vector3};
use plinthside_measure::marks::Surface;
use plinthside_measure::mat::{Bar, Mat, MatTag, Printed};
use plinthside_measure::observed::{CameraKey, MarkView, PhotoTags, SeenTag};
use plinthside_measure::solve::{Projection, Solution, SolveOptions, Warning, solve};
use rand_distr::{Distribution, StandardNormal};

const SIZE: [f64; 2] = [640.0, 480.0];
const TAG_MM: f64 = 60.0;
const HELD: [u32; 4] = [7, 10, 25, 28];

type Lens = fn(&Vector3<f64>) -> [f64; 2];

fn plain(q: &Vector3<f64>) -> [f64; 2] {
    bent(q, [0.08, -0.1, 0.0], [0.0; 2], [500.0; 2])
}

fn crooked(q: &Vector3<f64>) -> [f64; 2] {
    bent(q, [-0.25, 0.12, -0.03], [0.002, -0.003], [402.0, 399.0])
}

fn bent(q: &Vector3<f64>, k: [f64; 3], p: [f64; 2], f: [f64; 2]) -> [f64; 2] {
    let (x, y) = (q.x / q.z, q.y / q.z);
    let r2 = x * x + y * y;
    let d = 1.0 + k[0] * r2 + k[1] * r2.powi(2) + k[2] * r2.powi(3);
    [
        f[0] * (d * x + 2.0 * p[0] * x * y + p[1] * (r2 + 2.0 * x * x)) + 322.0,
        f[1] * (d * y + p[0] * (r2 + 2.0 * y * y) + 2.0 * p[1] * x * y) + 238.0,
    ]
}

fn fisheye(q: &Vector3<f64>) -> [f64; 2] {
    let side = q.xy().norm().max(1e-12);
    let r = 230.0 * side.atan2(q.z);
    [r * q.x / side + 322.0, r * q.y / side + 238.0]
}

fn corners(id: u32) -> [[f64; 3]; 4] {
    let at = |i: u32| f64::from(i) * 1.3 * TAG_MM;
    let (x, y) = (at(id % 6), at(id / 6));
    [[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]]
        .map(|[a, b]| [x + a * TAG_MM, y + b * TAG_MM, 0.0])
}

/// Photographs of a 6 × 6 grid, six tags of it as marks; cameras spread by `spread` radians.
fn photographs(
    lens: Lens,
    views: usize,
    spread: f64,
    distance_mm: f64,
    seed: u64,
) -> Result<Solution, String> {
    let mut rng = support::rng(seed);
    let mut normal = |sd: f64| sd * Distribution::<f64>::sample(&StandardNormal, &mut rng);
    let (mut photos, mut taps) = (Vec::new(), Vec::new());
    for i in 0..views {
        let turn = 2.4 * i as f64;
        let lean = spread * (1.0 - 0.4 * (i % 3) as f64 / 2.0);
        let back = Vector3::new(lean.sin() * turn.cos(), lean.sin() * turn.sin(), lean.cos());
        let middle =
            Vector3::new(225.0, 225.0, 0.0) + Vector3::new(normal(40.0), normal(40.0), 0.0);
        let right = (-back)
            .cross(&Vector3::new((0.5 * turn).sin(), (0.5 * turn).cos(), 0.0))
            .normalize();
        let down = (-back).cross(&right);
        let rotation = Matrix3::from_rows(&[right, down, -back].map(|r| r.transpose()));
        let centre = middle + back * (distance_mm + normal(30.0));
        let mut tags = Vec::new();
        for id in 0..36 {
            let seen = corners(id).map(|c| rotation * (Vector3::from(c) - centre));
            let px = seen.map(|q| lens(&q).map(|v| v + normal(0.05)));
            let shown = |[x, y]: [f64; 2]| {
                (3.0..SIZE[0] - 3.0).contains(&x) && (3.0..SIZE[1] - 3.0).contains(&y)
            };
            if !px.iter().all(|p| shown(*p)) || seen.iter().any(|q| q.z < 1.0) {
                continue;
            }
            if HELD.contains(&id) {
                taps.extend(px.iter().enumerate().map(|(k, px)| MarkView {
                    mark: format!("{id}-{k}").as_str().into(),
                    photo: format!("{i}"),
                    px: *px,
                    sd_px: 0.05,
                    surface: Surface::Outside,
                }));
            } else {
                tags.push(SeenTag { id, corners_px: px });
            }
        }
        photos.push(PhotoTags {
            photo: format!("{i}"),
            width: 640,
            height: 480,
            orientation: 1,
            camera: CameraKey::default(),
            exif_focal_px: None,
            tags,
        });
    }
    let bar = Some(Bar {
        nominal_mm: 300.0,
        measured_mm: 300.0,
        sd_mm: 0.05,
    });
    let printed = Printed {
        across: bar,
        along: bar,
    };
    let tags = (0..36).filter(|id| !HELD.contains(id)).map(|id| MatTag {
        id,
        corners_mm: corners(id),
        sheet: 0,
    });
    let mat = Mat::new("a grid", tags.collect(), 1, Some(printed)).map_err(|e| e.to_string())?;
    let options = SolveOptions {
        min_rays_deg: 1.0,
        unfinished: true,
        ..SolveOptions::default()
    };
    solve(&mat, &photos, &taps, &options).map_err(|e| e.to_string())
}

/// Rms error of distances between the held-out corners (mm), and the share of coordinates inside 95 %.
fn judged(solution: &Solution) -> (f64, f64) {
    let pairs: Vec<(Vector3<f64>, Vector3<f64>)> = solution
        .points
        .iter()
        .map(|p| {
            let (id, k) = p.mark.as_str().split_once('-').expect("ours");
            let truth = corners(id.parse().expect("ours"))[k.parse::<usize>().expect("ours")];
            (Vector3::from(p.mat_mm), Vector3::from(truth))
        })
        .collect();
    let (mut squares, mut n, mut inside) = (0.0, 0.0, 0.0);
    for (i, (a, ta)) in pairs.iter().enumerate() {
        let sd = solution.sd_mm(i);
        inside += (0..3)
            .filter(|k| (a - ta)[*k].abs() < 1.96 * sd[*k])
            .count() as f64;
        for (b, tb) in &pairs[..i] {
            squares += ((a - b).norm() - (ta - tb).norm()).powi(2);
            n += 1.0;
        }
    }
    ((squares / n).sqrt(), inside / (3.0 * pairs.len() as f64))
}

#[test]
fn the_terms_of_a_crooked_lens_are_found() {
    let mut cover = 0.0;
    for seed in 0..10 {
        let solution = photographs(crooked, 8, 0.6, 560.0, seed).expect("solved");
        let terms = solution.intrinsics[0].further.expect("called for");
        let (rms, inside) = judged(&solution);
        println!("{terms:?}: distances {rms:.3} mm, inside {inside:.3}");
        assert_eq!(terms.projection, Projection::Perspective);
        assert!((terms.fx_over_fy - 402.0 / 399.0).abs() < 1.5e-3);
        assert!((terms.p1 - 0.002).abs() < 8e-4 && (terms.p2 + 0.003).abs() < 8e-4);
        assert!(rms < 450.0 / 2000.0);
        assert!(
            solution
                .warnings
                .iter()
                .any(|w| matches!(w, Warning::UnusualLens { wide: false, .. }))
        );
        cover += inside / 10.0;
    }
    assert!(cover > 0.92, "{cover}");
}

#[test]
fn a_fisheye_is_known_for_one() {
    let mut cover = 0.0;
    for seed in 0..10 {
        let solution = photographs(fisheye, 8, 0.6, 300.0, seed).expect("solved");
        let lens = &solution.intrinsics[0];
        let terms = lens.further.expect("called for");
        let (rms, inside) = judged(&solution);
        println!(
            "f {:.1}, {terms:?}: distances {rms:.3} mm, inside {inside:.3}",
            lens.f_px
        );
        assert_eq!(terms.projection, Projection::Equidistant);
        assert!((lens.f_px - 230.0).abs() < 3.0);
        assert!(rms < 450.0 / 2000.0);
        cover += inside / 10.0;
    }
    assert!(cover > 0.92, "{cover}");
}

#[test]
fn a_plain_lens_keeps_the_plain_model() {
    let found = support::on_both_cores(0..200, |seed| {
        photographs(plain, 6, 0.6, 620.0, seed).map(|s| s.intrinsics[0].further)
    });
    assert!(found.iter().all(|f| *f == Ok(None)), "{found:?}");
}

#[test]
fn many_photographs_from_nearly_one_place_settle() {
    for lens in [plain, crooked, fisheye] {
        let solution = photographs(lens, 30, 0.12, 500.0, 5).expect("solved");
        let (rms, inside) = judged(&solution);
        println!("distances {rms:.3} mm, inside {inside:.3}");
        assert!(rms < 450.0 / 1000.0 && inside > 0.85);
    }
}
