//! Two or three devices edit one record apart: what comes out when they meet.
#![allow(clippy::expect_used, clippy::unwrap_used)]

mod converge;
mod device;
mod edits;
mod signed;
