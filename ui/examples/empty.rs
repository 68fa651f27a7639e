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
    let timer = slint::Timer::default();
    let often = std::time::Duration::from_millis(1);
    timer.start(slint::TimerMode::Repeated, often, move || {
        // No picture before the window has its size.
        if weak
            .upgrade()
            .is_some_and(|w| w.window().take_snapshot().is_ok())
        {
            println!("drawn");
            let _ = slint::quit_event_loop();
        }
    });
    window.run().expect("a screen");
}
