//! What can't be computed, and the remedy.

use super::Reference;
use crate::marks::MarkName;
use serde::{Deserialize, Serialize};
use std::fmt;
use thiserror::Error;

/// Why there are no results at all.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum CastError {
    /// A mark that lays the cast frame is missing.
    #[error("no angle can be stated without {mark}: the long direction runs from {}; mark it in at least two photographs{}", reference.words(), reference.other_choice())]
    NoFrame {
        /// The missing mark.
        mark: MarkName,
        /// The reference chosen.
        reference: Reference,
    },
    /// Heel and MTP marks coincide seen from above.
    #[error("the heel and MTP marks coincide seen from above, so the long direction ({}) is not defined; check which mark is which", reference.words())]
    NoDirection {
        /// The reference chosen.
        reference: Reference,
    },
    /// Own and ordered hinge line can't be compared.
    #[error(
        "the hinge lines can't be compared: both malleolar apexes and both calf marks are needed, and each pair must be apart; mark them and photograph again"
    )]
    NoHingeComparison,
    /// A chosen number is not usable.
    #[error("{what} is {value}, which can't be used; {remedy}")]
    Setting {
        /// Which number.
        what: String,
        /// Its value.
        value: f64,
        /// What to enter instead.
        remedy: &'static str,
    },
}

/// Why one quantity is absent from the results.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Refusal {
    /// Marks it needs are missing.
    Missing {
        /// What is absent.
        what: String,
        /// The marks it still needs.
        marks: Vec<MarkName>,
    },
    /// Marks lie so that it is not defined.
    Undefined {
        /// What is absent.
        what: String,
        /// The marks that coincide or lie in line.
        marks: Vec<MarkName>,
    },
}

fn list(marks: &[MarkName]) -> String {
    marks
        .iter()
        .map(MarkName::as_str)
        .collect::<Vec<_>>()
        .join(", ")
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing { what, marks } => {
                write!(f, "{what}: not measured; it needs {}.", list(marks))
            }
            Self::Undefined { what, marks } => write!(
                f,
                "{what}: not defined, because {} coincide or lie in line; check which mark is which.",
                list(marks)
            ),
        }
    }
}
