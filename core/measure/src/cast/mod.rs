//! From points on the cast to what the clinician reads: angles, hinge points, lengths and their ±.
//!
//! [`CastPoints`] come from photographs or from a ruler; [`results`](Results) are the same for
//! both. Everything is stated side-neutrally (medial, lateral), never ±Y.

mod names;
mod points;
mod report;
mod settings;

pub use names::ResultName;
pub use points::{CastPoints, MeasuredPoint, PointsError, Source, Wall};
pub use report::{CastPoint, Comparison, Datum, HingePoint, Results, SideCheck, SideOutcome};
pub use settings::{HingeFrom, HingeOffset, Marking, MarkingSd, Reference, Settings};
