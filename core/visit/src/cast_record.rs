//! How the cast was taken, what came out of it, and what was measured on it.

use crate::cast_sources::CastSources;
use crate::entry::Entry;
use crate::person::When;
use crate::verdict::Call;
use crate::words::{Extra, Text, words};
use plinthside_measure::cast::{Clearance, Results, Source as MeasuredBy};
use plinthside_measure::marks::Side;
use serde::{Deserialize, Serialize};

words! {
    /// Position of the patient while the plaster set.
    CastPosition {
        Prone = "prone", "prone", "Bauchlage";
        Supine = "supine", "supine", "Rückenlage";
        Sitting = "sitting", "sitting", "sitzend";
    }
    /// How the rearfoot was held.
    RearfootHeld {
        NeutralByPalpation = "neutral_by_palpation", "neutral by palpation", "neutral nach Palpation";
        AsFound = "as_found", "as found", "wie vorgefunden";
    }
    /// State of the midtarsal joint.
    Midtarsal {
        Loaded = "loaded", "loaded", "belastet";
        Free = "free", "free", "frei";
    }
    /// How the first ray was held.
    FirstRay {
        Plantarflexed = "plantarflexed", "plantarflexed", "plantarflektiert";
        AsFound = "as_found", "as found", "wie vorgefunden";
    }
    /// What lay between skin and plaster.
    SkinCover {
        None = "none", "nothing", "nichts";
        Film = "film", "film", "Folie";
        Stockinette = "stockinette", "stockinette", "Schlauchverband";
    }
    /// What covered or bore the setting plaster.
    Covering {
        None = "none", "nothing", "nichts";
        Pillow = "pillow", "pillow", "Kissen";
        Cover = "cover", "cover", "Decke";
    }
    /// How the cast was packed.
    Packing {
        Dry = "dry", "dry, in paper", "trocken, in Papier";
        SealedWet = "sealed_wet", "sealed while wet", "feucht verschlossen";
    }
    /// A crack in the shell.
    Crack {
        None = "none", "none", "keiner";
        Edge = "edge", "at the edge", "am Rand";
        Through = "through", "through the wall", "durch die Wand";
    }
    /// Where a thumb print or fold lies.
    DentPlace {
        Heel = "heel", "heel", "Ferse";
        Arch = "arch", "arch", "Längsgewölbe";
        Malleolus = "malleolus", "malleolus", "Knöchel";
        Elsewhere = "elsewhere", "elsewhere", "andere Stelle";
    }
}

/// One cast of one leg: how it was taken, what was checked by hand, what was measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cast {
    /// Identifier within the visit.
    pub id: String,
    /// Which leg.
    pub side: Side,
    /// Code pencilled on the plaster and printed on the label, once bound.
    #[serde(default)]
    pub code: Option<String>,
    /// How it was taken.
    #[serde(default)]
    pub record: CastRecord,
    /// What was checked on it by hand.
    #[serde(default)]
    pub inspection: Inspection,
    /// What it is measured from.
    #[serde(default, skip_serializing_if = "CastSources::is_empty")]
    pub sources: CastSources,
    /// What was measured on it.
    #[serde(default)]
    pub measurement: Option<Measurement>,
    /// What the clinician decided to do with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// What the clinician decided after the verdict, which only advises.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// Keep, leave it to the lab, mark again, cast again.
    pub call: Call,
    /// Who decided.
    #[serde(default)]
    pub by: String,
    /// When.
    pub at: When,
    /// Why, where it is not what the verdict says.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub reason: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Decision {
    /// A decision that asks for no reason.
    #[must_use]
    pub fn new(call: Call, by: &str, at: When) -> Self {
        Self {
            call,
            by: by.to_owned(),
            at,
            reason: String::new(),
            extra: Extra::new(),
        }
    }
}

/// How a cast was taken: choices and numbers, nothing presumed.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CastRecord {
    /// Position of the patient.
    pub position: Option<CastPosition>,
    /// Knee flexion, degrees; 0 is straight.
    pub knee_flexion_deg: Option<Entry>,
    /// L or R was written on the skin and can be read in the cast.
    pub side_written: Option<Side>,
    /// How the rearfoot was held.
    pub rearfoot_held: Option<RearfootHeld>,
    /// State of the midtarsal joint.
    pub midtarsal: Option<Midtarsal>,
    /// How the first ray was held.
    pub first_ray: Option<FirstRay>,
    /// Foot-to-leg angle intended, degrees, dorsiflexed positive; 0 is the 90° position.
    pub foot_to_leg_intended_deg: Option<Entry>,
    /// Foot-to-leg angle reached while setting, by goniometer, degrees.
    pub foot_to_leg_reached_deg: Option<Entry>,
    /// Slab pattern in the caster's own words.
    pub slab_pattern: String,
    /// Extent: from where to where.
    pub extent: String,
    /// Layers where slabs overlap.
    pub layers_overlap: Option<Entry>,
    /// Plaster or other material.
    pub material: String,
    /// Water temperature, degrees Celsius.
    pub water_cel: Option<Entry>,
    /// Between skin and plaster.
    pub skin_cover: Option<SkinCover>,
    /// Over or under the setting plaster.
    pub covering: Option<Covering>,
    /// Dip of the first slab.
    pub dipped_at: Option<When>,
    /// Removal from the leg.
    pub removed_at: Option<When>,
    /// First photograph.
    pub photographed_at: Option<When>,
    /// Code of the label that lay beside it in the photographs; empty if none was read.
    pub label_seen: String,
    /// How it was packed.
    pub packing: Option<Packing>,
    /// Who held the foot.
    pub cast_by: String,
    /// Who drew the marks.
    pub marked_by: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

impl CastRecord {
    /// Minutes from removal to the first photograph.
    #[must_use]
    pub fn minutes_to_photographs(&self) -> Option<f64> {
        let (removed, photographed) = (self.removed_at?, self.photographed_at?);
        Some((photographed - removed).num_seconds() as f64 / 60.0)
    }
}

/// What the hand and the eye check on the shell.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Inspection {
    /// Rock at the edge on a flat table, millimetres.
    pub rock_mm: Option<Entry>,
    /// Thinnest wall anywhere, millimetres.
    pub wall_min_mm: Option<Entry>,
    /// Thinnest wall at heel or ankle, millimetres.
    pub wall_heel_ankle_mm: Option<Entry>,
    /// Thickest wall, millimetres.
    pub wall_max_mm: Option<Entry>,
    /// Cracks.
    pub crack: Option<Crack>,
    /// Depth of the deepest thumb print or fold, millimetres.
    pub dent_mm: Option<Entry>,
    /// Where it lies.
    pub dent_place: Option<DentPlace>,
    /// Plaster past the MTP joints, millimetres.
    pub past_mtp_mm: Option<Entry>,
    /// Plaster above the malleolar apex, millimetres.
    pub above_malleolus_mm: Option<Entry>,
    /// Marks that did not transfer to the inside (names of the marks file).
    pub marks_missing: Vec<String>,
    /// The skin's own dots have been wiped off.
    pub skin_wiped: Option<bool>,
    /// Nothing was measured by photograph: ruler, calliper or patient dimensions only.
    pub without_photographs: Option<bool>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Measurement {
    /// The results as this version reads them; the JSON itself is kept as it came.
    ///
    /// # Errors
    /// A newer version wrote what this one can't read.
    pub fn read(&self) -> Result<Option<Results>, serde_json::Error> {
        self.results.as_ref().map(Results::deserialize).transpose()
    }

    /// A measurement with its results.
    ///
    /// # Errors
    /// The results hold a number JSON can't.
    pub fn with_results(results: &Results) -> Result<Self, serde_json::Error> {
        Ok(Self {
            results: Some(serde_json::to_value(results)?),
            ..Self::default()
        })
    }
}

impl Cast {
    /// A cast of one leg, nothing known of it yet.
    #[must_use]
    pub fn new(id: impl Into<String>, side: Side) -> Self {
        Self {
            id: id.into(),
            side,
            code: None,
            record: CastRecord::default(),
            inspection: Inspection::default(),
            sources: CastSources::default(),
            measurement: None,
            decision: None,
            extra: Extra::new(),
        }
    }

    /// How the cast was measured, as the sheet says it.
    #[must_use]
    pub fn how_measured(&self) -> Text {
        let source = self
            .measurement
            .as_ref()
            .and_then(|m| m.read().ok().flatten())
            .map(|r| r.source);
        match source {
            Some(MeasuredBy::Photographs) => Text::new(
                "Measured from photographs on the mat.",
                "Nach Fotos auf der Matte vermessen.",
            ),
            Some(MeasuredBy::Ruler) => Text::new(
                "Measured with ruler and calliper, without photographs.",
                "Mit Lineal und Messschieber vermessen, ohne Fotos.",
            ),
            None => Text::new(
                "Cast not measured: the patient's own dimensions alone, without photographs.",
                "Abdruck nicht vermessen: nur die Maße am Patienten, ohne Fotos.",
            ),
        }
    }
}

/// What was measured on a cast, kept with what it was measured from.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Measurement {
    /// When.
    pub at: Option<When>,
    /// By whom the marks were tapped.
    pub by: String,
    /// SHA-256 of each photograph used, hexadecimal.
    pub photos: Vec<String>,
    /// Named results as the measurement printed them.
    pub results: Option<serde_json::Value>,
    /// Traced areas.
    pub clearances: Vec<Clearance>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}
