//! Errors that all photographs make alike: a corner printed beside its place, a lens a little other
//! than its model. More photographs do not average them away, so counting every corner of every
//! photograph as a new observation makes the ± too small.
//!
//! A corner c seen in n ≥ 2 photographs is given an offset d in the sheet's plane common to all: with
//! residuals rᵢ, Jacobians Jᵢ by (x, y) and variances σᵢ², N = ΣJᵢᵀJᵢ/σᵢ², g = ΣJᵢᵀrᵢ/σᵢ². Between
//! corners Σ gᵀN⁻¹g is ω·χ² with 2 a corner where there is no such offset, and grows by s²·Σ tr N where
//! offsets have the sd s; ω is the scatter within corners (one-way analysis of variance, random
//! effects). An s beyond doubt makes n photographs worth as many as n/(1 + n·s²J²/σ²) would be, and is
//! added to every mark.

use super::model;
use super::problem::{Problem, State};
use nalgebra::{Matrix2, Vector2};

/// Sds of the variance ratio beyond which offsets are there: page-like photographs show none.
const BEYOND_DOUBT: f64 = 4.0;

/// One corner of a tag over all photographs.
#[derive(Clone, Default)]
struct Group {
    n: f64,
    normal: Matrix2<f64>,
    pull: Vector2<f64>,
}

/// Sd of the common offsets, mm; weights every corner accordingly. 0 where there is no sign of them.
pub(crate) fn weigh(problem: &mut Problem, state: &State) -> Option<f64> {
    let mut groups = vec![Group::default(); 4 * problem.tags.len()];
    let mut squares = 0.0;
    let mut sizes = vec![[0.0; 4]; problem.views.len()];
    for (v, view) in problem.views.iter().enumerate().filter(|(_, v)| !v.dropped) {
        let (pose, lens) = problem.camera(state, view.shot);
        let sd = problem.shots[view.shot].sd_px;
        for (i, corner) in problem.tags[view.tag].iter().enumerate() {
            let mut p = problem.drawing.place(corner, &state.print).p;
            p.z += state.heights[view.tag];
            let seen = model::project_with(lens, pose, &p)?;
            let j = seen.by_point.fixed_columns::<2>(0) / sd;
            let r = (Vector2::from(view.px[i]) - seen.px) / sd;
            let group = &mut groups[4 * view.tag + i];
            group.n += 1.0;
            group.normal += j.tr_mul(&j);
            group.pull += j.tr_mul(&r);
            squares += r.norm_squared();
            sizes[v][i] = 0.5 * j.norm_squared();
        }
    }
    let (mut between, mut corners, mut seen, mut trace) = (0.0, 0.0, 0.0, 0.0);
    for group in groups.iter().filter(|g| g.n > 1.0) {
        between += group.pull.dot(&group.normal.cholesky()?.solve(&group.pull));
        corners += 2.0;
        trace += group.normal.trace();
    }
    seen += 2.0 * groups.iter().map(|g| g.n).sum::<f64>();
    let within_dof = seen - corners - problem.layout().frame() as f64;
    if corners == 0.0 || within_dof < corners {
        return Some(0.0);
    }
    let within = (squares - between) / within_dof;
    let excess = between / within - corners;
    let variance = if excess > BEYOND_DOUBT * (2.0 * corners * (1.0 + corners / within_dof)).sqrt()
    {
        excess * within / trace
    } else {
        0.0
    };
    for (view, sizes) in problem.views.iter_mut().zip(&sizes) {
        for (i, size) in sizes.iter().enumerate() {
            // The photograph's own variance holds one share of the offset already.
            let others = (groups[4 * view.tag + i].n - 1.0).max(0.0);
            view.weight[i] = 1.0 / (1.0 + others * variance * size);
        }
    }
    Some(variance.sqrt())
}
