//! How the cast was taken, as rows of the order.

use super::rows::{joined, some};
use crate::language::Words;
use plinthside_visit::{CastRecord, Entry};

/// Name and value of everything recorded.
pub(super) fn cast_rows(record: &CastRecord, w: Words) -> Vec<[String; 2]> {
    let mut rows = Vec::new();
    let mut add = |name: &str, value: Option<String>| {
        if let Some(value) = value {
            rows.push([w.say(name), value]);
        }
    };
    let knee = record.knee_flexion_deg.as_ref().map(|e| match e.usable() {
        Some(0.0) => w.say("knee straight"),
        _ => w.with("knee bent {}", &[&w.entry(e, "°")]),
    });
    let position = record.position.as_ref().map(|p| p.label(w.0).to_owned());
    add("Position", joined([position, knee]));
    let held = record
        .rearfoot_held
        .as_ref()
        .map(|r| r.label(w.0).to_owned());
    add("Rearfoot held", held);
    add(
        "Midtarsal joint",
        record.midtarsal.as_ref().map(|m| m.label(w.0).to_owned()),
    );
    add(
        "First ray",
        record.first_ray.as_ref().map(|f| f.label(w.0).to_owned()),
    );
    let angle =
        |e: &Option<Entry>, words: &str| e.as_ref().map(|e| w.with(words, &[&w.entry(e, "°")]));
    add(
        "Foot to leg (0° = 90° position)",
        joined([
            angle(&record.foot_to_leg_intended_deg, "intended {}"),
            angle(&record.foot_to_leg_reached_deg, "reached {}"),
        ]),
    );
    add(
        "Slabs",
        joined([some(&record.slab_pattern), some(&record.extent)]),
    );
    add("Material", some(&record.material));
    let by = joined([
        some(&record.cast_by).map(|n| w.with("cast by {}", &[&n])),
        some(&record.marked_by).map(|n| w.with("marked by {}", &[&n])),
    ]);
    add("By", by);
    rows
}
