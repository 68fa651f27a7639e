//! Ghost lines pass through the truth, ellipses hold it, and following the advice helps.
//! Source: the simulator in `support`.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use nalgebra::{Matrix2, Vector2};
use plinthside_measure::advice::{AdviceError, Goal, Judged, Nominal, Remedy, remedy, where_next};
use plinthside_measure::marks::MarkName;
use plinthside_measure::predict::{PredictError, ghost_line, place, project};
use plinthside_measure::solve::{SolveOptions, solve};
use support::quantities::angle_gradients;
use support::{Stand, World, four_corners, marks, six_views};

#[test]
fn the_ghost_line_passes_through_the_mark_in_every_other_photograph() {
    let mut world = World::new(six_views());
    world.k = [0.08, -0.05];
    let (photos, taps) = world.exact();
    let options = SolveOptions {
        unfinished: true,
        ..SolveOptions::default()
    };
    let solution = solve(&world.mat, &photos, &[], &options).expect("cameras");
    let (mut lines, mut worst) = (0, 0.0_f64);
    for tap in &taps {
        for other in taps
            .iter()
            .filter(|o| o.mark == tap.mark && o.photo != tap.photo)
        {
            let line = ghost_line(&solution, tap, &other.photo, 0.0..=250.0).expect("known");
            let distance = line
                .windows(2)
                .map(|s| {
                    let [a, b, p] = [s[0], s[1], other.px].map(Vector2::from);
                    let along = ((p - a).dot(&(b - a)) / (b - a).norm_squared()).clamp(0.0, 1.0);
                    (a + (b - a) * along - p).norm()
                })
                .fold(f64::MAX, f64::min);
            worst = worst.max(distance);
            lines += 1;
        }
    }
    println!("{lines} lines, farthest {worst:.3} px from the mark");
    assert!(lines > 20 && worst < 0.5);
}

#[test]
fn the_predicted_ellipse_holds_the_next_tap() {
    let world = World::new(six_views());
    let seen = world.visible();
    let (mut inside, mut all) = (0, 0);
    for seed in 0..150 {
        let (photos, taps) = world.observe(&seen, &mut support::rng(700 + seed));
        for next in &taps {
            let rest: Vec<_> = taps
                .iter()
                .filter(|t| !(t.mark == next.mark && t.photo == next.photo))
                .cloned()
                .collect();
            if rest.iter().filter(|t| t.mark == next.mark).count() < 2 || seed % 10 != 0 {
                continue;
            }
            let Ok(solution) = solve(&world.mat, &photos, &rest, &SolveOptions::default()) else {
                continue;
            };
            let p = place(&solution, &next.mark, &next.photo, 1.5)
                .expect("known")
                .expect("seen");
            let [[a, b], [c, d]] = p.covariance_px2;
            let e = Vector2::from(next.px) - Vector2::from(p.px);
            let q = Matrix2::new(a, b, c, d).try_inverse().expect("regular");
            inside += u32::from((e.transpose() * q * e)[0] < 5.991);
            all += 1;
            assert!(p.inside && p.half_axes_px[0] >= p.half_axes_px[1]);
        }
    }
    let share = f64::from(inside) / f64::from(all);
    println!("{inside} of {all} next taps inside the 95 % ellipse");
    assert!(all > 150 && (0.91..=0.99).contains(&share), "{share}");
}

#[test]
fn unknown_names_are_refused() {
    let world = World::new(six_views());
    let (photos, taps) = world.noisy(1);
    let solution = solve(&world.mat, &photos, &taps, &SolveOptions::default()).expect("solved");
    let unknown = MarkName::from("mtp-9");
    assert!(matches!(
        place(&solution, &unknown, "photo-1.jpg", 1.5),
        Err(PredictError::NotPlaced(_))
    ));
    assert!(matches!(
        project(&solution, "x", [0.0; 3]),
        Err(PredictError::NoSuchPhotograph(_))
    ));
    #[allow(clippy::reversed_empty_ranges)]
    let empty = ghost_line(&solution, &taps[0], "photo-2.jpg", 9.0..=3.0);
    assert_eq!(empty, Err(PredictError::Heights));
    let bad = [Nominal {
        mark: unknown,
        mat_mm: None,
        normal: [0.0; 3],
    }];
    let impossible = |nominal: &[Nominal], goals: &[Goal], toes_deg: f64| {
        let error = where_next(&solution, nominal, goals, toes_deg);
        assert!(
            matches!(error, Err(AdviceError::Impossible(_))),
            "{error:?}"
        );
    };
    impossible(&bad, &[], 0.0);
    impossible(&[], &[], f64::NAN);
    for (tolerance, slope) in [
        (0.0, 1.0),
        (-1.0, 1.0),
        (f64::NAN, 1.0),
        (1.0, f64::INFINITY),
    ] {
        let gradient = vec![(taps[0].mark.clone(), [slope, 0.0, 0.0])];
        impossible(
            &[],
            &[Goal {
                gradient,
                tolerance,
            }],
            0.0,
        );
    }
    let tags_alone = solve(&world.mat, &photos, &[], &SolveOptions::default()).expect("solved");
    let nothing = where_next(&tags_alone, &[], &[], 0.0);
    assert_eq!(nothing, Err(AdviceError::NoMarks));
}

fn goals(world: &World) -> Vec<Goal> {
    let names = marks();
    let gradient = |k: usize| {
        let g = &angle_gradients(&world.truth())[k];
        names
            .iter()
            .enumerate()
            .map(|(m, mark)| (mark.name.into(), [g[3 * m], g[3 * m + 1], g[3 * m + 2]]))
            .collect()
    };
    [0, 1, 4]
        .map(|k| Goal {
            gradient: gradient(k),
            tolerance: 0.3,
        })
        .to_vec()
}

fn nominal(world: &World) -> Vec<Nominal> {
    marks()
        .iter()
        .zip(world.truth())
        .map(|(m, p)| Nominal {
            mark: m.name.into(),
            mat_mm: Some(p.into()),
            normal: m.normal.into(),
        })
        .collect()
}

/// The photograph advised is really taken: the worst sd must fall about as promised.
#[test]
fn the_advised_photograph_helps_as_promised() {
    let world = World::new(four_corners());
    let (photos, taps) = world.noisy(31);
    let before = solve(&world.mat, &photos, &taps, &SolveOptions::default()).expect("solved");
    let goals = goals(&world);
    let advice = where_next(&before, &nominal(&world), &goals, 0.0).expect("advice");
    println!(
        "{advice} worst {:.2} to {:.2}",
        advice.worst_now, advice.worst_then
    );
    assert!(advice.serves.is_empty() && advice.worst_then < 0.95 * advice.worst_now);
    let mut stands = four_corners();
    stands.push(Stand {
        azimuth_deg: advice.azimuth_deg,
        elevation_deg: advice.elevation_deg,
        roll_deg: if advice.quarter_turn { 90.0 } else { 0.0 },
        distance_mm: 480.0,
    });
    let world = World::new(stands);
    let (photos, taps) = world.noisy(31);
    let after = solve(&world.mat, &photos, &taps, &SolveOptions::default()).expect("solved");
    let again = where_next(&after, &nominal(&world), &goals, 0.0).expect("advice");
    println!("then really {:.2}", again.worst_now);
    assert!(again.worst_now < advice.worst_now);
    assert!((again.worst_now / advice.worst_then - 1.0).abs() < 0.3);
}

#[test]
fn a_mark_seen_less_than_twice_is_served_first() {
    let world = World::new(four_corners());
    let (photos, mut taps) = world.noisy(32);
    taps.retain(|t| t.mark.as_str() != "malleolus-lateral" || t.photo == "photo-1.jpg");
    let options = SolveOptions {
        unfinished: true,
        ..SolveOptions::default()
    };
    let solution = solve(&world.mat, &photos, &taps, &options).expect("solved");
    let advice = where_next(&solution, &nominal(&world), &goals(&world), 0.0).expect("advice");
    println!("{advice} {:?}", advice.serves);
    assert_eq!(advice.serves, vec![MarkName::from("malleolus-lateral")]);
    // Its face looks to the patient's left.
    assert!((15.0..=165.0).contains(&advice.azimuth_deg));
}

/// From every side but the one advised the shell may stand before a sole's mark: what the advice
/// promises, the simulator's own shell must let through.
#[test]
fn a_mark_promised_is_not_behind_the_shell() {
    for mark in ["mtp-1", "mtp-5", "malleolus-medial", "heel-lower"] {
        let world = World::new(four_corners());
        let (photos, mut taps) = world.noisy(33);
        let one = taps.iter().position(|t| t.mark.as_str() == mark);
        let kept = taps[one.expect("seen")].photo.clone();
        taps.retain(|t| t.mark.as_str() != mark || t.photo == kept);
        let options = SolveOptions {
            unfinished: true,
            ..SolveOptions::default()
        };
        let solution = solve(&world.mat, &photos, &taps, &options).expect("solved");
        let advice = where_next(&solution, &nominal(&world), &goals(&world), 0.0).expect("advice");
        println!("{mark}: {advice}");
        assert_eq!(advice.serves, vec![MarkName::from(mark)]);
        let taken = World::new(vec![Stand {
            azimuth_deg: advice.azimuth_deg,
            elevation_deg: advice.elevation_deg,
            roll_deg: 0.0,
            distance_mm: 480.0,
        }]);
        let promised = marks().into_iter().find(|m| m.name == mark);
        assert!(taken.shows_mark(0, &promised.expect("a mark")), "{mark}");
    }
}

#[test]
fn the_remedy_follows_the_source_of_the_doubt() {
    let judged = |value, instrument_sd, total_sd, apart_mm| Judged {
        value,
        instrument_sd,
        total_sd,
        t95: 1.96,
        limits: &[4.0, 8.0],
        apart_mm,
    };
    assert_eq!(remedy(&judged(1.0, 0.2, 1.0, None)), Remedy::Nothing);
    assert_eq!(
        remedy(&judged(3.8, 0.2, 3.0, None)),
        Remedy::AnotherPhotograph
    );
    assert_eq!(
        remedy(&judged(2.0, 0.8, 1.5, None)),
        Remedy::AnotherPhotograph
    );
    assert_eq!(remedy(&judged(2.0, 0.3, 3.0, None)), Remedy::ReMark);
    assert_eq!(
        remedy(&judged(2.0, 0.3, 3.0, Some((48.0, 80.0)))),
        Remedy::FartherApart
    );
    assert_eq!(
        remedy(&judged(2.0, 0.3, 3.0, Some((78.0, 80.0)))),
        Remedy::ReMark
    );
}
