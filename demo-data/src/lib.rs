//! An invented clinic, its visits and the photographs rendered for them.

pub mod render;
pub mod truth;
