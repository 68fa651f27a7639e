//! The two casts of the demo: all people and things are invented.

use super::V3;
use super::camera::Stand;
use super::patient::{Missed, Patient};
use super::raster::LabelText;
use super::shell::ShellSpec;

/// True size of the print over the drawn one: a printer that shrinks a little.
pub const PRINT_SCALE: f64 = 0.994;

/// Eight stands: (azimuth, elevation, distance, aim height, roll, turned).
fn stands(middle: [f64; 2], list: &[(f64, f64, f64, f64, f64, bool); 8]) -> Vec<Stand> {
    list.iter()
        .map(
            |&(azimuth_deg, elevation_deg, distance_mm, aim_mm, roll_deg, turned)| Stand {
                azimuth_deg,
                elevation_deg,
                distance_mm,
                aim: [middle[0], middle[1], aim_mm],
                roll_deg,
                turned,
            },
        )
        .collect()
}

fn label(code: &str, side: &'static str, date: &str) -> LabelText {
    let lines = [
        date,
        "Saltmarsh Lane Clinic",
        "01632 960 117",
        "Hinged ankle-foot orthosis",
        "Revision 1",
    ];
    LabelText {
        code: code.into(),
        side,
        lines: lines.map(String::from).to_vec(),
    }
}

/// The left leg, a clean cast; the right leg, squeezed when it was taken off.
#[must_use]
pub fn patients() -> [Patient; 2] {
    let left = Patient {
        side: "left",
        shell: ShellSpec {
            right: false,
            scale: V3::new(1.0, 1.0, 1.0),
            heel_deg: -3.2,
            forefoot_deg: 3.4,
            shank_deg: 4.0,
            squeeze_mm: 0.0,
            wall_mm: 5.0,
            seed: 11.3,
        },
        stands_at: ([80.0, 147.0], 3.0),
        label: label("7R3K-M2XD-9TQ4-7", "left", "12 May 2026"),
        label_turn_deg: -2.0,
        stands: stands(
            [200.0, 148.0],
            &[
                (24.0, 29.0, 650.0, 62.0, 1.5, false),
                (-19.0, 36.0, 640.0, 60.0, -2.0, false),
                (47.0, 57.0, 620.0, 60.0, 1.0, true),
                (-47.0, 37.0, 650.0, 62.0, 2.0, false),
                (5.0, 60.0, 640.0, 50.0, -1.0, false),
                (60.0, 41.0, 650.0, 60.0, -1.5, false),
                (-58.0, 47.0, 640.0, 55.0, 1.0, false),
                (158.0, 38.0, 660.0, 75.0, 1.0, false),
            ],
        ),
        f_px: 3080.0,
        camera: ("Tern Optical", "Slate 12", 4.25, 26),
        window: V3::new(0.30, 0.62, 0.72).normalize().into(),
        missed: None,
        taken: "2026:05:12 10",
    };
    let right = Patient {
        side: "right",
        shell: ShellSpec {
            right: true,
            scale: V3::new(1.07, 1.05, 1.04),
            heel_deg: 2.0,
            forefoot_deg: 0.8,
            shank_deg: 5.0,
            squeeze_mm: 8.2,
            wall_mm: 5.0,
            seed: 47.9,
        },
        stands_at: ([72.0, 150.0], -4.0),
        label: label("W4H8-0CZN-5PV6-S", "right", "3 June 2026"),
        label_turn_deg: 3.0,
        stands: stands(
            [200.0, 148.0],
            &[
                (-23.0, 29.0, 680.0, 66.0, -1.5, false),
                (13.0, 33.0, 670.0, 62.0, 1.0, false),
                (-49.0, 56.0, 640.0, 60.0, 0.5, true),
                (44.0, 36.0, 670.0, 66.0, -2.0, false),
                (-5.0, 60.0, 660.0, 52.0, 2.0, false),
                (-62.0, 42.0, 670.0, 62.0, 1.0, false),
                (56.0, 48.0, 660.0, 58.0, -0.5, false),
                (-155.0, 40.0, 680.0, 80.0, -1.0, false),
            ],
        ),
        f_px: 3010.0,
        camera: ("Tern Optical", "Slate 12", 4.25, 26),
        window: V3::new(-0.25, -0.66, 0.70).normalize().into(),
        missed: Some(Missed {
            mark: "mtp-1",
            photo: 4,
            off_px: [20.0, -15.0],
        }),
        taken: "2026:06:03 14",
    };
    [left, right]
}
