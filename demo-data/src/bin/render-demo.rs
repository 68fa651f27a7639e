//! Draws the demo's photographs and writes what belongs to them.

use plinthside_demo_data::render::{clinic, studio};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().ok_or("usage: render-demo FOLDER [SHRINK [left|right]]")?;
    let shrink: u32 = arguments.next().map_or(Ok(1), |a| a.parse())?;
    let only = arguments.next();
    for patient in clinic::patients() {
        if only.as_deref().is_none_or(|side| side == patient.side) {
            studio::write(&patient, std::path::Path::new(&folder), shrink)?;
        }
    }
    Ok(())
}
