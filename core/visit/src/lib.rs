//! What a visit holds: examination, cast, order, rules and follow-up.
//!
//! **Invariants.** No input or output, no clock: times are passed in, data files are compiled in
//! or handed over as text. What was typed is kept as typed. What a newer version wrote survives.
//! The program measures, explains and warns; it never decides.
//!
//! Start at [`Visit`], which holds all of it. [`rules::check`] and [`verdict::verdict`] judge it,
//! [`order::fillable`] fills its order, [`Visit::sign`] freezes that, [`follow_up`] is what comes
//! after. The tables they go by lie in `data/`, each with a schema; [`knowledge`] reads them.

pub mod aids;
pub mod cast_record;
pub mod cast_sources;
pub mod data;
pub mod entry;
pub mod examination;
pub mod figures;
pub mod follow_up;
pub mod format;
pub mod knowledge;
pub mod norms;
pub mod order;
pub mod person;
pub mod phrases;
pub mod rules;
pub mod source;
pub mod verdict;
pub mod visit;
pub mod words;

pub use cast_record::{Cast, CastRecord, Decision};
pub use cast_sources::{CastPhoto, CastSources, Tap};
pub use entry::Entry;
pub use examination::{Dimension, LegDimensions, Reading};
pub use order::{Order, Prescription, Revision};
pub use person::{Clinic, Person, When};
pub use phrases::Phrases;
pub use visit::Visit;
pub use words::{Lang, Text};
