//! The name of every result, in one place; the JSON of `measure` uses the same names.

use crate::quantity::Unit;
use serde::{Deserialize, Serialize};
use std::fmt;

macro_rules! result_names {
    ($($(#[$doc:meta])* $variant:ident = $name:literal, $unit:ident, $label:literal;)*) => {
        /// Which quantity a result is. Ordered as a reader goes through them.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum ResultName {
            $($(#[$doc])* #[serde(rename = $name)] $variant,)*
        }

        impl ResultName {
            /// Every name, in reading order.
            pub const ALL: &[Self] = &[$(Self::$variant),*];

            /// The name in JSON; carries its unit.
            #[must_use]
            pub fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $name,)* }
            }

            /// What the clinician reads.
            #[must_use]
            pub fn label(self) -> &'static str {
                match self { $(Self::$variant => $label,)* }
            }

            /// The unit of the quantity.
            #[must_use]
            pub fn unit(self) -> Unit {
                match self { $(Self::$variant => Unit::$unit,)* }
            }
        }
    };
}

result_names! {
    /// T1 = −(M1 − M5)·y: positive on a left cast.
    SideFromMtp = "side_from_mtp_mm", Mm, "Side from the MTP marks";
    /// T2 = −(MM − LM)·y: positive on a left cast.
    SideFromMalleoli = "side_from_malleoli_mm", Mm, "Side from the malleoli";
    /// How much higher MM lies than LM.
    MedialMalleolusHigher = "medial_malleolus_higher_mm", Mm, "Medial malleolus higher by";
    /// How much further forward MM lies than LM.
    MedialMalleolusForward = "medial_malleolus_forward_mm", Mm, "Medial malleolus further forward by";
    /// How much further forward M1 lies than M5.
    FirstMtpForward = "first_mtp_forward_mm", Mm, "First MTP further forward than fifth by";

    /// φ, inverted +, as the cast stands.
    Heel = "heel_deg", Deg, "Heel to vertical, as the cast stands";
    /// Distance between the two heel marks.
    HeelMarkSpacing = "heel_mark_spacing_mm", Mm, "Heel marks apart";
    /// ψ from M1 and M5, inverted + (first higher), as the cast stands.
    Forefoot = "forefoot_deg", Deg, "Forefoot to the mat, as the cast stands";
    /// α = ψ − φ, inverted +: survives rocking the cast.
    ForefootToRearfoot = "forefoot_to_rearfoot_deg", Deg, "Forefoot to rearfoot";
    /// α with the plane through M2 and M5 (a plantarflexed or raised first ray left out).
    ForefootToRearfootM2M5 = "forefoot_to_rearfoot_m2_m5_deg", Deg, "Forefoot (second to fifth) to rearfoot";
    /// α with the plane through M1 and M4 (the fifth ray left out).
    ForefootToRearfootM1M4 = "forefoot_to_rearfoot_m1_m4_deg", Deg, "Forefoot (first to fourth) to rearfoot";
    /// α with the plane through M2 and M4 (first and fifth ray left out).
    ForefootToRearfootM2M4 = "forefoot_to_rearfoot_m2_m4_deg", Deg, "Forefoot (second to fourth) to rearfoot";
    /// w·sin α: positive under the first, negative under the fifth.
    BalanceToVertical = "balance_to_vertical_mm", Mm, "Balance to vertical";
    /// w, the width the balance is computed with: hypot(Δy, Δz) of M1 − M5.
    BalanceWidth = "balance_width_mm", Mm, "Width the balance uses";

    /// Lean of CL→CU against the plantar plane, forward (dorsiflexed) +; 0 = the 90° position.
    FootToLeg = "foot_to_leg_deg", Deg, "Foot to leg";
    /// Distance between the two calf marks.
    CalfMarkSpacing = "calf_mark_spacing_mm", Mm, "Calf marks apart";
    /// λ: lean of CL→CU in the frontal plane, upper end lateral +.
    CalfLeanFrontal = "calf_lean_frontal_deg", Deg, "Calf line in the frontal plane";

    /// τ: tilt of the hinge line in the frontal plane, lateral end lower +.
    HingeTiltFrontal = "hinge_tilt_frontal_deg", Deg, "Hinge line tilt, frontal";
    /// ρ: turn of the hinge line in the transverse plane, lateral end behind +.
    HingeTurnTransverse = "hinge_turn_transverse_deg", Deg, "Hinge line turn, transverse";
    /// 90 − |τ|: display only, folds at 90°.
    HingeFrontal = "hinge_frontal_deg", Deg, "Hinge line to vertical, frontal";
    /// 90 − |ρ|: display only, folds at 90°.
    HingeTransverse = "hinge_transverse_deg", Deg, "Hinge line to the foot, transverse";
    /// Acute angle between the hinge line and the vertical in space.
    HingeToVertical3d = "hinge_to_vertical_3d_deg", Deg, "Hinge line to vertical, in space";
    /// τ − λ: tilt of the hinge line against the calf line, lateral end lower +.
    HingeTiltToLeg = "hinge_tilt_to_leg_deg", Deg, "Hinge line tilt against the leg, frontal";
    /// 90 − |τ − λ|: display only, folds at 90°.
    HingeToLeg = "hinge_to_leg_deg", Deg, "Hinge line to the leg, frontal";
    /// Acute angle between the hinge line and the calf line in space.
    HingeToLeg3d = "hinge_to_leg_3d_deg", Deg, "Hinge line to the leg, in space";
    /// Distance from MM to LM.
    Bimalleolar = "bimalleolar_mm", Mm, "Between the malleolar marks";
    /// Medial hinge point above the mat, below the outer plantar face.
    MedialHingeHeight = "medial_hinge_height_mm", Mm, "Medial hinge, height over the outer face";
    /// Medial hinge point forward of the outer face at HL.
    MedialHingeForward = "medial_hinge_forward_mm", Mm, "Medial hinge, forward of the outer back of the heel";
    /// Medial hinge point above the inner plantar face of the heel.
    MedialHingeHeightInside = "medial_hinge_height_inside_mm", Mm, "Medial hinge, height over the inner face";
    /// Medial hinge point forward of the inner face at HL.
    MedialHingeForwardInside = "medial_hinge_forward_inside_mm", Mm, "Medial hinge, forward of the inner back of the heel";
    /// Lateral hinge point above the mat, below the outer plantar face.
    LateralHingeHeight = "lateral_hinge_height_mm", Mm, "Lateral hinge, height over the outer face";
    /// Lateral hinge point forward of the outer face at HL.
    LateralHingeForward = "lateral_hinge_forward_mm", Mm, "Lateral hinge, forward of the outer back of the heel";
    /// Lateral hinge point above the inner plantar face of the heel.
    LateralHingeHeightInside = "lateral_hinge_height_inside_mm", Mm, "Lateral hinge, height over the inner face";
    /// Lateral hinge point forward of the inner face at HL.
    LateralHingeForwardInside = "lateral_hinge_forward_inside_mm", Mm, "Lateral hinge, forward of the inner back of the heel";

    /// HL to M1 along X.
    HeelToFirstMtp = "heel_to_first_mtp_mm", Mm, "Heel to first MTP";
    /// HL to M5 along X.
    HeelToFifthMtp = "heel_to_fifth_mtp_mm", Mm, "Heel to fifth MTP";
    /// M1 to M5 in the transverse plane.
    ForefootBreadth = "forefoot_breadth_mm", Mm, "Forefoot breadth";
    /// Between the heel breadth marks, if set.
    HeelBreadth = "heel_breadth_mm", Mm, "Heel breadth";
    /// Breadth over the malleoli between the inner faces.
    BimalleolarInside = "bimalleolar_inside_mm", Mm, "Between the malleoli, inner faces";
    /// Heel breadth between the inner faces.
    HeelBreadthInside = "heel_breadth_inside_mm", Mm, "Heel breadth, inner faces";
    /// Inner back of the heel to M1 along X.
    HeelToFirstMtpInside = "heel_to_first_mtp_inside_mm", Mm, "Heel to first MTP from the inner face";
    /// Rock at the edge on a flat table, entered by hand.
    Rock = "rock_mm", Mm, "Rock at the edge";
}

impl fmt::Display for ResultName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}
