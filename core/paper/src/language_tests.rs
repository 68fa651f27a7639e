use super::*;

#[test]
fn every_phrase_is_translated_with_all_its_gaps() {
    assert!(PHRASES.table().len() > 200);
    for (en, de) in PHRASES.table() {
        assert!(!de.trim().is_empty(), "{en}");
        assert_eq!(en.matches("{}").count(), de.matches("{}").count(), "{en}");
    }
}

/// Every phrase a template or the source asks for stands in the table.
#[test]
fn every_phrase_has_its_german() {
    let files = [
        include_str!("order.rs"),
        include_str!("order/cast.rs"),
        include_str!("order/fields.rs"),
        include_str!("order/rows.rs"),
        include_str!("bench/mod.rs"),
        include_str!("bench/numbers.rs"),
        include_str!("bench/views.rs"),
        include_str!("card.rs"),
        include_str!("leaflet.rs"),
        include_str!("packing.rs"),
        include_str!("language.rs"),
        include_str!("../templates/order.typ"),
        include_str!("../templates/bench.typ"),
        include_str!("../templates/packing.typ"),
        include_str!("../templates/mat.typ"),
        include_str!("../templates/card.typ"),
        include_str!("../templates/leaflet.typ"),
    ];
    let asks = [
        "say(\"",
        "with(\"",
        "t(\"",
        "always(\"",
        "given(\"",
        ".mm(\"",
        ".text(\"",
        "section(\"",
        "add(\"",
    ];
    let mut asked = 0;
    for file in files {
        let flat: String = file.lines().map(str::trim).collect::<Vec<_>>().join("");
        for ask in asks {
            for (at, _) in flat.match_indices(ask) {
                // `at(` and the like end in the same letters.
                let before = flat[..at].chars().next_back().unwrap_or(' ');
                if !ask.starts_with('.') && (before.is_alphanumeric() || "-_".contains(before)) {
                    continue;
                }
                let rest = &flat[at + ask.len()..];
                let phrase = rest.split('"').next().unwrap_or_default();
                assert!(PHRASES.table().contains_key(phrase), "“{phrase}” ({ask})");
                asked += 1;
            }
        }
    }
    assert!(asked > 150, "{asked}");
}

/// What the measurement says reaches German through its pattern, marks and sides included.
#[test]
fn sentences_of_the_measurement_are_german_on_a_german_sheet() {
    use plinthside_measure::cast::{Reference, Refusal, ResultName};
    use plinthside_measure::leg::LegDimension;
    let de = Words(Lang::De);
    let refusal = Refusal::Missing {
        what: ResultName::FootToLeg.label().to_owned(),
        marks: vec!["calf-upper".into(), "calf-lower".into()],
    };
    assert_eq!(
        de.say(&refusal.to_string()),
        "Fuß zu Bein: nicht gemessen; dafür fehlt Wade oben, Wade unten."
    );
    assert_eq!(
        Words(Lang::En).say(&refusal.to_string()),
        "Foot to leg: not measured; it needs upper calf, lower calf."
    );
    assert_eq!(
        de.say("The marks agree with the recorded side: left."),
        "Die Markierungen stimmen mit der eingetragenen Seite überein: links."
    );
    for reference in [Reference::MtpMidpoint, Reference::Mtp2] {
        assert_ne!(de.say(reference.words()), reference.words());
    }
    for dimension in LegDimension::ALL {
        assert_ne!(de.say(dimension.label()), dimension.label());
    }
    assert_eq!(
        de.say("left by the door"),
        "left by the door",
        "typed words stay"
    );
    assert_eq!(Words(Lang::En).say("Heel"), "Heel");
}

#[test]
fn numbers_and_dates_are_written_as_the_language_does() {
    let (en, de) = (Words(Lang::En), Words(Lang::De));
    let e = Entry::number(4.94);
    assert_eq!(
        (en.entry(&e, " mm"), de.entry(&e, " mm")),
        ("4.9 mm".into(), "4,9 mm".into())
    );
    let day = NaiveDate::from_ymd_opt(2026, 3, 9).unwrap();
    assert_eq!(
        (en.date(day), de.date(day)),
        ("9 Mar 2026".into(), "9. März 2026".into())
    );
    let odd = plinthside_visit::norms::typed("lots", "mm", None);
    assert_eq!(de.entry(&odd, " mm"), "„lots“ (wie eingegeben)");
}
