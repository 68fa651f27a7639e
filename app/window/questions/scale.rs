//! The scale of a number.

use plinthside_visit::entry::Problem;
use plinthside_visit::verdict::Range;
use plinthside_visit::{Entry, format};

/// The scale of a number: its ends are the plausible limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// One step of the steppers.
    pub step: f64,
    /// Unit as the data files spell it (`deg`, `mm`).
    pub unit: &'static str,
    /// Whether repeats are kept.
    pub repeats: bool,
}

impl Scale {
    /// A scale over plausible limits; open ends are closed wide enough to be of use.
    pub fn over(limits: Option<Range>, unit: &'static str, repeats: bool) -> Self {
        let low = limits.and_then(|l| l.low).unwrap_or(0.0);
        let high = limits
            .and_then(|l| l.high)
            .filter(|h| *h > low)
            .unwrap_or(low + 100.0);
        let step = if high - low <= 2.0 {
            0.05
        } else if high - low > 400.0 {
            5.0
        } else {
            1.0
        };
        Self {
            low,
            high,
            step,
            unit,
            repeats,
        }
    }

    /// An entry as set on the screen: kept as it is, with what is wrong with it.
    pub(super) fn entry(self, value: f64) -> Entry {
        let mut entry = Entry::number((value / self.step).round() * self.step);
        let (low, high) = (self.low, self.high);
        if entry.value.is_some_and(|v| v < low || v > high) {
            let unit = format::unit(self.unit).trim().to_owned();
            entry.problem = Some(Problem::OutsideLimits {
                low,
                high,
                unit,
                perhaps: Vec::new(),
            });
        }
        entry
    }
}
