//! Where to stand for the next photograph of a cast: what core's planning needs to know of an
//! open-fronted shell, and its advice in words.

use plinthside_measure::advice::{Goal, Nominal, Stand, where_next};
use plinthside_measure::marks::{MarkName, Marks, Side, Surface};
use plinthside_measure::solve::Solution;
use std::collections::BTreeMap;

/// A mark placed this well needs no other photograph, mm (a tenth of what marking the skin leaves
/// open: check of the marks' ±, common practice, no source).
const WELL_PLACED_MM: f64 = 0.3;

/// The best next photograph, where the marks give a direction to count from.
#[must_use]
pub fn next_photograph(solution: &Solution, marks: &Marks) -> Option<Stand> {
    let toes_deg = toes_deg(solution)?;
    let goals: Vec<Goal> = solution
        .points
        .iter()
        .flat_map(|point| {
            [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|axis| Goal {
                gradient: vec![(point.mark.clone(), axis)],
                tolerance: WELL_PLACED_MM,
            })
        })
        .collect();
    let all = solution.points.len().max(1) as f64;
    let sum = solution
        .points
        .iter()
        .fold([0.0; 3], |sum, p| [0, 1, 2].map(|k| sum[k] + p.mat_mm[k]));
    let nominal: Vec<Nominal> = marked(marks)
        .map(|(mark, surface)| Nominal {
            normal: normal_in_mat(&mark, surface, marks.side, toes_deg),
            // A mark without a place yet is somewhere about the others.
            mat_mm: solution
                .seen_once
                .contains(&mark)
                .then(|| sum.map(|s| s / all)),
            mark,
        })
        .collect();
    where_next(solution, &nominal, &goals, toes_deg).ok()
}

/// Every mark once, with the face it is on.
fn marked(marks: &Marks) -> impl Iterator<Item = (MarkName, Surface)> {
    let faces: BTreeMap<MarkName, Surface> = marks
        .views
        .iter()
        .map(|view| (view.mark.clone(), view.surface))
        .collect();
    faces.into_iter()
}

/// The direction of the toes on the mat, from its X towards its Y.
fn toes_deg(solution: &Solution) -> Option<f64> {
    let middle = |names: [&str; 2]| {
        let places: Vec<[f64; 3]> = names
            .iter()
            .filter_map(|name| solution.point(name).map(|(_, point)| point.mat_mm))
            .collect();
        let n = places.len() as f64;
        let mean = |k: usize| places.iter().map(|p| p[k]).sum::<f64>() / n;
        (n > 0.0).then(|| [mean(0), mean(1)])
    };
    let heel = middle([MarkName::HEEL_LOWER, MarkName::HEEL_UPPER])?;
    let toes = middle([MarkName::MTP_1, MarkName::MTP_5])?;
    Some((toes[1] - heel[1]).atan2(toes[0] - heel[0]).to_degrees())
}

/// The normal of the face that carries a mark, towards the viewer. Inside the shell a wall faces
/// the hollow and the open front; heel and calf marks outside face backwards.
fn normal_in_mat(mark: &MarkName, surface: Surface, side: Side, toes_deg: f64) -> [f64; 3] {
    // Forward, towards the lateral side, up.
    let inside: [f64; 3] = match mark.as_str() {
        MarkName::MALLEOLUS_MEDIAL | MarkName::MALLEOLUS_MEDIAL_LOWER => [0.4, 1.0, 0.3],
        MarkName::MALLEOLUS_LATERAL | MarkName::MALLEOLUS_LATERAL_LOWER => [0.4, -1.0, 0.3],
        MarkName::MTP_1 => [0.0, 0.7, 1.0],
        MarkName::MTP_5 => [0.0, -0.7, 1.0],
        MarkName::MTP_2 | MarkName::MTP_4 => [0.0, 0.0, 1.0],
        _ => [1.0, 0.0, 0.3],
    };
    let [forward, lateral, up] = match surface {
        Surface::Inside => inside,
        Surface::Outside => [-inside[0], -inside[1], inside[2].max(0.1)],
    };
    // Lateral is to the left of the toes on a left foot.
    let left = side.sign() * lateral;
    let (sin, cos) = toes_deg.to_radians().sin_cos();
    [forward * cos - left * sin, forward * sin + left * cos, up]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faces_look_into_the_hollow_of_the_shell_on_either_foot() {
        let normal =
            |mark: &str, surface, side| normal_in_mat(&MarkName::from(mark), surface, side, 90.0);
        // Toes along the mat's Y: left is −X. The medial wall of a left foot looks to the left.
        let left = normal(MarkName::MALLEOLUS_MEDIAL, Surface::Inside, Side::Left);
        let right = normal(MarkName::MALLEOLUS_MEDIAL, Surface::Inside, Side::Right);
        assert!(left[0] < -0.9 && right[0] > 0.9, "{left:?} {right:?}");
        let heel = normal(MarkName::HEEL_LOWER, Surface::Outside, Side::Left);
        assert!(heel[1] < -0.9, "the outer heel faces backwards: {heel:?}");
        let sole = normal(MarkName::MTP_2, Surface::Inside, Side::Left);
        assert!(sole[2] > 0.9, "{sole:?}");
    }
}
