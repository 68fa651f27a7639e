//! Every QR code in each picture, as JSON: `codes PICTURE...`, for checks beside other readers.
//! `ms` is the reading alone, the best of `CODES_RUNS` (1 where it is not set).

use plinthside_paper::qr::{Luma, read_codes};
use std::error::Error;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let runs = std::env::var("CODES_RUNS").map_or(Ok(1), |n| n.parse::<u32>())?;
    let mut all = Vec::new();
    for path in std::env::args().skip(1) {
        let grey = image::open(&path)?.to_luma8();
        let picture = Luma::from_grey(grey.width(), grey.height(), grey.as_raw())?;
        let (mut ms, mut codes) = (f64::INFINITY, Vec::new());
        for _ in 0..runs {
            let start = Instant::now();
            codes = read_codes(&picture);
            ms = ms.min(start.elapsed().as_secs_f64() * 1000.0);
        }
        all.push(serde_json::json!({ "picture": path, "codes": codes, "ms": ms }));
    }
    println!("{}", serde_json::to_string(&all)?);
    Ok(())
}
