//! Every screen as a picture, in several sizes, light and dark, normal and large text.

mod support;

use plinthside_ui::{
    Anchor, Answer, App, ChoiceItem, Data, DrawnNote, DrawnPath, Exchange, ExchangePage,
    LabelDoing, NoteWord, Printing, QuestionView, Screen, Stroke, Work,
};
use slint::{ComponentHandle, Model, ModelRc, VecModel};
use support::{Look, compare, dress, open, touch};

const LOOKS: [Look; 4] = [
    Look::TABLET,
    Look {
        width: 800,
        height: 1280,
        dark: true,
        text_scale: 1.0,
    },
    Look {
        width: 1366,
        height: 768,
        dark: false,
        text_scale: 1.5,
    },
    Look {
        width: 800,
        height: 1280,
        dark: false,
        text_scale: 1.5,
    },
];

fn check(screen: Screen, name: &str) {
    check_with(screen, name, |_| ());
}

/// A screen in a state that its preview does not show.
fn check_with(screen: Screen, name: &str, state: impl Fn(&App)) {
    let app = open(LOOKS[0]);
    app.global::<Data>().set_screen(screen);
    state(&app);
    let failures: Vec<String> = LOOKS
        .iter()
        .filter_map(|&look| {
            dress(&app, look);
            compare(&app, &format!("{name}-{}", look.name())).err()
        })
        .collect();
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn check_screen() {
    check(Screen::Check, "check");
}

#[test]
fn mark_screen() {
    check(Screen::Mark, "mark");
}

#[test]
fn person_screen() {
    check(Screen::Person, "person");
}

#[test]
fn examine_screen() {
    check(Screen::Examine, "examine");
}

#[test]
fn position_screen() {
    check(Screen::Position, "position");
}

#[test]
fn cast_screen() {
    check(Screen::Cast, "cast");
}

#[test]
fn order_screen() {
    check(Screen::Order, "order");
}

#[test]
fn cases_screen() {
    check(Screen::Cases, "cases");
}

#[test]
fn photographs_screen() {
    check(Screen::Photographs, "photographs");
}

#[test]
fn unlock_screen() {
    check(Screen::Unlock, "unlock");
}

#[test]
fn recover_screen() {
    check(Screen::Recover, "recover");
}

#[test]
fn settings_screen() {
    check(Screen::Settings, "settings");
}

#[test]
fn reasons_screen() {
    check(Screen::Reasons, "reasons");
}

#[test]
fn ruler_screen() {
    check(Screen::Ruler, "ruler");
}

#[test]
fn about_screen() {
    check(Screen::About, "about");
}

#[test]
fn label_screen() {
    check(Screen::Label, "label");
}

#[test]
fn hand_over_screen() {
    check(Screen::HandOver, "hand-over");
}

#[test]
fn follow_up_screen() {
    check(Screen::FollowUp, "follow-up");
}

#[test]
fn follow_up_entry_and_leaflet() {
    let app = open(LOOKS[0]);
    let data = app.global::<Data>();
    data.set_screen(Screen::FollowUp);
    let mut failures = Vec::new();
    for (entering, name) in [(true, "entry"), (false, "leaflet")] {
        let mut follow = data.get_follow();
        (follow.entering, follow.reading) = (entering, !entering);
        data.set_follow(follow);
        for &look in &LOOKS {
            dress(&app, look);
            failures.extend(compare(&app, &format!("follow-up-{name}-{}", look.name())).err());
        }
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn trouble_below_a_screen() {
    let app = open(LOOKS[0]);
    let data = app.global::<Data>();
    data.set_screen(Screen::Order);
    let mut problem = data.get_problem();
    problem.text = "The disk is full. The last entry was not saved; everything before it is. Free some space and save again.".into();
    data.set_problem(problem);
    let failures: Vec<String> = LOOKS
        .iter()
        .filter_map(|&look| {
            dress(&app, look);
            compare(&app, &format!("trouble-{}", look.name())).err()
        })
        .collect();
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn help_screen() {
    check(Screen::Help, "help");
}

#[test]
fn history_screen() {
    check(Screen::History, "history");
}

#[test]
fn conflicts_screen() {
    check(Screen::Conflicts, "conflicts");
}

#[test]
fn exchange_screen() {
    let app = open(LOOKS[0]);
    app.global::<Data>().set_screen(Screen::Exchange);
    let exchange = app.global::<Exchange>();
    let mut failures = Vec::new();
    for (page, name) in [
        (ExchangePage::Home, "home"),
        (ExchangePage::Target, "target"),
        (ExchangePage::Devices, "devices"),
        (ExchangePage::Invite, "invite"),
        (ExchangePage::Join, "join"),
        (ExchangePage::Strike, "strike"),
    ] {
        let mut view = exchange.get_view();
        view.page = page;
        exchange.set_view(view);
        let mut progress = exchange.get_progress();
        progress.running = true;
        exchange.set_progress(progress);
        for &look in &LOOKS {
            dress(&app, look);
            failures.extend(compare(&app, &format!("exchange-{name}-{}", look.name())).err());
        }
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn package_screen() {
    check(Screen::Package, "package");
}

#[test]
fn inspect_screen() {
    check(Screen::Inspect, "inspect");
}

#[test]
fn marks_that_can_be_found_in_all_photographs() {
    check_with(Screen::Mark, "mark-seekable", |app| {
        let mut mark = app.global::<Data>().get_mark();
        mark.seekable = true;
        app.global::<Data>().set_mark(mark);
    });
}

#[test]
fn an_order_that_can_be_signed() {
    check_with(Screen::Order, "order-signable", |app| {
        let mut order = app.global::<Data>().get_order_state();
        order.blocks = ModelRc::default();
        app.global::<Data>().set_order_state(order);
    });
}

#[test]
fn photographs_whose_tags_were_not_looked_for_and_no_camera() {
    check_with(Screen::Photographs, "photographs-stopped", |app| {
        let mut taking = app.global::<Data>().get_taking();
        let mut taken: Vec<_> = taking.taken.iter().collect();
        for photo in taken.iter_mut().skip(1) {
            photo.tags = -1;
        }
        taking.taken = ModelRc::new(VecModel::from(taken));
        taking.camera = false;
        taking.camera_problem =
            "No camera was found; photographs are taken in from the folder.".into();
        (taking.stopped, taking.unreadable) = (true, true);
        taking.offered = ModelRc::default();
        app.global::<Data>().set_taking(taking);
    });
}

#[test]
fn what_one_look_finds_is_said_in_one_touch() {
    check_with(Screen::Examine, "examine-well", |app| {
        let mut list = app.global::<Data>().get_examine();
        list.question = QuestionView {
            title: "Dorsalis pedis pulse".into(),
            answer: Answer::OneOf,
            choices: ModelRc::new(VecModel::from(
                ["present", "weak", "absent"].map(|text| ChoiceItem {
                    text: text.into(),
                    ..ChoiceItem::default()
                })
                .to_vec(),
            )),
            well: "Dorsalis pedis pulse present · Tibialis posterior pulse present · Swelling none · Skin under the plaster intact".into(),
            well_count: 4,
            ..QuestionView::default()
        };
        list.cautions = ModelRc::default();
        app.global::<Data>().set_examine(list);
    });
}

#[test]
fn the_other_foots_timer_runs_too() {
    check_with(Screen::Cast, "cast-both-feet", |app| {
        let data = app.global::<Data>();
        data.set_both_sides(true);
        data.set_other_timer("right: hold still · 1:48".into());
    });
}

/// Where else to go, from a screen used with wet hands.
#[test]
fn all_steps_for_wet_hands() {
    check_with(Screen::Cast, "all-steps", |app| {
        touch(app, "All steps");
    });
}

/// Everything at once that can stand in the head of a wet-hand screen.
#[test]
fn a_full_head() {
    check_with(Screen::Cast, "full-head", |app| {
        let data = app.global::<Data>();
        data.set_both_sides(true);
        data.set_two_versions(2);
        data.set_other_timer("right: lay on and mould · 1:48".into());
        data.set_person("P-7SM2-Q6CB".into());
        data.set_visit("7R3K-M2XD-9TQ4-7 · 26 Nov 2026".into());
        let mut progress = data.get_progress();
        (progress.running, progress.what) = (true, Work::ReadingPhotographs);
        (progress.done, progress.of) = (2, 6);
        data.set_progress(progress);
    });
}

/// An arrow shows from where another photograph would help.
#[test]
fn check_with_advice() {
    check_with(Screen::Check, "check-advice", |app| {
        let data = app.global::<Data>();
        let mut check = data.get_check();
        check.advice = "Lower, from the front on the outer side.".into();
        let mut paths: Vec<_> = check.above.paths.iter().collect();
        paths.push(DrawnPath {
            commands: "M -55 -30 L -16 -68 M -30 -62 L -16 -68 L -22 -54".into(),
            stroke: Stroke::Advice,
        });
        check.above.paths = ModelRc::new(VecModel::from(paths));
        let mut notes: Vec<_> = check.above.notes.iter().collect();
        notes.push(DrawnNote {
            x_mm: -59.0,
            y_mm: -26.0,
            text: "".into(),
            word: NoteWord::PhotographFromHere,
            anchor: Anchor::Middle,
        });
        check.above.notes = ModelRc::new(VecModel::from(notes));
        data.set_check(check);
    });
}

#[test]
fn check_before_anything_is_measured() {
    check_with(Screen::Check, "check-waiting", |app| {
        let mut check = app.global::<Data>().get_check();
        check.ready = false;
        check.level = plinthside_ui::Level::None;
        check.sentence = "".into();
        (check.findings, check.not_judged) = (ModelRc::default(), ModelRc::default());
        for value in [
            &mut check.rear_value,
            &mut check.above_value,
            &mut check.side_value,
        ] {
            value.present = false;
        }
        for drawing in [&mut check.rear, &mut check.above, &mut check.side] {
            drawing.paths = ModelRc::default();
            drawing.dots = ModelRc::default();
            drawing.notes = ModelRc::default();
        }
        app.global::<Data>().set_check(check);
    });
}

#[test]
fn a_label_code_is_typed() {
    check_with(Screen::Label, "label-typed", |app| {
        let mut work = app.global::<Printing>().get_labelling();
        work.doing = LabelDoing::Binding;
        app.global::<Printing>().set_labelling(work);
    });
}

#[test]
fn first_start() {
    check_with(Screen::Unlock, "first-start", |app| {
        let mut door = app.global::<Data>().get_door();
        door.first = true;
        app.global::<Data>().set_door(door);
        app.global::<Data>().set_in_visit(false);
    });
}

/// German words are longer: nothing may be cut off.
#[test]
fn screens_in_german() {
    let app = open(LOOKS[0]);
    slint::select_bundled_translation("de").expect("German is bundled");
    let mut failures = Vec::new();
    for (screen, name) in [
        (Screen::Check, "check"),
        (Screen::Mark, "mark"),
        (Screen::Cast, "cast"),
        (Screen::Exchange, "exchange"),
        (Screen::Package, "package"),
    ] {
        app.global::<Data>().set_screen(screen);
        failures.extend(compare(&app, &format!("{name}-german")).err());
    }
    // The longest words in the narrowest places.
    app.global::<Data>().set_screen(Screen::Person);
    for (look, name) in [
        (LOOKS[1], "upright"),
        (
            Look {
                text_scale: 1.5,
                ..LOOKS[1]
            },
            "large",
        ),
    ] {
        dress(&app, look);
        failures.extend(compare(&app, &format!("person-german-{name}")).err());
    }
    dress(&app, LOOKS[0]);
    let data = app.global::<Data>();
    let mut mark = data.get_mark();
    mark.seekable = true;
    data.set_mark(mark);
    let mut order = data.get_order_state();
    order.blocks = ModelRc::default();
    data.set_order_state(order);
    for (screen, name) in [
        (Screen::Mark, "mark-seekable"),
        (Screen::Order, "order-signable"),
    ] {
        data.set_screen(screen);
        failures.extend(compare(&app, &format!("{name}-german")).err());
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}
