//! What does not stand in the way of a result is told beside it, and only where it is so.
//! Source: the simulator in `support`.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use plinthside_measure::mat::Bar;
use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::solve::{Solution, SolveOptions, Warning, solve};
use rand_distr::{Distribution, StandardNormal};
use support::{World, six_views};

/// A solution of six good photographs after a change.
fn solved(change: impl FnOnce(&mut World)) -> Solution {
    changed(change, |_, _| {})
}

fn changed(
    world: impl FnOnce(&mut World),
    seen: impl FnOnce(&mut Vec<PhotoTags>, &mut Vec<MarkView>),
) -> Solution {
    let mut changed = World::new(six_views());
    world(&mut changed);
    let (mut photos, mut taps) = changed.noisy(3);
    seen(&mut photos, &mut taps);
    solve(&changed.mat, &photos, &taps, &SolveOptions::default()).expect("solved")
}

/// The one sentence of a kind, if it was said.
fn said(solution: &Solution, kind: impl Fn(&Warning) -> bool) -> Option<String> {
    let told: Vec<_> = solution.warnings.iter().filter(|w| kind(w)).collect();
    assert!(told.len() < 2, "{told:?}");
    told.first().map(ToString::to_string)
}

#[test]
fn a_print_that_nobody_measured_carries_three_per_cent() {
    let kind = |w: &Warning| matches!(w, Warning::UnmeasuredPrint { .. });
    let unmeasured = solved(|w| w.mat.printed = None);
    let sentence = said(&unmeasured, kind).expect("told");
    assert!(sentence.contains("±3 %") && sentence.contains("Measure both bars"));
    assert!((unmeasured.scale_sd - 0.03).abs() < 1e-12);
    assert_eq!(said(&solved(|_| {}), kind), None);
}

#[test]
fn bars_that_contradict_the_photographs_are_to_be_measured_again() {
    let kind = |w: &Warning| matches!(w, Warning::BarsDisagree { .. });
    let bars = |w: &mut World, across_mm: f64| {
        let printed = w.mat.printed.as_mut().expect("measured");
        let bar = |measured_mm| {
            Some(Bar {
                nominal_mm: 200.0,
                measured_mm,
                sd_mm: 0.2,
            })
        };
        (printed.across, printed.along) = (bar(across_mm), bar(200.0));
    };
    let misread = solved(|w| bars(w, 197.0));
    let sentence = said(&misread, kind).expect("told");
    assert!(
        sentence.contains("+1.") && sentence.contains("measure both bars again"),
        "{sentence}"
    );
    assert_eq!(said(&solved(|w| bars(w, 200.0)), kind), None);
}

#[test]
fn a_tag_that_does_not_fit_is_set_aside_and_named() {
    let kind = |w: &Warning| matches!(w, Warning::TagsDropped { .. });
    let mut id = 0;
    let moved = |photos: &mut Vec<PhotoTags>, _: &mut Vec<MarkView>| {
        let tag = &mut photos[2].tags[4];
        id = tag.id;
        tag.corners_px.iter_mut().for_each(|px| px[0] += 6.0);
    };
    let solution = changed(|_| {}, moved);
    let sentence = said(&solution, kind).expect("told");
    assert!(sentence.starts_with("photo-3.jpg: 1 of "), "{sentence}");
    let [dropped] = &solution.dropped_tags[..] else {
        panic!("{:?}", solution.dropped_tags);
    };
    assert_eq!((dropped.photo.as_str(), dropped.id), ("photo-3.jpg", id));
    assert!((dropped.rms_px - 6.0).abs() < 1.0, "{}", dropped.rms_px);
    assert_eq!(said(&solved(|_| {}), kind), None);
}

#[test]
fn taps_that_scatter_widen_the_interval() {
    let kind = |w: &Warning| matches!(w, Warning::TapsScatter { .. });
    let (steady, shaky) = (solved(|_| {}), solved(|w| w.tap_sd_px = 3.6));
    let sentence = said(&shaky, kind).expect("told");
    assert!(sentence.contains("the ± was enlarged"), "{sentence}");
    assert!(shaky.tap_factor > 2.5 && steady.tap_factor < 1.5);
    let largest = |s: &Solution| s.covariance_mm2.diagonal().max().sqrt();
    assert!(largest(&shaky) > 1.5 * largest(&steady));
    assert_eq!(said(&steady, kind), None);
}

#[test]
fn a_blurred_photograph_is_named() {
    let kind = |w: &Warning| matches!(w, Warning::BlurredTags { .. });
    let blur = |photos: &mut Vec<PhotoTags>, _: &mut Vec<MarkView>| {
        let mut rng = support::rng(8);
        let corners = photos[1].tags.iter_mut().flat_map(|t| &mut t.corners_px);
        for value in corners.flatten() {
            *value += 3.0 * Distribution::<f64>::sample(&StandardNormal, &mut rng);
        }
    };
    let blurred = changed(|_| {}, blur);
    let sentence = said(&blurred, kind).expect("told");
    assert!(sentence.starts_with("photo-2.jpg:") && sentence.contains("add light"));
    assert!(blurred.cameras[1].sd_px > 5.0 * blurred.cameras[0].sd_px);
    assert_eq!(said(&solved(|_| {}), kind), None);
}

#[test]
fn marks_that_only_two_views_hold_are_listed() {
    let kind = |w: &Warning| matches!(w, Warning::TwoViews { .. });
    let all = solved(|_| {});
    let listed = said(&all, kind).expect("told");
    for point in &all.points {
        assert_eq!(listed.contains(point.mark.as_str()), point.views == 2);
    }
    assert!(all.points.iter().any(|p| p.views == 2) && all.points.iter().any(|p| p.views > 2));
    let thrice: Vec<_> = all.points.iter().filter(|p| p.views > 2).collect();
    let kept = |_: &mut Vec<PhotoTags>, taps: &mut Vec<MarkView>| {
        taps.retain(|t| thrice.iter().any(|p| p.mark == t.mark));
    };
    assert_eq!(said(&changed(|_| {}, kept), kind), None);
}
