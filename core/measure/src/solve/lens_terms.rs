//! Does a lens need more than k1 and k2?
//!
//! The terms k3, p1, p2 and the pixels' shape s are free only where the tags make a lens that has them
//! [`ODDS`] times as likely as one that has not, so that photographs which the plain model describes
//! give exactly its result: were it true, the test would err no more often than once in [`ODDS`]
//! (Markov's inequality on a likelihood ratio). With the terms' posterior mean m and covariance C at one
//! Gauss-Newton step and their prior precision Λ the ratio is N(0; 0, Λ⁻¹) ÷ N(0; m, C)
//! (Dickey, Ann. Math. Statist. 42, 1971, 204).

use super::normal::Normal;
use super::problem::{FURTHER, LENS, Problem, State};
use nalgebra::DVector;

const ODDS: f64 = 1000.0;

/// Frees the terms of every lens whose photographs call for them.
pub(crate) fn free_called_for(problem: &mut Problem, state: &State) -> Option<()> {
    for lens in 0..problem.further.len() {
        if problem.priors.on && !problem.further[lens] {
            problem.further[lens] = true;
            problem.further[lens] = called_for(problem, state, lens)?;
        }
    }
    Some(())
}

/// Takes the terms back from lenses whose photographs no longer call for them; whether any was.
pub(crate) fn hold_needless(problem: &mut Problem, state: &mut State) -> Option<bool> {
    let mut any = false;
    for lens in 0..problem.further.len() {
        if problem.further[lens] && !called_for(problem, state, lens)? {
            problem.further[lens] = false;
            let terms = &mut state.lenses[lens];
            (terms.k[2], terms.p, terms.s) = (0.0, [0.0; 2], 0.0);
            any = true;
        }
    }
    Some(any)
}

/// Whether the odds are on the freed terms of a lens.
fn called_for(problem: &Problem, state: &State, lens: usize) -> Option<bool> {
    const TERMS: usize = LENS - FURTHER;
    let at = problem.layout().lens(lens) + FURTHER;
    let (step, c) = Normal::new(problem, state)?.part(at, TERMS)?;
    let terms = &state.lenses[lens];
    let now = [terms.k[2], terms.p[0], terms.p[1], terms.s];
    let mean = step + DVector::from_row_slice(&now);
    let c = c.cholesky()?;
    let priors = &problem.priors;
    let ln_widths: f64 = [priors.k, priors.p, priors.p, priors.s]
        .map(f64::ln)
        .iter()
        .sum();
    let ln_c: f64 = c.l_dirty().diagonal().iter().map(|v| v.ln()).sum();
    Some(0.5 * mean.dot(&c.solve(&mean)) + ln_c - ln_widths > ODDS.ln())
}
