//! Every control of every screen has a name and a role and is large enough to be touched.

mod support;

use i_slint_backend_testing::{AccessibleRole, ElementHandle, ElementRoot};
use plinthside_ui::{App, Data, Exchange, ExchangePage, Screen, Theme};
use slint::ComponentHandle;
use support::{Look, dress, open};

/// 9 mm, and 20 mm on the screens used with wet hands.
fn least_mm(screen: Screen) -> f32 {
    match screen {
        Screen::Cast | Screen::Position | Screen::Photographs => 20.0,
        _ => 9.0,
    }
}

const SCREENS: [Screen; 23] = [
    Screen::Reasons,
    Screen::Ruler,
    Screen::Unlock,
    Screen::Recover,
    Screen::Photographs,
    Screen::Cases,
    Screen::Person,
    Screen::Examine,
    Screen::Position,
    Screen::Cast,
    Screen::Check,
    Screen::Mark,
    Screen::Order,
    Screen::Label,
    Screen::HandOver,
    Screen::FollowUp,
    Screen::History,
    Screen::Conflicts,
    Screen::Settings,
    Screen::About,
    Screen::Exchange,
    Screen::Package,
    Screen::Help,
];

/// Shows a screen, or each of its pages.
fn each_page(app: &App, screen: Screen, mut look: impl FnMut()) {
    app.global::<Data>().set_screen(screen);
    if screen != Screen::Exchange {
        return look();
    }
    let exchange = app.global::<Exchange>();
    for page in [
        ExchangePage::Home,
        ExchangePage::Target,
        ExchangePage::Devices,
        ExchangePage::Invite,
        ExchangePage::Join,
        ExchangePage::Strike,
    ] {
        let mut view = exchange.get_view();
        view.page = page;
        view.practice = page != ExchangePage::Join;
        exchange.set_view(view);
        look();
    }
}

fn controls(app: &App) -> Vec<ElementHandle> {
    app.root_element()
        .query_descendants()
        .match_predicate(|e| {
            matches!(
                e.accessible_role(),
                Some(
                    AccessibleRole::Button
                        | AccessibleRole::RadioButton
                        | AccessibleRole::Checkbox
                        | AccessibleRole::Tab
                        | AccessibleRole::Slider
                        | AccessibleRole::Spinbox
                        | AccessibleRole::TextInput
                )
            )
        })
        .find_all()
}

#[test]
fn every_control_has_a_name_and_is_large_enough() {
    let app = open(Look::TABLET);
    let px_per_mm = app.global::<Theme>().get_px_per_mm();
    for look in [
        Look::TABLET,
        Look {
            width: 800,
            height: 1280,
            ..Look::TABLET
        },
        Look {
            width: 1366,
            height: 768,
            text_scale: 1.5,
            ..Look::TABLET
        },
    ] {
        dress(&app, look);
        for screen in SCREENS {
            each_page(&app, screen, || {
                let found = controls(&app);
                assert!(
                    !found.is_empty(),
                    "{screen:?} shows {} controls",
                    found.len()
                );
                for control in found {
                    let name = control.accessible_label().unwrap_or_default();
                    assert!(
                        !name.is_empty(),
                        "{screen:?}: a control without a name: {:?}",
                        control.id()
                    );
                    let size = control.size();
                    // Steps and settings stand on every screen and are no part of the work with wet hands.
                    let frame = control.accessible_role() == Some(AccessibleRole::Tab)
                        || name == "Settings"
                        || name == "History"
                        || name == "Help"
                        || name == "Put the visit away";
                    let least = if frame { 9.0 } else { least_mm(screen) };
                    let mm = size.width.min(size.height) / px_per_mm;
                    assert!(
                        mm >= least - 0.01,
                        "{screen:?} {}: {name} is {mm:.1} mm small",
                        look.name()
                    );
                }
            });
        }
    }
}

#[test]
fn a_name_is_spoken_once_on_a_screen() {
    let app = open(Look::TABLET);
    for screen in SCREENS {
        each_page(&app, screen, || {
            let mut names: Vec<_> = controls(&app)
                .iter()
                .filter_map(ElementHandle::accessible_label)
                .collect();
            names.sort();
            let before = names.len();
            names.dedup();
            assert_eq!(
                before,
                names.len(),
                "{screen:?}: two controls share a name: {names:?}"
            );
        });
    }
}
