//! The renderer draws what it drew: a part of a stored photograph comes out the same again.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use plinthside_demo_data::CASTS;
use plinthside_demo_data::render::mesh::Mesh;
use plinthside_demo_data::render::{clinic, photo, record, studio};
use plinthside_demo_data::truth::Truth;
use plinthside_measure::photo::decode;
use std::collections::HashMap;

#[test]
fn a_part_of_a_photograph_is_drawn_as_it_was() {
    let [left, _] = clinic::patients();
    let (scene, _) = studio::scene(&left, true);
    let camera = &studio::cameras(&left, 1)[0];
    let stored = decode("left-1.jpg", CASTS[0].photos[0].jpeg).expect("a photograph");
    let rgb = stored.rgb();
    // Ink inside the shell with its edge, and a tag with wood and label.
    for crop in [[1600, 900, 96, 64], [1500, 2000, 96, 64]] {
        let [x0, y0, width, height] = crop;
        let drawn = photo::develop(&scene, camera, crop, 0);
        assert_eq!(
            drawn,
            photo::develop(&scene, camera, crop, 0),
            "two runs differ"
        );
        let mut off = 0_u64;
        for (i, value) in drawn.iter().enumerate() {
            let (pixel, channel) = (i / 3, i % 3);
            let (x, y) = (
                x0 as usize + pixel % width as usize,
                y0 as usize + pixel / width as usize,
            );
            off += u64::from(value.abs_diff(rgb[(y * stored.width as usize + x) * 3 + channel]));
        }
        let mean = off as f64 / f64::from(width * height * 3);
        assert!(
            mean < 3.0,
            "{crop:?}: {mean} grey levels apart, more than JPEG takes"
        );
    }
}

/// Each edge of a closed surface is run along once in each direction.
fn open_edges(mesh: &Mesh) -> usize {
    let mut edges: HashMap<(u32, u32), i32> = HashMap::new();
    for t in &mesh.triangles {
        for (a, b) in [(t[0], t[1]), (t[1], t[2]), (t[2], t[0])] {
            *edges.entry((a.min(b), a.max(b))).or_default() += if a < b { 1 } else { -1 };
        }
    }
    edges.values().filter(|count| **count != 0).count()
}

#[test]
fn the_shell_is_closed_stands_on_the_mat_and_has_a_wall() {
    for patient in clinic::patients() {
        let mesh = patient.mesh();
        assert_eq!(open_edges(&mesh), 0, "{}", patient.side);
        let lowest = mesh.points.iter().map(|p| p.z).fold(f64::MAX, f64::min);
        assert!((0.0..1.0).contains(&lowest), "{lowest} mm above the mat");
        let six_times_volume: f64 = mesh
            .triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|i| mesh.points[i as usize]);
                a.dot(&b.cross(&c))
            })
            .sum();
        let ml = six_times_volume / 6000.0;
        assert!((150.0..700.0).contains(&ml), "{ml} ml of plaster");
    }
}

/// Which marks and tags each photograph shows, and where, worked out again: plaster hides what it hid.
#[test]
fn the_stored_truth_is_what_the_scene_gives() {
    for (patient, cast) in clinic::patients().iter().zip(&CASTS) {
        let (scene, marks) = studio::scene(patient, false);
        let cameras = studio::cameras(patient, 1);
        let again = record::truth(patient, &scene, &marks, &cameras);
        let stored: Truth = serde_json::from_str(cast.truth_json).expect("truth file");
        let (mut shown, mut all) = (0, 0);
        for (a, b) in again.photos.iter().zip(&stored.photos) {
            assert!(a.marks_px.keys().eq(b.marks_px.keys()), "{}", a.photo);
            assert!(a.tags_px.keys().eq(b.tags_px.keys()), "{}", a.photo);
            for ([x, y], [u, v]) in a.marks_px.values().zip(b.marks_px.values()) {
                assert!((x - u).hypot(y - v) < 1e-3, "{}", a.photo);
            }
            shown += a.marks_px.len();
            all += marks.len();
        }
        println!("{}: {shown} of {all} marks shown", patient.side);
        assert!(
            shown * 10 < all * 7,
            "an opaque shell hides a third and more"
        );
    }
}
