//! Writes down where everything was, and the marks file as a careful hand would have tapped it.

use super::V3;
use super::bvh::Ray;
use super::camera::Camera;
use super::clinic::PRINT_SCALE;
use super::mesh::{Face, Mesh};
use super::noise::gaussian;
use super::patient::{Mark, Patient};
use super::scene::Scene;
use crate::truth::{TrueMark, TruePhoto, Truth, cast_from_mat, results, rows};
use nalgebra::{Matrix4, Point3};
use plinthside_measure::marks::Side;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// A dot seen at more than this from its normal is too thin to tap.
const STEEPEST_DEG: f64 = 75.0;
/// A mark nearer to the picture's edge is not tapped.
const MARGIN_PX: f64 = 40.0;
/// How well a hand taps, on each axis.
pub const TAP_SD_PX: f64 = 1.5;

/// Name of photograph `i` of a side, counted from 0.
#[must_use]
pub fn photo_name(side: &str, i: usize) -> String {
    format!("{side}-{}.jpg", i + 1)
}

/// Cast frame of a set of marks.
fn frame(marks: &[Mark]) -> Matrix4<f64> {
    let at = |name: &str| {
        marks
            .iter()
            .find(|m| m.name == name)
            .map_or_else(V3::zeros, |m| m.at)
    };
    let heel = (at("heel-lower") + at("heel-upper")) / 2.0;
    cast_from_mat(at("heel-lower"), heel, (at("mtp-1") + at("mtp-5")) / 2.0)
}

fn moved(m: &Matrix4<f64>, p: V3) -> V3 {
    m.transform_point(&Point3::from(p)).coords
}

/// Lengths and angles of a shell or leg, heights above the skin under the heel.
fn measures(mesh: &Mesh, marks: &[Mark], side: Side) -> (BTreeMap<String, f64>, f64) {
    let cast = frame(marks);
    let placed: BTreeMap<&str, V3> = marks.iter().map(|m| (m.name, moved(&cast, m.at))).collect();
    let mut list = results(&placed, side.sign());
    let inner: Vec<V3> = (mesh.points.iter().zip(&mesh.faces))
        .filter(|(_, face)| **face == Face::Inner)
        .map(|(p, _)| moved(&cast, *p))
        .collect();
    let within = |v: f64, low: f64, high: f64| (low..high).contains(&v);
    let breadth = |x: [f64; 2], z: [f64; 2]| {
        let y = || {
            inner
                .iter()
                .filter(|p| within(p.x, x[0], x[1]) && within(p.z, z[0], z[1]))
                .map(|p| p.y)
        };
        y().fold(f64::MIN, f64::max) - y().fold(f64::MAX, f64::min)
    };
    let wall = (inner
        .iter()
        .filter(|p| within(p.x, 15.0, 45.0) && p.y.abs() < 12.0 && p.z < 20.0))
    .map(|p| p.z)
    .fold(f64::MAX, f64::min);
    list.insert("heel_breadth_mm".into(), breadth([22.0, 50.0], [8.0, 32.0]));
    list.insert(
        "ball_breadth_mm".into(),
        breadth([135.0, 185.0], [5.0, 40.0]),
    );
    for (name, mark) in [
        ("medial_malleolus", "malleolus-medial"),
        ("lateral_malleolus", "malleolus-lateral"),
    ] {
        if let Some(p) = placed.get(mark) {
            list.insert(format!("{name}_height_mm"), p.z - wall);
        }
    }
    (list, wall)
}

/// The truth of a patient's cast and photographs.
#[must_use]
pub fn truth(patient: &Patient, scene: &Scene, marks: &[Mark], cameras: &[Camera]) -> Truth {
    let side = if patient.shell.right {
        Side::Right
    } else {
        Side::Left
    };
    let (results, heel_wall_mm) = measures(&scene.mesh, marks, side);
    let leg_mesh = patient.leg();
    let (leg, _) = measures(&leg_mesh, &patient.marks(&leg_mesh), side);
    let cast_from_mat = frame(marks);
    Truth {
        side,
        print_scale: PRINT_SCALE,
        heel_wall_mm,
        cast_from_mat: rows(&cast_from_mat),
        marks: marks
            .iter()
            .map(|m| TrueMark {
                mark: m.name.into(),
                mat_mm: m.at.into(),
                cast_mm: moved(&cast_from_mat, m.at).into(),
                normal: m.normal.into(),
            })
            .collect(),
        results,
        leg,
        photos: (cameras.iter().enumerate())
            .map(|(i, camera)| true_photo(scene, marks, camera, photo_name(patient.side, i)))
            .collect(),
    }
}

/// Upright pixel of a point that lies inside the picture.
fn seen_at(camera: &Camera, p: V3, margin_px: f64) -> Option<[f64; 2]> {
    camera
        .project(p)
        .filter(|px| camera.holds(*px, margin_px))
        .map(|px| camera.upright(px))
}

/// A dot half hidden by the edge of the shell is not tapped: its middle could only be guessed.
fn whole_dot_seen(scene: &Scene, camera: &Camera, mark: &Mark) -> bool {
    const RADIUS_MM: f64 = 2.4;
    const LIFT_MM: f64 = 0.5;
    let across = mark.normal.cross(&(camera.eye - mark.at)).normalize();
    let along = mark.normal.cross(&across);
    (0..8).all(|k| {
        let (sin, cos) = (std::f64::consts::TAU * f64::from(k) / 8.0).sin_cos();
        let rim = (across * cos + along * sin) * RADIUS_MM;
        let origin = mark.at + rim + mark.normal * LIFT_MM;
        !scene.mesh.tree.blocked(
            &Ray {
                origin,
                dir: camera.eye - origin,
            },
            1.0,
        )
    })
}

fn true_photo(scene: &Scene, marks: &[Mark], camera: &Camera, photo: String) -> TruePhoto {
    let marks_px = marks
        .iter()
        .filter(|m| scene.mesh.sees(camera.eye, m.at, m.normal, STEEPEST_DEG))
        .filter(|m| whole_dot_seen(scene, camera, m))
        .filter_map(|m| Some((m.name.to_owned(), seen_at(camera, m.at, MARGIN_PX)?)))
        .collect();
    let open = |[x, y]: [f64; 2]| {
        let origin = V3::new(x, y, 0.01);
        !scene.mesh.tree.blocked(
            &Ray {
                origin,
                dir: camera.eye - origin,
            },
            1.0,
        )
    };
    let tags_px = scene
        .print
        .tags()
        .filter(|(_, [_, top_right, _, low_left])| {
            let mix = |a: f64, b: f64, k: usize| a + (b - a) * (k as f64 / 8.0 * 1.25 - 0.125);
            (0..81).all(|k| {
                open([
                    mix(low_left[0], top_right[0], k % 9),
                    mix(low_left[1], top_right[1], k / 9),
                ])
            })
        })
        .filter_map(|(id, corners)| {
            let mut px = [[0.0; 2]; 4];
            for (to, [x, y]) in px.iter_mut().zip(corners) {
                *to = seen_at(camera, V3::new(x, y, 0.0), 12.0)?;
            }
            Some((id, px))
        })
        .collect();
    TruePhoto {
        photo,
        size_px: camera.upright_size(),
        orientation: camera.orientation,
        f_px: camera.f_px,
        centre_px: camera.centre_px,
        radial: camera.radial,
        mat_from_camera: rows(&camera.mat_from_camera()),
        marks_px,
        tags_px,
    }
}

/// The longest stretch of a closed outline that can be seen from a camera.
fn seen_run(scene: &Scene, camera: &Camera, outline: &[(V3, V3)]) -> Vec<V3> {
    let seen = |(p, normal): &(V3, V3)| scene.mesh.sees(camera.eye, *p, *normal, 82.0);
    if outline.iter().all(seen) {
        return outline.iter().map(|(p, _)| *p).collect();
    }
    // The last point repeats the first; twice round finds runs across the seam.
    let ring = &outline[..outline.len().saturating_sub(1)];
    let mut best: Vec<V3> = Vec::new();
    let mut run = Vec::new();
    for point in ring.iter().chain(ring) {
        if seen(point) {
            run.push(point.0);
        } else {
            run.clear();
        }
        if run.len() > best.len() {
            best.clone_from(&run);
        }
    }
    best
}

/// A calliper reading: to half a millimetre, and once more.
fn readings(value: f64, k: u32) -> Value {
    let read = |channel| (2.0 * (value + 0.35 * gaussian(k, 77, channel, 3))).round() / 2.0;
    json!([read(0), read(1)])
}

/// The marks file: true places plus the scatter of taps; and one tap that missed, if asked for.
#[must_use]
pub fn marks_file(
    truth: &Truth,
    scene: &Scene,
    marks: &[Mark],
    cameras: &[Camera],
    missed: Option<&crate::render::patient::Missed>,
) -> Value {
    let round = |v: f64| (v * 10.0).round() / 10.0;
    let mut taps = Vec::new();
    for (i, mark) in marks.iter().enumerate() {
        for (j, photo) in truth.photos.iter().enumerate() {
            let Some([x, y]) = photo.marks_px.get(mark.name).copied() else {
                continue;
            };
            let (i32, j32) = (i as u32, j as u32);
            let slip =
                |axis: u32| TAP_SD_PX * gaussian(i32, j32, axis, 900 + truth.photos.len() as u64);
            let off = missed
                .filter(|m| m.mark == mark.name && m.photo == j)
                .map_or([0.0; 2], |m| m.off_px);
            let mut tap = json!({
                "mark": mark.name, "photo": photo.photo,
                "x": round(x + slip(0) + off[0]), "y": round(y + slip(1) + off[1]),
                "sd_px": TAP_SD_PX, "surface": "inside",
            });
            if mark.name.starts_with("mtp-") {
                tap["place"] = json!("plantar");
            }
            taps.push(tap);
        }
    }
    let mut outlines = Vec::new();
    for mark in marks.iter().filter(|m| !m.outline.is_empty()) {
        for (photo, camera) in truth.photos.iter().zip(cameras) {
            let seen = seen_run(scene, camera, &mark.outline);
            if !photo.marks_px.contains_key(mark.name) || 5 * seen.len() < 3 * mark.outline.len() {
                continue;
            }
            let points: Vec<[f64; 2]> = seen
                .iter()
                .step_by(2)
                .filter_map(|p| seen_at(camera, *p, MARGIN_PX))
                .enumerate()
                .map(|(k, [x, y])| {
                    let slip =
                        |axis| TAP_SD_PX * gaussian(k as u32, axis, 5, photo.marks_px.len() as u64);
                    [round(x + slip(0)), round(y + slip(1))]
                })
                .collect();
            outlines.push(json!({ "mark": mark.name, "photo": photo.photo, "points": points }));
        }
    }
    let leg: serde_json::Map<String, Value> = [
        "bimalleolar_breadth_mm",
        "heel_breadth_mm",
        "ball_breadth_mm",
        "heel_to_first_mtp_mm",
        "medial_malleolus_height_mm",
        "lateral_malleolus_height_mm",
        "medial_malleolus_forward_mm",
        "lateral_malleolus_forward_mm",
    ]
    .iter()
    .zip(0..)
    .filter_map(|(name, k)| Some(((*name).to_owned(), readings(*truth.leg.get(*name)?, k))))
    .collect();
    json!({
        "side": truth.side, "wall_mm": round(truth.heel_wall_mm),
        "marks": taps, "outlines": outlines, "leg": leg,
    })
}
