//! Tags of photographs as JSON, with the time each step takes: `detect [--border-bits 2] PHOTO...`
//!
//! What the benchmark and the outside checks need beside the program's own `detect`.

use plinthside_measure::detect::{Border, DetectOptions, tags, warnings};
use plinthside_measure::photo::decode_luma;
use std::error::Error;
use std::path::Path;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let mut options = DetectOptions::default();
    let mut arguments = std::env::args().skip(1).peekable();
    if arguments.next_if_eq("--border-bits").is_some() {
        let bits = arguments.next().unwrap_or_default().parse()?;
        options.border = Border::from_bits(bits).ok_or("border bits are 1 or 2")?;
    }
    let mut photographs = Vec::new();
    for path in arguments {
        let name = Path::new(&path)
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let bytes = std::fs::read(&path)?;
        let start = Instant::now();
        let photo = decode_luma(&name, &bytes)?;
        let decoded = start.elapsed();
        let found = tags(&photo, &options);
        let detected = start.elapsed() - decoded;
        let milliseconds = [decoded, detected].map(|time| time.as_secs_f64() * 1000.0);
        eprintln!(
            "{name}: decoded in {:.0} ms, {} tags in {:.0} ms",
            milliseconds[0],
            found.tags.len(),
            milliseconds[1]
        );
        for warning in warnings(&photo, &found, &options) {
            eprintln!("{warning}");
        }
        photographs.push(found);
    }
    println!("{}", serde_json::to_string(&photographs)?);
    Ok(())
}
