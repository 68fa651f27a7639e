//! The band of one finding: limits, value and ± as shares of one scale.

use plinthside_measure::quantity::NORMAL_95;
use plinthside_ui as ui;
use plinthside_visit::verdict::{Finding, Limit, Range};

/// The band, or none where there is no number or no limit to show it on.
pub fn view(finding: &Finding, limit: &Limit) -> ui::Band {
    let ends = limit.ends();
    let (Some(value), Some(keep)) = (finding.value, limit.keep) else {
        return ui::Band::default();
    };
    let correct = limit.correct.unwrap_or(keep);
    let from_zero = [limit.keep, limit.correct]
        .into_iter()
        .flatten()
        .all(|r| r.low.is_none());
    let (low, high) = scale(&ends, from_zero);
    let share = |v: f64| ((v - low) / (high - low)).clamp(0.0, 1.0) as f32;
    let zone = |range: Range| ui::Span {
        from: range.low.map_or(0.0, share),
        to: range.high.map_or(1.0, share),
    };
    let around = |half: f64| ui::Span {
        from: share(value - half),
        to: share(value + half),
    };
    let instrument = finding.instrument_sd.unwrap_or(0.0);
    let total = instrument.hypot(finding.marking_sd.unwrap_or(0.0));
    ui::Band {
        present: true,
        keep: zone(keep),
        correct: zone(correct),
        at: share(value),
        instrument: around(NORMAL_95 * instrument),
        total: around(NORMAL_95 * total),
        zero: if low < 0.0 && high > 0.0 {
            share(0.0)
        } else {
            -1.0
        },
    }
}

/// Ends of the scale: a quarter farther than the outermost limits lie apart; from 0 where only
/// upper limits exist. Values outside stand at the end.
fn scale(ends: &[f64], from_zero: bool) -> (f64, f64) {
    let high = ends.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let low = ends
        .iter()
        .copied()
        .fold(if from_zero { 0.0 } else { f64::INFINITY }, f64::min);
    let margin = if high - low > 1e-9 {
        (high - low) / 4.0
    } else {
        1.0
    };
    (if from_zero { low } else { low - margin }, high + margin)
}
