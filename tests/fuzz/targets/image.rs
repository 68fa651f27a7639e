//! A photograph's bytes: decoded, and its tags looked for where it is small.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_measure::detect::{self, DetectOptions};
use plinthside_measure::photo;

const SMALL: u32 = 512;

fuzz_target!(|bytes: &[u8]| {
    let Ok(photo) = photo::decode("fuzz.jpg", bytes) else {
        return;
    };
    assert_eq!(photo.luma().len(), photo.width as usize * photo.height as usize);
    if photo.width <= SMALL && photo.height <= SMALL {
        let _ = detect::tags(&photo, &DetectOptions::default());
    }
});
