//! The ± is true: 500 draws of the fitted model, nuisances drawn from their priors, against the
//! Cramér-Rao bound. Source: `support/bound.rs`, computed from the simulator alone.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use nalgebra::DMatrix;
use plinthside_measure::solve::{SolveError, SolveOptions, solve};
use support::paper::over_paper;
use support::quantities::{ANGLES, angle_gradients, in_cast_frame};
use support::{Compared, World, bound, four_corners, on_both_cores, quantity_names, six_views};

const DRAWS: usize = 500;

/// Least possible sd of every quantity.
fn least(world: &World, seen: &support::Seen) -> Vec<f64> {
    let bound = bound::mark_covariance(world, seen);
    let mut least: Vec<f64> = bound.diagonal().iter().map(|v| v.sqrt()).collect();
    for g in angle_gradients(&world.truth()) {
        least.push((g.transpose() * &bound * &g)[0].sqrt());
    }
    least
}

#[test]
fn errors_reach_the_bound_and_intervals_hold() {
    let (mut squares, mut bare, mut reported, mut count) = (0.0, 0.0, 0.0, 0.0);
    for (name, nominal) in [
        ("four corners", World::new(four_corners())),
        ("six views", World::new(six_views())),
        ("inked inside", World::inked_inside()),
    ] {
        let seen = nominal.visible();
        let (hidden_tags, hidden_marks) = nominal.hidden();
        assert!(
            !hidden_tags.is_empty() && !hidden_marks.is_empty(),
            "a shell of glass"
        );
        // Draws whose sheet comes out bowed beyond 1.5 mm are refused, by rule. Refusing on what
        // was found leaves the posterior of the others what it is.
        let drawn = on_both_cores(0..2 * DRAWS as u64, |seed| {
            let mut rng = support::rng(1000 + seed);
            let mut world = nominal.clone();
            world.draw_nuisances(&mut rng);
            let (photos, taps) = world.observe(&seen, &mut rng);
            solve(&world.mat, &photos, &taps, &SolveOptions::default())
                .inspect(|s| assert_eq!(s.intrinsics[0].further, None, "draw {seed}"))
                .map(|s| {
                    let truth = over_paper(&world, &seen, &world.truth());
                    (Compared::new(&s, &truth), least(&world, &seen))
                })
        });
        let bowed = drawn
            .iter()
            .filter(|d| matches!(d, Err(SolveError::MatNotFlat { .. })))
            .count();
        let refused: Vec<_> = drawn.iter().filter_map(|d| d.as_ref().err()).collect();
        let false_alarms = refused.len() - bowed;
        let draws: Vec<_> = drawn
            .iter()
            .filter_map(|d| d.as_ref().ok())
            .take(DRAWS)
            .collect();
        println!(
            "{name}: {bowed} of {} bowed, {false_alarms} false alarms",
            drawn.len()
        );

        assert_eq!(draws.len(), DRAWS, "too few draws left");
        assert!((false_alarms as f64) < 0.01 * (drawn.len() - bowed) as f64);
        let n = DRAWS as f64;
        for (q, quantity) in quantity_names().iter().enumerate() {
            let squared: f64 = draws
                .iter()
                .map(|(d, least)| (d.errors[q] / least[q]).powi(2))
                .sum();
            let ratio = (squared / n).sqrt();
            // Once by the model's covariance alone, once as reported: with Student's t and the
            // taps' factor, which is never under 1 and therefore wider.
            let hits = |reach: &dyn Fn(&Compared) -> f64| {
                draws
                    .iter()
                    .filter(|(d, _)| d.errors[q].abs() < reach(d) * d.sds[q])
                    .count() as f64
            };
            let by_model = hits(&|d| 1.96 / d.tap_factor.sqrt());
            let as_reported = hits(&|d| d.t95);
            let sd = draws.iter().map(|(_, least)| least[q]).sum::<f64>() / n;
            println!(
                "  {quantity:22} bound {sd:.3} rms/bound {ratio:.3} cover {:.3}, as reported {:.3}",
                by_model / n,
                as_reported / n
            );
            assert!(
                (0.89..1.115).contains(&ratio),
                "{name}: {quantity}: {ratio}"
            );
            assert!(
                (0.91..=0.985).contains(&(by_model / n)),
                "{name}: {quantity}"
            );
            assert!(as_reported / n >= 0.91, "{name}: {quantity}");
            squares += squared;
            bare += by_model;
            reported += as_reported;
            count += n;
        }
    }
    let (ratio, bare, reported) = ((squares / count).sqrt(), bare / count, reported / count);
    println!("pooled rms/bound {ratio:.4} cover {bare:.4}, as reported {reported:.4}");
    assert!((0.98..1.02).contains(&ratio));
    assert!((0.943..0.957).contains(&bare));
    assert!((0.943..0.98).contains(&reported));
}

/// The sizes expected of 12 megapixels and taps of 1.5 px, in the cast frame.
#[test]
fn the_expected_size_is_kept() {
    let expected = [
        ("four corners", four_corners(), 0.30, 0.31, 0.43),
        ("six views", six_views(), 0.24, 0.25, 0.35),
    ];
    for (name, stands, point_mm, hinge_deg, alpha_deg) in expected {
        let world = World::new(stands);
        let (photos, taps) = world.noisy(7);
        let solution = solve(&world.mat, &photos, &taps, &SolveOptions::default()).expect("solved");
        let truth = world.truth();
        let marks = support::marks();
        let row = |i: usize| 3 * solution.point(marks[i / 3].name).expect("placed").0 + i % 3;
        let n = 3 * marks.len();
        let covariance = DMatrix::from_fn(n, n, |i, j| solution.covariance_mm2[(row(i), row(j))]);
        let cast = DMatrix::from_fn(n, n, |i, k| {
            let moved = |by: f64| {
                let mut p = truth.clone();
                p[k / 3][k % 3] += by;
                in_cast_frame(&p)[i / 3][i % 3]
            };
            (moved(1e-4) - moved(-1e-4)) / 2e-4
        });
        let sizes = |covariance: &DMatrix<f64>| {
            let per_axis: Vec<f64> = (0..marks.len())
                .map(|m| (covariance.view((3 * m, 3 * m), (3, 3)).trace() / 3.0).sqrt())
                .collect();
            let mean = per_axis.iter().sum::<f64>() / per_axis.len() as f64;
            (mean, per_axis.iter().fold(0.0, |a: f64, b| a.max(*b)))
        };
        let covariance = covariance / solution.tap_factor;
        // On the mat, and in the cast frame, whose origin HL's own error moves every other point.
        let (mean, most) = sizes(&covariance);
        // Among each other: what moves all marks alike taken out.
        let alike = DMatrix::from_fn(n, n, |i, j| {
            f64::from(u8::from(i == j)) - f64::from(u8::from(i % 3 == j % 3)) / marks.len() as f64
        });
        let (mean_apart, most_apart) = sizes(&(&alike * &covariance * &alike));
        let bound = bound::mark_covariance(&world, &world.visible());
        // No unbiased estimator does better on these photographs: 0.20 mm at four corners is not
        // to be had with 480 mm, these stands and this shell.
        let (least_mean, least_most) = sizes(&(&cast * &bound * cast.transpose()));
        let (mean_in_cast, most_in_cast) = sizes(&(&cast * &covariance * cast.transpose()));
        let gradients = angle_gradients(&truth);
        let angle = |k: usize| {
            let g = &gradients[k];
            (g.transpose() * &covariance * g)[0].sqrt()
        };
        println!(
            "{name}: points mean {mean:.3} max {most:.3} mm, from HL {mean_in_cast:.3} and {most_in_cast:.3}, among each other {mean_apart:.3} and {most_apart:.3} mm, {ANGLES:?} {:.2?}",
            [0, 1, 2, 3, 4, 5].map(angle)
        );
        println!("  the bound from HL: mean {least_mean:.3} max {least_most:.3} mm");
        assert!((mean_in_cast / least_mean - 1.0).abs() < 0.05, "{name}");
        assert!((most_in_cast / least_most - 1.0).abs() < 0.08, "{name}");
        assert!(mean_in_cast < point_mm, "{name}: {mean_in_cast}");
        assert!(angle(0).max(angle(1)) < hinge_deg, "{name}");
        assert!(angle(4) < alpha_deg, "{name}");
    }
}
