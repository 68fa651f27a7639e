//! The hinge line through the malleolar marks, and the hinge points.

use super::formulas::{Found, inner_back_of_heel, outer_back_of_heel, wrap};
use super::frame::{InCast, LEAST_DISTANCE_MM};
use super::{CastError, HingeFrom, HingeOffset, ResultName, Settings};
use crate::dual::{Dual, Vec3};
use crate::marks::MarkName;

/// One of the two hinges.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Hinge {
    Medial,
    Lateral,
}

impl Hinge {
    /// The mark the hinge is taken from, and how.
    pub fn choice(self, settings: &Settings) -> (&'static str, HingeFrom, HingeOffset) {
        let (from, offset) = match self {
            Self::Medial => (settings.medial_hinge_from, settings.medial_hinge_offset),
            Self::Lateral => (settings.lateral_hinge_from, settings.lateral_hinge_offset),
        };
        let mark = match (self, from) {
            (Self::Medial, HingeFrom::Apex) => MarkName::MALLEOLUS_MEDIAL,
            (Self::Medial, HingeFrom::LowerPole) => MarkName::MALLEOLUS_MEDIAL_LOWER,
            (Self::Lateral, HingeFrom::Apex) => MarkName::MALLEOLUS_LATERAL,
            (Self::Lateral, HingeFrom::LowerPole) => MarkName::MALLEOLUS_LATERAL_LOWER,
        };
        (mark, from, offset)
    }

    /// Height and forward distance over the outer face, then over the inner face.
    pub fn names(self) -> [ResultName; 4] {
        match self {
            Self::Medial => [
                ResultName::MedialHingeHeight,
                ResultName::MedialHingeForward,
                ResultName::MedialHingeHeightInside,
                ResultName::MedialHingeForwardInside,
            ],
            Self::Lateral => [
                ResultName::LateralHingeHeight,
                ResultName::LateralHingeForward,
                ResultName::LateralHingeHeightInside,
                ResultName::LateralHingeForwardInside,
            ],
        }
    }

    /// Where the hinge goes, its offset as ordered included.
    pub fn place(self, points: &InCast) -> Option<Vec3> {
        let (mark, _, offset) = self.choice(points.settings);
        let shift = nalgebra::Vector3::new(offset.forward_mm, 0.0, -offset.down_mm);
        points.get(mark).map(|p| p + shift.map(Dual::constant))
    }
}

/// Refuses offsets that are no numbers or larger than a foot.
pub(crate) fn check_offsets(settings: &Settings) -> Result<(), CastError> {
    for (name, offset) in [
        ("medial", settings.medial_hinge_offset),
        ("lateral", settings.lateral_hinge_offset),
    ] {
        for value in [offset.down_mm, offset.forward_mm] {
            // NaN is outside every range.
            if !(-100.0..=100.0).contains(&value) {
                return Err(CastError::Setting {
                    what: format!("the offset of the {name} hinge"),
                    value,
                    remedy: "enter millimetres from -100 to 100",
                });
            }
        }
    }
    Ok(())
}

/// Signed tilts, the angle to the leg, and the true angles in space.
///
/// The rows of names that fold hold the signed departure from 90°.
pub(crate) fn line(p: &InCast, found: &mut Found) {
    const WHAT: &str = "Hinge line";
    let marks = [MarkName::MALLEOLUS_MEDIAL, MarkName::MALLEOLUS_LATERAL];
    let [Some(mm), Some(lm)] = marks.map(|m| p.get(m)) else {
        return;
    };
    let line = lm - mm;
    let out = p.lateral(&line);
    let tau = found.angle(WHAT, &marks, -line.z, out);
    let rho = found.angle(WHAT, &marks, -line.x, out);
    let (Some(tau), Some(rho)) = (tau, rho) else {
        return;
    };
    found.put(ResultName::HingeTiltFrontal, tau);
    found.put(ResultName::HingeFrontal, tau);
    found.put(ResultName::HingeTurnTransverse, rho);
    found.put(ResultName::HingeTransverse, rho);
    if line.x.value.hypot(line.y.value) >= LEAST_DISTANCE_MM {
        let slope = (-line.z).atan2(line.x.hypot(line.y));
        found.put(ResultName::HingeToVertical3d, slope.degrees());
    }
    let lambda = found
        .values
        .iter()
        .find(|(name, _)| *name == ResultName::CalfLeanFrontal);
    if let Some(&(_, lambda)) = lambda {
        found.put(ResultName::HingeTiltToLeg, wrap(tau - lambda));
        found.put(ResultName::HingeToLeg, wrap(tau - lambda));
    }
    if let (Some(cu), Some(cl)) = (p.get(MarkName::CALF_UPPER), p.get(MarkName::CALF_LOWER)) {
        let leg = cu - cl;
        let across = line.cross(&leg);
        if across.map(|d| d.value).norm() >= LEAST_DISTANCE_MM * LEAST_DISTANCE_MM {
            let departure = (-line.dot(&leg)).atan2(crate::dual::length(&across));
            found.put(ResultName::HingeToLeg3d, departure.degrees());
        }
    }
}

/// Height and forward distance of both hinge points over the outer and the inner face.
pub(crate) fn points(p: &InCast, found: &mut Found) {
    let plantar = p
        .get(MarkName::HEEL_PLANTAR)
        .map(|point| point.z)
        .or(p.wall);
    for hinge in [Hinge::Medial, Hinge::Lateral] {
        let Some(place) = hinge.place(p) else {
            let (mark, from, _) = hinge.choice(p.settings);
            if from == HingeFrom::LowerPole {
                found.need(p, "Hinge point at the lower pole", [mark]);
            }
            continue;
        };
        let values = [
            Some(place.z),
            outer_back_of_heel(p).map(|back| place.x - back),
            plantar.map(|face| place.z - face),
            inner_back_of_heel(p).map(|back| place.x - back),
        ];
        for (name, value) in hinge.names().into_iter().zip(values) {
            if let Some(value) = value {
                found.put(name, value);
            }
        }
    }
}

/// Names whose row holds a signed departure from 90° and whose value is the acute angle.
pub(crate) fn folds(name: ResultName) -> bool {
    matches!(
        name,
        ResultName::HingeFrontal
            | ResultName::HingeTransverse
            | ResultName::HingeToVertical3d
            | ResultName::HingeToLeg
            | ResultName::HingeToLeg3d
    )
}
