//! Writes every document with invented data into a folder, to be looked at.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use chrono::NaiveDate;
use nalgebra::DMatrix;
use plinthside_measure::cast::{
    CastPoints, MeasuredPoint, Results, Settings, Source, Wall, results,
};
use plinthside_measure::leg::{Leg, Readings};
use plinthside_measure::marks::{Side, Surface};
use plinthside_paper::*;
use plinthside_visit::Clinic;
use plinthside_visit::verdict::{Evidence, Tolerances, Verdict, verdict};
use std::path::Path;

fn main() {
    let dir = std::env::args().nth(1).expect("folder");
    let dir = Path::new(&dir);
    std::fs::create_dir_all(dir).unwrap();
    let date = NaiveDate::from_ymd_opt(2026, 11, 25).unwrap();
    let code = CastCode::from_bits(0x0123_4567_89AB_CDE3)
        .or_else(|| CastCode::from_bits(77))
        .unwrap();
    for size in LabelSize::ALL {
        for (side, long) in [(Side::Left, false), (Side::Right, true)] {
            let data = Label {
                code,
                side,
                revision: if long { 12 } else { 1 },
                device: if long {
                    "Hinged ankle-foot orthosis with lateral extension of the foot shell and full padding".into()
                } else {
                    "Hinged ankle-foot orthosis".into()
                },
                hinge: if long {
                    "Dorsiflexion free; plantarflexion stopped at 0°, adjustable; hinge on both sides, level with 10° external rotation".into()
                } else {
                    "Dorsiflexion free, plantarflexion stopped at 0°".into()
                },
                date,
                clinic: if long {
                    "Harbourside and Upper Valley Foot and Ankle Clinic".into()
                } else {
                    "Weir Lane Foot Clinic".into()
                },
                telephone: "01632 960 114".into(),
                package: long.then_some((1, 2)),
                name: long.then(|| "Mr Bartholomew Featherstonehaugh-Cholmondeley".into()),
            };
            for printer in [PrinterDots::DPI_203, PrinterDots::DPI_300] {
                let t = std::time::Instant::now();
                let doc = label(&data, size, printer).unwrap();
                let png = doc.png(0, printer.dpi).unwrap();
                println!(
                    "{size} {side} {:.0} dpi: {:.1} ms",
                    printer.dpi,
                    t.elapsed().as_secs_f64() * 1e3
                );
                std::fs::write(
                    dir.join(format!("label-{size}-{side}-{:.0}.png", printer.dpi)),
                    png,
                )
                .unwrap();
                std::fs::write(
                    dir.join(format!("label-{size}-{side}.pdf")),
                    doc.pdf().unwrap(),
                )
                .unwrap();
            }
        }
    }
    let codes: Vec<_> = (0..33).map(|_| CastCode::mint().unwrap()).collect();
    for paper in [Paper::A4, Paper::Letter] {
        let t = std::time::Instant::now();
        let doc = labels(
            &codes,
            1,
            "Weir Lane Foot Clinic",
            "01632 960 114",
            paper,
            date,
        )
        .unwrap();
        println!("sheet {paper} {:.0} ms", t.elapsed().as_secs_f64() * 1e3);
        std::fs::write(dir.join(format!("labels-{paper}.pdf")), doc.pdf().unwrap()).unwrap();
    }
    for (name, paper) in [
        ("a4", plinthside_measure::mat::sheet::Paper::A4),
        ("a3", plinthside_measure::mat::sheet::Paper::A3),
        ("letter", plinthside_measure::mat::sheet::Paper::Letter),
        ("two-a4", plinthside_measure::mat::sheet::Paper::TwoA4),
    ] {
        let doc = mat(&paper.layout(), date).unwrap();
        std::fs::write(dir.join(format!("mat-{name}.pdf")), doc.pdf().unwrap()).unwrap();
    }

    for side in [Side::Left, Side::Right] {
        let results = worked_example(side);
        let verdict = judged(&results);
        let order_data = an_order(side);
        let outline: Vec<[f64; 3]> = (0..24)
            .map(|i| f64::from(i) * std::f64::consts::TAU / 24.0)
            .map(|a| {
                [
                    45.0 + 14.0 * a.cos(),
                    -35.0 * side.sign(),
                    86.0 + 18.0 * a.sin(),
                ]
            })
            .collect();
        for paper in [Paper::A4, Paper::Letter] {
            let sheet = Bench {
                results: &results,
                outlines: &[Outline {
                    mark: "malleolus-medial".into(),
                    cast_mm: outline.clone(),
                }],
                verdict: Some(&verdict),
                cautions: &["Skin insensate at two sites: pad fully, check daily.".into()],
                code: Some(code),
                revision: 1,
                ordered: "Hinged ankle-foot orthosis; plantarflexion stopped at 0°, dorsiflexion free; hinge line through the patient’s own marks",
                clinic: "Weir Lane Foot Clinic",
                telephone: "01632 960 114",
                date,
            };
            let t = std::time::Instant::now();
            let doc = bench(&sheet, paper).unwrap();
            std::fs::write(
                dir.join(format!("bench-{side}-{paper}.pdf")),
                doc.pdf().unwrap(),
            )
            .unwrap();
            println!("bench {:.0} ms", t.elapsed().as_secs_f64() * 1e3);
            let sheet = OrderSheet {
                clinic: &a_clinic(),
                order: &order_data,
                revision: &order_data.revisions[0],
                code: Some(code),
                person_code: "P-4471",
                name: (side == Side::Right)
                    .then_some("Mr Bartholomew Featherstonehaugh-Cholmondeley"),
                body_mass_kg: Some(78.0),
                cast: None,
                without_photographs: side == Side::Right,
                cautions: &[
                    "Dorsiflexion under 5° and free: a stop is needed late in stance.".into(),
                ],
                date,
            };
            let doc = order(&sheet, paper).unwrap();
            std::fs::write(
                dir.join(format!("order-{side}-{paper}.pdf")),
                doc.pdf().unwrap(),
            )
            .unwrap();
        }
    }
    let clinic = a_clinic();
    let packed = [Side::Left, Side::Right].map(|side| PackedCast {
        code,
        side,
        revision: 1,
        device: "Hinged ankle-foot orthosis".into(),
    });
    let packing = Packing {
        clinic: &clinic,
        lab: &clinic.labs[0],
        casts: &packed,
        contents: &[
            "Order, 2 pages".into(),
            "Bench sheet, 4 pages".into(),
            "Tracing of the insole, right".into(),
        ],
        package: (1, 2),
        packed: "dry, in paper",
        packed_by: "D. Penrose",
        date,
    };
    std::fs::write(
        dir.join("packing.pdf"),
        packing_list(&packing, Paper::A4).unwrap().pdf().unwrap(),
    )
    .unwrap();
}

/// The worked example of the measurement's description, mirrored for a right foot.
fn worked_example(side: Side) -> Results {
    let marks = [
        ("heel-lower", [0.0, 0.0, 14.0]),
        ("heel-upper", [-2.99, 2.52, 62.0]),
        ("malleolus-medial", [44.82, -35.23, 86.0]),
        ("malleolus-lateral", [36.18, 33.81, 73.0]),
        ("mtp-1", [147.80, -37.77, 20.0]),
        ("mtp-5", [136.21, 40.29, 11.0]),
        ("calf-lower", [10.01, 0.95, 120.0]),
        ("calf-upper", [12.02, 3.94, 170.0]),
    ];
    let points: Vec<_> = marks
        .iter()
        .map(|(mark, [x, y, z])| MeasuredPoint {
            mark: (*mark).into(),
            mm: [*x, y * side.sign(), *z],
            surface: Surface::Inside,
            views: 4,
            worst_residual_px: Some(0.4),
        })
        .collect();
    let covariance = DMatrix::identity(24, 24) * 0.04;
    let wall = Some(Wall {
        mm: 5.0,
        sd_mm: 0.5,
    });
    let cast = CastPoints::new(points, covariance, 60.0, 0.002, Source::Photographs, wall).unwrap();
    let leg = Leg {
        bimalleolar_breadth_mm: Readings(vec![74.0, 75.0, 74.5]),
        heel_to_first_mtp_mm: Readings(vec![145.0, 146.0]),
        ..Leg::default()
    };
    results(&cast, side, &Settings::default(), &leg).unwrap()
}

fn judged(results: &Results) -> Verdict {
    let evidence = Evidence {
        side: results.side,
        results: Some(results),
        record: None,
        inspection: None,
        leg: None,
        readings: &[],
    };
    verdict(&evidence, &Tolerances::shipped().unwrap())
}

fn a_clinic() -> Clinic {
    Clinic {
        name: "Weir Lane Foot Clinic".into(),
        address: vec!["3 Weir Lane".into(), "Otterford".into()],
        telephone: "01632 960 114".into(),
        email: "casts@weirlane.example".into(),
        contact_hours: "Mon-Thu 8:30-16:00".into(),
        labs: vec![plinthside_visit::person::Lab {
            name: "Tarn Orthotics Bench".into(),
            address: vec!["Unit 4, Mill Road".into(), "Otterford".into()],
            telephone: "01632 960 207".into(),
            ..Default::default()
        }],
        ..Clinic::default()
    }
}

fn an_order(side: Side) -> plinthside_visit::Order {
    serde_json::from_value(serde_json::json!({
        "id": "o1", "side": side,
        "revisions": [{
            "number": 1,
            "prescription": {
                "identity": {"quantity": 1, "due": "2026-12-18", "rush": false, "packages": 2, "package": 1, "lab": "Tarn Orthotics Bench", "cast_afterwards": "return", "trial_fit": "before_finish", "purchase_number": "PO-2291"},
                "motion": {
                    "plantarflexion": {"kind": "stopped", "stop_deg": 0, "stop": "adjustable"},
                    "dorsiflexion": {"kind": "free"},
                    "hinge_sides": "both", "hinge": "Steel overlap hinge", "hinge_size": "adult", "hinge_rated_mass_kg": 100,
                    "bench_angle": "as_cast",
                    "hinge_line": {"kind": "own_marks", "datum": "apex", "medial_height_mm": 86, "lateral_height_mm": 73, "medial_from_heel_mm": 45, "lateral_from_heel_mm": 36}
                },
                "shell": {"band_height_mm": 310, "plastic": "polypropylene", "thickness_mm": 4, "footplate_end": "sulcus", "arch_fill": "standard",
                    "pads": [{"place": "medial_malleolus", "thickness_mm": 3, "material": "closed-cell foam"}, {"place": "navicular", "thickness_mm": 3}],
                    "reliefs": [{"place": "fifth_base", "note": "tender to touch"}], "growth_allowance_mm": 0},
                "correction": {"rearfoot_post": "vertical", "forefoot": "balance", "forefoot_under": "first", "forefoot_mm": 4.9, "forefoot_deg": 3.6, "forefoot_width_mm": 79, "skive": "none"},
                "closure": {"straps": [{"place": "calf", "side": "lateral", "hold": "ring", "long_tails": true}, {"place": "instep", "side": "medial", "hold": "loop"}], "lining": "perforated foam", "colour": "slate"},
                "footwear": {"heel_to_ball_drop_mm": 10, "closure": "laces", "removable_insole": true, "sent": "tracing"},
                "note": "Patient puts it on alone with the left hand only; please keep strap ends long. #set text(red) *not markup* <tag> $x$"
            },
            "because": {
                "motion.hinge_line.medial_height_mm": {"from": "measured", "because": "measured on the cast: 86 ± 4 mm", "confirmed": true},
                "correction.forefoot_mm": {"from": "measured", "because": "because the cast measures 4.9 mm over 79 mm", "source": "w·sin α", "confirmed": true}
            },
            "overrides": {"assist-clonus": {"reason": "tone settles with the knee bent; reviewed in two weeks", "by": "D. Penrose", "at": "2026-11-25T10:20:00+00:00"}},
            "signature": if side == Side::Left { serde_json::json!({"prescriber": {"name": "D. Penrose", "profession": "podiatrist", "registration": "XX-00417"}, "at": "2026-11-25T10:24:00+00:00"}) } else { serde_json::Value::Null }
        }]
    }))
    .unwrap()
}
