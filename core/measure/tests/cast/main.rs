//! The results of a cast checked against worked and published numbers.

// A helper that fails is a test that fails.
#![allow(clippy::unwrap_used)]

mod any_numbers;
mod by_ruler;
mod clearance;
mod covariance;
mod datum;
mod demo;
mod flat;
mod invariance;
mod marks_file;
mod published;
mod refused;
mod report;
mod side;
mod support;
mod tables;
mod worked_example;
