//! The three drawings of the check screen, to scale: only measured points, lines between them and
//! their ±. The pale shape behind them is drawn through the points for orientation alone.

use super::canvas::{Canvas, P, lerp};
use plinthside_measure::advice::Stand;
use plinthside_measure::cast::{ResultName, Results};
use plinthside_measure::marks::{MarkName, Side};
use plinthside_measure::quantity::PlusMinus;
use plinthside_ui::{Anchor, Drawing, NoteWord, Stroke};

/// The points of one cast by mark, and what the drawings need beside them.
struct Cast<'a> {
    results: &'a Results,
    /// Half the distance between the malleoli, or a usual one: sizes the pale shape only.
    half_mm: f64,
    /// Sole to the top of the drawing.
    top_mm: f64,
    /// Heel to the front of the drawing.
    front_mm: f64,
}

impl<'a> Cast<'a> {
    fn new(results: &'a Results) -> Self {
        let mut cast = Self {
            results,
            half_mm: 36.0,
            top_mm: 130.0,
            front_mm: 150.0,
        };
        if let (Some(m), Some(l)) = (
            cast.at(MarkName::MALLEOLUS_MEDIAL),
            cast.at(MarkName::MALLEOLUS_LATERAL),
        ) {
            cast.half_mm = ((m[1] - l[1]).abs() / 2.0).max(20.0);
        }
        let highest = results
            .points
            .iter()
            .map(|p| p.cast_mm[2])
            .fold(85.0, f64::max);
        let farthest = results
            .points
            .iter()
            .map(|p| p.cast_mm[0])
            .fold(130.0, f64::max);
        cast.top_mm = highest + 6.0;
        cast.front_mm = farthest + 30.0;
        cast
    }

    fn at(&self, mark: &str) -> Option<[f64; 3]> {
        self.results
            .points
            .iter()
            .find(|p| p.mark.as_str() == mark)
            .map(|p| p.cast_mm)
    }

    fn fan(&self, canvas: &mut Canvas, name: ResultName, from: P, to: P) {
        if let Some(q) = self.results.quantities.get(&name) {
            let PlusMinus { instrument, total } = q.plus_minus();
            canvas.fan(Stroke::ShadeWide, from, to, total);
            canvas.fan(Stroke::Shade, from, to, instrument);
        }
    }
}

/// From behind, as the cast stands: the patient's left is on the left.
pub fn rear(results: &Results) -> Drawing {
    let cast = Cast::new(results);
    let view = |p: [f64; 3]| -> P { [-p[1], -p[2]] };
    let mut canvas = Canvas::default();
    let heel_x = cast.at(MarkName::HEEL_LOWER).map_or(0.0, |p| -p[1]);
    let calf_x = cast.at(MarkName::CALF_UPPER).map_or(heel_x, |p| -p[1]);
    let ankle_x = match (
        cast.at(MarkName::MALLEOLUS_MEDIAL),
        cast.at(MarkName::MALLEOLUS_LATERAL),
    ) {
        (Some(m), Some(l)) => -(m[1] + l[1]) / 2.0,
        _ => heel_x,
    };
    let (h, top) = (cast.half_mm, cast.top_mm);
    let ankle_z = cast.at(MarkName::MALLEOLUS_MEDIAL).map_or(78.0, |p| p[2]);
    let side = |share: f64, x: f64, z: f64| [x + share * h, -z];
    canvas.smooth(
        Stroke::Plaster,
        &[
            side(-0.55, heel_x, 2.0),
            side(-0.86, heel_x, 22.0),
            side(-0.9, heel_x, 0.55 * ankle_z),
            side(-1.12, ankle_x, ankle_z),
            side(-1.05, calf_x, 0.5 * (ankle_z + top)),
            side(-1.3, calf_x, top - 4.0),
            side(1.3, calf_x, top - 4.0),
            side(1.05, calf_x, 0.5 * (ankle_z + top)),
            side(1.12, ankle_x, ankle_z),
            side(0.9, heel_x, 0.55 * ankle_z),
            side(0.86, heel_x, 22.0),
            side(0.55, heel_x, 2.0),
        ],
    );
    let reach = 1.75 * h;
    canvas.line(Stroke::Ground, [heel_x - reach, 0.0], [heel_x + reach, 0.0]);
    if let (Some(low), Some(high)) = (cast.at(MarkName::HEEL_LOWER), cast.at(MarkName::HEEL_UPPER))
    {
        let (low, high) = (view(low), view(high));
        let beyond = lerp(low, high, 2.3);
        canvas.dashed(Stroke::Plumb, [low[0], 0.0], [low[0], beyond[1] - 8.0], 3.0);
        cast.fan(&mut canvas, ResultName::Heel, lerp(low, high, -0.2), beyond);
        canvas.line(Stroke::Measured, low, high);
        canvas.dot(low, false);
        canvas.dot(high, false);
    }
    if let (Some(first), Some(fifth)) = (cast.at(MarkName::MTP_1), cast.at(MarkName::MTP_5)) {
        canvas.line(Stroke::MeasuredThin, view(first), view(fifth));
        canvas.dot(view(first), true);
        canvas.dot(view(fifth), true);
    }
    if let (Some(m), Some(l)) = (
        cast.at(MarkName::MALLEOLUS_MEDIAL),
        cast.at(MarkName::MALLEOLUS_LATERAL),
    ) {
        cast.fan(&mut canvas, ResultName::HingeTiltFrontal, view(m), view(l));
        canvas.line(Stroke::Measured, view(m), view(l));
    }
    for (mark, hinge, other) in [
        (
            MarkName::MALLEOLUS_MEDIAL,
            &results.medial_hinge,
            MarkName::MALLEOLUS_LATERAL,
        ),
        (
            MarkName::MALLEOLUS_LATERAL,
            &results.lateral_hinge,
            MarkName::MALLEOLUS_MEDIAL,
        ),
    ] {
        let Some(point) = cast.at(mark).map(view) else {
            continue;
        };
        canvas.dot(point, false);
        let height = hinge
            .as_ref()
            .and_then(|h| h.inside.height.or(h.outside.height));
        let left = cast
            .at(other)
            .map_or(point[0] < heel_x, |o| point[0] < view(o)[0]);
        if let Some(height) = height {
            let (x, anchor) = if left {
                (point[0] - 0.3 * h, Anchor::End)
            } else {
                (point[0] + 0.3 * h, Anchor::Start)
            };
            canvas.number([x, point[1]], anchor, format!("{:.0}", height.value));
        }
    }
    sides(
        &mut canvas,
        results.side,
        heel_x - reach,
        heel_x + reach,
        10.0,
    );
    canvas.finish(heel_x - 2.1 * h, -top, heel_x + 2.1 * h, 19.0)
}

/// From above, toes up: the patient's left is on the left. An arrow points from where another
/// photograph would help.
pub fn above(results: &Results, stand: Option<&Stand>) -> Drawing {
    let cast = Cast::new(results);
    let view = |p: [f64; 3]| -> P { [-p[1], -p[0]] };
    let mut canvas = Canvas::default();
    let (h, front) = (cast.half_mm, cast.front_mm);
    let s = results.side.sign();
    let first = cast
        .at(MarkName::MTP_1)
        .unwrap_or([0.95 * (front - 30.0), -s * 1.05 * h, 0.0]);
    let fifth = cast
        .at(MarkName::MTP_5)
        .unwrap_or([0.85 * (front - 30.0), s * 1.05 * h, 0.0]);
    let (inner, outer) = (view(first), view(fifth));
    let out = |x: f64| s * x; // drawn x of the medial side is +s
    canvas.smooth(
        Stroke::Plaster,
        &[
            [0.0, 7.0],
            [out(0.78 * h), -12.0],
            [out(0.86 * h), -0.32 * front],
            [inner[0] + out(7.0), inner[1] + 16.0],
            [inner[0] + out(8.0), inner[1] - 6.0],
            [inner[0] + out(-8.0), -front + 4.0],
            [outer[0] - out(-14.0), outer[1] - 26.0],
            [outer[0] - out(8.0), outer[1] - 4.0],
            [outer[0] - out(6.0), outer[1] + 24.0],
            [out(-0.9 * h), -0.3 * front],
            [out(-0.78 * h), -12.0],
        ],
    );
    canvas.dashed(Stroke::Plumb, [0.0, 0.0], [0.0, -front], 3.0);
    if let (Some(m), Some(l)) = (
        cast.at(MarkName::MALLEOLUS_MEDIAL),
        cast.at(MarkName::MALLEOLUS_LATERAL),
    ) {
        let (m, l) = (view(m), view(l));
        let (from, to) = (lerp(m, l, -0.25), lerp(m, l, 1.25));
        cast.fan(&mut canvas, ResultName::HingeTurnTransverse, from, to);
        canvas.line(Stroke::Measured, from, to);
        canvas.dot(m, false);
        canvas.dot(l, false);
    }
    for mark in [MarkName::MTP_1, MarkName::MTP_5, MarkName::HEEL_LOWER] {
        if let Some(point) = cast.at(mark) {
            canvas.dot(view(point), true);
        }
    }
    if let Some(stand) = stand {
        arrow_from(&mut canvas, stand.azimuth_deg, [0.0, -0.5 * front], 1.9 * h);
    }
    sides(&mut canvas, results.side, -1.7 * h, 1.7 * h, -4.0);
    canvas.finish(-2.1 * h, -front, 2.1 * h, 12.0)
}

/// From the inner (medial) or the outer (lateral) side.
pub fn side(results: &Results, inner: bool) -> Drawing {
    let cast = Cast::new(results);
    // Seen on the inner side of a left foot the toes point to the right.
    let right = if (results.side == Side::Left) == inner {
        1.0
    } else {
        -1.0
    };
    let view = |p: [f64; 3]| -> P { [right * p[0], -p[2]] };
    let at = |x: f64, z: f64| -> P { [right * x, -z] };
    let mut canvas = Canvas::default();
    let (h, top, front) = (cast.half_mm, cast.top_mm, cast.front_mm);
    let (near, far, hinge) = if inner {
        (
            MarkName::MALLEOLUS_MEDIAL,
            MarkName::MALLEOLUS_LATERAL,
            &results.medial_hinge,
        )
    } else {
        (
            MarkName::MALLEOLUS_LATERAL,
            MarkName::MALLEOLUS_MEDIAL,
            &results.lateral_hinge,
        )
    };
    let ankle = cast.at(near).unwrap_or([0.27 * front, 0.0, 78.0]);
    let back = cast.at(MarkName::CALF_UPPER).map_or(8.0, |p| p[0]);
    let lean = cast.at(MarkName::CALF_LOWER).map_or(back, |p| p[0]);
    canvas.smooth(
        Stroke::Plaster,
        &[
            at(10.0, 0.0),
            at(-6.0, 16.0),
            at(-3.0, 42.0),
            at(lean.min(ankle[0] - 30.0).max(2.0), 0.9 * ankle[2]),
            at(lean - 6.0, 0.5 * (ankle[2] + top)),
            at(back - 8.0, top - 2.0),
            at(back + 2.1 * h, top - 2.0),
            at(ankle[0] + 1.25 * h, ankle[2] + 26.0),
            at(ankle[0] + 1.6 * h, ankle[2] - 6.0),
            at(0.78 * front, 0.5 * ankle[2]),
            at(front - 10.0, 22.0),
            at(front - 6.0, 4.0),
            at(0.72 * front, 0.5),
            at(0.45 * front, if inner { 9.0 } else { 1.0 }),
        ],
    );
    canvas.line(Stroke::Ground, at(-22.0, 0.0), at(front, 0.0));
    if let (Some(low), Some(high)) = (cast.at(MarkName::CALF_LOWER), cast.at(MarkName::CALF_UPPER))
    {
        let (low, high) = (view(low), view(high));
        let (from, to) = (lerp(low, high, -0.3), lerp(low, high, 1.15));
        cast.fan(&mut canvas, ResultName::FootToLeg, from, to);
        canvas.line(Stroke::Measured, low, high);
        canvas.dot(low, false);
        canvas.dot(high, false);
    }
    let mtp = cast.at(if inner {
        MarkName::MTP_1
    } else {
        MarkName::MTP_5
    });
    if let (Some(heel), Some(mtp)) = (cast.at(MarkName::HEEL_LOWER), mtp) {
        canvas.line(Stroke::MeasuredThin, view(heel), view(mtp));
        canvas.dot(view(heel), true);
        canvas.dot(view(mtp), true);
    }
    if let Some(other) = cast.at(far) {
        canvas.dot(view(other), true);
    }
    if let Some(point) = cast.at(near) {
        let datum = hinge.as_ref().map(|h| {
            if h.inside.height.is_some() {
                h.inside
            } else {
                h.outside
            }
        });
        canvas.dashed(Stroke::Dimension, view(point), at(point[0], 0.0), 2.5);
        canvas.dashed(
            Stroke::Dimension,
            at(0.0, 0.62 * point[2]),
            at(point[0], 0.62 * point[2]),
            2.5,
        );
        canvas.dot(view(point), false);
        if let Some(height) = datum.and_then(|d| d.height) {
            canvas.number(
                at(point[0] + 0.16 * h, 0.36 * point[2]),
                if right > 0.0 {
                    Anchor::Start
                } else {
                    Anchor::End
                },
                format!("{:.0}", height.value),
            );
        }
        if let Some(forward) = datum.and_then(|d| d.forward) {
            canvas.number(
                at(0.5 * point[0], 0.62 * point[2] - 11.0),
                Anchor::Middle,
                format!("{:.0}", forward.value),
            );
        }
    }
    let (left, end) = if right > 0.0 {
        (-24.0, front)
    } else {
        (-front, 24.0)
    };
    canvas.finish(left, -top, end, 19.0)
}

/// An arrow to the middle of the cast from the direction of a camera, counted from the toes
/// towards the patient's left.
fn arrow_from(canvas: &mut Canvas, azimuth_deg: f64, middle: P, reach: f64) {
    let (sin, cos) = azimuth_deg.to_radians().sin_cos();
    let out = |mm: f64, aside: f64| -> P {
        [
            middle[0] - sin * mm + cos * aside,
            middle[1] - cos * mm - sin * aside,
        ]
    };
    let (tip, barb) = (0.55 * reach, 0.72 * reach);
    canvas.line(Stroke::Advice, out(reach, 0.0), out(tip, 0.0));
    canvas.line(Stroke::Advice, out(barb, 7.0), out(tip, 0.0));
    canvas.line(Stroke::Advice, out(barb, -7.0), out(tip, 0.0));
    canvas.word(
        out(reach + 5.0, 0.0),
        Anchor::Middle,
        NoteWord::PhotographFromHere,
    );
}

/// Which side of the drawing is the inner one.
fn sides(canvas: &mut Canvas, side: Side, left: f64, right: f64, y: f64) {
    let (at_left, at_right) = match side {
        Side::Left => (NoteWord::Outer, NoteWord::Inner),
        Side::Right => (NoteWord::Inner, NoteWord::Outer),
    };
    canvas.word([left, y], Anchor::Start, at_left);
    canvas.word([right, y], Anchor::End, at_right);
}
