//! Pads, reliefs and straps as one printed line.

use super::{Pad, Spot, Strap};
use crate::format;
use crate::words::Lang;
use serde::de::DeserializeOwned;
use serde_json::Value;

pub(super) fn printed(path: &str, value: &Value, lang: Lang) -> Option<String> {
    match path {
        "shell.pads" => join(value, |pad: Pad| {
            let thickness = pad.thickness_mm.as_ref().and_then(|e| e.value);
            let mm = thickness.map(|mm| format::quantity(mm, "mm", lang));
            words([
                pad.place.label(lang).to_owned(),
                mm.unwrap_or_default(),
                pad.material,
            ])
        }),
        "shell.reliefs" => join(value, |spot: Spot| {
            words([spot.place.label(lang).to_owned(), spot.note, String::new()])
        }),
        "closure.straps" => join(value, |strap: Strap| {
            let side = strap
                .side
                .map(|s| s.label(lang).to_owned())
                .unwrap_or_default();
            let hold = strap
                .hold
                .map(|h| h.label(lang).to_owned())
                .unwrap_or_default();
            let tails = match (strap.long_tails, lang) {
                (Some(true), Lang::En) => ", long tails",
                (Some(true), Lang::De) => ", lange Enden",
                _ => "",
            };
            words([strap.place.label(lang).to_owned(), side, hold]) + tails
        }),
        _ => None,
    }
}

fn join<T: DeserializeOwned>(value: &Value, line: impl Fn(T) -> String) -> Option<String> {
    let items: Vec<T> = serde_json::from_value(value.clone()).ok()?;
    Some(items.into_iter().map(line).collect::<Vec<_>>().join("; "))
}

fn words(parts: [String; 3]) -> String {
    parts
        .into_iter()
        .filter(|p| !p.is_empty())
        .collect::<Vec<_>>()
        .join(", ")
}
