//! Intervals hold where the world is not the model: autofocus, paper that is not flat, a stretched
//! print, wrong tags. Source: the simulator in `support`; the cases are the design's own.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use plinthside_measure::solve::{SolveError, SolveOptions, solve};
use rand::Rng;
use support::{Compared, World, four_corners, on_both_cores, six_views};

fn curl(u: f64, _: f64) -> f64 {
    1.2 * (2.0 * u - 1.0).max(0.0).powi(2)
}

fn lifted_corners(u: f64, v: f64) -> f64 {
    let nearest = (u.abs() - 1.05).hypot(v.abs() - 0.74);
    3.0 * (1.0 - nearest / 0.4).max(0.0).powi(2)
}

fn wrinkle(u: f64, v: f64) -> f64 {
    0.3 * (9.0 * u + 4.0 * v).sin()
}

fn uneven(u: f64, v: f64) -> f64 {
    0.5 * (curl(u, v) + wrinkle(u, v)) + lifted_corners(u, v)
}

#[derive(Clone, Copy, Default)]
struct Case {
    autofocus: bool,
    paper: Option<fn(f64, f64) -> f64>,
    aspect: f64,
    wrong_tags: f64,
}

#[test]
fn intervals_hold_in_a_world_that_is_not_the_model() {
    let flat = Case::default();
    let cases = [
        (
            "autofocus 1-2 %",
            Case {
                autofocus: true,
                ..flat
            },
        ),
        (
            "curl",
            Case {
                paper: Some(curl),
                ..flat
            },
        ),
        (
            "half the curl",
            Case {
                paper: Some(|u, v| 0.5 * curl(u, v)),
                ..flat
            },
        ),
        (
            "lifted corners 3 mm",
            Case {
                paper: Some(lifted_corners),
                ..flat
            },
        ),
        (
            "wrinkle",
            Case {
                paper: Some(wrinkle),
                ..flat
            },
        ),
        (
            "aspect 0.4 %",
            Case {
                aspect: 0.004,
                ..flat
            },
        ),
        (
            "4 % wrong tags",
            Case {
                wrong_tags: 0.04,
                ..flat
            },
        ),
        (
            "all together",
            Case {
                autofocus: true,
                paper: Some(uneven),
                aspect: 0.004,
                wrong_tags: 0.04,
            },
        ),
    ];
    for (name, case) in cases {
        for (views, stands) in [("four corners", four_corners()), ("six views", six_views())] {
            let mut nominal = World::new(stands);
            nominal.wrinkle = case.paper;
            nominal.aspect = case.aspect;
            let seen = nominal.visible();
            let covers = on_both_cores(0..200, |seed| {
                let mut rng = support::rng(50_000 + seed);
                let mut world = nominal.clone();
                world.k = [0.05, -0.04];
                if case.autofocus {
                    for e in &mut world.e {
                        let sign = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
                        *e = sign * support::uniform(&mut rng, 0.01, 0.02);
                    }
                }
                let (mut photos, taps) = world.observe(&seen, &mut rng);
                for tag in photos.iter_mut().flat_map(|p| &mut p.tags) {
                    if rng.random_bool(case.wrong_tags) {
                        let by = [0, 1].map(|_| support::uniform(&mut rng, -40.0, 40.0));
                        tag.corners_px = tag.corners_px.map(|[x, y]| [x + by[0], y + by[1]]);
                    }
                }
                solve(&world.mat, &photos, &taps, &SolveOptions::default())
                    .map(|s| Compared::new(&s, &world.truth()).covered())
            });
            let refused: Vec<_> = covers.iter().filter_map(|c| c.as_ref().err()).collect();
            let held: Vec<f64> = covers
                .iter()
                .filter_map(|c| c.as_ref().ok().copied())
                .collect();
            let n = held.len() as f64;
            let cover = held.iter().sum::<f64>() / n;
            // Quantities of one draw err together, so the draws are the sample.
            let squares: f64 = held.iter().map(|c| (c - cover).powi(2)).sum();
            println!(
                "{name}, {views}: cover {cover:.3} ± {:.3}, {} refused {:?}",
                squares.sqrt() / n,
                refused.len(),
                refused.first()
            );
            assert!(cover >= 0.92, "{name}, {views}: {cover}");
            assert!(refused.len() <= 10, "{name}, {views}");
        }
    }
}

/// With curl and wrinkle as large together as each is alone, and lifted corners besides, the sheet
/// bows beyond 1.5 mm: most draws are refused in words, as they must be, and measured by nobody.
#[test]
fn everything_at_full_size_is_mostly_refused_as_bowed() {
    for (views, stands) in [("four corners", four_corners()), ("six views", six_views())] {
        let mut world = World::new(stands);
        world.wrinkle = Some(|u, v| curl(u, v) + wrinkle(u, v) + lifted_corners(u, v));
        world.aspect = 0.004;
        world.k = [0.05, -0.04];
        let seen = world.visible();
        let bowed = on_both_cores(0..60, |seed| {
            let (photos, taps) = world.observe(&seen, &mut support::rng(70_000 + seed));
            let solved = solve(&world.mat, &photos, &taps, &SolveOptions::default());
            matches!(solved, Err(SolveError::MatNotFlat { .. }))
        });
        let share = bowed.iter().filter(|b| **b).count() as f64 / bowed.len() as f64;
        println!("{views}: {share:.2} refused as bowed");
        assert!(share > 0.5, "{views}: {share}");
    }
}
