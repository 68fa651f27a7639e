use super::*;
use plinthside_visit::Clinic;
use plinthside_visit::cast_record::CastPosition;
use slint::Model;

fn visit() -> Visit {
    let at = chrono::DateTime::from_timestamp(1_800_000_000, 0)
        .map(|t| t.fixed_offset())
        .unwrap_or_default();
    Visit::new("v", at, vec![Side::Left])
}

fn find(asking: &mut Asking, visit: &Visit, label: &str) {
    let index = asking
        .questions
        .iter()
        .position(|q| q.label(Lang::En) == label);
    asking.choose_question(
        index.unwrap_or_else(|| panic!("no question {label}")),
        visit,
        Side::Left,
    );
}

#[test]
fn a_reading_takes_repeats_and_gives_them_back() {
    let mut visit = visit();
    let mut asking = Asking::new(examination(), &visit, Side::Left);
    find(&mut asking, &visit, "Ankle dorsiflexion, knee straight");
    asking.step(&mut visit, Side::Left, 2);
    asking.again(&mut visit, Side::Left);
    asking.step(&mut visit, Side::Left, 2);
    let reading = visit
        .reading("ankle_dorsiflexion_knee_straight_deg", Side::Left)
        .expect("a reading");
    assert_eq!(
        reading
            .repeats
            .iter()
            .filter_map(Entry::usable)
            .collect::<Vec<_>>(),
        [2.0, 4.0]
    );
    let view = asking.view(&visit, Side::Left, Vec::new(), Lang::En);
    assert_eq!(
        (view.question.mean.as_str(), view.question.repeat_index),
        ("3° dorsiflexed", 1)
    );
    for _ in 0..3 {
        asking.undo(&mut visit, Side::Left);
    }
    assert!(
        visit
            .reading("ankle_dorsiflexion_knee_straight_deg", Side::Left)
            .is_none()
    );
}

#[test]
fn what_one_look_finds_well_is_said_in_one_touch_and_taken_back_in_one() {
    let mut visit = visit();
    let mut asking = Asking::new(examination(), &visit, Side::Left);
    let view = |asking: &Asking, visit: &Visit| {
        asking
            .view(visit, Side::Left, Vec::new(), Lang::En)
            .question
    };
    assert_eq!(
        view(&asking, &visit).well_count,
        0,
        "of a reading nothing is assumed"
    );
    find(&mut asking, &visit, "Swelling");
    asking.choose(&mut visit, Side::Left, 1);
    find(&mut asking, &visit, "Dorsalis pedis pulse");
    let offered = view(&asking, &visit);
    assert_eq!(
        (offered.well_count, offered.well.as_str()),
        (
            3,
            "Dorsalis pedis pulse present · Tibialis posterior pulse present · Skin under the plaster intact"
        )
    );
    assert!(asking.take(Ask::AllWell, &mut visit, Side::Left));
    let said = |kind: &str| {
        let reading = visit.reading(kind, Side::Left);
        reading.map(|r| r.choices.join(" ")).unwrap_or_default()
    };
    assert_eq!(
        [
            "dorsalis_pedis_pulse",
            "tibialis_posterior_pulse",
            "swelling",
            "skin"
        ]
        .map(said),
        ["present", "present", "soft", "intact"],
        "what was found before stays"
    );
    asking.undo(&mut visit, Side::Left);
    assert!(visit.reading("skin", Side::Left).is_none());
}

#[test]
fn undo_never_takes_back_what_was_changed_elsewhere() {
    let mut visit = visit();
    let mut examine = Asking::new(examination(), &visit, Side::Left);
    let mut lying = Asking::new(position(), &visit, Side::Left);
    find(&mut examine, &visit, "Ankle dorsiflexion, knee straight");
    examine.set(&mut visit, Side::Left, 4.0);
    lying.choose(&mut visit, Side::Left, 0);
    let both = visit.clone();
    examine.undo(&mut visit, Side::Left);
    assert_eq!(visit, both);
    let view = examine.view(&visit, Side::Left, Vec::new(), Lang::En);
    assert!(!view.can_undo);
    lying.undo(&mut visit, Side::Left);
    assert!(
        visit
            .cast(Side::Left)
            .is_none_or(|c| c.record.position.is_none())
    );
}

#[test]
fn an_implausible_value_is_kept_and_said() {
    let mut visit = visit();
    let mut asking = Asking::new(examination(), &visit, Side::Left);
    find(&mut asking, &visit, "Ankle dorsiflexion, knee straight");
    asking.set(&mut visit, Side::Left, 41.0);
    asking.set(&mut visit, Side::Left, f64::NAN);
    let view = asking.view(&visit, Side::Left, Vec::new(), Lang::De);
    assert_eq!(view.question.value_text, "41°");
    assert!(
        view.question.problem.contains("40"),
        "{}",
        view.question.problem
    );
}

#[test]
fn words_of_the_position_are_chosen_and_left_again() {
    let mut visit = visit();
    let mut asking = Asking::new(position(), &visit, Side::Left);
    asking.choose(&mut visit, Side::Left, 0);
    assert_eq!(
        visit
            .cast(Side::Left)
            .and_then(|c| c.record.position.clone()),
        Some(CastPosition::Prone)
    );
    // The first answer led on; the same word again takes it back.
    find(&mut asking, &visit, "The patient lies");
    asking.choose(&mut visit, Side::Left, 0);
    assert_eq!(
        visit
            .cast(Side::Left)
            .and_then(|c| c.record.position.clone()),
        None
    );
}

#[test]
fn an_order_field_is_set_by_its_path_and_a_signed_order_is_frozen() {
    let mut visit = visit();
    let mut asking = Asking::new(order(&Clinic::default()), &visit, Side::Left);
    find(&mut asking, &visit, "Dorsiflexion");
    asking.choose(&mut visit, Side::Left, 1);
    find(&mut asking, &visit, "Dorsiflexion");
    let shown = asking.view(&visit, Side::Left, Vec::new(), Lang::En);
    let chosen = slint::Model::iter(&shown.question.choices)
        .find(|c| c.chosen)
        .expect("a choice");
    assert!(visit.order(Side::Left).is_some_and(|o| {
        o.revisions[0]
            .prescription
            .motion
            .dorsiflexion
            .kind
            .is_some()
    }));
    visit.orders[0].revisions[0].signature = Some(plinthside_visit::order::Signature {
        prescriber: Default::default(),
        at: visit.at.unwrap_or_default(),
        cautions: Vec::new(),
        extra: Default::default(),
    });
    asking.choose(&mut visit, Side::Left, 2);
    let after = asking.view(&visit, Side::Left, Vec::new(), Lang::En);
    assert!(slint::Model::iter(&after.question.choices).any(|c| c.chosen && c.text == chosen.text));
    assert!(after.question.note.contains("signed"));
}

#[test]
fn a_count_of_the_order_is_dialled_like_any_number() {
    let mut visit = visit();
    let mut asking = Asking::new(order(&Clinic::default()), &visit, Side::Left);
    find(&mut asking, &visit, "Quantity");
    asking.step(&mut visit, Side::Left, 1);
    asking.step(&mut visit, Side::Left, 1);
    let order = visit.order(Side::Left).expect("an order");
    let identity = &order.newest().expect("a draft").prescription.identity;
    assert_eq!(identity.quantity, Some(2));
    let view = asking.view(&visit, Side::Left, Vec::new(), Lang::En);
    assert_eq!(view.question.value, 2.0);
}

#[test]
fn every_question_can_be_asked_in_both_languages() {
    let visit = visit();
    for questions in [
        person(),
        examination(),
        position(),
        inspection(),
        order(&Clinic::default()),
    ] {
        let mut asking = Asking::new(questions, &visit, Side::Left);
        loop {
            for lang in [Lang::En, Lang::De] {
                let view = asking.view(&visit, Side::Left, Vec::new(), lang);
                assert!(!view.question.title.is_empty());
                let number = view.question.answer == ui::Answer::Number;
                let typed = view.question.answer == ui::Answer::Text;
                assert!(
                    number || typed || slint::Model::row_count(&view.question.choices) > 1,
                    "{}",
                    view.question.title
                );
                assert!(!number || view.question.high > view.question.low);
            }
            if !asking.next(&visit, Side::Left) {
                break;
            }
        }
    }
}

#[test]
fn what_nobody_misses_keeps_no_step_open() {
    let mut visit = visit();
    let asking = Asking::new(position(), &visit, Side::Left);
    let asked = position().len();
    let (none, needed) = asking.answered(&visit, Side::Left);
    assert!(none == 0 && needed < asked, "{needed} of {asked}");
    visit.deferred = Some("too swollen".into());
    assert_eq!(asking.answered(&visit, Side::Left), (1, needed + 1));
    assert!(
        asking
            .view(&visit, Side::Left, Vec::new(), Lang::De)
            .tiles
            .iter()
            .any(|t| t.value == "zu stark geschwollen")
    );
}
