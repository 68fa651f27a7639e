//! The encrypted local store, its history, photographs and search.

pub mod document;
