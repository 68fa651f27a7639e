//! Everything on paper: codes, QR, labels, mats, orders and bench sheets.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod code;
mod data;
mod german;
mod grade;
mod mat;
mod pages;
mod qr_read;
mod qr_write;
