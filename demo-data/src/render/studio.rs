//! Puts a patient's shell in the scene, takes its photographs and writes everything down.

use super::V3;
use super::camera::Camera;
use super::clinic::PRINT_SCALE;
use super::light::Light;
use super::noise::gaussian;
use super::patient::{Mark, Patient};
use super::photo::{develop, jpeg};
use super::print::{Laid, Print};
use super::raster;
use super::record::{marks_file, photo_name, truth};
use super::scene::Scene;
use plinthside_measure::mat::sheet::{CheckBar, Paper};
use plinthside_measure::mat::{Bar, Printed};
use std::path::Path;

/// Stored size of a photograph, pixels.
const SIZE_PX: [u32; 2] = [4000, 3000];

/// The scene of a patient on the A3 mat with its marks; light is worked out only if it is to be drawn.
#[must_use]
pub fn scene(patient: &Patient, lit: bool) -> (Scene, Vec<Mark>) {
    scene_on(Paper::A3, &[], patient, lit)
}

/// The same on any mat, its sheets laid as they were.
#[must_use]
pub fn scene_on(paper: Paper, laid: &[Laid], patient: &Patient, lit: bool) -> (Scene, Vec<Mark>) {
    let mesh = patient.mesh();
    let marks = patient.marks(&mesh);
    let ink = patient.ink(&mesh, &marks);
    let layout = paper.layout();
    let print = Print::new(&layout, PRINT_SCALE, laid);
    let place = layout.label_place;
    let middle = [0, 1].map(|i| f64::midpoint(place.min_mm[i], place.max_mm[i]) * PRINT_SCALE);
    let label = (
        raster::label(&patient.label),
        middle,
        patient.label_turn_deg,
    );
    let window = V3::from(patient.window);
    let light = if lit {
        Light::new(&mesh, window, [200.0, 148.0], 280.0)
    } else {
        Light::dark()
    };
    (
        Scene {
            mesh,
            ink,
            print,
            label,
            light,
        },
        marks,
    )
}

/// The cameras of a patient's photographs; `shrink` divides their resolution for a quick look.
#[must_use]
pub fn cameras(patient: &Patient, shrink: u32) -> Vec<Camera> {
    let small = f64::from(shrink);
    let key = patient.side.len() as u64;
    (0_u32..)
        .zip(&patient.stands)
        .map(|(i, stand)| {
            let (rotation, eye) = stand.pose();
            let own = |channel| gaussian(i, 5, channel, key);
            // Autofocus changes f, the stabiliser the centre, from photograph to photograph.
            let f_px = patient.f_px * (1.0 + 0.008 * own(0)) / small;
            let [w, h] = SIZE_PX.map(f64::from);
            let centre_px = [
                (w / 2.0 + 21.0 + 9.0 * own(1)) / small,
                (h / 2.0 - 14.0 + 9.0 * own(2)) / small,
            ];
            Camera {
                f_px,
                centre_px,
                radial: [0.062, -0.085],
                size_px: SIZE_PX.map(|v| v / shrink),
                orientation: if stand.turned { 6 } else { 1 },
                rotation,
                eye,
            }
        })
        .collect()
}

/// The mat file of the print in the photographs: its check bars as a ruler reads them.
///
/// # Errors
/// What the mat or the file system says.
pub fn write_mat(folder: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let layout = Paper::A3.layout();
    let read = |bar: &CheckBar| Bar {
        nominal_mm: bar.nominal_mm,
        measured_mm: (bar.nominal_mm * PRINT_SCALE * 2.0).round() / 2.0,
        sd_mm: 0.3,
    };
    let mut mat = layout.mat()?;
    let page = &layout.pages[0];
    mat.printed = Some(Printed {
        across: Some(read(&page.across)),
        along: Some(read(&page.along)),
    });
    std::fs::create_dir_all(folder)?;
    Ok(std::fs::write(
        folder.join("mat.json"),
        mat.to_json() + "\n",
    )?)
}

/// Quality of the JPEG files: as good as fits 12 MB for everything.
const QUALITY: u8 = 88;

/// Writes a patient's truth and marks files, and the photographs that are `wanted` (counted from
/// 1), into a folder of its side's name.
///
/// # Errors
/// What the file system or an encoder says.
pub fn write(
    patient: &Patient,
    folder: &Path,
    shrink: u32,
    wanted: &dyn Fn(usize) -> bool,
) -> Result<(), Box<dyn std::error::Error>> {
    let folder = folder.join(patient.side);
    std::fs::create_dir_all(&folder)?;
    let cameras = cameras(patient, shrink);
    let (scene, marks) = scene(patient, (1..=cameras.len()).any(wanted));
    let truth = truth(patient, &scene, &marks, &cameras);
    let save = |name: &str, text: String| std::fs::write(folder.join(name), text + "\n");
    save("truth.json", serde_json::to_string_pretty(&truth)?)?;
    let taps = |missed| marks_file(&truth, &scene, &marks, &cameras, missed);
    save(
        "marks.json",
        serde_json::to_string_pretty(&taps(patient.missed.as_ref()))?,
    )?;
    if patient.missed.is_some() {
        save(
            "marks-corrected.json",
            serde_json::to_string_pretty(&taps(None))?,
        )?;
    }
    for mark in &marks {
        let seen = truth
            .photos
            .iter()
            .filter(|p| p.marks_px.contains_key(mark.name))
            .count();
        eprintln!("{} {:25} seen in {seen}", patient.side, mark.name);
    }
    for (i, camera) in cameras.iter().enumerate().filter(|(i, _)| wanted(i + 1)) {
        let [w, h] = camera.size_px;
        let rgb = develop(&scene, camera, [0, 0, w, h], i as u64);
        let bytes = jpeg(&rgb, camera, patient, i, QUALITY)?;
        let name = photo_name(patient.side, i);
        eprintln!("{name}: {} kB", bytes.len() / 1000);
        std::fs::write(folder.join(name), bytes)?;
    }
    Ok(())
}
