//! The screens, compiled from the `.slint` files beside this one.
//!
//! A crate of its own so that the large generated code is built only when a screen changes.
//! Nothing here decides anything: the program fills the globals of `api/` and answers their
//! callbacks; the view never decides validity.
//!
//! [`Data`] is state, set by the program; [`Backend`] is intents, answered by it; [`Theme`] holds
//! the look. Callbacks only post what is wanted, the new state comes back through `Data`.

// Of generated code; looking it through for lints takes minutes and mends nothing.
#![allow(clippy::all)]

slint::include_modules!();
