//! Which foot: every outcome of the side check.

use crate::support::{cast, cast_with, measure, worked};
use plinthside_measure::cast::{Settings, SideCheck, SideOutcome, Source, results};
use plinthside_measure::leg::Leg;
use plinthside_measure::marks::{MarkName as M, Side, Surface};

fn other(side: Side) -> Side {
    if side == Side::Left {
        Side::Right
    } else {
        Side::Left
    }
}

fn swap(points: &mut [(String, [f64; 3])], a: &str, b: &str) {
    let at =
        |points: &[(String, [f64; 3])], m: &str| points.iter().position(|(n, _)| n == m).unwrap();
    let (i, j) = (at(points, a), at(points, b));
    let p = points[i].1;
    points[i].1 = points[j].1;
    points[j].1 = p;
}

fn check_with(points: &[(String, [f64; 3])], side: Side, settings: &Settings) -> SideCheck {
    results(&cast(points), side, settings, &Leg::default())
        .unwrap()
        .side_check
}

#[test]
fn right_names_on_the_right_foot_agree() {
    for side in [Side::Left, Side::Right] {
        let check = measure(&worked(side), side).side_check;
        assert_eq!(check.outcome, SideOutcome::Agrees, "{check:?}");
        assert!(!check.stops);
    }
}

#[test]
fn the_other_foot_is_named_wrong_side() {
    for side in [Side::Left, Side::Right] {
        let check = measure(&worked(other(side)), side).side_check;
        assert_eq!(check.outcome, SideOutcome::WrongSide, "{check:?}");
        assert!(check.stops);
    }
}

#[test]
fn exchanged_pairs_of_marks_are_named() {
    for side in [Side::Left, Side::Right] {
        let mut mtp = worked(side);
        swap(&mut mtp, M::MTP_1, M::MTP_5);
        assert_eq!(
            measure(&mtp, side).side_check.outcome,
            SideOutcome::MtpMarksSwapped
        );
        let mut malleoli = worked(side);
        swap(&mut malleoli, M::MALLEOLUS_MEDIAL, M::MALLEOLUS_LATERAL);
        assert_eq!(
            measure(&malleoli, side).side_check.outcome,
            SideOutcome::MalleoliSwapped
        );
        let mut both = mtp;
        swap(&mut both, M::MALLEOLUS_MEDIAL, M::MALLEOLUS_LATERAL);
        assert_eq!(
            measure(&both, side).side_check.outcome,
            SideOutcome::LabelsSwapped
        );
    }
}

/// A left cast believed to be right, with the marks named accordingly: T1 and T2 agree with the
/// wrong record, only anatomy tells.
#[test]
fn a_cast_believed_to_be_the_other_side_is_caught_by_anatomy() {
    for side in [Side::Left, Side::Right] {
        let mut points = worked(side);
        swap(&mut points, M::MTP_1, M::MTP_5);
        swap(&mut points, M::MALLEOLUS_MEDIAL, M::MALLEOLUS_LATERAL);
        let check = measure(&points, other(side)).side_check;
        assert_eq!(check.outcome, SideOutcome::Contradiction, "{check:?}");
        assert!(check.stops);
    }
}

#[test]
fn the_letter_on_the_skin_and_the_arch_count() {
    let points = worked(Side::Left);
    let letter = |side| Settings {
        letter_on_skin: Some(side),
        ..Settings::default()
    };
    assert_eq!(
        check_with(&points, Side::Left, &letter(Side::Left)).outcome,
        SideOutcome::Agrees
    );
    assert_eq!(
        check_with(&points, Side::Left, &letter(Side::Right)).outcome,
        SideOutcome::Contradiction
    );
    // Seen from behind the arch of a left foot lies on the right.
    let arch = |side| Settings {
        arch_seen_on: Some(side),
        ..Settings::default()
    };
    assert_eq!(
        check_with(&points, Side::Left, &arch(Side::Right)).outcome,
        SideOutcome::Agrees
    );
    assert_eq!(
        check_with(&points, Side::Left, &arch(Side::Left)).outcome,
        SideOutcome::Contradiction
    );
}

#[test]
fn one_unusual_cue_only_cautions() {
    let mut points = worked(Side::Left);
    let mm = points
        .iter_mut()
        .find(|(m, _)| m == M::MALLEOLUS_MEDIAL)
        .unwrap();
    mm.1[0] = 24.0; // behind the lateral malleolus
    let check = measure(&points, Side::Left).side_check;
    assert_eq!(check.outcome, SideOutcome::Caution, "{check:?}");
    assert!(!check.stops);
}

#[test]
fn marks_too_uncertain_cannot_tell() {
    let points = worked(Side::Left);
    let vague = cast_with(&points, 40.0, Source::Photographs, Surface::Inside, None);
    let check = results(&vague, Side::Left, &Settings::default(), &Leg::default())
        .unwrap()
        .side_check;
    assert_eq!(check.outcome, SideOutcome::CannotTell);
    assert!(!check.stops);
}
