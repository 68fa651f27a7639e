//! Figures of the practice: remakes and why, how long the lab takes, how well people repeat.

mod agreement;
mod practice;
mod repeats;

pub use agreement::{Estimate, FigureError, Icc, Limits, icc, limits_of_agreement};
pub use practice::{Grouped, Practice, Rate, Turnaround, practice, wilson};
pub use repeats::{Repeats, repeats};
