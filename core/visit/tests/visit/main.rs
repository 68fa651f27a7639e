//! The clinical knowledge from outside, in one program: linking each part alone took longer than
//! running them all.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;
mod contents;
mod figures;
mod follow_up;
mod measured;
mod norms;
mod order_states;
mod orders;
mod own;
mod properties;
mod round_trip;
mod rule_by_rule;
mod rules;
mod scenarios;
mod verdict;
