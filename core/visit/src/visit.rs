//! One visit of one patient.

use crate::cast_record::Cast;
use crate::examination::{LegDimensions, Reading, reading_kind};
use crate::follow_up::FollowUp;
use crate::order::Order;
use crate::person::{Person, When};
use crate::rules::GonePast;
use crate::words::Extra;
use plinthside_measure::marks::Side;
use serde::{Deserialize, Serialize};

/// Version of the visit's shape; a newer one is read as far as it is known and written back whole.
pub const VISIT_SCHEMA: u32 = 1;

/// One visit: who, what was found, what was cast, what was ordered, what became of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Visit {
    /// Version of the shape ([`VISIT_SCHEMA`]).
    #[serde(default)]
    pub schema: u32,
    /// Identifier.
    pub id: String,
    /// When it began.
    pub at: Option<When>,
    /// Who saw the patient.
    #[serde(default)]
    pub clinician: String,
    /// Where: clinic, home.
    #[serde(default)]
    pub place: String,
    /// The foot or feet this visit is about.
    #[serde(default)]
    pub sides: Vec<Side>,
    /// Why the patient came.
    #[serde(default)]
    pub reason: String,
    /// The patient.
    #[serde(default)]
    pub person: Person,
    /// Examination.
    #[serde(default)]
    pub readings: Vec<Reading>,
    /// The legs' own dimensions.
    #[serde(default)]
    pub legs: Vec<LegDimensions>,
    /// Casts.
    #[serde(default)]
    pub casts: Vec<Cast>,
    /// Orders.
    #[serde(default)]
    pub orders: Vec<Order>,
    /// Blocks of casting or photographs gone past with a typed reason. Those of signing stand in
    /// the revision they were typed for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gone_past: Vec<GonePast>,
    /// What became of the orders.
    #[serde(default)]
    pub follow_up: Vec<FollowUp>,
    /// Casting was put off, and why; the visit is kept.
    #[serde(default)]
    pub deferred: Option<String>,
    /// The visit before this one, for copied readings and change.
    #[serde(default)]
    pub previous_visit: Option<String>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Visit {
    /// An empty visit.
    #[must_use]
    pub fn new(id: impl Into<String>, at: When, sides: Vec<Side>) -> Self {
        Self {
            schema: VISIT_SCHEMA,
            id: id.into(),
            at: Some(at),
            clinician: String::new(),
            place: String::new(),
            sides,
            reason: String::new(),
            person: Person::default(),
            readings: Vec::new(),
            legs: Vec::new(),
            casts: Vec::new(),
            orders: Vec::new(),
            gone_past: Vec::new(),
            follow_up: Vec::new(),
            deferred: None,
            previous_visit: None,
            extra: Extra::new(),
        }
    }

    /// The leg's dimensions on one side.
    #[must_use]
    pub fn leg(&self, side: Side) -> Option<&LegDimensions> {
        self.legs.iter().rfind(|leg| leg.side == side)
    }

    /// The latest cast of one side.
    #[must_use]
    pub fn cast(&self, side: Side) -> Option<&Cast> {
        self.casts.iter().rfind(|cast| cast.side == side)
    }

    /// The latest order for one side.
    #[must_use]
    pub fn order(&self, side: Side) -> Option<&Order> {
        self.orders.iter().rfind(|order| order.side == side)
    }

    /// The latest reading of one kind, on one side where the kind has sides.
    #[must_use]
    pub fn reading(&self, kind: &str, side: Side) -> Option<&Reading> {
        self.readings
            .iter()
            .rfind(|r| r.kind == kind && r.side.is_none_or(|s| s == side))
    }

    /// Copies readings of an earlier visit that this one lacks, each reading marked
    /// as copied until it is confirmed. Alarm signs are asked anew, never copied.
    pub fn copy_from(&mut self, earlier: &Visit) {
        let asked_anew = |kind: &str| reading_kind(kind).is_some_and(|k| k.group == "alarm");
        for reading in &earlier.readings {
            let here = self
                .readings
                .iter()
                .any(|r| r.kind == reading.kind && r.side == reading.side);
            if !here && !asked_anew(&reading.kind) {
                self.readings.push(Reading {
                    copied_from: Some(earlier.id.clone()),
                    copy_confirmed: false,
                    ..reading.clone()
                });
            }
        }
        self.previous_visit = Some(earlier.id.clone());
    }
}
