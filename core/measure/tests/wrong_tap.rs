//! A tap 15 px off is caught as often as its number of views allows, and named where that can be.
//! Source: the simulator in `support`; the shares are the design's own.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use plinthside_measure::solve::{SolveError, SolveOptions, solve};
use rand::Rng;
use support::{Stand, World, four_corners, on_both_cores, six_views};

#[test]
fn a_tap_fifteen_pixels_off_is_caught() {
    let mut caught = [(0_u32, 0_u32, 0_u32); 5];
    let mut many = six_views();
    many.push(Stand {
        azimuth_deg: -90.0,
        ..many[4]
    });
    for stands in [four_corners(), six_views(), many] {
        let world = World::new(stands);
        let seen = world.visible();
        let outcomes = on_both_cores(0..600, |seed| {
            let mut rng = support::rng(90_000 + seed);
            let (photos, mut taps) = world.observe(&seen, &mut rng);
            let wrong = rng.random_range(0..taps.len());
            let direction = support::uniform(&mut rng, 0.0, std::f64::consts::TAU);
            taps[wrong].px[0] += 15.0 * direction.cos();
            taps[wrong].px[1] += 15.0 * direction.sin();
            let tap = &taps[wrong];
            let views = taps.iter().filter(|t| t.mark == tap.mark).count();
            let (hit, named) = match solve(&world.mat, &photos, &taps, &SolveOptions::default()) {
                Err(SolveError::WrongTap { mark, photo, .. }) => {
                    (mark == tap.mark, mark == tap.mark && photo == tap.photo)
                }
                Err(SolveError::OneOfTwoTaps {
                    mark,
                    first,
                    second,
                }) => {
                    let right = mark == tap.mark && (first == tap.photo || second == tap.photo);
                    (right, right)
                }
                _ => (false, false),
            };
            (views, hit, named)
        });
        for (views, hit, named) in outcomes {
            let entry = &mut caught[views.min(4)];
            entry.0 += 1;
            entry.1 += u32::from(hit);
            entry.2 += u32::from(named);
        }
    }
    let least = [0.0, 0.0, 0.60, 0.84, 0.97];
    for views in 2..=4 {
        let (all, hit, named) = caught[views];
        let share = f64::from(hit) / f64::from(all);
        println!("{views} views: {hit} of {all} caught ({share:.3}), photograph named in {named}");
        assert!(all > 50, "{views} views: too few cases");
        assert!(share >= least[views], "{views} views: {share}");
    }
}
