//! The shipped rules: facts on which each must fire, and facts just beside on which it is silent.

use plinthside_visit::rules::Level;

/// Number, level, id, where it fires, where it is silent.
pub type Row = (
    u32,
    Level,
    &'static str,
    &'static [&'static str],
    &'static [&'static str],
);

use Level::{AbsoluteBlock, Block, Caution, Note, Suggest};

pub const RULES: &[Row] = &[
    (
        1,
        Caution,
        "dorsiflexion-below-neutral",
        &[
            "ankle_dorsiflexion_knee_straight_deg=-1; order.motion.dorsiflexion.kind=free",
            "ankle_dorsiflexion_knee_straight_deg=-1; order.motion.dorsiflexion.kind=assisted",
        ],
        &[
            "ankle_dorsiflexion_knee_straight_deg=0; order.motion.dorsiflexion.kind=free",
            "ankle_dorsiflexion_knee_bent_deg=-9; order.motion.dorsiflexion.kind=free",
            "ankle_dorsiflexion_knee_straight_deg=-9; order.motion.dorsiflexion.kind=blocked",
        ],
    ),
    (
        2,
        Caution,
        "dorsiflexion-barely-enough",
        &[
            "ankle_dorsiflexion_knee_straight_deg=0",
            "ankle_dorsiflexion_knee_straight_deg=5",
        ],
        &[
            "ankle_dorsiflexion_knee_straight_deg=5.5",
            "ankle_dorsiflexion_knee_straight_deg=-1",
            "ankle_dorsiflexion_knee_straight_deg=3; order.motion.dorsiflexion.kind=stopped",
        ],
    ),
    (
        3,
        Caution,
        "assist-may-trigger-tone",
        &[
            "clonus=yes; order.motion.dorsiflexion.kind=assisted",
            "tone_catch=marked; order.motion.plantarflexion.kind=assisted",
        ],
        &[
            "clonus=yes",
            "tone_catch=slight; clonus=no; order.motion.dorsiflexion.kind=assisted",
        ],
    ),
    (
        4,
        Caution,
        "fixed-rearfoot-posted-vertical",
        &["rearfoot_reducible=no; order.correction.rearfoot_post=vertical"],
        &[
            "rearfoot_reducible=part; order.correction.rearfoot_post=vertical",
            "rearfoot_reducible=no",
        ],
    ),
    (
        5,
        Caution,
        "weak-quadriceps-plantar-stop",
        &[
            "quadriceps_strength_mrc=3",
            "quadriceps_strength_mrc=1; order.motion.plantarflexion.kind=blocked",
        ],
        &[
            "quadriceps_strength_mrc=4",
            "quadriceps_strength_mrc=3; order.motion.plantarflexion.kind=free",
        ],
    ),
    (
        6,
        Suggest,
        "hyperextending-knee-free-plantarflexion",
        &[
            "knee_extension_deg=1; order.motion.plantarflexion.kind=free",
            "gait_knee_hyperextends=yes; order.motion.plantarflexion.kind=free",
        ],
        &[
            "knee_extension_deg=0; gait_knee_hyperextends=no; order.motion.plantarflexion.kind=free",
            "knee_extension_deg=9",
        ],
    ),
    (
        7,
        Caution,
        "uncontrolled-shank",
        &["plantarflexor_strength_mrc=3", "gait_crouch=yes"],
        &[
            "plantarflexor_strength_mrc=4; gait_crouch=no",
            "plantarflexor_strength_mrc=3; order.motion.dorsiflexion.kind=stopped",
        ],
    ),
    (
        8,
        Suggest,
        "weak-dorsiflexors",
        &[
            "dorsiflexor_strength_mrc=3; ankle_dorsiflexion_knee_straight_deg=5; clonus=no; tone_catch=none",
        ],
        &[
            "dorsiflexor_strength_mrc=4; ankle_dorsiflexion_knee_straight_deg=5; clonus=no; tone_catch=none",
            "dorsiflexor_strength_mrc=3; ankle_dorsiflexion_knee_straight_deg=4.5; clonus=no; tone_catch=none",
            "dorsiflexor_strength_mrc=3; ankle_dorsiflexion_knee_straight_deg=5; clonus=no; tone_catch=slight",
            "dorsiflexor_strength_mrc=3; ankle_dorsiflexion_knee_straight_deg=5",
        ],
    ),
    (
        9,
        Suggest,
        "flexible-flatfoot-abduction",
        &["tendon_stage=II; forefoot_abduction_deg=1"],
        &[
            "tendon_stage=II; forefoot_abduction_deg=0",
            "tendon_stage=III; forefoot_abduction_deg=9",
            "tendon_stage=II; forefoot_abduction_deg=9; order.shell.lateral_extension=true",
        ],
    ),
    (
        10,
        Caution,
        "rigid-flatfoot-free-hinge",
        &["tendon_stage=III", "tendon_stage=IV"],
        &[
            "tendon_stage=II",
            "tendon_stage=III; order.motion.dorsiflexion.kind=blocked",
        ],
    ),
    (
        11,
        Caution,
        "unstable-ankle-one-hinge",
        &[
            "mediolateral_instability=yes; order.motion.hinge_sides=medial_only",
            "mediolateral_instability=yes; order.motion.hinge_sides=lateral_only",
        ],
        &[
            "mediolateral_instability=yes",
            "mediolateral_instability=no; order.motion.hinge_sides=medial_only",
        ],
    ),
    (
        12,
        Caution,
        "insensate",
        &[
            "sensation_sites_felt=9; sensation_sites_tested=10",
            "heel_sensation=absent",
        ],
        &[
            "sensation_sites_felt=10; sensation_sites_tested=10",
            "heel_sensation=felt",
            "",
        ],
    ),
    (
        13,
        Block,
        "broken-skin",
        &["skin=open_wound", "skin=infected", "skin=blister"],
        &["skin=intact", "skin=callus", ""],
    ),
    (
        14,
        Block,
        "possible-neuro-arthropathy",
        &[
            "condition=neuropathy; foot_hot_red_swollen=yes",
            "sensation_sites_felt=3; sensation_sites_tested=10; foot_hot_red_swollen=yes",
        ],
        &[
            "condition=neuropathy; foot_hot_red_swollen=no",
            "condition=diabetes; foot_hot_red_swollen=yes",
        ],
    ),
    (
        15,
        Block,
        "possible-thrombosis",
        &["calf_hot_swollen_painful=yes"],
        &["calf_hot_swollen_painful=no", ""],
    ),
    (
        16,
        Caution,
        "swelling",
        &[
            "swelling=pitting",
            "swelling_girth_change_mm=10.5",
            "swelling_girth_change_mm=-11",
        ],
        &["swelling=soft; swelling_girth_change_mm=10"],
    ),
    (
        17,
        Caution,
        "no-pulse",
        &["dorsalis_pedis_pulse=absent; tibialis_posterior_pulse=absent"],
        &[
            "dorsalis_pedis_pulse=absent; tibialis_posterior_pulse=weak",
            "dorsalis_pedis_pulse=absent",
        ],
    ),
    (
        18,
        Caution,
        "skive-against-posture",
        &[
            "order.correction.skive=medial; foot_posture_index=-1",
            "order.correction.skive=lateral; foot_posture_index=6",
            // Six items make the index without a typed total: 6 × 1.
            "order.correction.skive=lateral; fpi_talar_head=1; fpi_malleolar_curves=1; fpi_calcaneus=1; \
        fpi_talonavicular=1; fpi_arch=1; fpi_forefoot=1",
        ],
        &[
            "order.correction.skive=medial; foot_posture_index=0",
            "order.correction.skive=lateral; foot_posture_index=5",
            "order.correction.skive=lateral; fpi_talar_head=2; fpi_malleolar_curves=2; fpi_calcaneus=2",
        ],
    ),
    (
        19,
        Block,
        "skive-past-half-the-heel",
        &[
            "order.correction.skive=medial; order.correction.skive_mm=9.5; leg.heel_breadth_mm=70",
            "order.correction.skive=medial; order.correction.skive_mm=9.5; measured.heel_breadth_inside_mm=70",
        ],
        &["order.correction.skive=medial; order.correction.skive_mm=9; leg.heel_breadth_mm=70"],
    ),
    (
        20,
        Caution,
        "skive-counted-twice",
        &[
            "order.correction.skive=medial; order.correction.rearfoot_post=inverted; order.correction.shoe_wedge=medial_heel",
            "order.correction.skive=medial; order.correction.rearfoot_post=inverted; order.correction.forefoot=wedge; \
        order.correction.forefoot_under=first",
            "order.correction.skive=lateral; heel_pad=thin",
            "order.correction.skive=medial; heel_sensation=absent",
        ],
        &[
            "order.correction.skive=medial; order.correction.rearfoot_post=inverted; heel_pad=normal",
            "heel_pad=thin",
        ],
    ),
    (
        21,
        Caution,
        "forefoot-angle-uncertain",
        &[
            "order.correction.forefoot=balance; measured.forefoot_to_rearfoot_deg=1±0.6",
            "order.correction.forefoot=balance; measured.forefoot_to_rearfoot_deg=-5±1; \
        measured.forefoot_to_rearfoot_m2_m5_deg=0.1±1",
        ],
        &[
            "order.correction.forefoot=balance; measured.forefoot_to_rearfoot_deg=2±0.6",
            "measured.forefoot_to_rearfoot_deg=1±0.6",
        ],
    ),
    (
        22,
        Caution,
        "balance-holds-it-inverted",
        &[
            "forefoot_reducible=yes; forefoot_to_rearfoot_deg=5; order.correction.forefoot=balance; \
        order.correction.forefoot_under=first",
            "forefoot_reducible=yes; measured.forefoot_to_rearfoot_deg=5; order.correction.forefoot=balance; \
        order.correction.forefoot_under=first",
        ],
        &[
            "forefoot_reducible=part; forefoot_to_rearfoot_deg=5; order.correction.forefoot=balance; \
        order.correction.forefoot_under=first",
            "forefoot_reducible=yes; forefoot_to_rearfoot_deg=-5; order.correction.forefoot=balance; \
        order.correction.forefoot_under=first",
        ],
    ),
    (
        23,
        Caution,
        "beyond-custom",
        &[
            "order.correction.rearfoot_post=inverted; order.correction.rearfoot_post_deg=8.5",
            "order.correction.forefoot=balance; order.correction.forefoot_mm=8.5",
        ],
        &[
            "order.correction.rearfoot_post=inverted; order.correction.rearfoot_post_deg=8",
            "order.correction.forefoot=balance; order.correction.forefoot_mm=8",
        ],
    ),
    (
        24,
        Caution,
        "hinge-turned-off-the-marks",
        &[
            "order.motion.hinge_line.kind=level; order.motion.hinge_line.external_rotation_deg=17; \
        measured.hinge_turn_transverse_deg=7",
            "order.motion.hinge_line.kind=typed; order.motion.hinge_line.external_rotation_deg=-3; \
        measured.hinge_turn_transverse_deg=7",
        ],
        &[
            "order.motion.hinge_line.kind=level; order.motion.hinge_line.external_rotation_deg=16.5; \
        measured.hinge_turn_transverse_deg=7",
        ],
    ),
    (
        25,
        AbsoluteBlock,
        "sides-differ",
        &[
            "side of the visit=right",
            "side of the cast=right",
            "side written=right",
            "side of the label=right",
            "side of the measurement=right",
        ],
        &[
            "side of the visit=left; side of the cast=left; side written=left; side of the label=left; \
        side of the measurement=left",
        ],
    ),
    (
        26,
        Caution,
        "band-near-fibular-head",
        &["leg.floor_to_fibular_head_mm=349; order.shell.band_height_mm=330"],
        &["leg.floor_to_fibular_head_mm=350; order.shell.band_height_mm=330"],
    ),
    (
        27,
        Block,
        "too-heavy-for-the-hinge",
        &["body mass=101; order.motion.hinge_rated_mass_kg=100"],
        &[
            "body mass=100; order.motion.hinge_rated_mass_kg=100",
            "body mass=200",
        ],
    ),
    (
        28,
        Block,
        "no-consent-for-photographs",
        &[
            "consent to photographs=false",
            "consent to photographs=never asked",
        ],
        &["consent to photographs=true"],
    ),
    (
        29,
        Caution,
        "marks-absent",
        &["cast.marks_missing=[\"mtp-5\"]"],
        &["cast.marks_missing=[]"],
    ),
    (
        30,
        Block,
        "plaster-can-burn",
        &[
            "cast.water_cel=24.5; cast.covering=pillow",
            "cast.water_cel=24.5; cast.covering=cover",
            "cast.layers_overlap=9; heel_sensation=absent",
        ],
        &[
            "cast.water_cel=24; cast.layers_overlap=8; cast.covering=pillow",
            "cast.water_cel=30; cast.layers_overlap=12; cast.covering=none",
        ],
    ),
    (
        30,
        Note,
        "plaster-warmth",
        &[
            "cast.water_cel=24.5; cast.covering=none",
            "cast.layers_overlap=9",
        ],
        &["cast.water_cel=24; cast.layers_overlap=8"],
    ),
    (
        31,
        Caution,
        "photographed-too-soon",
        &["minutes to photographs=4.9"],
        &["minutes to photographs=5"],
    ),
    (
        31,
        Caution,
        "sealed-wet",
        &["cast.packing=sealed_wet"],
        &["cast.packing=dry"],
    ),
    // 80 mm · tan 6° = 8.41 mm.
    (
        32,
        Caution,
        "forefoot-height-and-angle-differ",
        &[
            "order.correction.forefoot_mm=7.4; order.correction.forefoot_deg=6; order.correction.forefoot_width_mm=80",
        ],
        &[
            "order.correction.forefoot_mm=7.5; order.correction.forefoot_deg=6; order.correction.forefoot_width_mm=80",
            "order.correction.forefoot_mm=20; order.correction.forefoot_deg=6",
        ],
    ),
];
