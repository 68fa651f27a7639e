//! The answer does not depend on what it should not: order, orientation flags, frames, camera roll.
//! Source: the simulator in `support`; orientations after EXIF 2.32 (CIPA DC-008), tag 0x0112.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use nalgebra::Vector3;
use plinthside_measure::mat::MatTag;
use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::solve::{Solution, SolveOptions, solve};
use support::{HEIGHT, WIDTH, World, four_corners, six_views};

fn run(world: &World, photos: &[PhotoTags], taps: &[MarkView]) -> Solution {
    solve(&world.mat, photos, taps, &SolveOptions::default()).expect("solved")
}

fn distances(a: &Solution) -> Vec<f64> {
    let p = |i: usize| Vector3::from(a.points[i].mat_mm);
    let n = a.points.len();
    (0..n)
        .flat_map(|i| (0..i).map(move |j| (i, j)))
        .map(|(i, j)| (p(i) - p(j)).norm())
        .collect()
}

fn same(name: &str, a: &Solution, b: &Solution, scale: f64) {
    let worst = distances(a)
        .iter()
        .zip(distances(b))
        .map(|(x, y)| (x * scale - y).abs())
        .fold(0.0, f64::max);
    // Against the first mark: the mat's origin, about which the aspect is held, is arbitrary.
    let sds = |s: &Solution| {
        let c = &s.covariance_mm2;
        let relative = |i: usize| c[(i, i)] + c[(i % 3, i % 3)] - 2.0 * c[(i, i % 3)];
        (3..c.nrows()).map(relative).sum::<f64>().sqrt()
    };
    let sd_ratio = sds(b) / sds(a) / scale;
    println!("{name}: distances differ by {worst:.1e} mm, sd ratio {sd_ratio:.6}");
    assert!(worst < 1e-4 * scale.max(1.0), "{name}: {worst}");
    assert!((sd_ratio - 1.0).abs() < 1e-3, "{name}: {sd_ratio}");
}

#[test]
fn order_of_photographs_tags_and_marks() {
    let world = World::new(six_views());
    let (photos, taps) = world.noisy(21);
    let first = run(&world, &photos, &taps);
    let (mut turned, mut marks) = (photos.clone(), taps.clone());
    turned.reverse();
    for p in &mut turned {
        p.tags.reverse();
    }
    let again = run(&world, &turned, &marks);
    same("photographs reversed", &first, &again, 1.0);
    marks.sort_by(|a, b| (&a.photo, &a.mark).cmp(&(&b.photo, &b.mark)));
    let again = run(&world, &photos, &marks);
    for point in &first.points {
        let (_, other) = again.point(point.mark.as_str()).expect("there");
        assert!((Vector3::from(point.mat_mm) - Vector3::from(other.mat_mm)).norm() < 1e-6);
    }
}

/// The tags turned on the sheet: the cast stays, the mat frame turns.
#[test]
fn a_turn_of_the_mat_frame() {
    let world = World::new(six_views());
    let (photos, taps) = world.noisy(22);
    let first = run(&world, &photos, &taps);
    for quarter in 1..4 {
        let mut other = world.clone();
        for tag in &mut other.mat.tags {
            tag.corners_mm = tag.corners_mm.map(|[x, y, z]| match quarter {
                1 => [297.0 - y, x, z],
                2 => [420.0 - x, 297.0 - y, z],
                _ => [y, 420.0 - x, z],
            });
        }
        let again = run(&other, &photos, &taps);
        let apart = |s: &Solution| {
            let [a, b] = [s.point("mtp-1"), s.point("heel-upper")].map(|p| p.expect("there").1);
            Vector3::from(a.mat_mm) - Vector3::from(b.mat_mm)
        };
        let (was, is) = (apart(&first), apart(&again));
        let expected = match quarter {
            1 => [-was.y, was.x, was.z],
            2 => [-was.x, -was.y, was.z],
            _ => [was.y, -was.x, was.z],
        };
        assert!(
            (is - Vector3::from(expected)).norm() < 1e-3,
            "turn {quarter}"
        );
        let worst = distances(&first)
            .iter()
            .zip(distances(&again))
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max);
        println!("turn {quarter}: distances differ by {worst:.1e} mm");
        assert!(worst < 1e-4);
    }
}

/// A mirrored scene: x of the mat and x of every picture change sign.
#[test]
fn a_mirror_left_to_right() {
    let world = World::new(six_views());
    let (photos, taps) = world.noisy(23);
    let first = run(&world, &photos, &taps);
    let mut other = world.clone();
    let flipped = |t: &MatTag| {
        let [a, b, c, d] = t.corners_mm.map(|[x, y, z]| [420.0 - x, y, z]);
        [b, a, d, c]
    };
    other
        .mat
        .tags
        .iter_mut()
        .for_each(|t| t.corners_mm = flipped(t));
    let (mut mirrored, mut marks) = (photos.clone(), taps.clone());
    for tag in mirrored.iter_mut().flat_map(|p| &mut p.tags) {
        let [a, b, c, d] = tag.corners_px.map(|[x, y]| [WIDTH - x, y]);
        tag.corners_px = [b, a, d, c];
    }
    for m in &mut marks {
        m.px[0] = WIDTH - m.px[0];
    }
    same("mirrored", &first, &run(&other, &mirrored, &marks), 1.0);
}

/// Centimetres for millimetres: only what the priors say in millimetres may notice, so it is
/// checked without them.
#[test]
fn the_unit_of_length_changes_nothing() {
    let world = World::new(four_corners());
    let (photos, taps) = world.noisy(24);
    let options = SolveOptions {
        priors: false,
        ..SolveOptions::default()
    };
    let first = solve(&world.mat, &photos, &taps, &options).expect("solved");
    let mut other = world.mat.clone();
    for tag in &mut other.tags {
        tag.corners_mm = tag.corners_mm.map(|c| c.map(|v| v * 0.1));
    }
    let again = solve(&other, &photos, &taps, &options).expect("solved");
    same("tenth", &first, &again, 0.1);
}

/// The same scene rolled about the optical axis: taken by a camera held otherwise.
#[test]
fn a_roll_of_the_camera() {
    let world = World::new(six_views());
    let exact = |roll: f64| {
        let mut world = world.clone();
        world.stands.iter_mut().for_each(|s| s.roll_deg += roll);
        // The same marks and tags in view, whatever the frame cuts off.
        world.observe(&World::new(six_views()).visible(), &mut support::rng(0))
    };
    let options = SolveOptions {
        priors: false,
        ..SolveOptions::default()
    };
    let mut base = None;
    for roll in [0.0, 180.0] {
        let (mut photos, mut taps) = exact(roll);
        // Half a turn maps the picture onto itself, and the noise with it.
        if roll > 0.0 {
            let (p0, t0) = exact(0.0);
            for (p, q) in photos.iter_mut().zip(&p0) {
                for (t, u) in p.tags.iter_mut().zip(&q.tags) {
                    t.corners_px = u.corners_px.map(|[x, y]| [WIDTH - x, HEIGHT - y]);
                }
            }
            for (t, u) in taps.iter_mut().zip(&t0) {
                t.px = [WIDTH - u.px[0], HEIGHT - u.px[1]];
            }
        }
        let solution = solve(&world.mat, &photos, &taps, &options).expect("solved");
        match &base {
            None => base = Some(solution),
            Some(first) => same("half a turn", first, &solution, 1.0),
        }
    }
}

/// Every EXIF orientation of the same sensor picture gives the same answer and one camera.
#[test]
fn exif_orientations_one_to_eight() {
    let mut world = World::new(six_views());
    world.c = [WIDTH / 2.0 + 40.0, HEIGHT / 2.0 - 25.0];
    let (photos, taps) = world.noisy(25);
    let first = run(&world, &photos, &taps);
    for orientation in 1..=8_u8 {
        let (mut turned, mut marks) = (photos.clone(), taps.clone());
        // Alternate photographs carry the flag: they must still count as one camera.
        for i in (0..photos.len()).step_by(2) {
            let upright = |[x, y]: [f64; 2]| match orientation {
                1 | 2 => [x, y],
                3 | 4 => [WIDTH - x, HEIGHT - y],
                6 | 7 => [HEIGHT - y, x],
                _ => [y, WIDTH - x],
            };
            turned[i].orientation = orientation;
            if orientation > 4 {
                (turned[i].width, turned[i].height) = (HEIGHT as u32, WIDTH as u32);
            }
            for tag in &mut turned[i].tags {
                tag.corners_px = tag.corners_px.map(upright);
            }
            for mark in marks.iter_mut().filter(|m| m.photo == photos[i].photo) {
                mark.px = upright(mark.px);
            }
        }
        let again = run(&world, &turned, &marks);
        assert_eq!(again.intrinsics.len(), 1, "orientation {orientation}");
        assert!((again.intrinsics[0].cx - first.intrinsics[0].cx).abs() < 1e-3);
        same(&format!("orientation {orientation}"), &first, &again, 1.0);
    }
}
