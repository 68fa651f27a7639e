//! Photographs of one cast by two cameras: each gets a lens of its own; without EXIF to tell them
//! apart the result is still as good as its ±, or refused. Source: the simulator in `support`.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::solve::{SolveOptions, solve};
use support::{Compared, World, six_views};

/// Every second photograph by a camera of another focal length.
fn mixed(focal_px: f64, seed: u64, told: bool) -> (World, Vec<PhotoTags>, Vec<MarkView>) {
    let world = World::new(six_views());
    let other = World {
        f: focal_px,
        c: [world.c[0] + 25.0, world.c[1] - 18.0],
        ..world.clone()
    };
    let (mut photos, mut taps) = world.noisy(seed);
    let (by_other, taps_by_other) = other.noisy(seed + 1);
    for (i, photo) in by_other.into_iter().enumerate().filter(|(i, _)| i % 2 == 1) {
        taps.retain(|tap| tap.photo != photo.photo);
        let own = taps_by_other.iter().filter(|tap| tap.photo == photo.photo);
        taps.extend(own.cloned());
        photos[i] = photo;
        if told {
            photos[i].camera.model = "Another".into();
        }
    }
    (world, photos, taps)
}

#[test]
fn each_camera_gets_its_own_lens() {
    let mut covered = 0.0;
    for seed in 0..10 {
        let (world, photos, taps) = mixed(2700.0, 100 + 2 * seed, true);
        let solution = solve(&world.mat, &photos, &taps, &SolveOptions::default()).expect("solved");
        let [own, other] = &solution.intrinsics[..] else {
            panic!("{} lenses", solution.intrinsics.len());
        };
        let [one, two] = if own.camera.model.is_empty() {
            [own, other]
        } else {
            [other, own]
        };
        assert_eq!((one.photos.len(), two.photos.len()), (3, 3));
        assert!(
            (one.f_px - 3080.0).abs() < 4.0 * one.sd_f_px,
            "{} ± {}",
            one.f_px,
            one.sd_f_px
        );
        assert!(
            (two.f_px - 2700.0).abs() < 4.0 * two.sd_f_px,
            "{} ± {}",
            two.f_px,
            two.sd_f_px
        );
        covered += Compared::new(&solution, &world.truth()).covered() / 10.0;
    }
    println!("two cameras: cover {covered:.3}");
    assert!(covered > 0.92);
}

/// Names taken off by a messenger: two cameras pass for one.
#[test]
fn cameras_that_nothing_tells_apart_are_no_worse_than_stated() {
    for focal_px in [2700.0, 2980.0] {
        let (mut covered, mut solved) = (0.0, 0.0_f64);
        for seed in 0..10 {
            let (world, photos, taps) = mixed(focal_px, 300 + 2 * seed, false);
            match solve(&world.mat, &photos, &taps, &SolveOptions::default()) {
                Ok(solution) => {
                    covered += Compared::new(&solution, &world.truth()).covered();
                    solved += 1.0;
                }
                Err(refusal) => println!("{refusal}"),
            }
        }
        println!(
            "{focal_px} px beside 3080: {solved} of 10 solved, cover {:.3}",
            covered / solved.max(1.0)
        );
        assert!(solved == 0.0 || covered / solved > 0.9);
    }
}
