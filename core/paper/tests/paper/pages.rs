use crate::data::*;
use plinthside_measure::marks::Side;
use plinthside_paper::*;
use plinthside_visit::Clinic;

const A4: [f64; 2] = [210.0, 297.0];
const LETTER: [f64; 2] = [215.9, 279.4];

fn assert_size(document: &Document, [width, height]: [f64; 2]) {
    for page in 0..document.pages() {
        let [w, h] = document.page_mm(page).unwrap();
        assert!(
            (w - width).abs() < 1e-6 && (h - height).abs() < 1e-6,
            "{w} × {h}"
        );
    }
}

/// Words of all pages in one line, soft hyphens and line ends gone.
fn words(document: &Document) -> String {
    document
        .text()
        .concat()
        .replace('\n', " ")
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

#[track_caller]
fn assert_says(document: &Document, wanted: &[&str]) {
    let words = words(document);
    for want in wanted {
        assert!(words.contains(want), "“{want}” not in: {words}");
    }
}

#[test]
fn labels_say_what_ties_bag_and_order() {
    for size in LabelSize::ALL {
        for (side, word) in [(Side::Left, "left"), (Side::Right, "right")] {
            let document = label(&a_label(side), size, PrinterDots::DPI_203).unwrap();
            assert_eq!(document.pages(), 1);
            let (width, height) = size.mm();
            assert_size(&document, [width, height]);
            let text = words(&document);
            assert!(text.to_lowercase().contains(word), "{text}");
            assert!(text.replace(' ', "").contains("3FKQ-T4YC-5T82-A"), "{text}");
            for want in [
                "Revision 1",
                "orthosis",
                "stopped at 0°",
                "Weir Lane",
                "01632 960 114",
            ] {
                assert!(text.contains(want), "{size}: “{want}” not in {text}");
            }
            assert!(
                text.contains("25 Nov 2026") || text.contains("25 Nov"),
                "{text}"
            );
        }
    }
}

/// However long the words, a label stays one page and keeps code, side, revision and telephone.
#[test]
fn long_words_never_push_out_what_matters() {
    for size in LabelSize::ALL {
        let document = label(&a_long_label(Side::Right), size, PrinterDots::DPI_203).unwrap();
        assert_eq!(document.pages(), 1);
        let text = words(&document);
        for want in ["Revision 12", "1 of 2", "01632 960 114", "Mr Bartholomew"] {
            assert!(text.contains(want), "{size}: “{want}” not in {text}");
        }
    }
}

#[test]
fn label_sizes_and_papers_are_read_forgivingly() {
    for size in LabelSize::ALL {
        assert_eq!(size.to_string().parse::<LabelSize>().unwrap(), size);
    }
    assert_eq!(
        "62 × 29 mm".parse::<LabelSize>().unwrap(),
        LabelSize::W62H29
    );
    let error = "63x29".parse::<LabelSize>().unwrap_err().to_string();
    assert!(error.contains("62x29"), "{error}");
    assert_eq!(" Letter".parse::<Paper>().unwrap(), Paper::Letter);
    assert!("A5".parse::<Paper>().is_err());
}

#[test]
fn a_sheet_of_labels_numbers_and_names_every_code() {
    let codes: Vec<CastCode> = (0..33).map(|_| CastCode::mint().unwrap()).collect();
    for (paper, size, pages) in [(Paper::A4, A4, 2), (Paper::Letter, LETTER, 2)] {
        let document = labels(
            &codes,
            7,
            "Weir Lane Foot Clinic",
            "01632 960 114",
            paper,
            date(),
        )
        .unwrap();
        assert_eq!(document.pages(), pages);
        assert_size(&document, size);
        let text = words(&document).replace(' ', "");
        for code in &codes {
            assert!(text.contains(&code.to_string()), "{code}");
        }
        assert!(text.contains("007") && text.contains("039"));
    }
    let twice = [codes[0], codes[1], codes[0]];
    let refused = |codes: &[CastCode], paper| labels(codes, 1, "", "", paper, date()).unwrap_err();
    assert!(
        refused(&twice, Paper::A4)
            .to_string()
            .contains(&codes[0].to_string())
    );
    assert!(matches!(refused(&[], Paper::A4), PaperError::Request(_)));
    assert!(matches!(refused(&codes, Paper::A3), PaperError::Request(_)));
}

#[test]
fn the_order_says_everything_and_reads_words_as_words() {
    let (clinic, order_data) = (a_clinic(), an_order(Side::Left));
    let cautions = ["Dorsiflexion under 5° and free.".to_owned()];
    for (paper, size) in [(Paper::A4, A4), (Paper::Letter, LETTER)] {
        let document = order(&an_order_sheet(&clinic, &order_data, &cautions), paper).unwrap();
        assert_size(&document, size);
        assert_says(
            &document,
            &[
                "Left",
                "revision 1",
                "3FKQ-T4YC-5T82-A",
                "P-4471",
                "18 Dec 2026",
                "stopped at 0°, adjustable",
                "free",
                "size adult",
                "rated for 100 kg",
                "86 mm high, 45 mm forward of the heel mark",
                "measured on the cast: 86 ± 4 mm",
                "balance, 4.9 mm, 3.6°, under the first",
                "w·sin alpha",
                "polypropylene, 4 mm",
                "calf, closes laterally, ring, long tails",
                "tone settles with the knee bent",
                "D. Penrose",
                "XX-00417",
                "Caution",
                "Local codes",
                // Typed markup stays text.
                "#set text(red) *not markup* <tag> $x$",
            ],
        );
        let text = words(&document);
        assert!(
            !text.contains("Draft") && !text.contains("Featherstone"),
            "{text}"
        );
    }
}

#[test]
fn an_empty_draft_says_what_was_not_chosen() {
    let order_data: plinthside_visit::Order = serde_json::from_value(serde_json::json!({
        "id": "o", "side": "right",
        "revisions": [{"number": 2, "prescription": {}, "reason": "first revision was illegible"}]
    }))
    .unwrap();
    let clinic = Clinic::default();
    let sheet = OrderSheet {
        code: None,
        person_code: "",
        body_mass_kg: None,
        ..an_order_sheet(&clinic, &order_data, &[])
    };
    let document = order(&sheet, Paper::Letter).unwrap();
    assert_says(
        &document,
        &[
            "Right",
            "Draft",
            "not signed",
            "not chosen",
            "Replaces revision 1",
            "illegible",
        ],
    );
    assert!(!document.pdf().unwrap().is_empty());
}

#[test]
fn the_bench_sheet_carries_the_measurement() {
    for side in [Side::Left, Side::Right] {
        let results = worked_example(side);
        let verdict = judged(&results);
        let cautions = ["Skin insensate at two sites.".to_owned()];
        let outlines = [an_outline(side)];
        for (paper, size) in [(Paper::A4, A4), (Paper::Letter, LETTER)] {
            let document = bench(
                &a_bench(&results, &outlines, Some(&verdict), &cautions),
                paper,
            )
            .unwrap();
            assert_size(&document, size);
            // Worked example: MM at 86 mm, 45 mm ahead; LM at 73 mm, 36 mm; φ 3°, τ 11°, ρ 7°.
            assert_says(
                &document,
                &[
                    "Seen from behind, as the foot stands",
                    "From above",
                    "Medial side",
                    "Lateral side",
                    "Outside (as it stands on the bench)",
                    "Inside (to the skin)",
                    "86 mm",
                    "73 mm",
                    "11° lateral end lower",
                    "7° lateral end behind",
                    "3° inverted",
                    "MM to LM",
                    "X reference used:",
                    "mid-point of the first and fifth MTP marks",
                    "check bar: 100 mm",
                    "Skin insensate",
                    "± 10",
                    &verdict.call.text().en,
                ],
            );
            assert!(!document.pdf().unwrap().is_empty());
        }
    }
}

#[test]
fn a_mark_far_off_is_left_out_in_words_and_the_rest_printed() {
    let mut results = worked_example(Side::Left);
    let mut stray = results.points[0].clone();
    stray.mark = "stray".into();
    stray.cast_mm = [900.0, 0.0, 30.0];
    results.points.push(stray);
    let document = bench(&a_bench(&results, &[], None, &[]), Paper::A4).unwrap();
    assert_says(
        &document,
        &[
            "Not drawn",
            "does not fit an A3 page at true scale",
            "No verdict",
            "Seen from behind",
        ],
    );
}

#[test]
fn a_long_shell_goes_on_a_larger_page_and_is_never_scaled() {
    let mut results = worked_example(Side::Left);
    for point in &mut results.points {
        if point.mark.as_str() == "calf-upper" {
            point.cast_mm[2] = 320.0;
        }
    }
    let document = bench(&a_bench(&results, &[], None, &[]), Paper::A4).unwrap();
    let sizes: Vec<_> = (0..document.pages())
        .map(|i| document.page_mm(i).unwrap())
        .collect();
    assert!(
        sizes
            .iter()
            .any(|[w, h]| (w - 297.0).abs() < 1e-6 && (h - 420.0).abs() < 1e-6),
        "{sizes:?}"
    );
}

#[test]
fn a_measurement_that_is_no_number_is_refused_by_name() {
    let mut results = worked_example(Side::Left);
    results.points[2].cast_mm[1] = f64::NAN;
    let error = bench(&a_bench(&results, &[], None, &[]), Paper::A4).unwrap_err();
    assert!(
        matches!(&error, PaperError::NotANumber { what } if what == "malleolus-medial"),
        "{error}"
    );
}

/// Few marks, no hinge, no verdict, no code: still a sheet.
#[test]
fn a_bench_sheet_of_little() {
    let mut results = worked_example(Side::Right);
    results.points.truncate(1);
    results.quantities.clear();
    results.comparisons.clear();
    results.medial_hinge = None;
    results.lateral_hinge = None;
    let sheet = Bench {
        code: None,
        ordered: "",
        ..a_bench(&results, &[], None, &[])
    };
    let document = bench(&sheet, Paper::Letter).unwrap();
    assert_says(&document, &["no cast code bound", "not marked"]);
    results.points.clear();
    let sheet = Bench {
        code: None,
        ordered: "",
        ..a_bench(&results, &[], None, &[])
    };
    assert!(!bench(&sheet, Paper::A4).unwrap().pdf().unwrap().is_empty());
}

#[test]
fn the_packing_list_names_all_that_lies_in_the_bag() {
    let clinic = a_clinic();
    let (casts, contents) = (packed(), contents());
    let document = packing_list(&a_packing(&clinic, &casts, &contents), Paper::A4).unwrap();
    assert_size(&document, A4);
    assert_says(
        &document,
        &[
            "Package 1 of 2",
            "Left",
            "Right",
            "3FKQ-T4YC-5T82-A",
            "Tracing of the insole",
            "Tarn Orthotics Bench",
            "Packed by:",
        ],
    );
    let empty = Packing {
        casts: &[],
        contents: &[],
        ..a_packing(&clinic, &casts, &contents)
    };
    assert!(packing_list(&empty, Paper::A4).is_err());
}

#[test]
fn a_clinic_without_a_telephone_leaves_no_gap() {
    let clinic = Clinic {
        telephone: String::new(),
        ..a_clinic()
    };
    let (casts, contents) = (packed(), contents());
    let results = worked_example(Side::Left);
    let sheet = Bench {
        telephone: "",
        ..a_bench(&results, &[], None, &[])
    };
    for document in [
        packing_list(&a_packing(&clinic, &casts, &contents), Paper::A4),
        order(
            &an_order_sheet(&clinic, &an_order(Side::Left), &[]),
            Paper::A4,
        ),
        bench(&sheet, Paper::A4),
    ] {
        let text = words(&document.unwrap());
        assert!(!text.contains(", ,") && !text.contains("· ·"), "{text}");
    }
}

/// Characters our fonts lack are written as their numbers: nothing vanishes, nothing fails.
#[test]
fn any_script_can_be_typed() {
    let mut data = a_label(Side::Left);
    data.device = "Шина 足\u{7} α".into();
    let document = label(&data, LabelSize::W100H150, PrinterDots::DPI_300).unwrap();
    let text = words(&document);
    assert!(
        text.contains("[U+8DB3]") && text.contains("alpha"),
        "{text}"
    );
    assert!(!document.pdf().unwrap().is_empty());
}

/// The same data gives the same bytes, in any order and thread; the file says PDF/A-2a and PDF/UA-1.
#[test]
fn the_same_data_gives_the_same_bytes() {
    let make = || {
        let document = label(
            &a_label(Side::Left),
            LabelSize::W62H100,
            PrinterDots::DPI_203,
        )
        .unwrap();
        (document.pdf().unwrap(), document.png(0, 203.2).unwrap())
    };
    let first = make();
    let results = worked_example(Side::Left);
    bench(&a_bench(&results, &[], None, &[]), Paper::A4).unwrap();
    let second = std::thread::spawn(make).join().unwrap();
    assert!(first == second);
    let pdf = String::from_utf8_lossy(&first.0).into_owned();
    for claim in [
        "<pdfaid:part>2</pdfaid:part>",
        "<pdfaid:conformance>A</pdfaid:conformance>",
        "<pdfuaid:part>1</pdfuaid:part>",
    ] {
        assert!(pdf.contains(claim), "{claim}");
    }
}

#[test]
fn pictures_out_of_range_are_refused() {
    let document = label(
        &a_label(Side::Left),
        LabelSize::W62H29,
        PrinterDots::DPI_203,
    )
    .unwrap();
    assert!(document.png(1, 203.2).is_err());
    for dpi in [0.0, 1e9, f64::NAN] {
        assert!(document.png(0, dpi).is_err());
    }
    assert!(
        label(
            &a_label(Side::Left),
            LabelSize::W62H29,
            PrinterDots { dpi: 20.0 }
        )
        .is_err()
    );
}
