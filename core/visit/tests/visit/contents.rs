//! Everything an examination, a cast record and an order must be able to hold, by name.

use plinthside_visit::aids::{CheckLists, Help};
use plinthside_visit::cast_record::{CastRecord, Inspection};
use plinthside_visit::examination::{Dimension, WeightBearing, reading_kind, reading_kinds};
use plinthside_visit::follow_up::{Problem, ReceiptAnswer, RemakeCause};
use plinthside_visit::order::{self, FieldKind, OrderState};
use plinthside_visit::{Lang, Reading};
use std::collections::BTreeSet;

fn names(list: &str) -> Vec<&str> {
    list.split_whitespace().collect()
}

/// Twelve core readings, each a group of questions asked together; the rest stands behind "more".
#[test]
fn the_core_readings_are_grouped_and_the_rest_stands_behind_more() {
    let core = [
        "ankle_dorsiflexion_knee_straight_deg ankle_dorsiflexion_knee_bent_deg ankle_plantarflexion_deg",
        "rearfoot_inversion_deg rearfoot_eversion_deg rearfoot_reducible",
        "resting_heel_deg",
        "forefoot_to_rearfoot_deg forefoot_reducible",
        "forefoot_abduction_deg",
        "first_ray",
        "knee_extension_deg",
        "dorsiflexor_strength_mrc plantarflexor_strength_mrc quadriceps_strength_mrc",
        "tone_catch tone_catch_deg tone_end_deg clonus",
        "heel_rise_count",
        "sensation_sites_felt sensation_sites_tested dorsalis_pedis_pulse tibialis_posterior_pulse",
        "swelling swelling_girth_change_mm skin",
    ];
    let mut groups = BTreeSet::new();
    for together in core {
        let kinds: Vec<_> = names(together)
            .into_iter()
            .map(|key| reading_kind(key).unwrap_or_else(|| panic!("no reading {key}")))
            .collect();
        assert!(
            kinds.iter().all(|k| k.core && k.group == kinds[0].group),
            "{together}"
        );
        groups.insert(&kinds[0].group);
    }
    assert_eq!(groups.len(), 12);
    let listed = core.iter().flat_map(|t| names(t)).count();
    assert_eq!(reading_kinds().iter().filter(|k| k.core).count(), listed);
    for key in names(
        "foot_posture_index fpi_talar_head fpi_malleolar_curves fpi_calcaneus fpi_talonavicular \
         fpi_arch fpi_forefoot navicular_height_mm navicular_drop_mm arch_height_index laxity_score \
         leg_length_difference_mm tibial_torsion_deg lunge_deg lunge_cm gait_notes proprioception \
         falls_last_year walking_aid hand_function puts_it_on previous_brace previous_brace_failed \
         allergies pain_0_10",
    ) {
        assert!(
            !reading_kind(key)
                .unwrap_or_else(|| panic!("no reading {key}"))
                .core,
            "{key}"
        );
    }
    // The first ray is words: published graders hardly agree, so there is nothing to reckon with.
    assert!(reading_kind("first_ray").unwrap().unit.is_none());
    for kind in reading_kinds() {
        assert!(
            kind.unit.is_none() || !kind.methods.is_empty(),
            "{} has no method",
            kind.key
        );
        for method in &kind.methods {
            assert!(
                !method.label(Lang::De).contains('_'),
                "{}: {}",
                kind.key,
                method.token()
            );
        }
    }
}

/// A reading carries side, repeats, method, weight-bearing, who moved the joint, who read, when,
/// and where it was copied from.
#[test]
fn a_reading_loses_nothing_it_carries() {
    let json = serde_json::json!({
        "id": "r", "kind": "resting_heel_deg", "side": "left", "repeats": [-6.0, -7.0, -8.0],
        "choices": ["x"], "text": "t", "method": "inclinometer", "weight_bearing": "full",
        "mover": "passive", "by": "A", "at": "2026-03-02T10:15:00+01:00",
        "copied_from": "v-0", "copy_confirmed": true
    });
    let reading: Reading = serde_json::from_value(json.clone()).unwrap();
    assert!(reading.extra.is_empty(), "{:?}", reading.extra);
    assert_eq!(serde_json::to_value(&reading).unwrap(), json);
    assert_eq!((reading.mean(), reading.sd()), (Some(-7.0), Some(1.0)));
    assert_eq!(WeightBearing::ALL.len(), 3);
}

#[test]
fn every_dimension_of_the_leg_can_be_entered() {
    let known: BTreeSet<String> = Dimension::ALL
        .iter()
        .map(|d| {
            serde_json::to_value(d)
                .unwrap()
                .as_str()
                .unwrap()
                .to_owned()
        })
        .collect();
    for name in names(
        "bimalleolar_breadth_mm heel_breadth_mm ball_breadth_mm heel_to_first_mtp_mm \
         medial_malleolus_height_mm lateral_malleolus_height_mm medial_malleolus_from_heel_back_mm \
         lateral_malleolus_from_heel_back_mm ankle_girth_mm band_girth_mm band_width_mm band_depth_mm \
         largest_calf_girth_mm largest_calf_width_mm largest_calf_depth_mm largest_calf_height_mm \
         floor_to_fibular_head_mm floor_to_band_mm shank_lean_deg",
    ) {
        assert!(known.contains(name), "{name}");
    }
}

#[test]
fn how_a_cast_was_taken() {
    let has = |json: serde_json::Value, list: &str| {
        for name in names(list) {
            assert!(json.get(name).is_some(), "{name}");
        }
    };
    has(
        serde_json::to_value(CastRecord::default()).unwrap(),
        "position knee_flexion_deg side_written rearfoot_held midtarsal first_ray \
         foot_to_leg_intended_deg foot_to_leg_reached_deg slab_pattern extent layers_overlap material \
         water_cel skin_cover dipped_at removed_at photographed_at packing cast_by marked_by",
    );
    has(
        serde_json::to_value(Inspection::default()).unwrap(),
        "rock_mm wall_min_mm wall_heel_ankle_mm wall_max_mm crack dent_mm dent_place past_mtp_mm \
         above_malleolus_mm marks_missing skin_wiped without_photographs",
    );
}

/// Every field of an order, and the words where it is a choice. Side, revision and prescriber
/// stand in the order, its revision and its signature.
#[test]
fn an_order_has_every_field_of_the_list() {
    let table = "
        identity.quantity identity.clinic_reference identity.purchase_number identity.contact_hours
        identity.package identity.packages identity.due identity.rush
        identity.cast_afterwards=return,destroy identity.trial_fit=none,before_finish
        motion.plantarflexion.kind=free,stopped,assisted,blocked
        motion.plantarflexion.stop=fixed,adjustable motion.plantarflexion.stop_deg
        motion.plantarflexion.assist=low,medium,high
        motion.dorsiflexion.kind=free,stopped,assisted,blocked motion.dorsiflexion.stop=fixed,adjustable
        motion.dorsiflexion.stop_deg motion.dorsiflexion.assist=low,medium,high
        motion.hinge_sides=both,medial_only,lateral_only motion.hinge_size motion.hinge_rated_mass_kg
        motion.bench_angle=as_cast,right_angle,degrees motion.bench_angle_deg motion.heel_lift_mm
        motion.hinge_line.kind=own_marks,level,typed motion.hinge_line.external_rotation_deg
        motion.hinge_line.datum=apex,lower_pole motion.hinge_line.medial_down_mm
        motion.hinge_line.medial_forward_mm motion.hinge_line.lateral_down_mm
        motion.hinge_line.lateral_forward_mm
        shell.band_height_mm shell.uprights shell.plastic shell.thickness_mm
        shell.footplate_end=behind_mtp,sulcus,full shell.toe_spring_mm shell.medial_flange_top_mm
        shell.lateral_flange_top_mm shell.heel_cup_depth_mm shell.arch_fill=less,standard,more
        shell.medial_malleolus_build_up_mm shell.lateral_malleolus_build_up_mm shell.pads shell.reliefs
        shell.growth_allowance_mm
        correction.rearfoot_post=none,vertical,inverted,everted correction.rearfoot_post_deg
        correction.rearfoot_post_material correction.rearfoot_post_hardness_shore_a
        correction.forefoot=none,balance,wedge correction.forefoot_mm correction.forefoot_deg
        correction.forefoot_width_mm correction.skive=none,medial,lateral correction.skive_mm
        correction.shoe_wedge
        closure.straps closure.lining closure.cover closure.colour
        footwear.heel_to_ball_drop_mm footwear.internal_width_mm footwear.internal_depth_mm
        footwear.closure footwear.removable_insole footwear.sent=nothing,tracing,shoe
        footwear.raise_other_shoe_mm footwear.trim_to_shoe
        note";
    for row in names(table) {
        let (path, words) = row.split_once('=').unwrap_or((row, ""));
        let field = order::field(path).unwrap_or_else(|| panic!("no field {path}"));
        if !words.is_empty() {
            let FieldKind::Word(list) = field.kind else {
                panic!("{path} is no choice")
            };
            let tokens: Vec<String> = list().into_iter().map(|(token, _)| token).collect();
            assert_eq!(tokens.join(","), words, "{path}");
        }
    }
    // Nothing presumes a technique: a new order holds nothing.
    let order = order::Order::new("o", plinthside_measure::marks::Side::Left);
    assert!(order.newest().unwrap().lines(Lang::En).is_empty());
}

#[test]
fn words_of_states_receipts_and_remakes() {
    let tokens = |list: Vec<&str>| list.join(" ");
    assert_eq!(
        tokens(OrderState::ALL.iter().map(OrderState::token).collect()),
        "draft signed handed_over lab_hold received fitted reviewed remade closed withdrawn"
    );
    assert_eq!(
        tokens(
            ReceiptAnswer::ALL
                .iter()
                .map(ReceiptAnswer::token)
                .collect()
        ),
        "accepted question rejected"
    );
    assert_eq!(
        tokens(RemakeCause::ALL.iter().map(RemakeCause::token).collect()),
        "measurement marking cast_shape order_content lab wear patient_change"
    );
    assert!(Problem::ALL.len() >= 10);
}

/// Help stands for every step, in both languages, and names check lists that are there.
#[test]
fn every_step_has_help_in_both_languages() {
    let help = Help::shipped().unwrap();
    let steps = "person examine position cast photographs mark check inspect ruler order label \
                 hand-over follow-up";
    for step in names(steps) {
        let step = help
            .step(step)
            .unwrap_or_else(|| panic!("no help on {step}"));
        for line in &step.lines {
            assert!(!line.say.en.is_empty() && !line.say.de.is_empty());
            assert!(
                line.source
                    .as_ref()
                    .is_none_or(|s| !s.line(Lang::De).is_empty())
            );
        }
    }
    let lists = CheckLists::shipped().unwrap();
    let shown: Vec<_> = help.step.iter().flat_map(|step| &step.lists).collect();
    assert!(shown.iter().all(|id| lists.list(id).is_some()), "{shown:?}");
    assert_eq!(
        shown.len(),
        lists.list.len(),
        "every check list is shown somewhere"
    );
}
