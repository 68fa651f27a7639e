//! Two A4 sheets on a board, the right one laid askew: where it lies is found, and the marks keep their ±.
//! Source: the simulator in `support`.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use nalgebra::{Rotation2, Vector2};
use plinthside_measure::mat::Paper;
use plinthside_measure::solve::{SolveOptions, solve};
use support::{Compared, World, four_corners, on_both_cores};

const SHIFT_MM: [f64; 2] = [2.1, -1.4];
const TURN_DEG: f64 = 0.4;

#[test]
fn the_joint_between_two_sheets_is_found() {
    let mut drawn = World::new(four_corners());
    let printed = drawn.mat.printed;
    drawn.mat = Paper::TwoA4.layout().mat().expect("a layout of ours");
    drawn.mat.printed = printed;
    drawn.heights = vec![0.0; drawn.mat.tags.len()];
    let right = |w: &World| -> Vec<Vector2<f64>> {
        let tags = w.mat.tags.iter().filter(|t| t.sheet == 1);
        tags.flat_map(|t| t.corners_mm.map(|c| Vector2::new(c[0], c[1])))
            .collect()
    };
    let corners = right(&drawn);
    let low = corners.iter().fold(corners[0], |a, c| a.inf(c));
    let high = corners.iter().fold(corners[0], |a, c| a.sup(c));
    let middle = (low + high) / 2.0;
    let mut laid = drawn.clone();
    for tag in laid.mat.tags.iter_mut().filter(|t| t.sheet == 1) {
        tag.corners_mm = tag.corners_mm.map(|[x, y, z]| {
            let arm = Rotation2::new(TURN_DEG.to_radians()) * (Vector2::new(x, y) - middle);
            let p = middle + arm + Vector2::from(SHIFT_MM);
            [p.x, p.y, z]
        });
    }
    let seen = laid.visible();
    let mut glued = drawn.mat.clone();
    glued.tags.iter_mut().for_each(|tag| tag.sheet = 0);
    let draws = on_both_cores(0..100, |seed| {
        let (photos, taps) = laid.observe(&seen, &mut support::rng(30_000 + seed));
        let whole = solve(&glued, &photos, &taps, &SolveOptions::default());
        let whole = whole.map_or(f64::INFINITY, |s| s.cameras[0].sd_px);
        solve(&drawn.mat, &photos, &taps, &SolveOptions::default()).map(|s| {
            let [x, y, turn] = s.mat_shape.sheets[0];
            let off = [x - SHIFT_MM[0], y - SHIFT_MM[1], turn - TURN_DEG];
            (
                Compared::new(&s, &laid.truth()).covered(),
                off,
                s.cameras[0].sd_px < 0.5 * whole,
            )
        })
    });
    let held: Vec<_> = draws.iter().filter_map(|d| d.as_ref().ok()).collect();
    let n = held.len() as f64;
    let cover = held.iter().map(|d| d.0).sum::<f64>() / n;
    let rms = [0, 1, 2].map(|k| (held.iter().map(|d| d.1[k].powi(2)).sum::<f64>() / n).sqrt());
    println!(
        "{n} of 100: cover {cover:.3}, the sheet's place off by {rms:.3?} (mm, mm, degrees) rms"
    );
    assert!(n >= 97.0 && cover >= 0.92);
    assert!(rms[0] < 0.3 && rms[1] < 0.3 && rms[2] < 0.1);
    // Taken for one sheet the corners do not fit: the joint is what the test is about.
    assert!(held.iter().all(|d| d.2));
}
