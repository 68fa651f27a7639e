//! Draws the demo's photographs and writes what belongs to them.

use plinthside_demo_data::render::{clinic, studio};
use std::error::Error;
use std::path::Path;

const USAGE: &str = "usage: render-demo FOLDER [--shrink N] [--side left|right] [--records]\n\
    --shrink N   N times fewer pixels each way, for a quick look\n\
    --records    write truth and marks files only";

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().ok_or(USAGE)?;
    let (mut shrink, mut side, mut records) = (1, None, false);
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--shrink" => shrink = arguments.next().ok_or(USAGE)?.parse()?,
            "--side" => side = Some(arguments.next().ok_or(USAGE)?),
            "--records" => records = true,
            _ => return Err(USAGE.into()),
        }
    }
    for patient in clinic::patients() {
        if side.as_deref().is_none_or(|side| side == patient.side) {
            studio::write(&patient, Path::new(&folder), shrink, records)?;
        }
    }
    Ok(())
}
