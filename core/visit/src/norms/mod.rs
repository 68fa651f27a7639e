//! What is known about readings: published bands, measurement errors, plausible values, scores.

mod about;
mod anthropometry;
mod bands;
mod change;
mod scores;
mod typed;

pub use about::About;
pub use anthropometry::{Anthropometry, DimensionKind, Together};
pub use bands::{Band, MeasurementError, Norms, Scope, SideDifference, Who, mdc95};
pub use change::Change;
pub use scores::{
    Arch, FPI_ITEMS, FootPosture, arch, arch_index, calculated_neutral_deg,
    calculated_neutral_label, foot_posture, foot_posture_index, foot_posture_of,
    foot_posture_source,
};
pub use typed::{convert, typed};
