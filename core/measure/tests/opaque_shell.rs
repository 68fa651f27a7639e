//! The simulated shell is opaque: every other test that says so leans on this. Source: where plaster
//! stands in `support`, and straight lines.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use support::quantities::angle_gradients;
use support::{Stand, World, bound, four_corners, six_views};

fn worlds() -> [(&'static str, World); 3] {
    [
        ("four corners", World::new(four_corners())),
        ("six views", World::new(six_views())),
        ("inked inside", World::inked_inside()),
    ]
}

fn shows(world: &World, name: &str) -> Vec<Stand> {
    let marks = world.marks();
    let seen = world.visible().1.into_iter();
    seen.filter(|(_, m)| marks[*m].name == name)
        .map(|(i, _)| world.stands[i])
        .collect()
}

#[test]
fn no_photograph_shows_all_and_every_mark_is_seen_twice() {
    for (name, world) in worlds() {
        let marks = world.marks();
        let (tags, taps) = world.visible();
        for i in 0..world.stands.len() {
            let count = taps.iter().filter(|(photo, _)| *photo == i).count();
            assert!(count < marks.len(), "{name}: photograph {i} shows all");
        }
        for mark in &marks {
            assert!(shows(&world, mark.name).len() >= 2, "{name}: {}", mark.name);
        }
        let (hidden_tags, hidden_taps) = world.hidden();
        println!(
            "{name}: {} tags and {} marks shown, {} and {} behind plaster",
            tags.len(),
            taps.len(),
            hidden_tags.len(),
            hidden_taps.len()
        );
        assert!(hidden_tags.len() * 20 > tags.len(), "{name}");
        assert!(!hidden_taps.is_empty(), "{name}");
    }
}

/// The wall behind the leg is 170 mm and more high: from straight behind, no camera at 45° or less
/// looks over it onto the sole, 150 mm ahead (170 mm on 150 mm is 49°).
#[test]
fn the_sole_is_not_seen_from_straight_behind() {
    for (name, world) in &worlds()[1..] {
        for mark in ["mtp-1", "mtp-5"] {
            let behind = |stand: &Stand| stand.azimuth_deg.abs() > 150.0;
            assert!(!shows(world, mark).iter().any(behind), "{name}: {mark}");
            let glass = World {
                opaque: false,
                ..world.clone()
            };
            assert!(shows(&glass, mark).iter().any(behind), "{name}: {mark}");
        }
    }
}

/// Ink on the inner face of one side is looked at from the other side, over its wall or past it.
#[test]
fn ink_inside_is_seen_from_across() {
    let world = World::inked_inside();
    for (mark, side) in [("malleolus-medial", 1.0), ("malleolus-lateral", -1.0)] {
        let stands = shows(&world, mark);
        assert!(stands.iter().all(|s| side * s.azimuth_deg > 0.0), "{mark}");
        assert!(stands.iter().all(|s| s.azimuth_deg.abs() < 90.0), "{mark}");
    }
}

/// What the plaster hides costs: the bound of the forefoot's angle to the rearfoot, and of the
/// points, is larger than through glass, and the estimate knows it.
#[test]
fn what_the_shell_hides_widens_the_interval() {
    for ((name, world), least) in worlds().into_iter().zip([1.05, 1.02, 1.02]) {
        let glass = World {
            opaque: false,
            ..world.clone()
        };
        let alpha = &angle_gradients(&world.truth())[4];
        let sd = |world: &World| {
            let (photos, taps) = world.noisy(7);
            let options = plinthside_measure::solve::SolveOptions::default();
            let solution = plinthside_measure::solve::solve(&world.mat, &photos, &taps, &options);
            let compared = support::Compared::new(&solution.expect("solved"), &world.truth());
            let bound = bound::mark_covariance(world, &world.visible());
            let at_best = (alpha.transpose() * bound * alpha)[0].sqrt();
            (at_best, compared.sds[compared.sds.len() - 2])
        };
        let ((plaster, stated), (clear, stated_clear)) = (sd(&world), sd(&glass));
        println!(
            "{name}: α {plaster:.3}° at best, {stated:.3}° stated; through glass {clear:.3}°, {stated_clear:.3}°"
        );
        assert!(plaster > least * clear, "{name}");
        assert!((stated / plaster - 1.0).abs() < 0.25, "{name}");
    }
}
