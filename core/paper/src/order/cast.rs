//! How the cast was taken, as rows of the order.

use super::rows::{joined, some};
use crate::words::entry;
use plinthside_visit::{CastRecord, Entry, Lang};

/// Name and value of everything recorded.
pub(super) fn cast_rows(record: &CastRecord) -> Vec<[String; 2]> {
    let mut rows = Vec::new();
    let mut add = |name: &str, value: Option<String>| {
        if let Some(value) = value {
            rows.push([name.to_owned(), value]);
        }
    };
    let knee = record.knee_flexion_deg.as_ref().map(|e| match e.usable() {
        Some(0.0) => "knee straight".to_owned(),
        _ => format!("knee bent {}", entry(e, "°")),
    });
    let position = record
        .position
        .as_ref()
        .map(|p| p.label(Lang::En).to_owned());
    add("Position", joined([position, knee]));
    let held = record
        .rearfoot_held
        .as_ref()
        .map(|r| r.label(Lang::En).to_owned());
    add("Rearfoot held", held);
    add(
        "Midtarsal joint",
        record
            .midtarsal
            .as_ref()
            .map(|m| m.label(Lang::En).to_owned()),
    );
    add(
        "First ray",
        record
            .first_ray
            .as_ref()
            .map(|f| f.label(Lang::En).to_owned()),
    );
    let angle =
        |e: &Option<Entry>, words: &str| e.as_ref().map(|e| format!("{words} {}", entry(e, "°")));
    add(
        "Foot to leg (0° = 90° position)",
        joined([
            angle(&record.foot_to_leg_intended_deg, "intended"),
            angle(&record.foot_to_leg_reached_deg, "reached"),
        ]),
    );
    add(
        "Slabs",
        joined([some(&record.slab_pattern), some(&record.extent)]),
    );
    add("Material", some(&record.material));
    let by = joined([
        some(&record.cast_by).map(|n| format!("cast by {n}")),
        some(&record.marked_by).map(|n| format!("marked by {n}")),
    ]);
    add("By", by);
    rows
}
