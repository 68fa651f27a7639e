//! Visits invented by a fixed recipe.

use serde_json::{Value, json};

const FIRST: [&str; 24] = [
    "Anna", "Bernd", "Carla", "Dieter", "Elif", "Fritz", "Greta", "Hanno", "Ida", "Jonas", "Karin",
    "Levin", "Mira", "Nils", "Olga", "Paul", "Quentin", "Rosa", "Sven", "Tilda", "Ulf", "Vera",
    "Wim", "Zoe",
];
const BEGIN: [&str; 20] = [
    "Acker", "Berg", "Busch", "Dorn", "Eichen", "Feld", "Gruen", "Hagen", "Immen", "Kirch",
    "Linden", "Moor", "Nuss", "Ober", "Quell", "Rosen", "Stein", "Tannen", "Wald", "Zwetsch",
];
const MIDDLE: [&str; 12] = [
    "", "bach", "brunn", "garten", "graben", "halde", "heim", "hof", "kamp", "ried", "stett",
    "wies",
];
const END: [&str; 10] = [
    "er", "mann", "ner", "eck", "le", "inger", "mueller", "schmidt", "bauer", "weber",
];
const NOTES: [&str; 16] = [
    "relieve",
    "navicular",
    "swelling",
    "evening",
    "shoe",
    "narrow",
    "blister",
    "strap",
    "stairs",
    "stick",
    "catches",
    "carpet",
    "numb",
    "great",
    "toe",
    "night",
];
const SYMBOLS: &[u8] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// A small generator with a fixed seed, so that every run has the same visits.
pub struct Dice(pub u64);

impl Dice {
    pub fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % sides as u64) as usize
    }
    fn of<'a>(&mut self, words: &[&'a str]) -> &'a str {
        words[self.roll(words.len())]
    }
}

pub fn invented(number: usize, dice: &mut Dice) -> Value {
    let name = format!(
        "{} {}{}{}",
        dice.of(&FIRST),
        dice.of(&BEGIN),
        dice.of(&MIDDLE),
        dice.of(&END)
    );
    let code: String = (0..13).map(|_| SYMBOLS[dice.roll(32)] as char).collect();
    let side = ["left", "right"][dice.roll(2)];
    let readings: Vec<Value> = ["ankle_dorsiflexion_knee_straight_deg", "ankle_dorsiflexion_knee_bent_deg", "ankle_plantarflexion_deg",
        "rearfoot_inversion_deg", "rearfoot_eversion_deg", "resting_heel_deg", "forefoot_to_rearfoot_deg", "knee_extension_deg",
        "dorsiflexor_strength_mrc", "plantarflexor_strength_mrc", "quadriceps_strength_mrc", "heel_rise_count"]
        .iter()
        .enumerate()
        .map(|(i, kind)| json!({"id": format!("r{i}"), "kind": kind, "side": side, "method": "goniometer", "by": "Ada Invented",
            "repeats": [dice.roll(30) as f64, dice.roll(30) as f64], "at": "2026-03-05T09:30:00+01:00"}))
        .collect();
    let lab = dice.of(&["Gipswerk Musterstadt", "Nordlab", "Werkstatt am Ried"]);
    let note: Vec<&str> = (0..8).map(|_| dice.of(&NOTES)).collect();
    let state = [
        "draft",
        "signed",
        "handed_over",
        "received",
        "fitted",
        "reviewed",
        "closed",
    ][dice.roll(7)];
    json!({
        "schema": 1, "id": format!("v{number}"), "at": format!("20{:02}-{:02}-{:02}T09:30:00+01:00", 10 + dice.roll(16), 1 + dice.roll(12), 1 + dice.roll(28)),
        "clinician": "Ada Invented", "place": "clinic", "sides": [side], "reason": "trips when tired",
        "person": {"code": format!("P{number:06}"), "name": name, "born": format!("19{:02}-{:02}-{:02}", 20 + dice.roll(79), 1 + dice.roll(12), 1 + dice.roll(28)), "telephone": format!("0{}", 30_000_000 + dice.roll(9_999_999)),
            "proxy": "", "conditions": [], "consents": [{"covers": "photographs", "given": true, "at": "2026-03-05T09:30:00+01:00", "by": ""}]},
        "readings": readings,
        "legs": [{"side": side, "values": {"bimalleolar_breadth_mm": [70.0 + dice.roll(9) as f64], "heel_breadth_mm": [60.0], "ankle_girth_mm": [240.0 + dice.roll(40) as f64]}, "sock_worn": false, "by": "Ada Invented"}],
        "casts": [{"id": "c1", "side": side, "code": code, "record": {"position": "sitting", "knee_flexion_deg": 90.0, "water_cel": 24.0, "slab_pattern": "three slabs", "material": "plaster of Paris"},
            "inspection": {"rock_mm": 1.0, "crack": "none", "marks_missing": []}}],
        "orders": [{"id": "o1", "side": side, "cast": "c1", "history": [{"to": state, "at": "2026-03-05T10:00:00+01:00", "by": "Ada Invented", "revision": 1}],
            "revisions": [{"number": 1, "reason": "", "because": {}, "overrides": {}, "signature": null, "prescription": {"note": note.join(" "),
                "identity": {"lab": lab, "quantity": 1, "clinic_reference": format!("R{number}")},
                "motion": {"plantarflexion": {"kind": "stopped", "stop_deg": 5.0}, "dorsiflexion": {"kind": "free"}, "hinge": "hinge A", "hinge_size": "M"},
                "shell": {"plastic": "PP", "thickness_mm": 4.0, "band_height_mm": 300.0}, "closure": {"straps": [{"place": "calf", "hold": "ring"}]}}}]}],
        "follow_up": [], "deferred": null, "previous_visit": null
    })
}
