//! What is to be fitted: observations, parameters, priors, and where each parameter stands.
//!
//! The parameters fall in two parts. The *frame*: 9 a photograph, 9 a camera, 4 of the print and 3
//! for each further sheet. The *points*: one height a tag, 3 coordinates a mark. A point meets
//! only the frame, never another point, which is what [`super::normal`] exploits.

use super::model::{self, Corner, Drawing, Lens, Pose, Print};
use crate::frames::Turn;
use nalgebra::Vector3;

/// One tag in one photograph.
#[derive(Debug, Clone)]
pub(crate) struct TagView {
    pub shot: usize,
    pub tag: usize,
    /// Corners on the sensor, in the mat's order.
    pub px: [[f64; 2]; 4],
    /// Robust weight of each corner, 0 to 1.
    pub weight: [f64; 4],
    pub dropped: bool,
}

/// One tap.
#[derive(Debug, Clone)]
pub(crate) struct Tap {
    pub shot: usize,
    pub mark: usize,
    /// On the sensor.
    pub px: [f64; 2],
    pub sd_px: f64,
}

/// One photograph.
#[derive(Debug, Clone)]
pub(crate) struct Shot {
    pub lens: usize,
    pub turn: Turn,
    /// Standard deviation of a corner coordinate, pixels.
    pub sd_px: f64,
}

/// Prior standard deviations and centres; `None` for a parameter that is free or fixed instead.
#[derive(Debug, Clone)]
pub(crate) struct Priors {
    /// Whether nuisances are estimated under their priors (else fixed at zero, the lens free).
    pub on: bool,
    /// Sd of ln F, e, dc; of c by lens; of k; of the aspect, bow, tag height, sheet shift and turn.
    pub ln_f: f64,
    pub e: f64,
    pub dc_px: f64,
    pub c_width: f64,
    pub k: f64,
    /// Decentring and pixel shape, where they are free.
    pub p: f64,
    pub s: f64,
    pub aspect: f64,
    pub bow_mm: f64,
    pub height_mm: f64,
    pub sheet_mm: f64,
    pub sheet_rad: f64,
}

impl Priors {
    /// The model's page: autofocus 1.5 %, stabiliser 20 px, centre 2 % of the width, k 0.2, aspect
    /// 1 %, bow 1 mm. ln F is held only so weakly that it stays finite where nothing else fixes it.
    pub const PAGE: Self = Self {
        on: true,
        ln_f: 0.3,
        e: 0.015,
        dc_px: 20.0,
        c_width: 0.02,
        k: 0.2,
        p: 0.01,
        s: 0.01,
        aspect: 0.01,
        bow_mm: 1.0,
        height_mm: 0.2,
        sheet_mm: 10.0,
        sheet_rad: 0.05,
    };
}

/// All parameters.
#[derive(Debug, Clone)]
pub(crate) struct State {
    pub lenses: Vec<Lens>,
    pub poses: Vec<Pose>,
    pub print: Print,
    /// Height of each tag, mm.
    pub heights: Vec<f64>,
    /// Marks in the centred mat frame, mm.
    pub marks: Vec<Vector3<f64>>,
}

/// Observations and all that is known beforehand.
#[derive(Debug, Clone)]
pub(crate) struct Problem {
    pub shots: Vec<Shot>,
    pub views: Vec<TagView>,
    pub taps: Vec<Tap>,
    /// Factor on every tap's variance.
    pub tap_factor: f64,
    /// Corners of every tag.
    pub tags: Vec<[Corner; 4]>,
    pub drawing: Drawing,
    /// A sheet's bow and heights are estimated; a target with relief is taken as measured.
    pub flat: bool,
    pub priors: Priors,
    /// Of every lens, whether k3, p1, p2 and s are free.
    pub further: Vec<bool>,
    /// ln F and c about which the lens priors stand.
    pub lens_centre: Vec<(f64, [f64; 2])>,
    pub marks: usize,
}

/// Parameters of a lens in the frame.
pub(crate) const LENS: usize = 9;
/// The first of them that is free only where the photographs call for it: k3, p1, p2, s.
pub(crate) const FURTHER: usize = 5;

/// Where the parameters stand in the frame and among the points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Layout {
    pub shots: usize,
    pub lenses: usize,
    pub sheets: usize,
    pub tags: usize,
    pub marks: usize,
}

impl Layout {
    /// Does not depend on the layout, unlike its siblings.
    #[allow(clippy::unused_self)]
    pub fn shot(self, shot: usize) -> usize {
        model::POSE * shot
    }
    pub fn lens(self, lens: usize) -> usize {
        model::POSE * self.shots + LENS * lens
    }
    pub fn print(self) -> usize {
        self.lens(self.lenses)
    }
    /// Size of the frame.
    pub fn frame(self) -> usize {
        self.print() + self.print_len()
    }
    /// Aspect, bow, further sheets.
    pub fn print_len(self) -> usize {
        4 + 3 * (self.sheets - 1)
    }
    /// Size of a corner's local parameters.
    pub fn local(self) -> usize {
        model::PRINT + self.print_len()
    }
    /// Place of a mark among the points (tags come first).
    pub fn mark(self, mark: usize) -> usize {
        self.tags + 3 * mark
    }
    /// Size of the points.
    pub fn points(self) -> usize {
        self.mark(self.marks)
    }
    /// Global frame index and factor of each local parameter's copies, for one shot:
    /// (frame index, local index, factor).
    pub fn spread(self, shot: usize, lens: usize, e: f64) -> Vec<(usize, usize, f64)> {
        let (s, l) = (self.shot(shot), self.lens(lens));
        let mut spread: Vec<_> = (0..model::POSE).map(|i| (s + i, i, 1.0)).collect();
        spread.extend([(l, 6, 1.0 + e), (l + 1, 7, 1.0), (l + 2, 8, 1.0)]);
        spread.extend((3..LENS).map(|i| (l + i, model::K + i - 3, 1.0)));
        spread.extend((0..self.print_len()).map(|i| (self.print() + i, model::PRINT + i, 1.0)));
        spread
    }
}

/// Precision, centre-minus-value pull and cost of one prior.
pub(crate) struct Pull {
    pub index: usize,
    pub precision: f64,
    pub pull: f64,
}

impl Problem {
    pub fn layout(&self) -> Layout {
        Layout {
            shots: self.shots.len(),
            lenses: self.lens_centre.len(),
            sheets: self.drawing.sheet_middles.len(),
            tags: self.tags.len(),
            marks: self.marks,
        }
    }

    /// Weight (inverse variance) of a tag's corner.
    pub fn corner_weight(&self, view: &TagView, corner: usize) -> f64 {
        if view.dropped {
            0.0
        } else {
            view.weight[corner] / self.shots[view.shot].sd_px.powi(2)
        }
    }

    /// Weight (inverse variance) of a tap.
    pub fn tap_weight(&self, tap: &Tap) -> f64 {
        1.0 / (tap.sd_px.powi(2) * self.tap_factor)
    }

    /// Frame parameters that are fixed.
    pub fn fixed_frame(&self) -> Vec<usize> {
        let layout = self.layout();
        let print = layout.print();
        let mut fixed = Vec::new();
        for (lens, further) in self.further.iter().enumerate() {
            if !further {
                fixed.extend((FURTHER..LENS).map(|i| layout.lens(lens) + i));
            }
        }
        if !self.priors.on {
            for shot in 0..layout.shots {
                fixed.extend((6..9).map(|i| layout.shot(shot) + i));
            }
            fixed.push(print);
        }
        if !self.priors.on || !self.flat {
            fixed.extend(print + 1..print + 4);
        }
        fixed
    }

    /// Whether tag heights are fixed at zero.
    pub fn heights_fixed(&self) -> bool {
        !self.priors.on || !self.flat
    }

    /// Every prior on the frame at a state.
    pub fn frame_priors(&self, state: &State) -> Vec<Pull> {
        if !self.priors.on {
            return Vec::new();
        }
        let layout = self.layout();
        let mut pulls = Vec::new();
        let mut pull = |index, value: f64, centre: f64, sd: f64| {
            let precision = sd.powi(-2);
            pulls.push(Pull {
                index,
                precision,
                pull: precision * (centre - value),
            });
        };
        let priors = &self.priors;
        for (shot, pose) in state.poses.iter().enumerate() {
            let at = layout.shot(shot);
            pull(at + 6, pose.e, 0.0, priors.e);
            pull(at + 7, pose.dc[0], 0.0, priors.dc_px);
            pull(at + 8, pose.dc[1], 0.0, priors.dc_px);
        }
        for (lens, (value, (ln_f, c))) in state.lenses.iter().zip(&self.lens_centre).enumerate() {
            let at = layout.lens(lens);
            // The lens prior's width is a share of the sensor's, whose middle is the centre.
            let c_px = priors.c_width * 2.0 * c[0].max(c[1]);
            pull(at, value.ln_f, *ln_f, priors.ln_f);
            pull(at + 1, value.c[0], c[0], c_px);
            pull(at + 2, value.c[1], c[1], c_px);
            pull(at + 3, value.k[0], 0.0, priors.k);
            pull(at + 4, value.k[1], 0.0, priors.k);
            pull(at + 5, value.k[2], 0.0, priors.k);
            pull(at + 6, value.p[0], 0.0, priors.p);
            pull(at + 7, value.p[1], 0.0, priors.p);
            pull(at + 8, value.s, 0.0, priors.s);
        }
        let at = layout.print();
        pull(at, state.print.aspect, 0.0, priors.aspect);
        if self.flat {
            for (i, bow) in state.print.bow.iter().enumerate() {
                pull(at + 1 + i, *bow, 0.0, priors.bow_mm);
            }
        }
        for (i, sheet) in state.print.sheets.iter().enumerate() {
            for (j, value) in sheet.iter().enumerate() {
                let sd = if j < 2 {
                    priors.sheet_mm
                } else {
                    priors.sheet_rad
                };
                pull(at + 4 + 3 * i + j, *value, 0.0, sd);
            }
        }
        pulls
    }

    /// Sum of weighted squares, priors included; `None` with a point behind a camera.
    pub fn cost(&self, state: &State) -> Option<f64> {
        let mut cost = 0.0;
        for view in self.views.iter().filter(|view| !view.dropped) {
            let (pose, lens) = self.camera(state, view.shot);
            for (i, corner) in self.tags[view.tag].iter().enumerate() {
                let mut p = self.drawing.place(corner, &state.print).p;
                p.z += state.heights[view.tag];
                let px = model::project(lens, pose, &p)?;
                let (dx, dy) = (view.px[i][0] - px.x, view.px[i][1] - px.y);
                cost += self.corner_weight(view, i) * (dx * dx + dy * dy);
            }
        }
        for tap in &self.taps {
            let (pose, lens) = self.camera(state, tap.shot);
            let px = model::project(lens, pose, &state.marks[tap.mark])?;
            let (dx, dy) = (tap.px[0] - px.x, tap.px[1] - px.y);
            cost += self.tap_weight(tap) * (dx * dx + dy * dy);
        }
        for prior in self.frame_priors(state) {
            cost += prior.pull * prior.pull / prior.precision;
        }
        if !self.heights_fixed() {
            let precision = self.priors.height_mm.powi(-2);
            cost += precision * state.heights.iter().map(|h| h * h).sum::<f64>();
        }
        cost.is_finite().then_some(cost)
    }

    /// Pose and lens of a photograph.
    pub fn camera<'a>(&self, state: &'a State, shot: usize) -> (&'a Pose, &'a Lens) {
        (&state.poses[shot], &state.lenses[self.shots[shot].lens])
    }

    /// Residuals (found minus model, pixels) of a tag's corners; `None` behind the camera.
    pub fn corner_residuals(&self, state: &State, view: &TagView) -> Option<[[f64; 2]; 4]> {
        let (pose, lens) = self.camera(state, view.shot);
        let mut residuals = [[0.0; 2]; 4];
        for (i, corner) in self.tags[view.tag].iter().enumerate() {
            let mut p = self.drawing.place(corner, &state.print).p;
            p.z += state.heights[view.tag];
            let px = model::project(lens, pose, &p)?;
            residuals[i] = [view.px[i][0] - px.x, view.px[i][1] - px.y];
        }
        Some(residuals)
    }

    /// Residual of a tap, pixels.
    pub fn tap_residual(&self, state: &State, tap: &Tap) -> Option<[f64; 2]> {
        let (pose, lens) = self.camera(state, tap.shot);
        let px = model::project(lens, pose, &state.marks[tap.mark])?;
        Some([tap.px[0] - px.x, tap.px[1] - px.y])
    }
}

impl State {
    /// The state moved by a step over frame and points.
    pub fn moved(&self, problem: &Problem, frame: &[f64], points: &[f64]) -> Self {
        let layout = problem.layout();
        let mut new = self.clone();
        for (shot, pose) in new.poses.iter_mut().enumerate() {
            let d = &frame[layout.shot(shot)..];
            pose.camera_from_mat =
                model::turned(&Vector3::new(d[0], d[1], d[2]), &pose.camera_from_mat);
            // Depth and focal length trade off along a straight line of their logarithms.
            let deeper = (d[5] / pose.t.z).exp();
            pose.t = Vector3::new(pose.t.x + d[3], pose.t.y + d[4], pose.t.z * deeper);
            pose.e += d[6];
            pose.dc[0] += d[7];
            pose.dc[1] += d[8];
        }
        for (lens, value) in new.lenses.iter_mut().enumerate() {
            let d = &frame[layout.lens(lens)..];
            value.ln_f += d[0];
            value.c[0] += d[1];
            value.c[1] += d[2];
            value.k[0] += d[3];
            value.k[1] += d[4];
            value.k[2] += d[5];
            value.p[0] += d[6];
            value.p[1] += d[7];
            value.s += d[8];
        }
        let d = &frame[layout.print()..];
        new.print.aspect += d[0];
        new.print
            .bow
            .iter_mut()
            .zip(&d[1..4])
            .for_each(|(q, d)| *q += d);
        new.print
            .sheets
            .iter_mut()
            .flatten()
            .zip(&d[4..])
            .for_each(|(v, d)| *v += d);
        new.heights
            .iter_mut()
            .zip(points)
            .for_each(|(h, d)| *h += d);
        for (mark, p) in new.marks.iter_mut().enumerate() {
            let at = layout.mark(mark);
            *p += Vector3::new(points[at], points[at + 1], points[at + 2]);
        }
        new
    }
}
