//! An invented order, who sends and who builds it, for the tests of packages and for the example.

use plinthside_exchange::SecretKey;
use plinthside_visit::order::Signature;
use plinthside_visit::person::{Lab, Prescriber};
use plinthside_visit::words::Extra;
use plinthside_visit::{Clinic, Visit};
use serde_json::json;

/// The lab that has the key.
pub fn bench(key: &SecretKey) -> Lab {
    Lab {
        name: "Bench & Sons".into(),
        public_key: key.public().expect("key"),
        ..Lab::default()
    }
}

/// The clinic that orders.
pub fn clinic() -> Clinic {
    Clinic {
        name: "Invented Clinic".into(),
        telephone: "+00 0000 0000".into(),
        ..Clinic::default()
    }
}

/// A visit with a measured cast and an order of two revisions, neither signed.
pub fn invented() -> Visit {
    let q = |value: f64, unit: &str| json!({"value": value, "unit": unit, "instrument_sd": 0.2, "total_sd": 0.6, "low95": value - 1.2, "high95": value + 1.2});
    serde_json::from_value(json!({
        "schema": 1, "id": "v1", "at": "2026-03-05T09:30:00+01:00", "clinician": "Ada Invented", "sides": ["left"],
        "person": {"code": "P-0417", "name": "Quirin Zwetschgenbaum", "born": "1951-04-02", "body_mass_kg": 81.5, "stature_mm": 1765},
        "legs": [{"side": "left", "values": {"bimalleolar_breadth_mm": [72, 73], "shank_lean_deg": [4]}}],
        "casts": [{"id": "c1", "side": "left", "code": "K7Q2-M9TR-B4HX-C", "measurement": {"results": {
            "side": "left", "source": "photographs", "reference": "hinge_line",
            "side_check": {"outcome": "agrees", "stops": false, "sentences": []},
            "quantities": {"heel_deg": q(-3.25, "deg"), "heel_mark_spacing_mm": q(41.0, "mm")}, "words": {}, "points": [],
            "medial_hinge": null, "lateral_hinge": null, "comparisons": [], "refused": [], "warnings": []}}}],
        "orders": [{"id": "o1", "side": "left", "cast": "c1", "revisions": [
            {"number": 1, "prescription": {}}, {"number": 2, "prescription": {}, "reason": "shoe changed"}]}]
    }))
    .expect("visit")
}

/// Signs the first revisions and drops the others.
pub fn signed(visit: &mut Visit, revisions: usize) {
    let order = &mut visit.orders[0];
    order.revisions.truncate(revisions);
    for (i, revision) in order.revisions.iter_mut().enumerate() {
        for (path, value) in [
            ("identity.quantity", json!(1)),
            ("motion.plantarflexion.stop_deg", json!(0)),
            ("motion.hinge_rated_mass_kg", json!(120)),
            ("shell.thickness_mm", json!(4)),
            ("shell.full_padding", json!(true)),
            ("correction.rearfoot_post_hardness_shore_a", json!(40)),
            (
                "motion.dorsiflexion.stop_deg",
                json!(if i == 0 { 10 } else { 15 }),
            ),
            ("closure.colour", json!("blue")),
        ] {
            revision.prescription.set(path, value).expect(path);
        }
        let prescriber = Prescriber {
            name: "Ada Invented".into(),
            profession: "Orthotist".into(),
            registration: "X-1".into(),
            ..Prescriber::default()
        };
        let at = format!("2026-03-{:02}T10:00:00+01:00", 5 + i)
            .parse()
            .expect("time");
        revision.signature = Some(Signature {
            prescriber,
            at,
            cautions: Vec::new(),
            extra: Extra::new(),
        });
    }
}
