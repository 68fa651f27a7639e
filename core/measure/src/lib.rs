//! From photographs of ink marks on a plaster cast to millimetres, degrees and their uncertainty.
//!
//! Data flows one way:
//!
//! ```text
//! bytes ─ photo::decode ─► Photograph ─── detect::tags ─► PhotoTags ┐
//!                                 └─ ink::find / snap ─► MarkView ─┤
//! mat file ─ mat::Mat ────────────────────────────────────────────┴─ solve ─► Solution
//! ruler entry ─ ruler ─► CastPoints ◄──────────────────────────────────────────┘
//! CastPoints ─ cast::results ─► Results (value, instrument sd, total sd, 95 % interval)
//! ```
//!
//! Start at [`solve::solve`], which finds the points, and [`cast::results`], what they say of a
//! cast; [`detect`] and [`ink`] are what both stand on.
//!
//! **Invariants.** This crate reads no file, no clock and no network. No input of any kind panics
//! or yields a NaN: it is refused with a sentence that names the remedy. Coordinates are always
//! in a named frame (see [`frames`]), lengths in millimetres, angles in degrees.

pub mod advice;
pub mod cast;
pub mod detect;
mod dual;
pub mod flat;
pub mod frames;
pub mod ink;
pub mod leg;
pub mod marks;
pub mod mat;
pub mod observed;
pub mod photo;
mod plane;
pub mod predict;
pub mod quantity;
pub mod ruler;
pub mod solve;
pub mod square;
