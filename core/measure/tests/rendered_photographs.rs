//! The demo's rendered photographs, whose truth is known: tags found, corners and ink dots off by
//! how much.

#![allow(clippy::expect_used)]

use plinthside_measure::detect::{DetectOptions, tags};
use plinthside_measure::ink;
use plinthside_measure::photo::{Photograph, decode};
use serde_json::Value;
use std::path::{Path, PathBuf};

fn folder(side: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../demo-data")
        .join(side)
}

fn truth(side: &str) -> Value {
    let text = std::fs::read_to_string(folder(side).join("truth.json")).expect("the truth");
    serde_json::from_str(&text).expect("JSON")
}

fn photograph(side: &str, truth: &Value) -> Photograph {
    let name = truth["photo"].as_str().expect("a name");
    decode(
        name,
        &std::fs::read(folder(side).join(name)).expect("a file"),
    )
    .expect("a photograph")
}

fn px(value: &Value) -> [f64; 2] {
    [0, 1].map(|k| value[k].as_f64().expect("a number"))
}

fn off(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[test]
fn tags_and_ink_lie_where_they_were_rendered() {
    let truth = truth("left");
    let (mut squares, mut corners, mut shown, mut found) = (0.0, 0.0, 0, 0);
    let (mut marks, mut snapped, mut proposed, mut proposals) = (0, 0, 0, 0);
    let mut mean = [0.0; 2];
    let (mut within, mut partly, mut ink_squares) = (0, 0, 0.0);
    for rendered in truth["photos"]
        .as_array()
        .expect("photographs")
        .iter()
        .take(4)
    {
        let photo = photograph("left", rendered);
        let seen = tags(&photo, &DetectOptions::default()).tags;
        let drawn = rendered["tags_px"].as_object().expect("tags");
        shown += drawn.len();
        for tag in &seen {
            // The truth lists tags in full view; one that the cast hides in part may be read too.
            let Some(place) = drawn.get(&tag.id.to_string()) else {
                partly += 1;
                continue;
            };
            found += 1;
            for (corner, at) in tag
                .corners_px
                .iter()
                .zip(place.as_array().expect("corners"))
            {
                squares += off(*corner, px(at)).powi(2);
                corners += 2.0;
            }
        }
        let dots = ink::find(&photo, None);
        proposals += dots.len();
        for (_, at) in rendered["marks_px"].as_object().expect("marks") {
            let at = px(at);
            marks += 1;
            let snap = ink::snap(&photo, [at[0] + 5.0, at[1] - 4.0]);
            if snap.on_ink && snap.sd_px < ink::BARE_TAP_SD_PX {
                snapped += 1;
                let error = off(snap.px, at);
                ink_squares += error * error / 2.0;
                mean = [mean[0] + snap.px[0] - at[0], mean[1] + snap.px[1] - at[1]];
                within += usize::from(error < 2.45 * snap.sd_px);
            }
            proposed += usize::from(dots.iter().any(|dot| off(dot.px, at) < 6.0));
        }
    }
    let corner_rms = (squares / corners).sqrt();
    let ink_rms = (ink_squares / f64::from(snapped)).sqrt();
    println!(
        "{found} of {shown} tags and {partly} partly hidden, corners {corner_rms:.3} px rms an axis"
    );
    println!(
        "{snapped} of {marks} taps snapped, {ink_rms:.2} px rms an axis, mean {:.2?}, {within} inside their 95 %; {proposed} proposed among {proposals}",
        mean.map(|m| m / f64::from(snapped))
    );
    assert!(found * 100 >= shown * 95);
    assert!(corner_rms < 0.1);
    assert!(snapped * 10 >= marks * 9 && ink_rms < 0.4);
    assert!(within * 10 >= snapped as usize * 9);
}

/// Large photographs are searched coarsely first; nothing may be lost or moved by that.
#[test]
fn a_coarse_search_finds_what_a_fine_one_finds() {
    let fine = DetectOptions {
        decimate: Some(2.0),
        ..DetectOptions::default()
    };
    let (mut more, mut farthest, mut corners) = (0, 0.0_f64, 0);
    for side in ["left", "right"] {
        for rendered in truth(side)["photos"].as_array().expect("photographs") {
            let photo = photograph(side, rendered);
            let (coarse, fine) = (
                tags(&photo, &DetectOptions::default()).tags,
                tags(&photo, &fine).tags,
            );
            more += coarse.len() - fine.len();
            for tag in &fine {
                let same = coarse.iter().find(|t| t.id == tag.id).expect("not lost");
                // Tags that the cast hides in part lie where the fine search puts them only nearly.
                if !rendered["tags_px"][tag.id.to_string()].is_array() {
                    continue;
                }
                for (a, b) in same.corners_px.iter().zip(&tag.corners_px) {
                    farthest = farthest.max(off(*a, *b));
                    corners += 1;
                }
            }
        }
    }
    println!("{more} more tags; {corners} corners, farthest apart {farthest:.3} px");
    assert!(corners > 1000 && farthest < 0.02);
}
