//! The papers in German, and the patient's leaflet in both languages.

use crate::data::*;
use plinthside_measure::marks::Side;
use plinthside_paper::*;
use plinthside_visit::Lang;

fn words(document: &Document) -> String {
    let text = document.text().concat().replace('\n', " ");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[track_caller]
fn assert_german(document: &Document, wanted: &[&str], typed: &[&str]) {
    let mut text = words(document);
    for want in wanted {
        assert!(text.contains(want), "“{want}” not in: {text}");
    }
    // What was typed stays as typed; every other English phrase of the table is a miss.
    for words in typed {
        text = text.replace(words, "");
    }
    let table: std::collections::BTreeMap<String, String> =
        toml::from_str(include_str!("../../words/de.toml")).unwrap();
    let german: Vec<&String> = table.values().collect();
    for (english, translated) in &table {
        let plain = !english.contains("{}") && english.len() > 5 && english != translated;
        let in_german = german.iter().any(|g| g.contains(english.as_str()));
        if plain && !in_german {
            assert!(
                !text.contains(english.as_str()),
                "“{english}” is left in: {text}"
            );
        }
    }
    assert!(!text.contains("{}"), "{text}");
    // Read aloud in German: the language stands in the file's metadata.
    let pdf = String::from_utf8_lossy(&document.pdf().unwrap()).into_owned();
    let metadata = pdf.split("<x:xmpmeta").nth(1).unwrap_or_default();
    let metadata = metadata.split("</x:xmpmeta>").next().unwrap_or_default();
    assert!(metadata.contains(">de"), "{metadata}");
}

#[test]
fn a_german_order_holds_no_english() {
    let (clinic, ordered, record) = (a_clinic(), an_order(Side::Left), a_cast_record());
    let cautions = ["Eine Prüfstelle wird nicht gespürt.".to_owned()];
    let sheet = OrderSheet {
        lang: Lang::De,
        cast: Some(&record),
        without_photographs: true,
        ..an_order_sheet(&clinic, &ordered, &cautions)
    };
    let document = order(&sheet, Paper::A4).unwrap();
    assert_german(
        &document,
        &[
            "Auftrag",
            "Links",
            "Revision 1",
            "18. Dez. 2026",
            "mit Anschlag bei 0°, einstellbar",
            "Größe adult, zugelassen bis 100 kg",
            "86 mm hoch, 45 mm vor der Fersenmarkierung",
            "Ausgleich, 4,9 mm, 3,6°, unter dem ersten, auf 79 mm Breite",
            "Wade, schließt lateral, Ring, lange Enden",
            "sitzend, Knie 85° gebeugt",
            "vorgesehen 0°, erreicht −2,5°",
            "abgeformt von D. Penrose, markiert von R. Tindall",
            "Ohne Fotos",
            "Trotzdem so beauftragt, weil",
            "Zulassungsnummer XX-00417",
            "25. Nov. 2026, 10:24",
            "Örtliche Vorschriften",
        ],
        &[
            "measured on the cast: 86 ± 4 mm",
            "because the cast measures 4.9 mm over 79 mm",
            "tender to touch",
            "perforated foam",
            "closed-cell foam",
            "Patient puts it on alone with the left hand only; please keep strap ends long.",
            "tone settles with the knee bent; reviewed in two weeks",
            "Steel overlap hinge",
            "fast plaster",
        ],
    );
    // A draft not chosen from says so too.
    let empty: plinthside_visit::Order = serde_json::from_value(serde_json::json!({
        "id": "o", "side": "right",
        "revisions": [{"number": 2, "prescription": {}, "reason": "unleserlich"}]
    }))
    .unwrap();
    let sheet = OrderSheet {
        code: None,
        cast: None,
        lang: Lang::De,
        ..an_order_sheet(&clinic, &empty, &[])
    };
    let document = order(&sheet, Paper::Letter).unwrap();
    assert_german(
        &document,
        &[
            "Rechts",
            "Entwurf",
            "nicht gewählt",
            "Ersetzt Revision 1",
            "unleserlich",
        ],
        &[],
    );
}

#[test]
fn a_german_bench_sheet_holds_no_english() {
    for side in [Side::Left, Side::Right] {
        let results = worked_example(side);
        let verdict = judged(&results);
        let outlines = [an_outline(side)];
        let cautions = ["Haut prüfen.".to_owned()];
        let sheet = Bench {
            lang: Lang::De,
            ordered: "Knöchel-Fuß-Orthese",
            ..a_bench(&results, &outlines, Some(&verdict), &cautions)
        };
        let document = bench(&sheet, Paper::A4).unwrap();
        assert_german(
            &document,
            &[
                "Werkstattblatt",
                "Von hinten gesehen, wie der Fuß steht",
                "Außen (wie er auf der Werkbank steht)",
                "Innen (zur Haut)",
                "11° laterales Ende tiefer",
                "7° laterales Ende hinten",
                "3° invertiert",
                "Mediales Gelenk ab der Spitze",
                "MM bis LM",
                "± Kamera allein, ± mit Markierung",
                "Ferse zur Mitte der Markierungen",
                "Prüfstrecke: 100 mm",
                "Innenknöchel",
                "Nicht beurteilt:",
                verdict.call.text().get(Lang::De),
            ],
            &[],
        );
    }
    // Nothing measured, nothing judged, the side in doubt: still German.
    let mut results = worked_example(Side::Left);
    results.points.truncate(1);
    results.quantities.clear();
    results.comparisons.clear();
    (results.medial_hinge, results.lateral_hinge) = (None, None);
    results.side_check.outcome = plinthside_measure::cast::SideOutcome::WrongSide;
    results.side_check.stops = true;
    results.side_check.sentences = vec![
        "The marks are those of a right foot, but left is recorded: correct the side before anything is printed.".into(),
    ];
    let sheet = Bench {
        lang: Lang::De,
        code: None,
        ordered: "",
        ..a_bench(&results, &[], None, &[])
    };
    assert_german(
        &bench(&sheet, Paper::A4).unwrap(),
        &[
            "kein Abdruckcode zugeordnet",
            "nicht markiert",
            "Kein Urteil",
            "Seite: halt",
            "Die Markierungen gehören zu einem Fuß rechts, eingetragen ist links",
        ],
        &[],
    );
}

#[test]
fn a_german_packing_list_and_mat_hold_no_english() {
    let clinic = a_clinic();
    let casts = packed();
    let contents = ["Order".to_owned(), "Bench sheet, true scale".to_owned()];
    let list = Packing {
        lang: Lang::De,
        packed: "trocken, in Papier",
        ..a_packing(&clinic, &casts, &contents)
    };
    let document = packing_list(&list, Paper::A4).unwrap();
    assert_german(
        &document,
        &[
            "Packliste",
            "Paket 1 von 2",
            "Links",
            "Rechts",
            "gepackt",
            "Gips verpackt: trocken",
            "Verpackt von:",
            "Auftrag",
            "Werkstattblatt, wahre Größe",
        ],
        &["Hinged ankle-foot orthosis"],
    );
    for paper in plinthside_measure::mat::sheet::Paper::ALL {
        let layout = paper.layout();
        let document = mat(&layout, Lang::De, date()).unwrap();
        assert_german(
            &document,
            &[
                "Prüfstrecke längs:",
                "mit 100 % drucken",
                "Zehen",
                "Etikett dieses Abdrucks",
            ],
            &[],
        );
    }
}

#[test]
fn the_couch_card_is_one_page_with_every_list_and_time() {
    let texts = CardTexts::shipped();
    for lang in [Lang::En, Lang::De] {
        for paper in [Paper::A4, Paper::Letter] {
            let card = texts.card(lang);
            let document = couch_card(&card, paper).unwrap();
            assert_eq!(document.pages(), 1, "{lang:?} {paper}");
            let text = words(&document);
            let items = card.lists.list.iter().flat_map(|list| &list.items);
            for item in items {
                assert!(text.contains(item.say.get(lang)), "{item:?} not in {text}");
            }
            for plaster in &card.timers.plaster {
                assert!(text.contains(plaster.label.get(lang)));
                assert!(text.contains(&plaster.source.line(lang)));
            }
            if lang == Lang::De {
                assert_german(&document, &["An der Liege", "Fuß zu Bein, erreicht"], &[]);
            }
        }
    }
}

#[test]
fn the_leaflet_says_it_plainly_in_both_languages() {
    let say = |lang| {
        let text = a_leaflet(lang);
        let documents = [Paper::A4, Paper::Letter].map(|paper| {
            let document = leaflet(&a_leaflet_sheet(&text), paper).unwrap();
            // Both sides of one sheet at most.
            assert!(document.pages() <= 2, "{} pages", document.pages());
            assert!(!document.pdf().unwrap().is_empty());
            document
        });
        let text = words(&documents[0]);
        assert_eq!(
            text.matches("01632 960 114").count(),
            2,
            "large, and where to ring"
        );
        text
    };
    let en = say(Lang::En);
    for want in [
        "Your new leg brace",
        "Left",
        "left leg",
        "Day 1",
        "30 minutes",
        "Look at your skin",
        "Because your foot feels little",
        "Take it off and ring us when",
        "Get medical help the same day when",
        "Outside these hours: 01632 960 119",
        "15 January 2027",
        "does not replace the advice",
    ] {
        assert!(en.contains(want), "“{want}” not in {en}");
    }
    let de = say(Lang::De);
    for want in [
        "Ihre neue Beinorthese",
        "Links",
        "linken Bein",
        "Tag 1",
        "30 Minuten",
        "getragen",
        "Haut angesehen",
        "Am selben Tag ärztliche Hilfe",
        "15. Januar 2027",
        "Seite 1 von",
    ] {
        assert!(de.contains(want), "“{want}” not in {de}");
    }
}
