//! Writes every document with invented data into a folder, to be looked at:
//! `cargo run --release -p plinthside-paper --example look -- FOLDER`.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "../tests/paper/data.rs"]
mod data;

use data::*;
use plinthside_measure::marks::Side;
use plinthside_paper::*;
use plinthside_visit::Lang;
use std::path::Path;
use std::time::Instant;

fn main() {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "look".into());
    let folder = Path::new(&folder);
    std::fs::create_dir_all(folder).unwrap();
    let keep = |name: String, bytes: Vec<u8>| std::fs::write(folder.join(name), bytes).unwrap();
    for size in LabelSize::ALL {
        for (side, data) in [
            (Side::Left, a_label(Side::Left)),
            (Side::Right, a_long_label(Side::Right)),
        ] {
            for printer in [PrinterDots::DPI_203, PrinterDots::DPI_300] {
                let start = Instant::now();
                let set = label(&data, size, printer).unwrap();
                let png = set.png(0, printer.dpi).unwrap();
                println!(
                    "label {size} {side} {:.0} dpi: {:.0} ms",
                    printer.dpi,
                    start.elapsed().as_secs_f64() * 1e3
                );
                keep(format!("label-{size}-{side}-{:.0}.png", printer.dpi), png);
                keep(format!("label-{size}-{side}.pdf"), set.pdf().unwrap());
            }
        }
    }
    let codes: Vec<_> = (0..33).map(|_| CastCode::mint().unwrap()).collect();
    for paper in [Paper::A4, Paper::Letter] {
        let start = Instant::now();
        let set = labels(
            &codes[..24],
            1,
            "Weir Lane Foot Clinic",
            "01632 960 114",
            paper,
            date(),
        )
        .unwrap();
        let pdf = set.pdf().unwrap();
        println!(
            "sheet of 24 on {paper}: {:.0} ms",
            start.elapsed().as_secs_f64() * 1e3
        );
        keep(format!("labels-{paper}.pdf"), pdf);
    }
    for paper in plinthside_measure::mat::sheet::Paper::ALL {
        let layout = paper.layout();
        let name = layout.name.replace(' ', "-").to_lowercase();
        keep(
            format!("mat-{name}.pdf"),
            mat(&layout, Lang::En, date()).unwrap().pdf().unwrap(),
        );
        keep(
            format!("mat-{name}.json"),
            layout.mat().unwrap().to_json().into_bytes(),
        );
    }
    let cautions = ["Skin insensate at two sites: pad fully, check daily.".to_owned()];
    for side in [Side::Left, Side::Right] {
        let results = worked_example(side);
        let verdict = judged(&results);
        let outlines = [an_outline(side)];
        let (clinic, ordered) = (a_clinic(), an_order(side));
        for paper in [Paper::A4, Paper::Letter] {
            let start = Instant::now();
            let set = bench(
                &a_bench(&results, &outlines, Some(&verdict), &cautions),
                paper,
            )
            .unwrap();
            keep(format!("bench-{side}-{paper}.pdf"), set.pdf().unwrap());
            println!(
                "bench sheet {side} {paper}: {:.0} ms",
                start.elapsed().as_secs_f64() * 1e3
            );
            let set = order(&an_order_sheet(&clinic, &ordered, &cautions), paper).unwrap();
            keep(format!("order-{side}-{paper}.pdf"), set.pdf().unwrap());
        }
    }
    for (lang, name) in [(Lang::En, "en"), (Lang::De, "de")] {
        let text = a_leaflet(lang);
        let set = leaflet(&a_leaflet_sheet(&text), Paper::A4).unwrap();
        keep(format!("leaflet-{name}.pdf"), set.pdf().unwrap());
    }
    let texts = CardTexts::shipped();
    for (lang, name) in [(Lang::En, "en"), (Lang::De, "de")] {
        let card = texts.card(lang);
        let set = couch_card(&card, Paper::A4).unwrap();
        keep(format!("couch-card-{name}.pdf"), set.pdf().unwrap());
    }
    in_german(&keep);
    let clinic = a_clinic();
    keep(
        "packing.pdf".into(),
        packing_list(&a_packing(&clinic, &packed(), &contents()), Paper::A4)
            .unwrap()
            .pdf()
            .unwrap(),
    );
}

/// The same papers for a German clinic.
fn in_german(keep: &dyn Fn(String, Vec<u8>)) {
    let lang = Lang::De;
    let side = Side::Right;
    let (results, clinic, ordered) = (worked_example(side), a_clinic(), an_order(side));
    let (verdict, outlines) = (judged(&results), [an_outline(side)]);
    let cautions = ["Eine Prüfstelle wird nicht gespürt: durchgehend polstern.".to_owned()];
    let sheet = Bench {
        lang,
        ordered: "Knöchel-Fuß-Orthese mit Gelenk",
        ..a_bench(&results, &outlines, Some(&verdict), &cautions)
    };
    let set = bench(&sheet, Paper::A4).unwrap();
    keep("bench-de.pdf".into(), set.pdf().unwrap());
    let record = a_cast_record();
    let sheet = OrderSheet {
        lang,
        cast: Some(&record),
        without_photographs: true,
        ..an_order_sheet(&clinic, &ordered, &cautions)
    };
    let set = order(&sheet, Paper::A4).unwrap();
    keep("order-de.pdf".into(), set.pdf().unwrap());
    let (casts, contents) = (packed(), contents());
    let list = Packing {
        lang,
        ..a_packing(&clinic, &casts, &contents)
    };
    let set = packing_list(&list, Paper::A4).unwrap();
    keep("packing-de.pdf".into(), set.pdf().unwrap());
    let layout = plinthside_measure::mat::sheet::Paper::ALL[0].layout();
    let set = mat(&layout, lang, date()).unwrap();
    keep("mat-de.pdf".into(), set.pdf().unwrap());
}
