//! Noise-free photographs give the marks back exactly, whatever the lens.
//! Source: the projection in `support`, written apart from the library.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use plinthside_measure::solve::{SolveOptions, solve};
use support::{World, four_corners, marks, six_views};

#[test]
fn exact_photographs_give_exact_marks() {
    for stands in [four_corners(), six_views()] {
        let mut world = World::new(stands);
        world.f = 2950.0;
        world.c = [2031.0, 1490.0];
        world.k = [0.06, -0.03];
        let (photos, taps) = world.exact();
        let options = SolveOptions {
            priors: false,
            ..SolveOptions::default()
        };
        let solution = solve(&world.mat, &photos, &taps, &options).expect("solved");
        for (mark, truth) in marks().iter().zip(world.truth()) {
            let (_, point) = solution.point(mark.name).expect("placed");
            let error = (nalgebra::Vector3::from(point.mat_mm) - truth).norm();
            println!(
                "{:20} views {} error {error:.1e} mm",
                mark.name, point.views
            );
            assert!(error < 1e-6, "{} off by {error} mm", mark.name);
        }
        println!("{:?}", solution.intrinsics);
    }
}

/// The shell is opaque: from behind, 30° up, its heel hides the marks on the inner sole, which the
/// angle of view alone would allow; from the front they are seen.
#[test]
fn the_shell_hides_what_lies_behind_it() {
    let stand = |azimuth_deg| support::Stand {
        azimuth_deg,
        elevation_deg: 30.0,
        roll_deg: 0.0,
        distance_mm: 480.0,
    };
    let world = World::new(vec![stand(180.0), stand(0.0)]);
    for mark in support::marks()
        .iter()
        .filter(|m| m.name.starts_with("mtp"))
    {
        let up_deg = |i: usize| {
            let way = world.camera(i).1 - world.mat_from_cast(&mark.cast_mm);
            way.normalize().dot(&mark.normal).acos().to_degrees()
        };
        assert!(up_deg(0) < support::GRAZING_DEG, "{}", up_deg(0));
        assert!(!world.shows_mark(0, mark), "{}", mark.name);
        assert!(world.shows_mark(1, mark), "{}", mark.name);
    }
}
