//! A window with nothing in it, of the same library and features: says when its first picture is
//! drawn, and ends. The program's own first picture is measured beside it (`tests/bench/window.py`).
#![allow(clippy::expect_used)]

use slint::ComponentHandle;

slint::slint! {
    export component Empty inherits Window {
        preferred-width: 1280px;
        preferred-height: 800px;
    }
}

fn main() {
    let window = Empty::new().expect("a screen");
    let weak = window.as_weak();
    slint::Timer::single_shot(std::time::Duration::ZERO, move || {
        let picture = weak.upgrade().map(|w| w.window().take_snapshot());
        assert!(picture.is_some_and(|p| p.is_ok()), "nothing was drawn");
        println!("drawn");
        let _ = slint::quit_event_loop();
    });
    window.run().expect("a screen");
}
