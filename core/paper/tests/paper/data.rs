//! Invented data that tests and the example `look` share.
#![allow(dead_code)]

use chrono::NaiveDate;
use nalgebra::DMatrix;
use plinthside_measure::cast::{
    CastPoints, MeasuredPoint, Results, Settings, Source, Wall, results,
};
use plinthside_measure::leg::{Leg, Readings};
use plinthside_measure::marks::{Side, Surface};
use plinthside_paper::{Bench, CastCode, CouchCard, Label, LeafletSheet, OrderSheet, Outline};
use plinthside_visit::aids::{CheckLists, Help, Timers};
use plinthside_visit::verdict::{Evidence, Tolerances, Verdict, verdict};
use plinthside_visit::{Clinic, Lang};

pub fn date() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 25).unwrap()
}

pub fn a_code() -> CastCode {
    "3FKQ-T4YC-5T82-A".parse().unwrap()
}

pub fn a_label(side: Side) -> Label {
    Label {
        code: a_code(),
        side,
        revision: 1,
        device: "Hinged ankle-foot orthosis".into(),
        hinge: "Dorsiflexion free, plantarflexion stopped at 0°".into(),
        date: date(),
        clinic: "Weir Lane Foot Clinic".into(),
        telephone: "01632 960 114".into(),
        package: None,
        name: None,
    }
}

/// Everything as long as it gets.
pub fn a_long_label(side: Side) -> Label {
    Label {
        revision: 12,
        device: "Hinged ankle-foot orthosis with lateral extension of the foot shell and full padding".into(),
        hinge: "Dorsiflexion free; plantarflexion stopped at 0°, adjustable; hinge on both sides, level with 10° external rotation".into(),
        clinic: "Harbourside and Upper Valley Foot and Ankle Clinic".into(),
        package: Some((1, 2)),
        name: Some("Mr Bartholomew Featherstonehaugh-Cholmondeley".into()),
        ..a_label(side)
    }
}

pub fn an_outline(side: Side) -> Outline {
    let cast_mm = (0..24)
        .map(|i| f64::from(i) * std::f64::consts::TAU / 24.0)
        .map(|a| {
            [
                45.0 + 14.0 * a.cos(),
                -35.0 * side.sign(),
                86.0 + 18.0 * a.sin(),
            ]
        })
        .collect();
    Outline {
        mark: "malleolus-medial".into(),
        cast_mm,
    }
}

pub fn a_bench<'a>(
    results: &'a Results,
    outlines: &'a [Outline],
    verdict: Option<&'a Verdict>,
    cautions: &'a [String],
) -> Bench<'a> {
    Bench {
        results,
        outlines,
        verdict,
        cautions,
        code: Some(a_code()),
        revision: 1,
        ordered: "Hinged ankle-foot orthosis; plantarflexion stopped at 0°, dorsiflexion free; hinge line through the patient’s own marks",
        clinic: "Weir Lane Foot Clinic",
        telephone: "01632 960 114",
        lang: Lang::En,
        date: date(),
    }
}

pub fn an_order_sheet<'a>(
    clinic: &'a Clinic,
    order: &'a plinthside_visit::Order,
    cautions: &'a [String],
) -> OrderSheet<'a> {
    OrderSheet {
        clinic,
        order,
        revision: &order.revisions[0],
        code: Some(a_code()),
        person_code: "P-4471",
        name: None,
        body_mass_kg: Some(78.0),
        cast: None,
        without_photographs: false,
        cautions,
        rules: &[],
        lang: Lang::En,
        date: date(),
    }
}

/// The worked example of the measurement's description, mirrored for a right foot.
pub fn worked_example(side: Side) -> Results {
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

pub fn judged(results: &Results) -> Verdict {
    verdict(
        &Evidence::of_results(results),
        &Tolerances::shipped().unwrap(),
    )
}

pub fn a_clinic() -> Clinic {
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

pub fn an_order(side: Side) -> plinthside_visit::Order {
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

pub fn packed() -> [plinthside_paper::PackedCast; 2] {
    [Side::Left, Side::Right].map(|side| plinthside_paper::PackedCast {
        code: a_code(),
        side,
        revision: 1,
        device: "Hinged ankle-foot orthosis".into(),
    })
}

pub fn contents() -> Vec<String> {
    vec![
        "Order, 1 page".into(),
        "Bench sheet, 4 pages".into(),
        "Tracing of the insole, right".into(),
    ]
}

pub fn a_packing<'a>(
    clinic: &'a Clinic,
    casts: &'a [plinthside_paper::PackedCast],
    contents: &'a [String],
) -> plinthside_paper::Packing<'a> {
    plinthside_paper::Packing {
        clinic,
        lab: &clinic.labs[0],
        casts,
        contents,
        package: (1, 2),
        packed: "dry, in paper",
        lang: Lang::En,
        date: date(),
    }
}

/// A leaflet with everything in it, for a foot that feels little.
pub fn a_leaflet(lang: Lang) -> plinthside_visit::follow_up::Leaflet {
    use plinthside_visit::follow_up::{FollowUp, LeafletFor, LeafletText};
    let clinic = Clinic {
        urgent_telephone: "01632 960 119".into(),
        ..a_clinic()
    };
    let follow_up = FollowUp {
        review_due: NaiveDate::from_ymd_opt(2027, 1, 15),
        ..FollowUp::default()
    };
    let whose = LeafletFor {
        clinic: &clinic,
        side: Side::Left,
        insensate: true,
        follow_up: Some(&follow_up),
    };
    LeafletText::shipped().unwrap().leaflet(whose, lang)
}

pub fn a_leaflet_sheet(text: &plinthside_visit::follow_up::Leaflet) -> LeafletSheet<'_> {
    LeafletSheet {
        leaflet: text,
        side: Side::Left,
        clinic: "Weir Lane Foot Clinic",
        telephone: "01632 960 114",
        date: date(),
    }
}

/// How a cast was taken, everything recorded.
pub fn a_cast_record() -> plinthside_visit::CastRecord {
    serde_json::from_value(serde_json::json!({
        "position": "sitting", "knee_flexion_deg": 85, "rearfoot_held": "neutral_by_palpation",
        "midtarsal": "loaded", "first_ray": "as_found", "foot_to_leg_intended_deg": 0,
        "foot_to_leg_reached_deg": -2.5, "slab_pattern": "two", "extent": "a to b",
        "material": "fast plaster", "cast_by": "D. Penrose", "marked_by": "R. Tindall"
    }))
    .unwrap()
}

/// What a couch card is made of, as shipped.
pub struct CardTexts {
    lists: CheckLists,
    timers: Timers,
    help: Help,
    clinic: Clinic,
}

impl CardTexts {
    pub fn shipped() -> Self {
        Self {
            lists: CheckLists::shipped().unwrap(),
            timers: Timers::shipped().unwrap(),
            help: Help::shipped().unwrap(),
            clinic: a_clinic(),
        }
    }

    pub fn card(&self, lang: Lang) -> CouchCard<'_> {
        CouchCard {
            clinic: &self.clinic,
            lists: &self.lists,
            timers: &self.timers,
            help: &self.help,
            lang,
            date: date(),
        }
    }
}
