//! Normal equations, their Schur complement, Levenberg-Marquardt and the covariance.
//!
//! With the frame a and the points b of [`super::problem`], the normal equations read
//!
//! ```text
//! | A   W | |δa|   |ga|        S  = A − W·V⁻¹·Wᵀ      δa = S⁻¹(ga − W·V⁻¹·gb)
//! | Wᵀ  V | |δb| = |gb|   ⇒    δb = V⁻¹(gb − Wᵀ·δa)
//! ```
//!
//! V is diagonal for tag heights and 3 × 3 blocks for marks, so only S (9 a photograph and a few)
//! is factored. With C = S⁻¹: cov(a) = C, cov(b, a) = −V⁻¹WᵀC, cov(b) = V⁻¹ + V⁻¹WᵀC·WV⁻¹.

use super::model::{self, PRINT, SHEETS};
use super::problem::{Layout, Problem, State};
use nalgebra::{Cholesky, DMatrix, DVector, Dyn, Matrix3};

/// The local normal matrix of one photograph's tags and its coupling to each tag's height.
pub(crate) struct ShotPart {
    /// local × local, row-major, upper triangle.
    pub h: Vec<f64>,
    /// (tag, coupling by local parameter, own precision).
    pub tags: Vec<(usize, Vec<f64>, f64)>,
}

/// Normal equations at a state.
pub(crate) struct Normal {
    layout: Layout,
    pub a: DMatrix<f64>,
    pub w: DMatrix<f64>,
    pub v: Vec<f64>,
    pub v_marks: Vec<Matrix3<f64>>,
    pub ga: DVector<f64>,
    pub gb: DVector<f64>,
    pub parts: Vec<ShotPart>,
}

/// Adds w·jᵀj and w·jᵀr of two rows.
fn add_rows(h: &mut [f64], g: &mut [f64], rows: [&[f64]; 2], r: [f64; 2], weight: f64) {
    let n = g.len();
    let [ju, jv] = rows;
    for i in 0..n {
        let (u, v) = (weight * ju[i], weight * jv[i]);
        g[i] += u * r[0] + v * r[1];
        let row = &mut h[i * n + i..(i + 1) * n];
        for ((h, u2), v2) in row.iter_mut().zip(&ju[i..n]).zip(&jv[i..n]) {
            *h += u * u2 + v * v2;
        }
    }
}

impl Normal {
    /// Accumulates every observation and prior; `None` with a point behind a camera.
    pub fn new(problem: &Problem, state: &State) -> Option<Self> {
        let layout = problem.layout();
        let (frame, points, local) = (layout.frame(), layout.points(), layout.local());
        let mut normal = Self {
            layout,
            a: DMatrix::zeros(frame, frame),
            w: DMatrix::zeros(frame, points),
            v: vec![0.0; layout.tags],
            v_marks: vec![Matrix3::zeros(); layout.marks],
            ga: DVector::zeros(frame),
            gb: DVector::zeros(points),
            parts: Vec::with_capacity(layout.shots),
        };
        let spreads: Vec<_> = (0..layout.shots)
            .map(|s| layout.spread(s, problem.shots[s].lens, state.poses[s].e))
            .collect();
        let mut gradients = vec![vec![0.0; local]; layout.shots];
        for _ in 0..layout.shots {
            normal.parts.push(ShotPart {
                h: vec![0.0; local * local],
                tags: Vec::new(),
            });
        }
        for view in problem.views.iter().filter(|view| !view.dropped) {
            let (pose, lens) = problem.camera(state, view.shot);
            let part = &mut normal.parts[view.shot];
            let mut coupling = vec![0.0; local];
            let mut precision = 0.0;
            for (i, corner) in problem.tags[view.tag].iter().enumerate() {
                let mut placed = problem.drawing.place(corner, &state.print);
                placed.p.z += state.heights[view.tag];
                let seen = model::project_with(lens, pose, &placed.p)?;
                let weight = problem.corner_weight(view, i);
                let r = [view.px[i][0] - seen.px.x, view.px[i][1] - seen.px.y];
                let mut rows = [[0.0; 64]; 2];
                let raise = seen.by_point.column(2);
                let stretch = seen.by_point * placed.by_aspect;
                for (k, row) in rows.iter_mut().enumerate() {
                    row[..PRINT].copy_from_slice(&seen.by_camera[k]);
                    row[PRINT] = stretch[k];
                    for (j, bow) in placed.by_bow.iter().enumerate() {
                        row[PRINT + 1 + j] = raise[k] * bow;
                    }
                }
                if corner.sheet > 0 {
                    for (j, by) in placed.by_sheet.iter().enumerate() {
                        let column = seen.by_point * by;
                        rows[0][SHEETS + 3 * (corner.sheet - 1) + j] = column.x;
                        rows[1][SHEETS + 3 * (corner.sheet - 1) + j] = column.y;
                    }
                }
                let [ju, jv] = [&rows[0][..local], &rows[1][..local]];
                add_rows(&mut part.h, &mut gradients[view.shot], [ju, jv], r, weight);
                for (c, (u, v)) in coupling.iter_mut().zip(ju.iter().zip(jv)) {
                    *c += weight * (u * raise.x + v * raise.y);
                }
                precision += weight * raise.norm_squared();
                normal.gb[view.tag] += weight * (raise.x * r[0] + raise.y * r[1]);
            }
            part.tags.push((view.tag, coupling, precision));
        }
        for (shot, part) in normal.parts.iter().enumerate() {
            let spread = &spreads[shot];
            for &(i, li, fi) in spread {
                normal.ga[i] += fi * gradients[shot][li];
                for &(j, lj, fj) in spread {
                    let (a, b) = (li.min(lj), li.max(lj));
                    normal.a[(i, j)] += fi * fj * part.h[a * local + b];
                }
                for (tag, coupling, _) in &part.tags {
                    normal.w[(i, *tag)] += fi * coupling[li];
                }
            }
            part.tags
                .iter()
                .for_each(|(tag, _, precision)| normal.v[*tag] += precision);
        }
        for tap in &problem.taps {
            let (pose, lens) = problem.camera(state, tap.shot);
            let seen = model::project_with(lens, pose, &state.marks[tap.mark])?;
            let weight = problem.tap_weight(tap);
            let r = [tap.px[0] - seen.px.x, tap.px[1] - seen.px.y];
            let at = layout.mark(tap.mark);
            normal.v_marks[tap.mark] += weight * seen.by_point.tr_mul(&seen.by_point);
            let pull = seen.by_point.tr_mul(&nalgebra::Vector2::from(r)) * weight;
            (0..3).for_each(|k| normal.gb[at + k] += pull[k]);
            let spread: Vec<_> = spreads[tap.shot]
                .iter()
                .filter(|(_, l, _)| *l < PRINT)
                .collect();
            for &&(i, li, fi) in &spread {
                let column = [seen.by_camera[0][li], seen.by_camera[1][li]].map(|c| fi * c);
                normal.ga[i] += weight * (column[0] * r[0] + column[1] * r[1]);
                for &&(j, lj, fj) in &spread {
                    let dot = column[0] * seen.by_camera[0][lj] + column[1] * seen.by_camera[1][lj];
                    normal.a[(i, j)] += weight * fj * dot;
                }
                for k in 0..3 {
                    normal.w[(i, at + k)] += weight
                        * (column[0] * seen.by_point[(0, k)] + column[1] * seen.by_point[(1, k)]);
                }
            }
        }
        normal.add_priors(problem, state);
        Some(normal)
    }

    fn add_priors(&mut self, problem: &Problem, state: &State) {
        for prior in problem.frame_priors(state) {
            self.a[(prior.index, prior.index)] += prior.precision;
            self.ga[prior.index] += prior.pull;
        }
        for i in problem.fixed_frame() {
            self.a.row_mut(i).fill(0.0);
            self.a.column_mut(i).fill(0.0);
            self.w.row_mut(i).fill(0.0);
            self.a[(i, i)] = 1.0;
            self.ga[i] = 0.0;
        }
        for tag in 0..self.layout.tags {
            if problem.heights_fixed() {
                self.w.column_mut(tag).fill(0.0);
                self.v[tag] = 1.0;
                self.gb[tag] = 0.0;
            } else {
                let precision = problem.priors.height_mm.powi(-2);
                self.v[tag] += precision;
                self.gb[tag] -= precision * state.heights[tag];
            }
        }
    }

    /// V⁻¹ applied to the rows of a points × n matrix, V damped by 1 + λ; `None` if singular.
    fn points_solved(&self, mut rhs: DMatrix<f64>, lambda: f64) -> Option<DMatrix<f64>> {
        for (tag, v) in self.v.iter().enumerate() {
            rhs.row_mut(tag).scale_mut(1.0 / (v * (1.0 + lambda)));
        }
        for (mark, v) in self.v_marks.iter().enumerate() {
            let damped = v + Matrix3::from_diagonal(&(v.diagonal() * lambda));
            let inverse = damped.cholesky()?.inverse();
            let at = self.layout.mark(mark);
            let solved = inverse * rhs.rows(at, 3);
            rhs.rows_mut(at, 3).copy_from(&solved);
        }
        Some(rhs)
    }

    /// V⁻¹Wᵀ and the factored complement S = A − W·V⁻¹·Wᵀ, both damped by 1 + λ.
    fn reduced(&self, lambda: f64) -> Option<(DMatrix<f64>, Cholesky<f64, Dyn>)> {
        let vw = self.points_solved(self.w.transpose(), lambda)?;
        let mut s = self.a.clone();
        for i in 0..s.nrows() {
            s[(i, i)] *= 1.0 + lambda;
        }
        s.gemm(-1.0, &self.w, &vw, 1.0);
        Some((vw, s.cholesky()?))
    }

    /// The damped step over frame and points, and the decrease of cost it promises.
    pub fn step(&self, lambda: f64) -> Option<(DVector<f64>, DVector<f64>, f64)> {
        let (vw, s) = self.reduced(lambda)?;
        let da = s.solve(&(&self.ga - vw.tr_mul(&self.gb)));
        let gb = DMatrix::from_column_slice(self.gb.len(), 1, self.gb.as_slice());
        let vg = self.points_solved(gb, lambda)?;
        let db = vg.column(0) - &vw * &da;
        let promise = da.dot(&self.ga) + db.dot(&self.gb);
        (promise.is_finite()).then_some((da, db, promise))
    }

    /// The undamped step and the covariance of `n` frame parameters from `at` on.
    pub fn part(&self, at: usize, n: usize) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let (vw, s) = self.reduced(0.0)?;
        let columns = DMatrix::from_fn(self.ga.len(), n, |i, j| f64::from(i == at + j));
        let columns = s.solve(&columns);
        let step = columns.tr_mul(&(&self.ga - vw.tr_mul(&self.gb)));
        Some((step, columns.rows(at, n).into_owned()))
    }

    /// Joint covariance of everything, frame first; `None` if something is not determined.
    pub fn covariance(&self, problem: &Problem) -> Option<DMatrix<f64>> {
        let (frame, points) = (self.layout.frame(), self.layout.points());
        let (vw, s) = self.reduced(0.0)?;
        let c = s.inverse();
        let vwc = &vw * &c;
        let mut all = DMatrix::zeros(frame + points, frame + points);
        let mut lower = self.points_solved(DMatrix::identity(points, points), 0.0)?;
        lower.gemm(1.0, &vwc, &vw.transpose(), 1.0);
        all.view_mut((0, 0), (frame, frame)).copy_from(&c);
        all.view_mut((frame, 0), (points, frame))
            .copy_from(&(-&vwc));
        all.view_mut((0, frame), (frame, points))
            .copy_from(&(-vwc.transpose()));
        all.view_mut((frame, frame), (points, points))
            .copy_from(&lower);
        let heights = if problem.heights_fixed() {
            self.layout.tags
        } else {
            0
        };
        for i in problem
            .fixed_frame()
            .into_iter()
            .chain(frame..frame + heights)
        {
            all.row_mut(i).fill(0.0);
            all.column_mut(i).fill(0.0);
        }
        all.iter().all(|c| c.is_finite()).then_some(all)
    }
}

/// What a step may still promise when the steps run out: no quantity is then further than a third
/// of its own sd from the bottom. Only a narrow bent valley ends so, as many like photographs from
/// nearly one place make it; the ± of what they leave open is wide.
const GOOD_ENOUGH: f64 = 0.05;

/// Levenberg-Marquardt until a step promises less than `least` of the cost (in units of one sd²).
/// Returns whether it settled within `most` steps, or came to within [`GOOD_ENOUGH`].
pub(crate) fn minimise(
    problem: &Problem,
    state: &mut State,
    most: usize,
    least: f64,
) -> Option<bool> {
    let mut lambda = 1e-4;
    let mut cost = problem.cost(state)?;
    let mut promised = f64::INFINITY;
    for _ in 0..most {
        let normal = Normal::new(problem, state)?;
        loop {
            let trial = normal.step(lambda).and_then(|(da, db, promise)| {
                let new = state.moved(problem, da.as_slice(), db.as_slice());
                problem.cost(&new).map(|new_cost| (new, new_cost, promise))
            });
            if let Some((new, new_cost, promise)) = trial {
                // At the bottom rounding may lift the cost by a hair; that is no failure.
                if new_cost <= cost || promise.abs() < least {
                    let settled = promise.abs() < least;
                    promised = promise.abs();
                    if new_cost <= cost * (1.0 + 1e-12) {
                        *state = new;
                        cost = new_cost;
                    }
                    lambda = (lambda * 0.1).max(1e-12);
                    if settled {
                        return Some(true);
                    }
                    break;
                }
            }
            lambda *= 10.0;
            if lambda > 1e10 {
                return Some(promised < GOOD_ENOUGH);
            }
        }
    }
    Some(promised < GOOD_ENOUGH)
}
