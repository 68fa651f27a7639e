//! Time of a label from its data to PNG, and of a sheet of 24, warm, as JSON: every label another
//! code, so that nothing set before is used again; the median of several.

#![allow(clippy::expect_used)]

use chrono::NaiveDate;
use plinthside_measure::marks::Side;
use plinthside_paper::{CastCode, Label, LabelSize, Paper, PrinterDots, label, labels};
use std::time::Instant;

const RUNS: usize = 15;

fn median_ms(mut work: impl FnMut()) -> f64 {
    work();
    let mut times: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64() * 1000.0
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[RUNS / 2]
}

fn main() {
    let date = NaiveDate::from_ymd_opt(2026, 11, 25).expect("a day");
    let mint = || CastCode::mint().expect("randomness");
    let one = |size, dots: PrinterDots| {
        let data = Label {
            code: mint(),
            side: Side::Left,
            revision: 1,
            device: "Hinged ankle-foot orthosis".into(),
            hinge: "Plantarflexion stopped at 0°; dorsiflexion free".into(),
            date,
            clinic: "Weir Lane Foot Clinic".into(),
            telephone: "01632 960 114".into(),
            package: None,
            name: None,
        };
        let page = label(&data, size, dots).expect("a label");
        page.png(0, dots.dpi).expect("a picture");
    };
    let mut times = serde_json::Map::new();
    for size in LabelSize::ALL {
        for dots in [PrinterDots::DPI_203, PrinterDots::DPI_300] {
            let name = format!("{size} at {:.0} dpi", dots.dpi);
            times.insert(name, median_ms(|| one(size, dots)).into());
        }
    }
    let sheet = |picture: bool| {
        let codes: Vec<CastCode> = (0..24).map(|_| mint()).collect();
        let page = labels(
            &codes,
            1,
            "Weir Lane Foot Clinic",
            "01632 960 114",
            Paper::A4,
            date,
        );
        let page = page.expect("a sheet");
        if picture {
            page.png(0, 200.0).expect("a picture");
        } else {
            page.pdf().expect("a PDF");
        }
    };
    times.insert("sheet of 24, PDF".into(), median_ms(|| sheet(false)).into());
    times.insert("sheet of 24, PNG".into(), median_ms(|| sheet(true)).into());
    println!("{}", serde_json::Value::from(times));
}
