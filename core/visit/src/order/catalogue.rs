//! Every field of an order by its path: its name, its kind, its value as printed. Screens jump to
//! a field by its path, rules name it, paper prints it.

use super::words::{
    ArchFill, AssistLevel, BenchAngle, CastAfterwards, FootplateEnd, ForefootCorrection,
    ForefootUnder, HingeDatum, HingeLineKind, HingeSides, MotionKind, RearfootPost, ShoeClosure,
    ShoeSent, ShoeWedge, Skive, StopKind, TrialFit,
};
use super::{Because, Prescription, Revision};
use crate::format;
use crate::words::{Lang, Text};
use serde_json::Value;

/// What a field holds.
#[derive(Debug, Clone, Copy)]
pub enum FieldKind {
    /// A number in this unit.
    Number(&'static str),
    /// One word: token and labels of each.
    Word(fn() -> Vec<(String, Text)>),
    /// Free text.
    Text,
    /// Yes or no.
    Flag,
    /// A count.
    Count,
    /// A date.
    Date,
    /// A list of pads, straps or spots.
    List,
}

/// One field of an order.
#[derive(Debug, Clone, Copy)]
pub struct Field {
    /// Path, e.g. `motion.dorsiflexion.kind`.
    pub path: &'static str,
    /// What it holds.
    pub kind: FieldKind,
    en: &'static str,
    de: &'static str,
}

impl Field {
    /// Its name on screen and paper.
    #[must_use]
    pub fn label(&self, lang: Lang) -> &'static str {
        match lang {
            Lang::En => self.en,
            Lang::De => self.de,
        }
    }
}

macro_rules! word {
    ($name:ident) => {
        FieldKind::Word(|| {
            $name::ALL
                .iter()
                .map(|w| {
                    (
                        w.token().to_owned(),
                        Text::new(w.label(Lang::En), w.label(Lang::De)),
                    )
                })
                .collect()
        })
    };
}

const MM: FieldKind = FieldKind::Number("mm");
const DEG: FieldKind = FieldKind::Number("deg");

macro_rules! fields {
    ($($path:literal, $kind:expr, $en:literal, $de:literal;)+) => {
        /// Every field, in the order they are printed.
        pub const FIELDS: &[Field] =
            &[$(Field { path: $path, kind: $kind, en: $en, de: $de }),+];
    };
}

fields! {
    "identity.quantity", FieldKind::Count, "Quantity", "Anzahl";
    "identity.clinic_reference", FieldKind::Text, "Clinic reference", "Zeichen der Praxis";
    "identity.purchase_number", FieldKind::Text, "Purchase number", "Bestellnummer";
    "identity.lab", FieldKind::Text, "Lab", "Werkstatt";
    "identity.contact_hours", FieldKind::Text, "Contact hours", "Erreichbar";
    "identity.package", FieldKind::Count, "Package", "Paket";
    "identity.packages", FieldKind::Count, "of packages", "von Paketen";
    "identity.due", FieldKind::Date, "Needed by", "Benötigt bis";
    "identity.rush", FieldKind::Flag, "Rush", "Eilig";
    "identity.cast_afterwards", word!(CastAfterwards), "The cast afterwards", "Abdruck danach";
    "identity.trial_fit", word!(TrialFit), "Trial fit", "Anprobe";
    "motion.plantarflexion.kind", word!(MotionKind), "Plantarflexion", "Plantarflexion";
    "motion.plantarflexion.stop_deg", DEG, "Plantarflexion stop at", "Plantarflexion Anschlag bei";
    "motion.plantarflexion.stop", word!(StopKind), "Plantarflexion stop", "Anschlag Plantarflexion";
    "motion.plantarflexion.assist", word!(AssistLevel), "Plantarflexion assist", "Unterstützung Plantarflexion";
    "motion.dorsiflexion.kind", word!(MotionKind), "Dorsiflexion", "Dorsalextension";
    "motion.dorsiflexion.stop_deg", DEG, "Dorsiflexion stop at", "Dorsalextension Anschlag bei";
    "motion.dorsiflexion.stop", word!(StopKind), "Dorsiflexion stop", "Anschlag Dorsalextension";
    "motion.dorsiflexion.assist", word!(AssistLevel), "Dorsiflexion assist", "Unterstützung Dorsalextension";
    "motion.hinge_sides", word!(HingeSides), "Hinge on", "Gelenk";
    "motion.hinge", FieldKind::Text, "Hinge", "Gelenktyp";
    "motion.hinge_size", FieldKind::Text, "Hinge size", "Gelenkgröße";
    "motion.hinge_rated_mass_kg", FieldKind::Number("kg"), "Hinge rated for", "Gelenk zugelassen bis";
    "motion.bench_angle", word!(BenchAngle), "Ankle angle on the bench", "Knöchelwinkel im Aufbau";
    "motion.bench_angle_deg", DEG, "Bench angle", "Aufbauwinkel";
    "motion.heel_lift_mm", MM, "Heel lift", "Fersenerhöhung";
    "motion.hinge_line.kind", word!(HingeLineKind), "Hinge line", "Gelenklinie";
    "motion.hinge_line.external_rotation_deg", DEG, "Hinge line turned outward", "Gelenklinie nach außen gedreht";
    "motion.hinge_line.tilt_deg", DEG, "Hinge line, lateral end lower", "Gelenklinie, laterales Ende tiefer";
    "motion.hinge_line.datum", word!(HingeDatum), "Hinge offsets count", "Gelenkversatz gezählt";
    "motion.hinge_line.medial_down_mm", MM, "Medial hinge below it", "Mediales Gelenk darunter";
    "motion.hinge_line.medial_forward_mm", MM, "Medial hinge in front of it", "Mediales Gelenk davor";
    "motion.hinge_line.lateral_down_mm", MM, "Lateral hinge below it", "Laterales Gelenk darunter";
    "motion.hinge_line.lateral_forward_mm", MM, "Lateral hinge in front of it", "Laterales Gelenk davor";
    "motion.hinge_line.medial_height_mm", MM, "Medial hinge height", "Höhe mediales Gelenk";
    "motion.hinge_line.lateral_height_mm", MM, "Lateral hinge height", "Höhe laterales Gelenk";
    "motion.hinge_line.medial_from_heel_mm", MM, "Medial hinge from the heel", "Mediales Gelenk ab Ferse";
    "motion.hinge_line.lateral_from_heel_mm", MM, "Lateral hinge from the heel", "Laterales Gelenk ab Ferse";
    "shell.band_height_mm", MM, "Calf band's upper edge from the floor", "Oberkante Wadenband ab Boden";
    "shell.uprights", FieldKind::Text, "Uprights", "Schienen";
    "shell.plastic", FieldKind::Text, "Plastic", "Kunststoff";
    "shell.thickness_mm", MM, "Thickness", "Dicke";
    "shell.footplate_end", word!(FootplateEnd), "Footplate ends", "Fußplatte endet";
    "shell.toe_spring_mm", MM, "Toe spring", "Spitzensprengung";
    "shell.medial_flange_top_mm", MM, "Medial flange top from the floor", "Oberkante mediale Wange ab Boden";
    "shell.lateral_flange_top_mm", MM, "Lateral flange top from the floor", "Oberkante laterale Wange ab Boden";
    "shell.lateral_extension", FieldKind::Flag, "Lateral extension of the foot shell", "Laterale Verlängerung der Fußschale";
    "shell.heel_cup_depth_mm", MM, "Heel cup depth", "Tiefe der Fersenschale";
    "shell.arch_fill", word!(ArchFill), "Arch fill", "Auffüllen des Gewölbes";
    "shell.medial_malleolus_build_up_mm", MM, "Build-up, medial malleolus", "Gipsauftrag Innenknöchel";
    "shell.lateral_malleolus_build_up_mm", MM, "Build-up, lateral malleolus", "Gipsauftrag Außenknöchel";
    "shell.pads", FieldKind::List, "Pads", "Polster";
    "shell.reliefs", FieldKind::List, "Places to relieve", "Zu entlastende Stellen";
    "shell.full_padding", FieldKind::Flag, "Padded throughout", "Ganz gepolstert";
    "shell.growth_allowance_mm", MM, "Growth allowance", "Wachstumszugabe";
    "correction.rearfoot_post", word!(RearfootPost), "Rearfoot post", "Rückfußkeil";
    "correction.rearfoot_post_deg", DEG, "Rearfoot post angle", "Winkel des Rückfußkeils";
    "correction.rearfoot_post_material", FieldKind::Text, "Rearfoot post material", "Material des Rückfußkeils";
    "correction.rearfoot_post_hardness_shore_a", FieldKind::Number("Shore A"), "Rearfoot post hardness", "Härte des Rückfußkeils";
    "correction.forefoot", word!(ForefootCorrection), "Forefoot", "Vorfuß";
    "correction.forefoot_under", word!(ForefootUnder), "Forefoot, under", "Vorfuß, unter";
    "correction.forefoot_mm", MM, "Forefoot height", "Vorfußhöhe";
    "correction.forefoot_deg", DEG, "Forefoot angle", "Vorfußwinkel";
    "correction.forefoot_width_mm", MM, "Width both refer to", "Bezugsbreite";
    "correction.skive", word!(Skive), "Heel skive", "Fersenabschrägung";
    "correction.skive_mm", MM, "Skive depth", "Tiefe der Abschrägung";
    "correction.skive_deg", DEG, "Skive angle", "Winkel der Abschrägung";
    "correction.shoe_wedge", word!(ShoeWedge), "Wedge at the shoe", "Keil am Schuh";
    "correction.shoe_wedge_mm", MM, "Shoe wedge height", "Höhe des Schuhkeils";
    "closure.straps", FieldKind::List, "Straps", "Gurte";
    "closure.adjustable", FieldKind::Flag, "Closure adjustable over the day", "Verschluss tagsüber verstellbar";
    "closure.lining", FieldKind::Text, "Lining", "Futter";
    "closure.cover", FieldKind::Text, "Cover", "Bezug";
    "closure.colour", FieldKind::Text, "Colour", "Farbe";
    "footwear.heel_to_ball_drop_mm", MM, "Shoe, heel to ball drop", "Schuh, Fersensprengung";
    "footwear.internal_width_mm", MM, "Shoe, internal width", "Schuh, Innenbreite";
    "footwear.internal_depth_mm", MM, "Shoe, internal depth", "Schuh, Innenhöhe";
    "footwear.closure", word!(ShoeClosure), "Shoe closure", "Schuhverschluss";
    "footwear.removable_insole", FieldKind::Flag, "Insole can be taken out", "Einlegesohle herausnehmbar";
    "footwear.sent", word!(ShoeSent), "Sent with the cast", "Dem Abdruck beigelegt";
    "footwear.raise_other_shoe_mm", MM, "Raise on the other shoe", "Erhöhung am anderen Schuh";
    "footwear.trim_to_shoe", FieldKind::Flag, "Trim to the shoe", "Auf den Schuh zuschneiden";
    "note", FieldKind::Text, "Note to the bench", "Hinweis an die Werkstatt";
}

/// The field of a path.
#[must_use]
pub fn field(path: &str) -> Option<&'static Field> {
    FIELDS.iter().find(|f| f.path == path)
}

/// One filled field as printed.
#[derive(Debug, Clone)]
pub struct Line<'a> {
    /// The field.
    pub field: &'static Field,
    /// Its value in words.
    pub value: String,
    /// A value that was typed and can't be read or stands outside its limits: what to say of it.
    pub problem: Option<String>,
    /// Why it holds that value, if filled.
    pub because: Option<&'a Because>,
}

impl Revision {
    /// Every filled field, in printing order.
    #[must_use]
    pub fn lines(&self, lang: Lang) -> Vec<Line<'_>> {
        let json = json_of(&self.prescription);
        let line = |field: &'static Field| {
            let (value, problem) = printed(field, at(&json, field.path)?, lang)?;
            Some(Line {
                field,
                value,
                problem,
                because: self.because.get(field.path),
            })
        };
        FIELDS.iter().filter_map(line).collect()
    }
}

/// The prescription as JSON; an order always has one.
#[must_use]
pub fn json_of(prescription: &Prescription) -> Value {
    serde_json::to_value(prescription).unwrap_or(Value::Null)
}

/// The value at a path; `None` where the field is empty.
#[must_use]
pub fn at<'a>(json: &'a Value, path: &str) -> Option<&'a Value> {
    let value = path
        .split('.')
        .try_fold(json, |value, key| value.get(key))?;
    let empty = match value {
        Value::Null => true,
        Value::String(s) => s.is_empty(),
        Value::Array(a) => a.is_empty(),
        _ => false,
    };
    (!empty).then_some(value)
}

/// The usable number in an entry's JSON.
#[must_use]
pub fn usable_number(value: &Value) -> Option<f64> {
    serde_json::from_value::<crate::Entry>(value.clone())
        .ok()?
        .usable()
}

fn printed(field: &Field, value: &Value, lang: Lang) -> Option<(String, Option<String>)> {
    let yes_no = |yes: bool| match (yes, lang) {
        (true, Lang::En) => "yes",
        (false, Lang::En) => "no",
        (true, Lang::De) => "ja",
        (false, Lang::De) => "nein",
    };
    let text = match field.kind {
        FieldKind::Number(unit) => {
            let entry: crate::Entry = serde_json::from_value(value.clone()).ok()?;
            let problem = entry.problem.as_ref().map(|p| p.sentence(lang));
            let shown = match entry.value {
                Some(v) => {
                    let decimals = usize::from((v - v.round()).abs() > 0.05);
                    format!(
                        "{}{}",
                        format::number(v, decimals, lang),
                        format::unit(unit)
                    )
                }
                None => format!("“{}”", entry.typed),
            };
            return Some((shown, problem));
        }
        FieldKind::Word(list) => {
            let token = value.as_str()?;
            let known = list().into_iter().find(|(t, _)| t == token);
            known.map_or_else(|| token.to_owned(), |(_, label)| label.get(lang).to_owned())
        }
        FieldKind::Flag => yes_no(value.as_bool()?).to_owned(),
        FieldKind::Text | FieldKind::Date => value.as_str()?.to_owned(),
        FieldKind::Count => value.as_u64()?.to_string(),
        FieldKind::List => super::lists::printed(field.path, value, lang)?,
    };
    Some((text, None))
}

impl Prescription {
    /// Sets one field by its path from JSON: a number, a word, a text, yes or no.
    ///
    /// # Errors
    /// The path is no field, or the value is not of its kind.
    pub fn set(&mut self, path: &str, value: Value) -> Result<(), SetError> {
        let unknown = || SetError::NoField {
            path: path.to_owned(),
        };
        field(path).ok_or_else(unknown)?;
        let mut json = json_of(self);
        let mut place = Some(&mut json);
        for key in path.split('.') {
            place = place.and_then(|json| json.get_mut(key));
        }
        *place.ok_or_else(unknown)? = value;
        *self = serde_json::from_value(json).map_err(|e| SetError::WrongKind {
            path: path.to_owned(),
            problem: e.to_string(),
        })?;
        Ok(())
    }
}

/// Why a field was not set.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SetError {
    /// No such field.
    #[error("an order has no field {path}; see the list of fields")]
    NoField {
        /// The path.
        path: String,
    },
    /// Not of the field's kind.
    #[error("{path} does not take this value: {problem}")]
    WrongKind {
        /// The path.
        path: String,
        /// What is wrong.
        problem: String,
    },
}
