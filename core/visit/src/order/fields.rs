//! Every field of an order. Nothing is presumed: an empty field was not chosen.

use super::words::{
    ArchFill, AssistLevel, BenchAngle, CastAfterwards, FootplateEnd, ForefootCorrection,
    ForefootUnder, HingeDatum, HingeLineKind, HingeSides, MotionKind, Place, RearfootPost,
    ShoeClosure, ShoeSent, ShoeWedge, Skive, StopKind, StrapHold, StrapPlace, StrapSide, TrialFit,
};
use crate::entry::Entry;
use crate::words::Extra;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// What is ordered for one foot.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Prescription {
    /// Quantity, references, packages, dates.
    pub identity: Identity,
    /// Motion at the ankle, hinges and their line.
    pub motion: Motion,
    /// Shell, uprights, footplate, pads.
    pub shell: Shell,
    /// Posts, balance, skive, shoe wedge.
    pub correction: Correction,
    /// Straps, lining, cover, colour.
    pub closure: Closure,
    /// The shoe it goes into.
    pub footwear: Footwear,
    /// One note to the bench: always there, never required.
    pub note: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Quantity, references, packages and dates.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Identity {
    /// How many of this brace.
    pub quantity: Option<u32>,
    /// The clinic's own reference.
    pub clinic_reference: String,
    /// Purchase number.
    pub purchase_number: String,
    /// The lab it goes to.
    pub lab: String,
    /// When the prescriber can be rung.
    pub contact_hours: String,
    /// This package's number …
    pub package: Option<u32>,
    /// … of how many.
    pub packages: Option<u32>,
    /// Needed by.
    pub due: Option<NaiveDate>,
    /// Rush.
    pub rush: Option<bool>,
    /// What becomes of the cast.
    pub cast_afterwards: Option<CastAfterwards>,
    /// Trial fit stage.
    pub trial_fit: Option<TrialFit>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Motion at the ankle, described mechanically.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Motion {
    /// Plantarflexion.
    pub plantarflexion: Direction,
    /// Dorsiflexion.
    pub dorsiflexion: Direction,
    /// Hinge on both sides or one.
    pub hinge_sides: Option<HingeSides>,
    /// The clinic's name of the hinge.
    pub hinge: String,
    /// Size of the hinge.
    pub hinge_size: String,
    /// Body mass the hinge is rated for, kilograms.
    pub hinge_rated_mass_kg: Option<Entry>,
    /// Ankle angle on the bench.
    pub bench_angle: Option<BenchAngle>,
    /// That angle where stated, degrees, dorsiflexed positive; 0 is the 90° position.
    pub bench_angle_deg: Option<Entry>,
    /// Heel lift, millimetres.
    pub heel_lift_mm: Option<Entry>,
    /// The line the hinges are set to.
    pub hinge_line: HingeLine,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// What the hinge allows in one direction.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Direction {
    /// Free, stopped, assisted or blocked.
    pub kind: Option<MotionKind>,
    /// Where it stops, degrees in this direction from the 90° position.
    pub stop_deg: Option<Entry>,
    /// Fixed or adjustable.
    pub stop: Option<StopKind>,
    /// Strength of the assist.
    pub assist: Option<AssistLevel>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// The line the hinges are set to.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct HingeLine {
    /// Own marks, level, or typed.
    pub kind: Option<HingeLineKind>,
    /// External rotation, degrees, lateral end behind positive (level or typed lines).
    pub external_rotation_deg: Option<Entry>,
    /// Tilt seen from behind, degrees, lateral end lower positive (typed lines).
    pub tilt_deg: Option<Entry>,
    /// Landmark the offsets count from.
    pub datum: Option<HingeDatum>,
    /// Medial hinge below its landmark, millimetres; empty is 0.
    pub medial_down_mm: Option<Entry>,
    /// Medial hinge in front of its landmark, millimetres; empty is 0.
    pub medial_forward_mm: Option<Entry>,
    /// Lateral hinge below its landmark, millimetres; empty is 0.
    pub lateral_down_mm: Option<Entry>,
    /// Lateral hinge in front of its landmark, millimetres; empty is 0.
    pub lateral_forward_mm: Option<Entry>,
    /// Height of the medial hinge point, millimetres from the floor datum of the measurement.
    pub medial_height_mm: Option<Entry>,
    /// Height of the lateral hinge point, millimetres.
    pub lateral_height_mm: Option<Entry>,
    /// Medial hinge point in front of the lower heel mark, millimetres.
    pub medial_from_heel_mm: Option<Entry>,
    /// Lateral hinge point in front of the lower heel mark, millimetres.
    pub lateral_from_heel_mm: Option<Entry>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Shell, uprights, footplate and pads.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Shell {
    /// Height of the calf band's upper edge from the floor, millimetres.
    pub band_height_mm: Option<Entry>,
    /// Uprights in words.
    pub uprights: String,
    /// Plastic.
    pub plastic: String,
    /// Its thickness, millimetres.
    pub thickness_mm: Option<Entry>,
    /// Where the footplate ends.
    pub footplate_end: Option<FootplateEnd>,
    /// Toe spring, millimetres.
    pub toe_spring_mm: Option<Entry>,
    /// Top of the medial flange from the floor, millimetres.
    pub medial_flange_top_mm: Option<Entry>,
    /// Top of the lateral flange from the floor, millimetres.
    pub lateral_flange_top_mm: Option<Entry>,
    /// The lateral flange reaches forward along the foot.
    pub lateral_extension: Option<bool>,
    /// Depth of the heel cup, millimetres.
    pub heel_cup_depth_mm: Option<Entry>,
    /// Arch fill.
    pub arch_fill: Option<ArchFill>,
    /// Build-up over the medial malleolus, millimetres (beyond the traced clearance).
    pub medial_malleolus_build_up_mm: Option<Entry>,
    /// Build-up over the lateral malleolus, millimetres.
    pub lateral_malleolus_build_up_mm: Option<Entry>,
    /// Pads.
    pub pads: Vec<Pad>,
    /// Places to relieve.
    pub reliefs: Vec<Spot>,
    /// The whole shell is padded.
    pub full_padding: Option<bool>,
    /// Growth allowance, millimetres.
    pub growth_allowance_mm: Option<Entry>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A pad.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pad {
    /// Where.
    pub place: Place,
    /// Thickness, millimetres.
    #[serde(default)]
    pub thickness_mm: Option<Entry>,
    /// Material.
    #[serde(default)]
    pub material: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A spot on a drawing: a place to relieve, a place that presses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Spot {
    /// Nearest named place.
    pub place: Place,
    /// The drawing it was put on: `medial`, `lateral`, `behind`, `sole`, `top`.
    #[serde(default)]
    pub drawing: String,
    /// Across the drawing from its left edge, 0 to 1.
    #[serde(default)]
    pub across: Option<f64>,
    /// Down the drawing from its upper edge, 0 to 1.
    #[serde(default)]
    pub down: Option<f64>,
    /// Words.
    #[serde(default)]
    pub note: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Posts, balance, skive and shoe wedge.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Correction {
    /// Rearfoot post.
    pub rearfoot_post: Option<RearfootPost>,
    /// Its angle where inverted or everted, degrees.
    pub rearfoot_post_deg: Option<Entry>,
    /// Its material.
    pub rearfoot_post_material: String,
    /// Its hardness, Shore A.
    pub rearfoot_post_hardness_shore_a: Option<Entry>,
    /// Forefoot correction.
    pub forefoot: Option<ForefootCorrection>,
    /// Under which edge.
    pub forefoot_under: Option<ForefootUnder>,
    /// Its height, millimetres.
    pub forefoot_mm: Option<Entry>,
    /// Its angle, degrees.
    pub forefoot_deg: Option<Entry>,
    /// The width both refer to, millimetres.
    pub forefoot_width_mm: Option<Entry>,
    /// Heel skive.
    pub skive: Option<Skive>,
    /// Its depth, millimetres.
    pub skive_mm: Option<Entry>,
    /// Its angle to the ground, degrees.
    pub skive_deg: Option<Entry>,
    /// Wedge at the shoe.
    pub shoe_wedge: Option<ShoeWedge>,
    /// Its height, millimetres.
    pub shoe_wedge_mm: Option<Entry>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Straps, lining, cover and colour.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Closure {
    /// Straps.
    pub straps: Vec<Strap>,
    /// Closure can be let out over the day (swelling).
    pub adjustable: Option<bool>,
    /// Lining.
    pub lining: String,
    /// Cover.
    pub cover: String,
    /// Colour.
    pub colour: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A strap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Strap {
    /// Where it runs.
    pub place: StrapPlace,
    /// Side it closes on.
    #[serde(default)]
    pub side: Option<StrapSide>,
    /// Ring or loop.
    #[serde(default)]
    pub hold: Option<StrapHold>,
    /// Long tails (weak hands).
    #[serde(default)]
    pub long_tails: Option<bool>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// The shoe the brace goes into.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Footwear {
    /// Heel to ball drop, millimetres.
    pub heel_to_ball_drop_mm: Option<Entry>,
    /// Internal width at the ball, millimetres.
    pub internal_width_mm: Option<Entry>,
    /// Internal depth at the instep, millimetres.
    pub internal_depth_mm: Option<Entry>,
    /// Closure.
    pub closure: Option<ShoeClosure>,
    /// The insole can be taken out.
    pub removable_insole: Option<bool>,
    /// What was sent.
    pub sent: Option<ShoeSent>,
    /// Raise on the other shoe, millimetres.
    pub raise_other_shoe_mm: Option<Entry>,
    /// Trim the footplate to the shoe.
    pub trim_to_shoe: Option<bool>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}
