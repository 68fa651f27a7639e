//! The order for one foot: numbered revisions, each frozen once signed, and what became of it.

mod catalogue;
mod earlier;
mod fields;
mod fill;
mod line_cost;
mod lists;
mod sign;
mod statement;
mod words;

pub use catalogue::{FIELDS, Field, FieldKind, Line, SetError, at, field, json_of, usable_number};
pub use earlier::{as_before, is_workshop_matter, usual, workshop_matters};
pub use fields::*;
pub use fill::{Filled, Stale, fillable};
pub use line_cost::line_cost;
pub use sign::{SignError, Signing};
pub use statement::{Statement, StatementError, statement, statement_note};
pub use words::*;

use crate::person::{Prescriber, When};
use crate::words::Extra;
use plinthside_measure::marks::Side;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// An order for one foot with all its revisions and states.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Order {
    /// Identifier within the visit.
    pub id: String,
    /// Which foot.
    pub side: Side,
    /// The cast it belongs to, by its id in the visit; none for an order without a cast.
    #[serde(default)]
    pub cast: Option<String>,
    /// Every revision, oldest first; only the last may be a draft.
    pub revisions: Vec<Revision>,
    /// Every change of state, oldest first; empty is a draft.
    #[serde(default, deserialize_with = "crate::words::once_each")]
    pub history: Vec<StateChange>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// One change of an order's state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StateChange {
    /// The state from then on.
    pub to: OrderState,
    /// When.
    pub at: When,
    /// By whom.
    pub by: String,
    /// The revision it happened to.
    pub revision: u32,
    /// Why, where the state needs a reason.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub reason: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// One numbered revision of the prescription.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Revision {
    /// 1, 2, 3 …
    pub number: u32,
    /// What is ordered.
    pub prescription: Prescription,
    /// Why a field holds what it holds, by the field's path, e.g. `motion.dorsiflexion.stop_deg`.
    #[serde(default)]
    pub because: BTreeMap<String, Because>,
    /// Blocks the prescriber decided to go past, by the rule's id.
    #[serde(default)]
    pub overrides: BTreeMap<String, Override>,
    /// Why this revision replaces the one before; empty for the first.
    #[serde(default)]
    pub reason: String,
    /// The prescriber's signature; a signed revision is frozen.
    #[serde(default)]
    pub signature: Option<Signature>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Why a field of the order holds what it holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Because {
    /// Where the value came from.
    pub from: Origin,
    /// The reason in words, e.g. "because the cast measures 4.9 mm".
    pub because: String,
    /// Source of the method or rule, as printed.
    #[serde(default)]
    pub source: String,
    /// The prescriber has looked at it.
    #[serde(default)]
    pub confirmed: bool,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A block gone past, with its typed reason.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Override {
    /// The reason typed.
    pub reason: String,
    /// By whom.
    pub by: String,
    /// When.
    pub at: When,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A prescriber's signature under one revision.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Signature {
    /// Who signed.
    pub prescriber: Prescriber,
    /// When.
    pub at: When,
    /// Cautions in force when it was signed, by rule id: printed on the order.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}
