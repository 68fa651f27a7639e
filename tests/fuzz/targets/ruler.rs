//! Ruler and calliper numbers of a cast.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_measure::cast::{self, Settings};
use plinthside_measure::leg::Leg;
use plinthside_measure::marks::Side;
use plinthside_measure::ruler::RulerEntry;

fuzz_target!(|text: &str| {
    let Ok(entry) = serde_json::from_str::<RulerEntry>(text) else {
        return;
    };
    for side in [Side::Left, Side::Right] {
        let Ok(points) = entry.cast_points(side, None) else {
            continue;
        };
        let (settings, leg) = (Settings::default(), Leg::default());
        if let Ok(results) = cast::results(&points, side, &settings, &leg) {
            for (name, quantity) in &results.quantities {
                assert!(quantity.value.is_finite(), "{name:?}");
            }
        }
    }
});
