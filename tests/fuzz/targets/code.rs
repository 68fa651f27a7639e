//! A typed cast code: what is taken is one of ours, and is printed and read again the same.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_paper::CastCode;

fuzz_target!(|text: &str| {
    if let Ok(code) = text.parse::<CastCode>() {
        assert_eq!(code.to_string().parse(), Ok(code));
        assert_eq!(CastCode::from_payload(&code.payload()), Some(code));
    }
    let _ = CastCode::from_payload(text);
});
