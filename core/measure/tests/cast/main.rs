//! The results of a cast checked against worked and published numbers.

mod covariance;
mod invariance;
mod published;
mod side;
mod support;
mod tables;
mod worked_example;
