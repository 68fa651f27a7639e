//! A marks file, measured by its ruler entries where it has any: never a number that is none.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_measure::cast;
use plinthside_measure::marks::Marks;

fuzz_target!(|text: &str| {
    let Ok(marks) = Marks::from_json(text) else { return };
    let Ok(points) = marks.ruler.cast_points(marks.side, marks.wall) else {
        return;
    };
    if let Ok(results) = cast::results(&points, marks.side, &marks.settings, &marks.leg) {
        for (name, quantity) in &results.quantities {
            assert!(quantity.value.is_finite(), "{name:?}");
        }
    }
});
