//! How well one person repeats: the same foot cast again, the same cast marked again.

use super::agreement::{FigureError, Icc, Limits, icc, limits_of_agreement};
use crate::cast_record::{Cast, Measurement};
use crate::visit::Visit;
use plinthside_measure::cast::{ResultName, Results};
use plinthside_measure::marks::Side;
use serde::Serialize;

/// One quantity's repeatability.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Repeats {
    /// Intraclass correlations over feet or casts.
    pub icc: Icc,
    /// Technical error: the standard deviation within one foot or cast; of two repeats √(Σd²/2n).
    pub technical_error: f64,
    /// Two repeats differ by less in 95 % of cases: 1.96·√2·technical error.
    pub coefficient: f64,
    /// Limits of agreement of the first repeat less the second.
    pub limits: Limits,
    /// Feet or casts left out: not repeated, or another number of times than the first.
    pub left_out: usize,
}

/// The repeatability of one quantity.
///
/// # Errors
/// Fewer than two feet or casts measured twice, or readings that do not vary.
pub fn repeats(of: &[Vec<Results>], quantity: ResultName) -> Result<Repeats, FigureError> {
    let (rows, left_out) = repeated_casts(of, quantity)?;
    let icc = icc(&rows)?;
    let technical_error = icc.within_targets.sqrt();
    let pairs: Vec<(f64, f64)> = rows.iter().map(|r| (r[0], r[1])).collect();
    Ok(Repeats {
        technical_error,
        coefficient: crate::norms::mdc95(technical_error),
        limits: limits_of_agreement(&pairs)?,
        icc,
        left_out,
    })
}

fn read(measurement: &Measurement) -> Option<Results> {
    measurement.read().ok().flatten()
}

/// Every foot that one person cast more than once at one visit, with what was measured last on
/// each cast. Casts of different visits are no repeats: the foot may have changed.
#[must_use]
pub fn cast_again<'a>(
    visits: impl IntoIterator<Item = &'a Visit>,
    caster: &str,
) -> Vec<Vec<Results>> {
    let mut feet = Vec::new();
    for visit in visits {
        for side in [Side::Left, Side::Right] {
            let by_caster = |c: &&Cast| c.side == side && c.record.cast_by == caster;
            let casts = visit.casts.iter().filter(by_caster);
            let foot: Vec<Results> = casts
                .filter_map(|c| read(c.measurement.as_ref()?))
                .collect();
            if foot.len() > 1 {
                feet.push(foot);
            }
        }
    }
    feet
}

/// Every cast that one person marked more than once, oldest marking first.
#[must_use]
pub fn marked_again<'a>(
    visits: impl IntoIterator<Item = &'a Visit>,
    marker: &str,
) -> Vec<Vec<Results>> {
    let casts = visits.into_iter().flat_map(|v| &v.casts);
    let markings = casts.map(|c| -> Vec<Results> {
        let all = c.measured_before.iter().chain(&c.measurement);
        all.filter(|m| m.by == marker).filter_map(read).collect()
    });
    markings.filter(|m| m.len() > 1).collect()
}

/// One quantity of repeated casts of the same feet as rows for [`super::icc`]: one row a foot.
/// Feet with another number of casts than the first are left out and counted.
///
/// # Errors
/// Fewer than two feet cast twice.
pub fn repeated_casts(
    feet: &[Vec<Results>],
    quantity: ResultName,
) -> Result<(Vec<Vec<f64>>, usize), FigureError> {
    let row = |casts: &Vec<Results>| -> Option<Vec<f64>> {
        casts
            .iter()
            .map(|r| r.quantities.get(&quantity).map(|q| q.value))
            .collect()
    };
    let all: Vec<Vec<f64>> = feet
        .iter()
        .filter_map(row)
        .filter(|r| r.len() > 1)
        .collect();
    let k = all.first().map_or(0, Vec::len);
    let rows: Vec<Vec<f64>> = all.into_iter().filter(|r| r.len() == k).collect();
    if rows.len() < 2 {
        return Err(FigureError::TooFew {
            what: "repeatability of casts",
            needed: "two feet cast twice",
            have: rows.len(),
        });
    }
    let left_out = feet.len() - rows.len();
    Ok((rows, left_out))
}
