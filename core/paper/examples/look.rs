//! Writes every document with invented data into a folder, to be looked at.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use chrono::NaiveDate;
use plinthside_measure::marks::Side;
use plinthside_paper::*;
use std::path::Path;

fn main() {
    let dir = std::env::args().nth(1).expect("folder");
    let dir = Path::new(&dir);
    std::fs::create_dir_all(dir).unwrap();
    let date = NaiveDate::from_ymd_opt(2026, 11, 25).unwrap();
    let code = CastCode::from_bits(0x0123_4567_89AB_CDE3).or_else(|| CastCode::from_bits(77)).unwrap();
    for size in LabelSize::ALL {
        for (side, long) in [(Side::Left, false), (Side::Right, true)] {
            let data = Label {
                code,
                side,
                revision: if long { 12 } else { 1 },
                device: if long { "Hinged ankle-foot orthosis with lateral extension of the foot shell and full padding".into() } else { "Hinged ankle-foot orthosis".into() },
                hinge: if long { "Dorsiflexion free; plantarflexion stopped at 0°, adjustable; hinge on both sides, level with 10° external rotation".into() } else { "Dorsiflexion free, plantarflexion stopped at 0°".into() },
                date,
                clinic: if long { "Harbourside and Upper Valley Foot and Ankle Clinic".into() } else { "Weir Lane Foot Clinic".into() },
                telephone: "01632 960 114".into(),
                package: long.then_some((1, 2)),
                name: long.then(|| "Mr Bartholomew Featherstonehaugh-Cholmondeley".into()),
            };
            for printer in [PrinterDots::DPI_203, PrinterDots::DPI_300] {
                let t = std::time::Instant::now();
                let doc = label(&data, size, printer).unwrap();
                let png = doc.png(0, printer.dpi).unwrap();
                println!("{size} {side} {:.0} dpi: {:.1} ms", printer.dpi, t.elapsed().as_secs_f64() * 1e3);
                std::fs::write(dir.join(format!("label-{size}-{side}-{:.0}.png", printer.dpi)), png).unwrap();
                std::fs::write(dir.join(format!("label-{size}-{side}.pdf")), doc.pdf().unwrap()).unwrap();
            }
        }
    }
    let codes: Vec<_> = (0..33).map(|_| CastCode::mint().unwrap()).collect();
    for paper in [Paper::A4, Paper::Letter] {
        let t = std::time::Instant::now();
        let doc = labels(&codes, 1, "Weir Lane Foot Clinic", "01632 960 114", paper, date).unwrap();
        println!("sheet {paper} {:.0} ms", t.elapsed().as_secs_f64() * 1e3);
        std::fs::write(dir.join(format!("labels-{paper}.pdf")), doc.pdf().unwrap()).unwrap();
    }
    for (name, paper) in [
        ("a4", plinthside_measure::mat::sheet::Paper::A4),
        ("a3", plinthside_measure::mat::sheet::Paper::A3),
        ("letter", plinthside_measure::mat::sheet::Paper::Letter),
        ("two-a4", plinthside_measure::mat::sheet::Paper::TwoA4),
    ] {
        let doc = mat(&paper.layout(), date).unwrap();
        std::fs::write(dir.join(format!("mat-{name}.pdf")), doc.pdf().unwrap()).unwrap();
    }
}
