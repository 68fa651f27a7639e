//! A mat file: whatever is read is written again the same, and no tag of it is out of range.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_measure::mat::Mat;

fuzz_target!(|text: &str| {
    if let Ok(mat) = Mat::from_json(text) {
        let again = Mat::from_json(&mat.to_json()).expect("what was written is read");
        assert_eq!(again, mat);
    }
});
