//! The encrypted local store, its history, photographs and search.
