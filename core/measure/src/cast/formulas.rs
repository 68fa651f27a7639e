//! The formulas of the angles and lengths, each differentiable.

use super::frame::{InCast, LEAST_DISTANCE_MM};
use super::{Refusal, ResultName};
use crate::dual::{Dual, Vec3, length, unit};
use crate::marks::{MarkName, Surface};

/// Values found and quantities refused, in the order of computing.
#[derive(Default)]
pub(crate) struct Found {
    pub values: Vec<(ResultName, Dual)>,
    pub refused: Vec<Refusal>,
}

impl Found {
    pub fn put(&mut self, name: ResultName, value: Dual) {
        self.values.push((name, value));
    }

    pub fn undefined(&mut self, what: &str, marks: &[&str]) {
        let marks = marks.iter().map(|m| MarkName::from(*m)).collect();
        self.refused.push(Refusal::Undefined {
            what: what.to_owned(),
            marks,
        });
    }

    /// The marks, or a refusal that names the missing ones.
    pub fn need<const N: usize>(
        &mut self,
        points: &InCast,
        what: &str,
        marks: [&str; N],
    ) -> Option<[Vec3; N]> {
        let missing: Vec<MarkName> = marks
            .iter()
            .filter(|m| points.get(m).is_none())
            .map(|m| MarkName::from(*m))
            .collect();
        if missing.is_empty() {
            let zero = Dual::constant(0.0);
            Some(marks.map(|m| points.get(m).unwrap_or(Vec3::repeat(zero))))
        } else {
            self.refused.push(Refusal::Missing {
                what: what.to_owned(),
                marks: missing,
            });
            None
        }
    }

    /// y and x of an angle, refused where both vanish.
    pub fn angle(&mut self, what: &str, marks: &[&str], y: Dual, x: Dual) -> Option<Dual> {
        if y.value.hypot(x.value) < LEAST_DISTANCE_MM {
            self.undefined(what, marks);
            return None;
        }
        Some(y.atan2(x).degrees())
    }
}

/// The angle brought into (−180, 180].
pub(crate) fn wrap(angle: Dual) -> Dual {
    let turns = ((angle.value + 180.0) / 360.0).ceil() - 1.0;
    angle - Dual::constant(360.0 * turns)
}

/// Every quantity the marks allow.
pub(crate) fn all(points: &InCast) -> Found {
    let mut found = Found::default();
    side_cues(points, &mut found);
    let heel = heel(points, &mut found);
    forefoot(points, heel, &mut found);
    foot_to_leg(points, &mut found);
    super::hinge::line(points, &mut found);
    super::hinge::points(points, &mut found);
    lengths(points, &mut found);
    found
}

fn side_cues(p: &InCast, found: &mut Found) {
    if let Some([m1, m5]) = found.need(
        p,
        "Side from the MTP marks",
        [MarkName::MTP_1, MarkName::MTP_5],
    ) {
        found.put(ResultName::SideFromMtp, -(m1 - m5).y);
        found.put(ResultName::FirstMtpForward, (m1 - m5).x);
    }
    let malleoli = [MarkName::MALLEOLUS_MEDIAL, MarkName::MALLEOLUS_LATERAL];
    if let Some([mm, lm]) = found.need(p, "Side from the malleoli", malleoli) {
        found.put(ResultName::SideFromMalleoli, -(mm - lm).y);
        found.put(ResultName::MedialMalleolusHigher, (mm - lm).z);
        found.put(ResultName::MedialMalleolusForward, (mm - lm).x);
    }
}

/// φ.
fn heel(p: &InCast, found: &mut Found) -> Option<Dual> {
    const WHAT: &str = "Heel to vertical";
    let marks = [MarkName::HEEL_UPPER, MarkName::HEEL_LOWER];
    let [upper, lower] = found.need(p, WHAT, marks)?;
    let line = upper - lower;
    let phi = found.angle(WHAT, &marks, p.lateral(&line), line.z)?;
    found.put(ResultName::Heel, phi);
    found.put(ResultName::HeelMarkSpacing, length(&line));
    Some(phi)
}

/// ψ through two MTP marks.
fn forefoot_through(p: &InCast, [medial, lateral]: [&str; 2], found: &mut Found) -> Option<Dual> {
    let line = p.get(medial)? - p.get(lateral)?;
    found.angle("Forefoot", &[medial, lateral], line.z, -p.lateral(&line))
}

fn forefoot(p: &InCast, heel: Option<Dual>, found: &mut Found) {
    use MarkName as M;
    let pairs = [
        ([M::MTP_1, M::MTP_5], ResultName::ForefootToRearfoot),
        ([M::MTP_2, M::MTP_5], ResultName::ForefootToRearfootM2M5),
        ([M::MTP_1, M::MTP_4], ResultName::ForefootToRearfootM1M4),
        ([M::MTP_2, M::MTP_4], ResultName::ForefootToRearfootM2M4),
    ];
    for (marks, name) in pairs {
        let Some(psi) = forefoot_through(p, marks, found) else {
            continue;
        };
        if name == ResultName::ForefootToRearfoot {
            found.put(ResultName::Forefoot, psi);
        }
        if let Some(phi) = heel {
            found.put(name, wrap(psi - phi));
        }
    }
    let Some(alpha) = found
        .values
        .iter()
        .find(|(n, _)| *n == ResultName::ForefootToRearfoot)
    else {
        return;
    };
    let alpha = alpha.1 * Dual::constant(std::f64::consts::PI / 180.0);
    if let (Some(m1), Some(m5)) = (p.get(M::MTP_1), p.get(M::MTP_5)) {
        let line = m1 - m5;
        let width = line.y.hypot(line.z);
        found.put(ResultName::BalanceToVertical, width * alpha.sin());
        found.put(ResultName::BalanceWidth, width);
    }
}

/// λ, foot to leg and the spacing of the calf marks.
fn foot_to_leg(p: &InCast, found: &mut Found) {
    use MarkName as M;
    const WHAT: &str = "Foot to leg";
    let calf = [M::CALF_UPPER, M::CALF_LOWER];
    let Some([upper, lower]) = found.need(p, WHAT, calf) else {
        return;
    };
    let leg = upper - lower;
    if let Some(lambda) = found.angle("Calf line, frontal", &calf, p.lateral(&leg), leg.z) {
        found.put(ResultName::CalfLeanFrontal, lambda);
        found.put(ResultName::CalfMarkSpacing, length(&leg));
    }
    let sole = [M::HEEL_LOWER, M::MTP_1, M::MTP_5];
    let Some([hl, m1, m5]) = found.need(p, WHAT, sole) else {
        return;
    };
    let (first, fifth) = (m1 - hl, m5 - hl);
    let normal = first.cross(&fifth);
    let area = normal.map(|d| d.value).norm();
    if area < LEAST_DISTANCE_MM * LEAST_DISTANCE_MM || normal.z.value.abs() < 0.1 * area {
        return found.undefined(WHAT, &sole);
    }
    let up = unit(&normal.map(|d| d * Dual::constant(normal.z.value.signum())));
    // X laid into the plantar plane; the plane is far from upright, so it does not vanish.
    let along = unit(&Vec3::new(up.z, Dual::constant(0.0), -up.x));
    if let Some(lean) = found.angle(WHAT, &calf, leg.dot(&along), leg.dot(&up)) {
        found.put(ResultName::FootToLeg, lean);
    }
}

fn lengths(p: &InCast, found: &mut Found) {
    use MarkName as M;
    let hl = p.get(M::HEEL_LOWER);
    if let (Some(hl), Some(m1)) = (hl, p.get(M::MTP_1)) {
        found.put(ResultName::HeelToFirstMtp, (m1 - hl).x);
        if let Some(back) = inner_back_of_heel(p) {
            found.put(ResultName::HeelToFirstMtpInside, m1.x - back);
        }
    }
    if let (Some(hl), Some(m5)) = (hl, p.get(M::MTP_5)) {
        found.put(ResultName::HeelToFifthMtp, (m5 - hl).x);
    }
    if let (Some(m1), Some(m5)) = (p.get(M::MTP_1), p.get(M::MTP_5)) {
        let line = m1 - m5;
        if line.x.value.hypot(line.y.value) >= LEAST_DISTANCE_MM {
            found.put(ResultName::ForefootBreadth, line.x.hypot(line.y));
        }
    }
    breadth(
        p,
        found,
        [M::HEEL_MEDIAL, M::HEEL_LATERAL],
        ResultName::HeelBreadth,
        ResultName::HeelBreadthInside,
    );
    breadth(
        p,
        found,
        [M::MALLEOLUS_MEDIAL, M::MALLEOLUS_LATERAL],
        ResultName::Bimalleolar,
        ResultName::BimalleolarInside,
    );
}

/// Distance between two marks, and the same between the inner faces where the wall is known.
fn breadth(
    p: &InCast,
    found: &mut Found,
    marks: [&str; 2],
    as_marked: ResultName,
    inside: ResultName,
) {
    let [Some(medial), Some(lateral)] = marks.map(|m| p.get(m)) else {
        return;
    };
    let line = lateral - medial;
    if line.map(|d| d.value).norm() < LEAST_DISTANCE_MM {
        return found.undefined(as_marked.label(), &marks);
    }
    let distance = length(&line);
    found.put(as_marked, distance);
    let walls = marks
        .iter()
        .filter(|m| surface(p, m) == Some(Surface::Outside))
        .count();
    match (walls, p.wall) {
        (0, _) => found.put(inside, distance),
        (_, Some(wall)) => found.put(inside, distance - wall * Dual::constant(walls as f64)),
        _ => {}
    }
}

/// The face that carries a mark.
pub(crate) fn surface(p: &InCast, mark: &str) -> Option<Surface> {
    p.cast.index(mark).map(|i| p.cast.points()[i].surface)
}

/// X of the inner face at HL.
pub(crate) fn inner_back_of_heel(p: &InCast) -> Option<Dual> {
    match surface(p, MarkName::HEEL_LOWER)? {
        Surface::Inside => Some(Dual::constant(0.0)),
        Surface::Outside => p.wall,
    }
}

/// X of the outer face at HL.
pub(crate) fn outer_back_of_heel(p: &InCast) -> Option<Dual> {
    match surface(p, MarkName::HEEL_LOWER)? {
        Surface::Inside => p.wall.map(|wall| -wall),
        Surface::Outside => Some(Dual::constant(0.0)),
    }
}
