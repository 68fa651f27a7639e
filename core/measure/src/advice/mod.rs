//! What would help: another photograph, marking again, or marks farther apart; and where to stand.
//!
//! The marking of the dots is 10-16 times the camera's error, so more photographs rarely help: they
//! are asked for only where the instrument alone leaves a limit open or is a quarter of the variance.

pub mod stand;

pub use stand::{AdviceError, Goal, Nominal, Stand, where_next};

/// Share of the variance from which the camera is worth improving.
const INSTRUMENT_SHARE: f64 = 0.25;
/// Marks this share of the possible distance apart are far enough.
const FAR_ENOUGH: f64 = 0.9;

/// A quantity to be judged against limits; all in one unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged<'a> {
    /// Best estimate.
    pub value: f64,
    /// Standard deviation from the camera alone.
    pub instrument_sd: f64,
    /// Standard deviation with the marking included.
    pub total_sd: f64,
    /// Factor of the 95 % interval (1.96, or Student's t).
    pub t95: f64,
    /// Limits between verdicts.
    pub limits: &'a [f64],
    /// For a line through two marks: distance between them and the distance the shell allows, mm.
    pub apart_mm: Option<(f64, f64)>,
}

/// What would help a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Remedy {
    /// The verdict is the same over the whole interval: nothing is needed.
    Nothing,
    /// The camera's own error matters: see [`where_next`].
    AnotherPhotograph,
    /// The dots' places matter: find the landmark and mark it again.
    ReMark,
    /// The dots' places matter and the two marks could be farther apart.
    FartherApart,
}

/// Which remedy helps.
#[must_use]
pub fn remedy(judged: &Judged<'_>) -> Remedy {
    let straddles = |sd: f64| {
        let reach = judged.t95 * sd;
        judged
            .limits
            .iter()
            .any(|limit| (judged.value - limit).abs() < reach)
    };
    if !straddles(judged.total_sd) {
        return Remedy::Nothing;
    }
    let share = judged.instrument_sd.powi(2) / judged.total_sd.powi(2);
    if straddles(judged.instrument_sd) || share > INSTRUMENT_SHARE {
        return Remedy::AnotherPhotograph;
    }
    match judged.apart_mm {
        Some((now, possible)) if now < FAR_ENOUGH * possible => Remedy::FartherApart,
        _ => Remedy::ReMark,
    }
}
