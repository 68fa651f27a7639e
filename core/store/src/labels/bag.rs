//! The packed bag, proven by scanning its label.

use super::{Binding, LabelAct, LabelEvent, LabelState, symbols};
use crate::error::Result;
use crate::store::Store;
use serde::Serialize;
use std::fmt;

/// What is wrong with a bag.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "problem")]
pub enum BagProblem {
    /// No store met so far knows the label.
    Unknown,
    /// The label stands for no cast.
    Unbound,
    /// The label is void.
    Void {
        /// Why.
        why: String,
    },
    /// The label stands for more than one cast.
    Reused {
        /// All of them.
        casts: Vec<Binding>,
    },
    /// The label belongs to another visit.
    OtherVisit {
        /// The cast it stands for.
        is: Binding,
    },
    /// The label is that of the other side.
    OtherSide {
        /// Side on the label.
        side: String,
    },
    /// The order has another revision than the label.
    OtherRevision {
        /// Revision on the label.
        label: u32,
        /// Revision of the order.
        order: u32,
    },
}

impl fmt::Display for BagProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unknown => f.write_str(
                "this label is not known here; synchronise with the device it was printed on, or use another label",
            ),
            Self::Unbound => f.write_str("this label is not bound to any cast; bind it first"),
            Self::Void { why } => write!(
                f,
                "this label is void ({why}); take it off and use another"
            ),
            Self::Reused { casts } => {
                let casts: Vec<String> = casts.iter().map(ToString::to_string).collect();
                write!(
                    f,
                    "this label stands for more than one cast ({}); make it void and label each bag anew",
                    casts.join("; ")
                )
            }
            Self::OtherVisit { is } => write!(
                f,
                "this label belongs to another order ({is}); stop and find out which cast is in the bag"
            ),
            Self::OtherSide { side } => write!(
                f,
                "this is the label of the {side} side; stop and find out which cast is in the bag"
            ),
            Self::OtherRevision { label, order } => write!(
                f,
                "the label is of revision {label} and the order of revision {order}; print the label and the papers in the bag again"
            ),
        }
    }
}

/// What scanning a packed bag showed. It is recorded either way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BagProof {
    /// The cast the label stands for, as far as it stands for one.
    pub is: Option<Binding>,
    /// Everything that is wrong; the bag is right if this is empty.
    pub problems: Vec<BagProblem>,
    /// When it was recorded, milliseconds since 1970.
    pub at_ms: i64,
    /// Who scanned it.
    pub by: String,
}

impl BagProof {
    /// Whether the bag is what it should be.
    #[must_use]
    pub fn is_right(&self) -> bool {
        self.problems.is_empty()
    }
}

impl Store {
    /// Proves a packed bag by the label scanned on it: shows the cast it stands for, and what is
    /// wrong where it is not the `expected` one. Recorded with person and time before it returns.
    ///
    /// # Errors
    /// [`crate::StoreError::NotALabel`] for a text that is no code; nothing is recorded then.
    pub fn prove_bag(
        &mut self,
        code: &str,
        expected: Option<&Binding>,
        by: &str,
    ) -> Result<BagProof> {
        let (is, problems) = judge(self.label_state(code)?, expected);
        let mut event = self.event(LabelAct::Proved, by);
        event.to = expected.or(is.as_ref()).cloned();
        let said: Vec<String> = problems.iter().map(ToString::to_string).collect();
        event.note = said.join("; ");
        let proof = BagProof {
            is,
            problems,
            at_ms: event.at_ms,
            by: event.by.clone(),
        };
        self.add_events([(symbols(code)?, event)])?;
        Ok(proof)
    }

    /// Every bag scanned for a visit, the first first; an empty note is a bag that was right.
    pub fn bag_proofs(&self, visit: &str) -> Result<Vec<LabelEvent>> {
        let sql = "SELECT what, at_ms, by, device, visit, side, revision, note FROM label_event
                   WHERE visit = ? AND what = 'proved' ORDER BY at_ms, name";
        self.read_events(sql, visit)
    }
}

fn judge(state: LabelState, expected: Option<&Binding>) -> (Option<Binding>, Vec<BagProblem>) {
    let is = match state {
        LabelState::Bound { to } => to,
        LabelState::Unknown => return (None, vec![BagProblem::Unknown]),
        LabelState::Unbound => return (None, vec![BagProblem::Unbound]),
        LabelState::Void { why, was, .. } => {
            return (was.into_iter().next(), vec![BagProblem::Void { why }]);
        }
        LabelState::Reused { to } => return (None, vec![BagProblem::Reused { casts: to }]),
    };
    let mut problems = Vec::new();
    if let Some(wanted) = expected {
        if is.visit != wanted.visit {
            problems.push(BagProblem::OtherVisit { is: is.clone() });
        }
        if is.side != wanted.side {
            problems.push(BagProblem::OtherSide {
                side: is.side.clone(),
            });
        }
        // A label bound by its code alone names no revision.
        if is.visit == wanted.visit
            && is.revision != 0
            && wanted.revision != 0
            && is.revision != wanted.revision
        {
            problems.push(BagProblem::OtherRevision {
                label: is.revision,
                order: wanted.revision,
            });
        }
    }
    (Some(is), problems)
}
