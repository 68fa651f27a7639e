//! Remake rate by cause, caster, lab and hinge; turnaround; how well each caster repeats.

use super::agreement::Estimate;
use super::repeats::{self, Foot, Repeats};
use crate::entry::Entry;
use crate::follow_up::RemakeCause;
use crate::order::{Order, OrderState};
use crate::visit::Visit;
use plinthside_measure::cast::ResultName;
use plinthside_measure::quantity::NORMAL_95;
use serde::Serialize;
use std::collections::BTreeMap;

/// A share with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rate {
    /// How many.
    pub count: u64,
    /// Of how many.
    pub of: u64,
    /// The share with its interval; `None` of nothing.
    pub share: Option<Estimate>,
}

/// A share with Wilson's score interval (Wilson 1927, J Am Stat Assoc 22:209-212).
#[must_use]
pub fn wilson(count: u64, of: u64) -> Rate {
    let share = (of > 0 && count <= of).then(|| {
        let (n, p, z2) = (of as f64, count as f64 / of as f64, NORMAL_95 * NORMAL_95);
        let middle = (p + z2 / (2.0 * n)) / (1.0 + z2 / n);
        let half = NORMAL_95 * (p * (1.0 - p) / n + z2 / (4.0 * n * n)).sqrt() / (1.0 + z2 / n);
        Estimate {
            value: p,
            low95: if count == 0 {
                0.0
            } else {
                (middle - half).max(0.0)
            },
            high95: if count == of {
                1.0
            } else {
                (middle + half).min(1.0)
            },
        }
    });
    Rate { count, of, share }
}

/// Remake rates of one grouping, by the group's name.
pub type Grouped = BTreeMap<String, Rate>;

/// Days from hand-over to fitting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Turnaround {
    /// Orders that were fitted.
    pub n: usize,
    /// Median, days.
    pub median_days: f64,
    /// Lower quartile, days.
    pub lower_quartile_days: f64,
    /// Upper quartile, days.
    pub upper_quartile_days: f64,
}

/// Figures over many visits.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Practice {
    /// Orders fitted, and how many were made again.
    pub remakes: Option<Rate>,
    /// Remakes by cause: of all orders fitted or made again. One remake may have several causes.
    pub by_cause: Grouped,
    /// By who cast.
    pub by_caster: Grouped,
    /// By lab.
    pub by_lab: Grouped,
    /// By hinge.
    pub by_hinge: Grouped,
    /// Turnaround of all labs.
    pub turnaround: Option<Turnaround>,
    /// Turnaround of each lab.
    pub turnaround_by_lab: BTreeMap<String, Turnaround>,
    /// Comfort at the first fitting, 0 to 10: mean and how many said.
    pub first_comfort: Option<(f64, usize)>,
    /// How well each caster repeats, of feet cast more than once at one visit, by quantity.
    pub repeats: BTreeMap<String, BTreeMap<ResultName, Repeats>>,
}

/// The figures of a practice. An order counts once it was fitted or made again.
#[must_use]
pub fn practice<'a>(visits: impl IntoIterator<Item = &'a Visit>) -> Practice {
    let mut count = Count::default();
    for visit in visits {
        for order in &visit.orders {
            count.add(visit, order);
        }
        for (caster, foot) in repeats::cast_again(visit) {
            count.feet.entry(caster.to_owned()).or_default().push(foot);
        }
    }
    count.finish()
}

#[derive(Default)]
struct Count {
    all: (u64, u64),
    causes: BTreeMap<String, u64>,
    casters: BTreeMap<String, (u64, u64)>,
    labs: BTreeMap<String, (u64, u64)>,
    hinges: BTreeMap<String, (u64, u64)>,
    days: Vec<f64>,
    days_by_lab: BTreeMap<String, Vec<f64>>,
    comfort: Vec<f64>,
    feet: BTreeMap<String, Vec<Foot>>,
}

impl Count {
    fn add(&mut self, visit: &Visit, order: &Order) {
        let follow_up: Vec<_> = visit
            .follow_up
            .iter()
            .filter(|f| f.order == order.id)
            .collect();
        let remakes: Vec<_> = follow_up.iter().flat_map(|f| &f.remakes).collect();
        let when = |state: &OrderState| order.history.iter().find(|c| &c.to == state).map(|c| c.at);
        let fitted = when(&OrderState::Fitted).or_else(|| {
            follow_up
                .iter()
                .flat_map(|f| &f.fittings)
                .map(|f| f.at)
                .min()
        });
        let remade = !remakes.is_empty() || when(&OrderState::Remade).is_some();
        if fitted.is_none() && !remade {
            return;
        }
        let bump = |(count, of): &mut (u64, u64)| {
            *count += u64::from(remade);
            *of += 1;
        };
        bump(&mut self.all);
        let mut causes: Vec<&str> = remakes
            .iter()
            .flat_map(|r| &r.causes)
            .map(RemakeCause::token)
            .collect();
        causes.sort_unstable();
        causes.dedup();
        if remade && causes.is_empty() {
            causes.push("unknown");
        }
        for cause in causes {
            *self.causes.entry(cause.to_owned()).or_default() += 1;
        }
        let cast = order
            .cast
            .as_deref()
            .and_then(|id| visit.casts.iter().find(|c| c.id == id));
        let caster = cast
            .map(|c| c.record.cast_by.as_str())
            .filter(|c| !c.is_empty());
        bump(
            self.casters
                .entry(caster.unwrap_or(&visit.clinician).to_owned())
                .or_default(),
        );
        let Some(revision) = order.revisions.last() else {
            return;
        };
        let lab = revision.prescription.identity.lab.clone();
        bump(self.labs.entry(lab.clone()).or_default());
        bump(
            self.hinges
                .entry(revision.prescription.motion.hinge.clone())
                .or_default(),
        );
        if let (Some(from), Some(to)) = (when(&OrderState::HandedOver), fitted) {
            let days = (to - from).num_seconds() as f64 / 86_400.0;
            if days >= 0.0 {
                self.days.push(days);
                self.days_by_lab.entry(lab).or_default().push(days);
            }
        }
        let first = follow_up
            .iter()
            .flat_map(|f| &f.fittings)
            .min_by_key(|f| f.at);
        self.comfort.extend(
            first
                .and_then(|f| f.comfort.as_ref())
                .and_then(Entry::usable),
        );
    }

    fn finish(self) -> Practice {
        let (remade, of) = self.all;
        let rates = |groups: BTreeMap<String, (u64, u64)>| {
            groups
                .into_iter()
                .map(|(name, (count, of))| (name, wilson(count, of)))
                .collect()
        };
        let comfort = self.comfort.len();
        Practice {
            remakes: (of > 0).then(|| wilson(remade, of)),
            by_cause: self
                .causes
                .into_iter()
                .map(|(c, n)| (c, wilson(n, of)))
                .collect(),
            by_caster: rates(self.casters),
            by_lab: rates(self.labs),
            by_hinge: rates(self.hinges),
            turnaround: turnaround(self.days),
            turnaround_by_lab: self
                .days_by_lab
                .into_iter()
                .filter_map(|(lab, days)| Some((lab, turnaround(days)?)))
                .collect(),
            first_comfort: (comfort > 0)
                .then(|| (self.comfort.iter().sum::<f64>() / comfort as f64, comfort)),
            repeats: self
                .feet
                .into_iter()
                .map(|(caster, feet)| (caster, repeats::by_quantity(&feet)))
                .filter(|(_, quantities)| !quantities.is_empty())
                .collect(),
        }
    }
}

fn turnaround(mut days: Vec<f64>) -> Option<Turnaround> {
    if days.is_empty() {
        return None;
    }
    days.sort_by(f64::total_cmp);
    // Linear between order statistics, as spreadsheets and pandas do by default.
    let quantile = |q: f64| {
        let at = q * (days.len() - 1) as f64;
        let (low, high) = (at.floor() as usize, at.ceil() as usize);
        days[low] + (at - at.floor()) * (days[high] - days[low])
    };
    Some(Turnaround {
        n: days.len(),
        median_days: quantile(0.5),
        lower_quartile_days: quantile(0.25),
        upper_quartile_days: quantile(0.75),
    })
}
