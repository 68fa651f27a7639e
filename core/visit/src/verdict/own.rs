//! A clinic's own limits in place of shipped ones.

use super::tolerances::{Check, Limit, Range, Tolerances, limit_problem};
use crate::source::{Certainty, Source};
use crate::words::Extra;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A clinic's own ranges for one thing that is judged.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct OwnLimit {
    /// Kept inside this range.
    pub keep: Option<Range>,
    /// Corrected by the lab inside this one.
    pub correct: Option<Range>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Check {
    /// The name that a clinic's own limit is kept under.
    #[must_use]
    pub fn name(self) -> String {
        match serde_json::to_value(self) {
            Ok(serde_json::Value::String(name)) => name,
            _ => String::new(),
        }
    }
}

impl OwnLimit {
    /// The shipped row with these ranges; the words and remedies stay, the source is the clinic.
    ///
    /// # Errors
    /// Ranges that are no ranges, or wider for `keep` than for `correct`, in words.
    pub fn in_place_of(&self, shipped: &Limit) -> Result<Limit, String> {
        let own = Limit {
            keep: self.keep,
            correct: self.correct,
            source: Source {
                cite: String::new(),
                certainty: Certainty::Clinic,
            },
            ..shipped.clone()
        };
        match limit_problem(&own, &[]) {
            Some(problem) => Err(problem),
            None => Ok(own),
        }
    }
}

impl Tolerances {
    /// This table with a clinic's own limits in place. One that can't be used, or that judges
    /// something this version does not know, is left out: the shipped one stays in force.
    #[must_use]
    pub fn with_own(mut self, own: &BTreeMap<String, OwnLimit>) -> Self {
        for limit in &mut self.limit {
            let usable = own
                .get(&limit.check.name())
                .and_then(|own| own.in_place_of(limit).ok());
            if let Some(usable) = usable {
                *limit = usable;
            }
        }
        self
    }
}
