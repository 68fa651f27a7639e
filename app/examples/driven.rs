//! The program's own window, with a list of what is on it beside: for tests that use it as a person
//! does, with pointer and keys, and have to find a control before they can touch it.
//!
//! ```text
//! driven STORE PICTURES PAPERS LIST [PACKAGE]
//! ```
//!
//! STORE is made or opened behind its door as ever; PICTURES is the folder looked through for
//! photographs. LIST is written anew at every turn, with the turn's number, so that a reader knows when
//! what it sent has been dealt with: name, role, value and the rectangle of each element that a screen
//! reader would find. Nothing else differs from the program.
#![allow(clippy::expect_used)]

use i_slint_backend_testing::{ElementHandle, ElementRoot};
use plinthside::records::Place;
use plinthside::window::{Window, own_session};
use std::path::{Path, PathBuf};
use std::time::Duration;

fn described(element: &ElementHandle) -> Option<serde_json::Value> {
    let role = element.accessible_role()?;
    let (at, size) = (element.absolute_position(), element.size());
    Some(serde_json::json!({
        "role": format!("{role:?}"),
        "name": element.accessible_label().unwrap_or_default().as_str(),
        "value": element.accessible_value().unwrap_or_default().as_str(),
        "description": element.accessible_description().unwrap_or_default().as_str(),
        "enabled": element.accessible_enabled().unwrap_or(true),
        "selected": element.accessible_item_selected().unwrap_or(false),
        "checked": element.accessible_checked().unwrap_or(false),
        "x": at.x, "y": at.y, "width": size.width, "height": size.height,
    }))
}

fn listed(window: &Window) -> Vec<serde_json::Value> {
    let elements = window
        .app()
        .root_element()
        .query_descendants()
        .match_predicate(|e| e.accessible_role().is_some())
        .find_all();
    elements.iter().filter_map(described).collect()
}

/// Written beside and moved into place, so that no reader sees half of it.
fn write(path: &Path, text: &str) {
    let beside = path.with_extension("new");
    std::fs::write(&beside, text).expect("the list can be written");
    std::fs::rename(&beside, path).expect("the list can be moved into place");
}

fn main() {
    let mut arguments: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let package = (arguments.len() == 5).then(|| arguments.remove(4));
    let [store, pictures, papers, list] = arguments.try_into().expect("STORE PICTURES PAPERS LIST");
    let place = Place::new(Some(store), None).expect("a place");
    let mut session = own_session(place, papers).expect("the shipped tables");
    session.taking.folder = pictures;
    if let Some(package) = package {
        session.package_given(&package);
    }
    let window = std::rc::Rc::new(Window::new(session).expect("a screen"));
    let (timer, shown) = (slint::Timer::default(), window.clone());
    let mut turn = 0_u64;
    timer.start(
        slint::TimerMode::Repeated,
        Duration::from_millis(60),
        move || {
            turn += 1;
            let now = serde_json::json!({ "turn": turn, "elements": listed(&shown) });
            write(&list, &now.to_string());
        },
    );
    window.run().expect("a screen");
}
