//! Small conversions that every screen needs.

use serde::Serialize;
use slint::{ModelRc, VecModel};

/// A list for the screen.
pub fn models<T: Clone + 'static>(rows: Vec<T>) -> ModelRc<T> {
    ModelRc::new(VecModel::from(rows))
}

/// The name a value is stored under.
pub fn token<T: Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(s)) => s,
        _ => String::new(),
    }
}
