//! Draws the demo's photographs and writes what belongs to them.

use plinthside_demo_data::render::{clinic, studio};
use std::error::Error;
use std::path::Path;

const USAGE: &str = "usage: render-demo FOLDER [--shrink N] [--side left|right] [--photo N | --records]\n\
    --shrink N   N times fewer pixels each way, for a quick look\n\
    --photo N    that photograph only\n\
    --records    write truth and marks files only";

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().ok_or(USAGE)?;
    let (mut shrink, mut side, mut photo) = (1, None, None);
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--shrink" => shrink = arguments.next().ok_or(USAGE)?.parse()?,
            "--side" => side = Some(arguments.next().ok_or(USAGE)?),
            "--photo" => photo = Some(arguments.next().ok_or(USAGE)?.parse::<usize>()?),
            "--records" => photo = Some(0),
            _ => return Err(USAGE.into()),
        }
    }
    studio::write_mat(Path::new(&folder))?;
    for patient in clinic::patients() {
        if side.as_deref().is_none_or(|side| side == patient.side) {
            let wanted = |i: usize| photo.is_none_or(|only| only == i);
            studio::write(&patient, Path::new(&folder), shrink, &wanted)?;
        }
    }
    Ok(())
}
