//! Every control of every screen has a name and a role and is large enough to be touched.

mod support;

use i_slint_backend_testing::{AccessibleRole, ElementHandle, ElementRoot};
use plinthside_ui::{App, Backend, Data, Exchange, ExchangePage, Screen, Theme, Work};
use slint::platform::{Key, PointerEventButton, WindowEvent};
use slint::{ComponentHandle, SharedString};
use std::cell::Cell;
use std::collections::BTreeSet;
use std::rc::Rc;
use support::{Look, dress, open, touch};

/// 9 mm, and 20 mm on the screens used with wet hands.
fn least_mm(screen: Screen) -> f32 {
    match screen {
        Screen::Cast | Screen::Position | Screen::Photographs | Screen::Inspect => 20.0,
        _ => 9.0,
    }
}

const SCREENS: [Screen; 24] = [
    Screen::Inspect,
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

/// Shows a screen, and each of its pages or states that have other controls.
fn each_page(app: &App, screen: Screen, mut look: impl FnMut()) {
    let data = app.global::<Data>();
    data.set_screen(screen);
    if least_mm(screen) > 9.0 {
        touch(app, "All steps");
        look();
        touch(app, "Back");
    }
    match screen {
        Screen::Exchange => {}
        Screen::Cast => {
            let mut cast = data.get_cast();
            for stage in [0, 2, 1] {
                cast.stage = stage;
                data.set_cast(cast.clone());
                look();
            }
            return;
        }
        Screen::Position | Screen::Inspect => {
            look();
            touch(app, "List of questions");
            return look();
        }
        Screen::Photographs => {
            let mut taking = data.get_taking();
            for camera in [true, false] {
                (taking.camera, taking.stopped) = (camera, !camera);
                data.set_taking(taking.clone());
                look();
            }
            touch(app, "Folder");
            return look();
        }
        _ => return look(),
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
    // Everything that can be touched in the head of a screen is there.
    let data = app.global::<Data>();
    data.set_both_sides(true);
    data.set_two_versions(2);
    let mut progress = data.get_progress();
    (progress.running, progress.what, progress.of) = (true, Work::Measuring, 6);
    data.set_progress(progress);
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
                    let least = least_mm(screen);
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

fn press(app: &App, key: impl Into<SharedString>) {
    let text = key.into();
    app.window()
        .dispatch_event(WindowEvent::KeyPressed { text: text.clone() });
    app.window()
        .dispatch_event(WindowEvent::KeyReleased { text });
}

/// The control that has the focus, by the ring around it; None where something else has.
fn focused(app: &App) -> Option<ElementHandle> {
    let near = |a: f32, b: f32| (a - b).abs() < 5.0;
    let ring = app
        .root_element()
        .query_descendants()
        .match_predicate(|e| e.id().is_some_and(|id| id.ends_with("::ring-round")))
        .find_first()?;
    let (at, size) = (ring.absolute_position(), ring.size());
    controls(app).into_iter().find(|control| {
        let (place, extent) = (control.absolute_position(), control.size());
        near(at.x, place.x)
            && near(at.y, place.y)
            && (size.width - extent.width).abs() < 9.0
            && (size.height - extent.height).abs() < 9.0
    })
}

/// By the tab key alone, at the size where most lies below the edge of what scrolls. A dial is
/// turned by its two steppers.
#[test]
fn every_control_is_reached_by_keys_and_comes_into_view() {
    let look = Look {
        width: 1366,
        height: 768,
        text_scale: 1.5,
        ..Look::TABLET
    };
    let app = open(look);
    let mut wrong = Vec::new();
    for screen in SCREENS {
        each_page(&app, screen, || {
            let (mut seen, mut reached) = (BTreeSet::new(), BTreeSet::new());
            for _ in 0..60 {
                seen.extend(
                    controls(&app)
                        .iter()
                        .filter(|c| c.accessible_enabled() != Some(false))
                        .filter(|c| c.accessible_role() != Some(AccessibleRole::Spinbox))
                        .filter_map(ElementHandle::accessible_label),
                );
                press(&app, Key::Tab);
                let Some(control) = focused(&app) else {
                    continue;
                };
                let (at, size) = (control.absolute_position(), control.size());
                let name = control.accessible_label().unwrap_or_default();
                if at.y < -1.0 || at.y + size.height > look.height as f32 + 1.0 {
                    wrong.push(format!("{screen:?}: {name} has the focus out of view"));
                }
                reached.insert(name);
            }
            for missed in seen.difference(&reached) {
                wrong.push(format!("{screen:?}: the keys do not reach {missed}"));
            }
        });
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_mark_is_set_by_keys_at_the_middle_of_the_photograph() {
    let app = open(Look::TABLET);
    let data = app.global::<Data>();
    data.set_screen(Screen::Mark);
    let mut mark = data.get_mark();
    mark.tapped = false;
    data.set_mark(mark);
    let at = Rc::new(Cell::new(None));
    let told = at.clone();
    app.global::<Backend>()
        .on_tap_photo(move |x, y| told.set(Some((x, y))));
    for _ in 0..40 {
        press(&app, Key::Tab);
        if focused(&app).is_none() {
            press(&app, Key::Return);
        }
        if at.get().is_some() {
            break;
        }
    }
    let (x, y) = at.get().expect("Return sets the mark");
    assert!(
        (x - 800.0).abs() < 1.0 && (y - 600.0).abs() < 1.0,
        "{x}, {y}"
    );
    // Enlarged, the arrows bring another place under the cross.
    for key in ["+", "+"] {
        press(&app, key);
    }
    press(&app, Key::RightArrow);
    press(&app, Key::Return);
    let (right, same) = at.get().expect("a place");
    assert!(right > x + 2.0 && (same - y).abs() < 1.0, "{right}, {same}");
}

#[test]
fn a_wet_double_touch_skips_no_phase_of_the_cast() {
    let app = open(Look::TABLET);
    let data = app.global::<Data>();
    data.set_screen(Screen::Cast);
    let mut cast = data.get_cast();
    cast.stage = 0;
    data.set_cast(cast);
    let removed = Rc::new(Cell::new(0));
    let backend = app.global::<Backend>();
    let weak = app.as_weak();
    backend.on_start_timer(move || {
        let app = weak.upgrade().expect("the window is there");
        let mut cast = app.global::<Data>().get_cast();
        cast.stage = 1;
        app.global::<Data>().set_cast(cast);
    });
    let told = removed.clone();
    backend.on_cast_removed(move || told.set(told.get() + 1));
    let click = |name: &str| {
        ElementHandle::find_by_accessible_label(&app, name)
            .next()
            .unwrap_or_else(|| panic!("no {name}"))
            .mock_single_click(PointerEventButton::Left);
    };
    let wait =
        |ms| i_slint_backend_testing::mock_elapsed_time(std::time::Duration::from_millis(ms));
    wait(50);
    click("First slab dipped");
    wait(100);
    assert_eq!(data.get_cast().stage, 1, "the first touch counts");
    click("Removed");
    wait(1500);
    click("Removed");
    assert_eq!(removed.get(), 0, "the second touch came too soon");
    wait(600);
    click("Removed");
    assert_eq!(removed.get(), 1, "a meant touch counts");
}
