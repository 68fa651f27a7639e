//! From points on the cast to what the clinician reads: angles, hinge points, lengths and their ±.
//!
//! [`CastPoints`] come from photographs or from a ruler; [`results()`] are the same for both.
//! Everything is stated side-neutrally (medial, lateral), never ±Y.

mod clearance;
mod compare;
mod compute;
mod error;
mod formulas;
mod frame;
mod hinge;
mod marking;
mod mismatch;
mod names;
mod points;
mod report;
mod results;
mod settings;
mod side;
mod skive;
mod spread;
mod words;

pub use clearance::{Clearance, ClearanceError, Direction, OutlineRays, Ray, clearance};
pub use compute::results;
pub use error::{CastError, Refusal};
pub use marking::{default_sd, nominal_normal};
pub use mismatch::{
    BandPlace, CalfBand, HingeLine, Mismatch, MotionRange, Movement, OrderedLine, hinge_mismatch,
    movement_mm,
};
pub use names::ResultName;
pub use points::{CastPoints, MeasuredPoint, PointsError, Source, Wall};
pub use report::{CameraReport, IntrinsicsReport, MeasureReport, PointReport};
pub use results::{CastPoint, Comparison, Datum, HingePoint, Results, SideCheck, SideOutcome};
pub use settings::{HingeFrom, HingeOffset, Marking, MarkingSd, Reference, Settings};
pub use skive::{SKIVE_ANGLE_DEG, SkiveError, SkivePlan, plan_skive, posting_height_mm};
pub(crate) use spread::student_t_95;
