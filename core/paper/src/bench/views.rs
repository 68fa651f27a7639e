//! The four views, in page millimetres: only measured points, the lines between them and their ±.

use super::Outline;
use super::labels::Labels;
use crate::PaperError;
use crate::language::Words;
use crate::marks::listed;
use crate::words::{result, whole};
use plinthside_measure::cast::{CastPoint, HingePoint, ResultName, Results};
use plinthside_measure::marks::{MarkName, Side};
use serde::Serialize;
use serde_json::{Value, json};

/// Room around the points for labels, mm: beside them (so that the two views which share the foot's
/// width stand side by side on an A4), and above and below.
const BESIDE_MM: f64 = 7.0;
const AROUND_MM: f64 = 12.0;
/// A drawing is never narrower or lower than this: its title needs the room, mm.
const LEAST_MM: f64 = 56.0;

/// One view, drawn from its top left corner.
#[derive(Debug, Clone, Serialize)]
pub(super) struct View {
    pub(super) title: String,
    pub(super) captions: Vec<String>,
    pub(super) width: f64,
    pub(super) height: f64,
    /// Words at the left and right edge.
    left: String,
    right: String,
    shapes: Vec<Value>,
    alt: String,
}

/// From where the cast is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Seen {
    Behind,
    Above,
    Medial,
    Lateral,
}

pub(super) fn all(
    results: &Results,
    outlines: &[Outline],
    words: Words,
) -> Result<Vec<View>, PaperError> {
    let mut views = Vec::new();
    for from in [Seen::Behind, Seen::Above, Seen::Medial, Seen::Lateral] {
        if let Some(view) = Drawing::new(results, outlines, from, words).draw()? {
            views.push(view);
        }
    }
    Ok(views)
}

struct Drawing<'a> {
    results: &'a Results,
    words: Words,
    outlines: Vec<&'a Outline>,
    from: Seen,
    points: Vec<&'a CastPoint>,
    hinge: Option<&'a HingePoint>,
    /// Smallest horizontal and largest vertical coordinate, and the size of the drawing.
    left: f64,
    top: f64,
    width: f64,
    height: f64,
    shapes: Vec<Value>,
}

impl<'a> Drawing<'a> {
    fn new(results: &'a Results, outlines: &'a [Outline], from: Seen, words: Words) -> Self {
        // A side view shows its own side and what lies in the middle.
        let other: &[&str] = match from {
            Seen::Behind | Seen::Above => &[],
            Seen::Medial => &[
                MarkName::MALLEOLUS_LATERAL,
                MarkName::MALLEOLUS_LATERAL_LOWER,
                MarkName::MTP_4,
                MarkName::MTP_5,
            ],
            Seen::Lateral => &[
                MarkName::MALLEOLUS_MEDIAL,
                MarkName::MALLEOLUS_MEDIAL_LOWER,
                MarkName::MTP_1,
                MarkName::MTP_2,
            ],
        };
        let shown = |mark: &str| !other.contains(&mark);
        // Seen edge on, an outline would be a line that means nothing.
        let side_view = matches!(from, Seen::Medial | Seen::Lateral);
        Self {
            results,
            words,
            outlines: outlines
                .iter()
                .filter(|o| side_view && shown(&o.mark))
                .collect(),
            from,
            points: results
                .points
                .iter()
                .filter(|p| shown(p.mark.as_str()))
                .collect(),
            hinge: match from {
                Seen::Medial => results.medial_hinge.as_ref(),
                Seen::Lateral => results.lateral_hinge.as_ref(),
                _ => None,
            },
            left: 0.0,
            top: 0.0,
            width: 0.0,
            height: 0.0,
            shapes: Vec::new(),
        }
    }

    /// Right and up on the page, mm, seen along the view.
    fn project(&self, [x, y, z]: [f64; 3]) -> [f64; 2] {
        // The medial face of a left foot is seen from the patient's right: toes to the right.
        let toes_right = (self.from == Seen::Medial) == (self.results.side == Side::Left);
        match self.from {
            Seen::Behind => [-y, z],
            Seen::Above => [-y, x],
            Seen::Medial | Seen::Lateral if toes_right => [x, z],
            Seen::Medial | Seen::Lateral => [-x, z],
        }
    }

    fn on_page(&self, p: [f64; 3]) -> [f64; 2] {
        let [h, v] = self.project(p);
        [h - self.left, self.top - v]
    }

    fn get(&self, mark: &str) -> Option<[f64; 3]> {
        self.points
            .iter()
            .find(|p| p.mark.as_str() == mark)
            .map(|p| p.cast_mm)
    }

    fn draw(mut self) -> Result<Option<View>, PaperError> {
        if self.points.is_empty() {
            return Ok(None);
        }
        self.frame();
        self.lines();
        for outline in self.outlines.clone() {
            let line: Vec<_> = outline.cast_mm.iter().map(|&p| self.on_page(p)).collect();
            if line.len() > 2 {
                self.shapes.push(json!({"kind": "outline", "points": line}));
            }
        }
        self.hinge_point();
        self.marks();
        let captions = self.captions()?;
        let (left, right) = self.edges();
        let title = self.words.say(self.title());
        let marks: Vec<String> = self
            .points
            .iter()
            .map(|p| self.words.say(&listed(p.mark.as_str())))
            .collect();
        let alt = self.words.with(
            "{}: measured points {}. {}",
            &[&title, &marks.join("; "), &captions.join("; ")],
        );
        Ok(Some(View {
            title,
            captions,
            width: self.width,
            height: self.height,
            left: self.words.say(left),
            right: self.words.say(right),
            shapes: self.shapes,
            alt,
        }))
    }

    fn frame(&mut self) {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        let outline_points = self.outlines.iter().flat_map(|o| o.cast_mm.iter().copied());
        let hinge = self.hinge.iter().map(|h| h.cast_mm);
        let points = self.points.iter().map(|p| p.cast_mm);
        for p in points.chain(outline_points).chain(hinge) {
            let uv = self.project(p);
            for i in 0..2 {
                low[i] = low[i].min(uv[i]);
                high[i] = high[i].max(uv[i]);
            }
        }
        if self.from != Seen::Above {
            low[1] = low[1].min(0.0); // the bench
        }
        let beside = match self.from {
            Seen::Behind | Seen::Above => BESIDE_MM,
            Seen::Medial | Seen::Lateral => AROUND_MM,
        };
        let spare = |i: usize, room: f64| (LEAST_MM - (high[i] - low[i] + room)).max(0.0) / 2.0;
        let (spare_x, spare_y) = (spare(0, 2.0 * beside), spare(1, 2.0 * AROUND_MM));
        self.left = low[0] - beside - spare_x;
        self.top = high[1] + AROUND_MM + spare_y;
        self.width = high[0] + beside + spare_x - self.left;
        // Below the bench only its line's label.
        let below = if self.from == Seen::Above {
            AROUND_MM
        } else {
            5.0
        };
        self.height = self.top - (low[1] - below - spare_y);
    }

    fn line(&mut self, style: &str, a: [f64; 2], b: [f64; 2]) {
        self.shapes
            .push(json!({"kind": "line", "style": style, "from": a, "to": b}));
    }

    fn lines(&mut self) {
        use MarkName as M;
        if self.from == Seen::Above {
            // The X axis, through the whole drawing.
            let [x, _] = self.on_page([0.0; 3]);
            let height = self.height;
            self.line("reference", [x, 3.0], [x, height - 3.0]);
        } else {
            let [_, y] = self.on_page([0.0; 3]);
            let width = self.width;
            self.line("bench", [0.0, y], [width, y]);
        }
        if self.from == Seen::Behind
            && let Some(low) = self.get(M::HEEL_LOWER)
        {
            let [x, y] = self.on_page(low);
            self.line("reference", [x, y], [x, 4.0]);
            self.wedge(M::HEEL_LOWER, M::HEEL_UPPER, ResultName::Heel, false);
        }
        let hinge_angle = match self.from {
            Seen::Behind => Some(ResultName::HingeTiltFrontal),
            Seen::Above => Some(ResultName::HingeTurnTransverse),
            _ => None,
        };
        if let Some(name) = hinge_angle {
            self.wedge(M::MALLEOLUS_MEDIAL, M::MALLEOLUS_LATERAL, name, true);
        }
        let pairs = [
            (M::HEEL_LOWER, M::HEEL_UPPER),
            (M::CALF_LOWER, M::CALF_UPPER),
            (M::MALLEOLUS_MEDIAL, M::MALLEOLUS_LATERAL),
            (M::MTP_1, M::MTP_5),
        ];
        for (a, b) in pairs {
            if let (Some(pa), Some(pb)) = (self.get(a), self.get(b)) {
                let (pa, pb) = (self.on_page(pa), self.on_page(pb));
                // The MTP line lies far ahead when seen from behind.
                let far = self.from == Seen::Behind && a == M::MTP_1;
                self.line(if far { "far" } else { "measured" }, pa, pb);
            }
        }
    }

    /// The 95 % range of a line's direction: a fan from `a`, or about the middle of both.
    fn wedge(&mut self, a: &str, b: &str, name: ResultName, about_middle: bool) {
        let (Some(pa), Some(pb), Some(q)) =
            (self.get(a), self.get(b), self.results.quantities.get(&name))
        else {
            return;
        };
        let (pa, pb) = (self.on_page(pa), self.on_page(pb));
        let half = q.plus_minus().total.min(60.0).to_radians();
        let fan = |from: [f64; 2], to: [f64; 2]| {
            let turn = |angle: f64| {
                let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
                let (s, c) = angle.sin_cos();
                [from[0] + c * dx - s * dy, from[1] + s * dx + c * dy]
            };
            let arc = (0..=12).map(|i| turn(half * (f64::from(i) / 6.0 - 1.0)));
            let points: Vec<[f64; 2]> = std::iter::once(from).chain(arc).collect();
            json!({"kind": "range", "points": points})
        };
        if about_middle {
            let middle = [0, 1].map(|i| f64::midpoint(pa[i], pb[i]));
            self.shapes.push(fan(middle, pa));
            self.shapes.push(fan(middle, pb));
        } else {
            self.shapes.push(fan(pa, pb));
        }
    }

    /// The hinge point of a side view with its height and distance from the back of the heel.
    fn hinge_point(&mut self) {
        let Some(hinge) = self.hinge else { return };
        let [x, y] = self.on_page(hinge.cast_mm);
        let [heel, bench] = self.on_page([0.0; 3]);
        self.line("dimension", [x, y], [x, bench]);
        let across_y = bench - 6.0;
        self.line("dimension", [heel, across_y], [x, across_y]);
        self.line("dimension", [heel, bench], [heel, across_y - 3.0]);
        self.shapes.push(json!({"kind": "hinge", "at": [x, y]}));
        let toward_heel = if heel < x { -1.0 } else { 1.0 };
        self.shapes.push(json!({
            "kind": "number", "text": whole(hinge.cast_mm[2]), "at": [x - 7.0 * toward_heel, f64::midpoint(y, bench)],
        }));
        self.shapes.push(json!({
            "kind": "number", "text": whole(hinge.cast_mm[0]), "at": [f64::midpoint(heel, x), across_y - 3.2],
        }));
    }

    fn marks(&mut self) {
        let mut labels = Labels::new(self.width, self.height);
        for shape in &self.shapes {
            labels.avoid(shape);
        }
        let placed: Vec<([f64; 2], String, bool)> = self
            .points
            .iter()
            .map(|p| {
                let far = self.from == Seen::Behind && p.mark.as_str().starts_with("mtp-");
                let mut text = short_name(p.mark.as_str()).to_owned();
                if self.from == Seen::Behind && !far {
                    text += &format!(" {}", whole(p.cast_mm[2]));
                }
                (self.on_page(p.cast_mm), text, far)
            })
            .collect();
        for (at, _, _) in &placed {
            labels.avoid_point(*at);
        }
        for (at, text, far) in placed {
            let label = labels.place(at, &text);
            self.shapes.push(json!({
                "kind": "mark", "at": at, "far": far, "text": text, "label": label,
            }));
        }
    }

    fn title(&self) -> &'static str {
        match self.from {
            Seen::Behind => "Seen from behind, as the foot stands",
            Seen::Above => "From above, toes up the page",
            Seen::Medial => "Medial side",
            Seen::Lateral => "Lateral side",
        }
    }

    fn edges(&self) -> (&'static str, &'static str) {
        let left_foot = self.results.side == Side::Left;
        match self.from {
            Seen::Behind | Seen::Above if left_foot => ("lateral", "medial"),
            Seen::Behind | Seen::Above => ("medial", "lateral"),
            Seen::Medial if left_foot => ("heel", "toes"),
            Seen::Medial => ("toes", "heel"),
            Seen::Lateral if left_foot => ("toes", "heel"),
            Seen::Lateral => ("heel", "toes"),
        }
    }

    fn captions(&self) -> Result<Vec<String>, PaperError> {
        let names: &[(&str, ResultName)] = match self.from {
            Seen::Behind => &[
                ("Heel", ResultName::Heel),
                ("Hinge line", ResultName::HingeTiltFrontal),
            ],
            Seen::Above => &[("Hinge line", ResultName::HingeTurnTransverse)],
            Seen::Medial | Seen::Lateral => &[("Foot to leg", ResultName::FootToLeg)],
        };
        let mut captions = Vec::new();
        for (words, name) in names {
            let Some(p) = result(self.results, *name, self.words)? else {
                continue;
            };
            let words = self.words.say(words);
            captions.push(if p.note.is_empty() {
                self.words.with(
                    "{} {} ({}; with marking {})",
                    &[&words, &p.value, &p.instrument, &p.total],
                )
            } else {
                self.words.with(
                    "{} {} ({}; with marking {}: {})",
                    &[&words, &p.value, &p.instrument, &p.total, &p.note],
                )
            });
        }
        match self.from {
            Seen::Behind => captions.push(self.words.say("Numbers: mm above the bench.")),
            Seen::Above => captions.push(self.words.say("Dashed: the X reference.")),
            _ if self.hinge.is_some() => {
                captions.push(
                    self.words.say(
                        "Cross: hinge point; mm above the bench and from the lower heel mark.",
                    ),
                );
            }
            _ => {}
        }
        Ok(captions)
    }
}

/// The short name printed beside a mark; other marks keep their own.
pub(super) fn short_name(mark: &str) -> &str {
    match mark {
        MarkName::MALLEOLUS_MEDIAL => "MM",
        MarkName::MALLEOLUS_LATERAL => "LM",
        MarkName::MALLEOLUS_MEDIAL_LOWER => "MM low",
        MarkName::MALLEOLUS_LATERAL_LOWER => "LM low",
        MarkName::MTP_1 => "M1",
        MarkName::MTP_2 => "M2",
        MarkName::MTP_4 => "M4",
        MarkName::MTP_5 => "M5",
        MarkName::HEEL_UPPER => "HU",
        MarkName::HEEL_LOWER => "HL",
        MarkName::CALF_UPPER => "CU",
        MarkName::CALF_LOWER => "CL",
        other => other,
    }
}

#[cfg(test)]
#[path = "views_tests.rs"]
mod tests;
