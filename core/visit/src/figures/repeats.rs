//! How well one person repeats: the same foot cast again.

use super::agreement::{FigureError, Icc, Limits, icc, limits_of_agreement};
use crate::visit::Visit;
use plinthside_measure::cast::{ResultName, Results};
use plinthside_measure::marks::Side;
use serde::Serialize;
use std::collections::BTreeMap;

/// One quantity's repeatability.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Repeats {
    /// Intraclass correlations over feet.
    pub icc: Icc,
    /// Technical error: the standard deviation within one foot; of two repeats √(Σd²/2n)
    /// (Ulijaszek & Kerr 1999, Br J Nutr 82:165-177).
    pub technical_error: f64,
    /// Two repeats differ by less in 95 % of cases: 1.96·√2·technical error.
    pub coefficient: f64,
    /// Limits of agreement of the first repeat less the second.
    pub limits: Limits,
}

/// The repeatability of one quantity: a row a foot, a column a repeat.
///
/// # Errors
/// Fewer than two feet or repeats, or readings that do not vary.
pub fn repeats(rows: &[Vec<f64>]) -> Result<Repeats, FigureError> {
    let icc = icc(rows)?;
    let technical_error = icc.within_targets.sqrt();
    let pairs: Vec<(f64, f64)> = rows.iter().map(|r| (r[0], r[1])).collect();
    Ok(Repeats {
        technical_error,
        coefficient: crate::norms::mdc95(technical_error),
        limits: limits_of_agreement(&pairs)?,
        icc,
    })
}

/// A foot cast more than once at one visit: what was measured last on each cast.
pub(super) type Foot = Vec<Results>;

/// The feet that one visit casts more than once, by who cast them. Casts of different visits are
/// no repeats: the foot may have changed.
pub(super) fn cast_again(visit: &Visit) -> Vec<(&str, Foot)> {
    let mut feet: BTreeMap<(&str, bool), Foot> = BTreeMap::new();
    for cast in &visit.casts {
        let caster = cast.record.cast_by.as_str();
        let measured = cast.measurement.as_ref().and_then(|m| m.read().ok()?);
        if let (false, Some(results)) = (caster.is_empty(), measured) {
            let foot = (caster, cast.side == Side::Left);
            feet.entry(foot).or_default().push(results);
        }
    }
    let again = feet.into_iter().filter(|(_, casts)| casts.len() > 1);
    again.map(|((caster, _), foot)| (caster, foot)).collect()
}

/// What one person's repeated casts allow to say: every quantity that two feet or more hold.
pub(super) fn by_quantity(feet: &[Foot]) -> BTreeMap<ResultName, Repeats> {
    let said = |name: &ResultName| Some((*name, repeats(&rows(feet, *name)).ok()?));
    ResultName::ALL.iter().filter_map(said).collect()
}

/// One quantity of the feet; those cast another number of times than the first are left out.
fn rows(feet: &[Foot], quantity: ResultName) -> Vec<Vec<f64>> {
    let row = |foot: &Foot| -> Option<Vec<f64>> {
        let values = foot.iter().map(|r| r.quantities.get(&quantity));
        values.map(|q| Some(q?.value)).collect()
    };
    let mut rows: Vec<Vec<f64>> = feet.iter().filter_map(row).collect();
    let casts = rows.first().map_or(0, Vec::len);
    rows.retain(|row| row.len() == casts);
    rows
}
