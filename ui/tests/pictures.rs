//! Every screen as a picture, in several sizes, light and dark, normal and large text.

mod support;

use plinthside_ui::{Data, Exchange, ExchangePage, Screen};
use slint::ComponentHandle;
use support::{Look, compare, dress, open};

const LOOKS: [Look; 3] = [
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
];

fn check(screen: Screen, name: &str) {
    let app = open(LOOKS[0]);
    app.global::<Data>().set_screen(screen);
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
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}
