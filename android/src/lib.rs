//! The entry of the Android application. Everything else is the same program; the store lies in
//! the application's private folder.
#![cfg(target_os = "android")]

use plinthside::records::Place;
use slint::android::AndroidApp;

/// Called by the system on a thread of its own; returning ends the application.
#[unsafe(no_mangle)]
fn android_main(app: AndroidApp) {
    let folder = app.internal_data_path();
    if let Err(problem) = slint::android::init(app) {
        eprintln!("no screen: {problem}");
        return;
    }
    let store = folder.map(|folder| folder.join("clinic.store"));
    let opened =
        Place::new(store, None).and_then(|place| plinthside::window::open_own(place, None));
    if let Err(problem) = opened {
        eprintln!("{problem}");
    }
}
