//! Collects strokes, dots and numbers of one drawing in millimetres.

use plinthside_ui::{Anchor, Drawing, DrawnDot, DrawnNote, DrawnPath, NoteWord, Stroke};
use slint::{ModelRc, VecModel};
use std::fmt::Write;

/// A position in a drawing: x right, y down, millimetres.
pub type P = [f64; 2];

/// A drawing being made.
#[derive(Default)]
pub struct Canvas {
    paths: Vec<DrawnPath>,
    dots: Vec<DrawnDot>,
    notes: Vec<DrawnNote>,
}

impl Canvas {
    fn path(&mut self, stroke: Stroke, commands: String) {
        self.paths.push(DrawnPath {
            commands: commands.into(),
            stroke,
        });
    }

    /// A straight line.
    pub fn line(&mut self, stroke: Stroke, from: P, to: P) {
        self.path(stroke, polyline(&[from, to]));
    }

    /// A line of dashes, `dash_mm` long and as far apart.
    pub fn dashed(&mut self, stroke: Stroke, from: P, to: P, dash_mm: f64) {
        let length = (to[0] - from[0]).hypot(to[1] - from[1]);
        let at = |mm: f64| lerp(from, to, (mm / length).min(1.0));
        let mut commands = String::new();
        let mut mm = 0.0;
        while mm < length {
            commands += &polyline(&[at(mm), at(mm + dash_mm)]);
            mm += 2.0 * dash_mm;
        }
        self.path(stroke, commands);
    }

    /// A filled polygon.
    pub fn polygon(&mut self, stroke: Stroke, corners: &[P]) {
        self.path(stroke, polyline(corners) + "Z");
    }

    /// A closed smooth curve through the points (Catmull-Rom, as cubic Béziers).
    pub fn smooth(&mut self, stroke: Stroke, points: &[P]) {
        let n = points.len();
        let p = |i: usize| points[i % n];
        let mut commands = polyline(&points[..1]);
        for i in 0..n {
            let (before, from, to, after) = (p(i + n - 1), p(i), p(i + 1), p(i + 2));
            let c1 = [
                from[0] + (to[0] - before[0]) / 6.0,
                from[1] + (to[1] - before[1]) / 6.0,
            ];
            let c2 = [
                to[0] - (after[0] - from[0]) / 6.0,
                to[1] - (after[1] - from[1]) / 6.0,
            ];
            let [x, y] = to;
            let _ = write!(
                commands,
                "C {:.2} {:.2} {:.2} {:.2} {x:.2} {y:.2} ",
                c1[0], c1[1], c2[0], c2[1]
            );
        }
        self.path(stroke, commands + "Z");
    }

    /// All directions that a line may have within ± `half_deg` about the middle of `from`-`to`,
    /// drawn as far as the line itself reaches.
    pub fn fan(&mut self, stroke: Stroke, from: P, to: P, half_deg: f64) {
        let middle = lerp(from, to, 0.5);
        // Beyond this the fan would say no more than "anything".
        let half = half_deg.clamp(0.0, 60.0).to_radians();
        let turned = |p: P, angle: f64| {
            let [dx, dy] = [p[0] - middle[0], p[1] - middle[1]];
            let (sin, cos) = angle.sin_cos();
            [
                middle[0] + dx * cos - dy * sin,
                middle[1] + dx * sin + dy * cos,
            ]
        };
        for end in [from, to] {
            self.polygon(
                stroke,
                &[
                    middle,
                    turned(end, half),
                    turned(end, half / 3.0),
                    turned(end, -half / 3.0),
                    turned(end, -half),
                ],
            );
        }
    }

    /// A mark.
    pub fn dot(&mut self, at: P, hollow: bool) {
        self.dots.push(DrawnDot {
            x_mm: at[0] as f32,
            y_mm: at[1] as f32,
            hollow,
        });
    }

    /// A number.
    pub fn number(&mut self, at: P, anchor: Anchor, text: String) {
        self.notes.push(DrawnNote {
            x_mm: at[0] as f32,
            y_mm: at[1] as f32,
            text: text.into(),
            word: NoteWord::None,
            anchor,
        });
    }

    /// A word for orientation.
    pub fn word(&mut self, at: P, anchor: Anchor, word: NoteWord) {
        self.notes.push(DrawnNote {
            x_mm: at[0] as f32,
            y_mm: at[1] as f32,
            text: Default::default(),
            word,
            anchor,
        });
    }

    /// The drawing, with the box that must be visible.
    pub fn finish(self, left: f64, top: f64, right: f64, bottom: f64) -> Drawing {
        Drawing {
            left_mm: left as f32,
            top_mm: top as f32,
            width_mm: (right - left) as f32,
            height_mm: (bottom - top) as f32,
            paths: ModelRc::new(VecModel::from(self.paths)),
            dots: ModelRc::new(VecModel::from(self.dots)),
            notes: ModelRc::new(VecModel::from(self.notes)),
        }
    }
}

/// The point a share of the way from one point to another; beyond them for shares outside 0…1.
pub fn lerp(from: P, to: P, share: f64) -> P {
    [
        from[0] + (to[0] - from[0]) * share,
        from[1] + (to[1] - from[1]) * share,
    ]
}

fn polyline(points: &[P]) -> String {
    let mut commands = String::new();
    for (i, [x, y]) in points.iter().enumerate() {
        let _ = write!(
            commands,
            "{} {x:.2} {y:.2} ",
            if i == 0 { "M" } else { "L" }
        );
    }
    commands
}
