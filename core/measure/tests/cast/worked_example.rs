//! A cast worked by hand from the definitions of every angle, left and right, to the digits given.
//! Its coordinates are printed to 0.01 mm, so each result may differ by what that rounding makes.

use crate::support::{measure, rounding, value, worked};
use plinthside_measure::cast::ResultName as R;
use plinthside_measure::marks::Side;

#[test]
fn every_angle_of_the_worked_cast_left_and_right() {
    let expected = [
        (R::Heel, 3.000, 5e-4),
        (R::Forefoot, 6.577, 5e-4),
        (R::ForefootToRearfoot, 3.577, 5e-4),
        (R::HingeTiltFrontal, 10.663, 5e-4),
        (R::HingeTurnTransverse, 7.132, 5e-4),
        (R::CalfLeanFrontal, 3.422, 5e-4),
        (R::HingeToLeg, 82.76, 5e-3),
        (R::HingeToLeg3d, 82.54, 5e-3),
        (R::BalanceToVertical, 4.902, 5e-4),
    ];
    for side in [Side::Left, Side::Right] {
        let results = measure(&worked(side), side);
        for (name, number, half_digit) in expected {
            let found = value(&results, name);
            let allowed = half_digit + rounding(side, |points| value(&measure(points, side), name));
            assert!(
                (found - number).abs() <= allowed,
                "{side} {name}: {found}, not {number}"
            );
            assert!(
                allowed < 0.04,
                "{name}: the check would prove nothing at {allowed}"
            );
        }
        let s = side.sign();
        for (name, number) in [(R::SideFromMtp, 78.06), (R::SideFromMalleoli, 69.05)] {
            let found = s * value(&results, name);
            assert!((found - number).abs() <= 5e-3 + 0.01, "{name}: {found}");
        }
        assert!(results.quantities.values().all(|q| {
            [q.value, q.instrument_sd, q.total_sd, q.low95, q.high95]
                .iter()
                .all(|x| x.is_finite())
        }));
        assert_eq!(results.words[&R::HingeFrontal], "lateral end lower");
        assert_eq!(results.words[&R::HingeTransverse], "lateral end behind");
        assert!(results.words[&R::ForefootToRearfoot].starts_with("inverted forefoot"));
    }
}

#[test]
fn a_mirrored_cast_gives_the_same_words_and_numbers() {
    let left = measure(&worked(Side::Left), Side::Left);
    let right = measure(&worked(Side::Right), Side::Right);
    for (name, l) in &left.quantities {
        let r = right.quantities[name];
        let sign = if matches!(name, R::SideFromMtp | R::SideFromMalleoli) {
            -1.0
        } else {
            1.0
        };
        assert!(
            (l.value - sign * r.value).abs() < 1e-9,
            "{name}: {} {}",
            l.value,
            r.value
        );
        assert!((l.total_sd - r.total_sd).abs() < 1e-9, "{name}");
        assert!((l.instrument_sd - r.instrument_sd).abs() < 1e-9, "{name}");
    }
    assert_eq!(left.words, right.words);
}
