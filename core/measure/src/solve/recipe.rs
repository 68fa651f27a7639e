//! The robust recipe: which tags to trust, how far, and how wide the ± is.
//!
//! 1. Cauchy weights, the scale of each photograph from the median of its residuals.
//! 2. Whole tags whose 8 residuals exceed χ²(8) at 1e-4 are set aside, at most 30 % a photograph.
//! 3. Least squares with marks and all nuisances.
//! 4. The variance of a corner of each photograph, σᵢ² = (rᵀr + 20·σ²)/(2n − tr hat + 20), with σ²
//!    the pooled variance, and likewise that of the tags' heights; 3 and 4 twice.
//! 5. One covariance of everything.
//! 6. The taps' variance times (6 + Σr²)/(6 + dof), never under 1; Student's t with 6 + dof.

use super::alike;
use super::error::SolveError;
use super::lens_terms;
use super::model::{self, PRINT, Projection};
use super::normal::{Normal, minimise};
use super::problem::{Problem, State, TagView, Tap};
use super::start::median;
use nalgebra::{DMatrix, Matrix2};

/// 95 % efficient for Gaussian residuals.
const CAUCHY: f64 = 2.385;
/// χ² with 8 degrees of freedom, upper 1e-4.
const TAG_CHI2: f64 = 31.83;
/// No tag is set aside for less than this sd would explain, pixels: printed corners and lenses are
/// not truer, however still the photograph.
const LEAST_DROP_SD_PX: f64 = 0.03;
/// Largest share of a photograph's tags that may be set aside.
const MOST_DROPPED: f64 = 0.3;
/// Weight of the pooled variance, in residuals.
const POOLED: f64 = 20.0;
/// Weight of the stated sd of the taps, in residuals.
const STATED: f64 = 6.0;
/// No corner is found better than this, pixels.
const LEAST_SD_PX: f64 = 0.01;
/// Weight of the usual height, in tags, and its value: paper on a board, mm.
const USUAL_HEIGHT: (f64, f64) = (4.0, 0.1);
/// The median of a two-dimensional Gaussian's distance over its sd: √(2 ln 2).
const MEDIAN_DISTANCE: f64 = 1.177_41;
/// A step promising less than this of a squared sd changes nothing that matters.
const SETTLED: f64 = 1e-9;
const NEARLY_SETTLED: f64 = 1e-3;
const ROUGHLY_SETTLED: f64 = 0.1;
/// The scale shrinks as the lens is found: a strong lens takes many rounds, a phone three or four.
const MOST_ROUNDS: usize = 40;
const STEPS_A_ROUND: usize = 8;
/// A well-placed set settles in three to six.
const MOST_STEPS: usize = 200;

/// Steps 1 and 2, on the tags alone.
pub(crate) fn trust_tags(problem: &mut Problem, state: &mut State) -> Result<(), SolveError> {
    settle_robustly(problem, state)?;
    if lens_terms::hold_needless(problem, state).ok_or(SolveError::NoConvergence)? {
        settle_robustly(problem, state)?;
    }
    choose_projections(problem, state);
    for shot in 0..problem.shots.len() {
        let sd2 = problem.shots[shot].sd_px.max(LEAST_DROP_SD_PX).powi(2);
        let mut sums = Vec::new();
        for (i, view) in problem
            .views
            .iter()
            .enumerate()
            .filter(|(_, v)| v.shot == shot)
        {
            let r = problem
                .corner_residuals(state, view)
                .ok_or(SolveError::NoConvergence)?;
            sums.push((r.iter().flatten().map(|r| r * r).sum::<f64>() / sd2, i));
        }
        let most = (MOST_DROPPED * sums.len() as f64).floor() as usize;
        sums.sort_by(|a, b| b.0.total_cmp(&a.0));
        for (_, i) in sums
            .into_iter()
            .take(most)
            .filter(|(sum, _)| *sum > TAG_CHI2)
        {
            problem.views[i].dropped = true;
        }
    }
    problem
        .views
        .iter_mut()
        .for_each(|view| view.weight = [1.0; 4]);
    Ok(())
}

/// Describes lenses that need further terms from the equidistant projection where that leaves
/// less scatter.
fn choose_projections(problem: &mut Problem, state: &mut State) {
    let scatter = |problem: &Problem| -> f64 {
        let corner = |view: &TagView| problem.shots[view.shot].sd_px.ln();
        problem.views.iter().map(corner).sum()
    };
    for lens in 0..problem.further.len() {
        if !problem.further[lens] {
            continue;
        }
        let (mut other, mut other_state) = (problem.clone(), state.clone());
        let terms = &mut other_state.lenses[lens];
        terms.form = Projection::Equidistant;
        // tan θ = θ + θ³/3 + …
        terms.k = [terms.k[0] + 1.0 / 3.0, 0.0, 0.0];
        let settled = settle_robustly(&mut other, &mut other_state);
        if settled.is_ok() && scatter(&other) < scatter(problem) {
            (*problem, *state) = (other, other_state);
        }
    }
}

/// Step 1, until the scale stays.
fn settle_robustly(problem: &mut Problem, state: &mut State) -> Result<(), SolveError> {
    let mut before = f64::INFINITY;
    for _ in 0..MOST_ROUNDS {
        weigh(problem, state)?;
        minimise(problem, state, STEPS_A_ROUND, ROUGHLY_SETTLED)
            .ok_or(SolveError::NoConvergence)?;
        let scale: f64 = problem.shots.iter().map(|shot| shot.sd_px).sum();
        if (scale / before - 1.0).abs() < 0.02 {
            break;
        }
        before = scale;
        // Asked early: without its terms a wide lens bends the sheet instead.
        lens_terms::free_called_for(problem, state).ok_or(SolveError::NoConvergence)?;
    }
    weigh(problem, state)
}

/// Scale and Cauchy weights from the residuals at a state.
fn weigh(problem: &mut Problem, state: &State) -> Result<(), SolveError> {
    let residuals: Option<Vec<_>> = problem
        .views
        .iter()
        .map(|view| problem.corner_residuals(state, view))
        .collect();
    let residuals = residuals.ok_or(SolveError::NoConvergence)?;
    for shot in 0..problem.shots.len() {
        let own = problem
            .views
            .iter()
            .zip(&residuals)
            .filter(|(view, _)| view.shot == shot);
        let distances = own.flat_map(|(_, r)| r.map(|[x, y]| x.hypot(y))).collect();
        problem.shots[shot].sd_px = (median(distances) / MEDIAN_DISTANCE).max(LEAST_SD_PX);
    }
    for (view, r) in problem.views.iter_mut().zip(&residuals) {
        let scale2 = (CAUCHY * problem.shots[view.shot].sd_px).powi(2);
        view.weight = r.map(|[x, y]| 1.0 / (1.0 + (x * x + y * y) / scale2));
    }
    Ok(())
}

/// What steps 3 to 6 find.
pub(crate) struct Fit {
    /// Covariance of everything, frame first, taps' factor included.
    pub covariance: DMatrix<f64>,
    /// Sd of what all photographs see beside its place, alike; to be added to every mark.
    pub alike_mm: f64,
    /// 6 + dof of the taps.
    pub dof: f64,
    /// Σr² of each mark's taps by their stated sd.
    pub mark_sums: Vec<f64>,
}

/// Steps 3 to 6, on tags and taps.
pub(crate) fn refit(problem: &mut Problem, state: &mut State) -> Result<Fit, SolveError> {
    let (mut dof, mut alike_mm) = (0.0, 0.0_f64);
    for round in 0..3 {
        let least = if round == 2 { SETTLED } else { NEARLY_SETTLED };
        if !minimise(problem, state, MOST_STEPS, least).ok_or(SolveError::NoConvergence)? {
            return Err(SolveError::NoConvergence);
        }
        let normal = Normal::new(problem, state).ok_or(SolveError::NoConvergence)?;
        let covariance = normal
            .covariance(problem)
            .ok_or(SolveError::NoConvergence)?;
        if round == 2 {
            let mark_sums = mark_sums(problem, state).ok_or(SolveError::NoConvergence)?;
            return Ok(Fit {
                covariance,
                dof: STATED + dof,
                alike_mm,
                mark_sums,
            });
        }
        corner_variances(problem, state, &normal, &covariance)?;
        height_variance(problem, state, &covariance);
        alike_mm = alike::weigh(problem, state).ok_or(SolveError::NoConvergence)?;
        dof = tap_dof(problem, state, &covariance)?;
        let sums = mark_sums(problem, state).ok_or(SolveError::NoConvergence)?;
        problem.tap_factor = tap_factor(sums.iter().sum(), dof);
    }
    Err(SolveError::NoConvergence)
}

/// Step 6's factor on the variance of taps.
pub(crate) fn tap_factor(sum: f64, dof: f64) -> f64 {
    ((STATED + sum) / (STATED + dof)).max(1.0)
}

fn mark_sums(problem: &Problem, state: &State) -> Option<Vec<f64>> {
    let mut sums = vec![0.0; problem.marks];
    for tap in &problem.taps {
        let [x, y] = problem.tap_residual(state, tap)?;
        sums[tap.mark] += (x * x + y * y) / tap.sd_px.powi(2);
    }
    Some(sums)
}

/// Step 4 for the corners of each photograph.
fn corner_variances(
    problem: &mut Problem,
    state: &State,
    normal: &Normal,
    covariance: &DMatrix<f64>,
) -> Result<(), SolveError> {
    let shots = problem.shots.len();
    let (mut squares, mut counts) = (vec![0.0; shots], vec![0.0; shots]);
    for view in problem.views.iter().filter(|view| !view.dropped) {
        let r = problem
            .corner_residuals(state, view)
            .ok_or(SolveError::NoConvergence)?;
        squares[view.shot] += r.iter().flatten().map(|r| r * r).sum::<f64>();
        counts[view.shot] += 8.0;
    }
    let free: Vec<f64> = (0..shots)
        .map(|shot| (counts[shot] - hat_trace(problem, state, normal, covariance, shot)).max(0.0))
        .collect();
    let pooled = squares.iter().sum::<f64>() / free.iter().sum::<f64>().max(1.0);
    for (shot, value) in problem.shots.iter_mut().enumerate() {
        let variance = (squares[shot] + POOLED * pooled) / (free[shot] + POOLED);
        value.sd_px = variance.sqrt().max(LEAST_SD_PX);
    }
    Ok(())
}

/// Trace of a photograph's part of the hat matrix: how many of its corner coordinates the fit uses up.
fn hat_trace(
    problem: &Problem,
    state: &State,
    normal: &Normal,
    covariance: &DMatrix<f64>,
    shot: usize,
) -> f64 {
    let layout = problem.layout();
    let (local, frame) = (layout.local(), layout.frame());
    let spread = layout.spread(shot, problem.shots[shot].lens, state.poses[shot].e);
    let part = &normal.parts[shot];
    let mut trace = 0.0;
    for &(i, li, fi) in &spread {
        for &(j, lj, fj) in &spread {
            let h = part.h[li.min(lj) * local + li.max(lj)];
            trace += fi * fj * h * covariance[(i, j)];
        }
        for (tag, coupling, _) in &part.tags {
            trace += 2.0 * fi * coupling[li] * covariance[(i, frame + tag)];
        }
    }
    for (tag, _, precision) in &part.tags {
        trace += precision * covariance[(frame + tag, frame + tag)];
    }
    trace
}

/// Step 4 for the tags' heights.
fn height_variance(problem: &mut Problem, state: &State, covariance: &DMatrix<f64>) {
    if problem.heights_fixed() {
        return;
    }
    let frame = problem.layout().frame();
    let prior = problem.priors.height_mm.powi(2);
    let tags = state.heights.len() as f64;
    let squares: f64 = state.heights.iter().map(|h| h * h).sum();
    let used: f64 = (0..state.heights.len())
        .map(|t| covariance[(frame + t, frame + t)])
        .sum::<f64>()
        / prior;
    let (weight, usual) = USUAL_HEIGHT;
    let variance = (squares + weight * usual * usual) / ((tags - used).max(0.0) + weight);
    problem.priors.height_mm = variance.sqrt();
}

/// Covariance of a tap's projected place, J·C·Jᵀ.
pub(crate) fn projected_covariance(
    problem: &Problem,
    state: &State,
    covariance: &DMatrix<f64>,
    shot: usize,
    mark: usize,
) -> Option<Matrix2<f64>> {
    let layout = problem.layout();
    let (pose, lens) = problem.camera(state, shot);
    let seen = model::project_with(lens, pose, &state.marks[mark])?;
    let spread = layout.spread(shot, problem.shots[shot].lens, pose.e);
    let mut columns: Vec<(usize, [f64; 2])> = spread
        .into_iter()
        .filter(|(_, l, _)| *l < PRINT)
        .map(|(i, l, f)| (i, [f * seen.by_camera[0][l], f * seen.by_camera[1][l]]))
        .collect();
    let at = layout.frame() + layout.mark(mark);
    columns.extend((0..3).map(|k| (at + k, [seen.by_point[(0, k)], seen.by_point[(1, k)]])));
    let mut sum = Matrix2::zeros();
    for (i, a) in &columns {
        for (j, b) in &columns {
            let c = covariance[(*i, *j)];
            sum += Matrix2::new(a[0] * b[0], a[0] * b[1], a[1] * b[0], a[1] * b[1]) * c;
        }
    }
    Some(sum)
}

/// Degrees of freedom of the taps: coordinates less those the fit uses up.
fn tap_dof(problem: &Problem, state: &State, covariance: &DMatrix<f64>) -> Result<f64, SolveError> {
    let mut dof = 0.0;
    for tap in &problem.taps {
        let Tap { shot, mark, .. } = *tap;
        let used = projected_covariance(problem, state, covariance, shot, mark)
            .ok_or(SolveError::NoConvergence)?;
        dof += 2.0 - used.trace() * problem.tap_weight(tap);
    }
    Ok(dof.max(0.0))
}
