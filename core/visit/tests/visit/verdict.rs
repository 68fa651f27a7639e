//! Keep, lab can correct, re-mark or recast, row by row of the shipped table.

use crate::common::{self, compare, entry, quantity, results};
use plinthside_measure::cast::ResultName as N;
use plinthside_measure::leg::LegDimension as L;
use plinthside_measure::marks::Side;
use plinthside_visit::cast_record::{Crack, DentPlace, Inspection};
use plinthside_visit::verdict::{Advice, Call, Evidence, Tolerances, Verdict, verdict};
use plinthside_visit::{CastRecord, Dimension, Lang, LegDimensions, Reading};

fn judge(evidence: &Evidence<'_>) -> Verdict {
    verdict(evidence, &Tolerances::shipped().unwrap())
}

fn of<'a>(v: &'a Verdict, check: &str) -> &'a plinthside_visit::verdict::Finding {
    v.findings.iter().find(|f| f.check == check).expect(check)
}

/// Common practice, no source: ≤ 3 keep, 3-6 lab, > 6 recast, both ends belonging to the milder.
#[test]
fn bimalleolar_breadth_at_every_boundary() {
    for (difference, call) in [
        (0.0, Call::Keep),
        (3.0, Call::Keep),
        (-3.0, Call::Keep),
        (3.01, Call::Correct),
        (-6.0, Call::Correct),
        (6.01, Call::Recast),
        (-8.0, Call::Recast),
    ] {
        let mut r = results(Side::Left);
        r.comparisons
            .push(compare(L::BimalleolarBreadth, 74.0 + difference, 74.0));
        let v = judge(&Evidence::of_results(&r));
        assert_eq!(
            of(&v, "bimalleolar_breadth_difference_mm").call,
            call,
            "{difference}"
        );
    }
}

#[test]
fn a_squeezed_shell_is_recast_with_amount_and_remedy_in_words() {
    let mut r = results(Side::Right);
    r.comparisons
        .push(compare(L::BimalleolarBreadth, 66.0, 74.0));
    let v = judge(&Evidence::of_results(&r));
    assert_eq!(v.call, Call::Recast);
    let en = v.text.get(Lang::En);
    assert!(
        en.contains("8 mm narrower than on the leg (squeezed)"),
        "{en}"
    );
    assert!(en.contains("cast 66 mm, leg 74 mm"), "{en}");
    assert!(
        v.text.get(Lang::De).contains("8 mm schmaler"),
        "{}",
        v.text.get(Lang::De)
    );
}

#[test]
fn the_leg_as_recorded_now_counts() {
    let mut r = results(Side::Left);
    r.comparisons
        .push(compare(L::BimalleolarBreadth, 70.0, 78.0));
    let mut leg = LegDimensions::new(Side::Left);
    leg.values.insert(
        Dimension::BimalleolarBreadthMm,
        vec![entry(71.0), entry(72.0)],
    );
    let evidence = Evidence {
        leg: Some(&leg),
        ..Evidence::of_results(&r)
    };
    let v = judge(&evidence);
    assert_eq!(
        of(&v, "bimalleolar_breadth_difference_mm").value,
        Some(-1.5)
    );
    assert_eq!(v.call, Call::Keep);
}

/// Instrument and marking are told apart, each with its own remedy.
#[test]
fn the_right_remedy_for_each_kind_of_doubt() {
    let heel = |instrument: f64, total: f64, at: f64| {
        let mut r = results(Side::Left);
        r.quantities
            .insert(N::FootToLeg, quantity(at, instrument, total));
        r
    };
    let record = CastRecord {
        foot_to_leg_intended_deg: Some(entry(0.0)),
        ..CastRecord::default()
    };
    let run = |r| {
        let v = judge(&Evidence {
            record: Some(&record),
            ..Evidence::of_results(&r)
        });
        let f = of(&v, "foot_to_leg_difference_deg").clone();
        (f.call, f.advice, v.call)
    };
    assert_eq!(run(heel(0.2, 0.3, 1.0)), (Call::Keep, None, Call::Keep));
    assert_eq!(run(heel(1.5, 1.6, 2.0)).1, Some(Advice::AnotherPhotograph));
    // Marking is wide: it is named only where it could turn the worst call.
    assert_eq!(run(heel(0.2, 2.0, 2.0)).1, None);
    assert_eq!(run(heel(0.2, 4.0, 2.0)).1, Some(Advice::ReMark));
    // More than a quarter of the variance from the camera: a photograph is the cheaper remedy.
    assert_eq!(run(heel(1.2, 2.0, 5.5)).1, Some(Advice::AnotherPhotograph));
    assert_eq!(run(heel(0.9, 2.0, 5.5)).1, Some(Advice::ReMark));
    // Beyond the limit, but the marks alone can explain it: re-mark before casting again.
    assert_eq!(
        run(heel(0.2, 2.0, 10.0)),
        (Call::Recast, Some(Advice::ReMark), Call::ReMark)
    );
    assert_eq!(
        run(heel(0.2, 0.5, 10.0)),
        (Call::Recast, None, Call::Recast)
    );
    let mut ruler = heel(1.5, 1.6, 2.0);
    ruler.source = plinthside_measure::cast::Source::Ruler;
    assert_eq!(run(ruler).1, Some(Advice::MeasureAgain));
}

#[test]
fn a_correction_never_goes_past_the_passive_dorsiflexion() {
    let mut r = results(Side::Left);
    r.quantities.insert(N::FootToLeg, quantity(-5.0, 0.2, 0.3));
    let record = CastRecord {
        foot_to_leg_intended_deg: Some(entry(0.0)),
        ..CastRecord::default()
    };
    let passive = |deg: f64| {
        vec![Reading {
            kind: "ankle_dorsiflexion_knee_straight_deg".into(),
            side: Some(Side::Left),
            repeats: vec![entry(deg)],
            ..Reading::default()
        }]
    };
    let run = |readings: &[Reading]| {
        judge(&Evidence {
            record: Some(&record),
            readings,
            ..Evidence::of_results(&r)
        })
    };
    assert_eq!(run(&passive(3.0)).call, Call::Correct);
    let v = run(&passive(-2.0));
    assert_eq!(v.call, Call::Recast);
    assert!(
        v.text
            .get(Lang::En)
            .contains("past the passive dorsiflexion")
    );
}

/// Bounds of Isman & Inman, unverified: outside is re-palpated, never a reason to cast again.
#[test]
fn a_strange_hinge_line_is_re_marked_only() {
    for (tilt, call) in [
        (-4.0, Call::Keep),
        (22.0, Call::Keep),
        (-5.0, Call::ReMark),
        (40.0, Call::ReMark),
    ] {
        let mut r = results(Side::Left);
        r.quantities
            .insert(N::HingeTiltFrontal, quantity(tilt, 0.1, 0.1));
        let v = judge(&Evidence::of_results(&r));
        let f = of(&v, "hinge_frontal_deg");
        assert_eq!(f.call, call, "{tilt}");
        assert!(f.source.get(Lang::En).contains("unverified"));
        assert!(f.source.get(Lang::De).contains("ungeprüft"));
        assert_ne!(v.call, Call::Recast);
    }
}

#[test]
fn forefoot_is_compared_with_the_patient_unless_fixed() {
    let mut r = results(Side::Left);
    r.quantities
        .insert(N::ForefootToRearfoot, quantity(12.0, 0.3, 0.4));
    let mut readings = vec![Reading {
        kind: "forefoot_to_rearfoot_deg".into(),
        side: Some(Side::Left),
        repeats: vec![entry(2.0), entry(4.0)],
        ..Reading::default()
    }];
    let v = judge(&Evidence {
        readings: &readings,
        ..Evidence::of_results(&r)
    });
    let f = of(&v, "forefoot_to_rearfoot_difference_deg");
    assert_eq!((f.value, f.patient_sd), (Some(9.0), Some(1.0)));
    assert_eq!(
        (f.call, f.advice),
        (Call::Recast, Some(Advice::RepeatReading))
    );
    assert!(
        f.remedy
            .get(Lang::En)
            .contains("repeat the reading on the patient first")
    );
    readings.push(Reading {
        kind: "forefoot_reducible".into(),
        side: Some(Side::Left),
        choices: vec!["no".into()],
        ..Reading::default()
    });
    let v = judge(&Evidence {
        readings: &readings,
        ..Evidence::of_results(&r)
    });
    assert_eq!(
        of(&v, "forefoot_to_rearfoot_difference_deg").call,
        Call::Note
    );
}

#[test]
fn what_the_hand_finds_is_judged_as_the_table_says() {
    let inspect = |i: &Inspection| {
        judge(&Evidence {
            side: Side::Left,
            results: None,
            record: None,
            inspection: Some(i),
            leg: None,
            readings: &[],
        })
        .call
    };
    let base = Inspection::default;
    let cases = [
        (
            Inspection {
                rock_mm: Some(entry(2.0)),
                ..base()
            },
            Call::Keep,
        ),
        (
            Inspection {
                rock_mm: Some(entry(2.1)),
                ..base()
            },
            Call::Correct,
        ),
        (
            Inspection {
                rock_mm: Some(entry(5.1)),
                ..base()
            },
            Call::Recast,
        ),
        (
            Inspection {
                wall_heel_ankle_mm: Some(entry(1.9)),
                ..base()
            },
            Call::Recast,
        ),
        (
            Inspection {
                wall_min_mm: Some(entry(1.9)),
                ..base()
            },
            Call::Correct,
        ),
        (
            Inspection {
                crack: Some(Crack::Edge),
                ..base()
            },
            Call::Correct,
        ),
        (
            Inspection {
                crack: Some(Crack::Through),
                ..base()
            },
            Call::Recast,
        ),
        (
            Inspection {
                past_mtp_mm: Some(entry(10.0)),
                ..base()
            },
            Call::Keep,
        ),
        (
            Inspection {
                past_mtp_mm: Some(entry(9.0)),
                ..base()
            },
            Call::Correct,
        ),
        (
            Inspection {
                past_mtp_mm: Some(entry(-1.0)),
                ..base()
            },
            Call::Recast,
        ),
        (
            Inspection {
                above_malleolus_mm: Some(entry(19.0)),
                ..base()
            },
            Call::Recast,
        ),
        (
            Inspection {
                dent_mm: Some(entry(4.0)),
                dent_place: Some(DentPlace::Elsewhere),
                ..base()
            },
            Call::Correct,
        ),
        (
            Inspection {
                dent_mm: Some(entry(4.0)),
                dent_place: Some(DentPlace::Heel),
                ..base()
            },
            Call::Recast,
        ),
        (
            Inspection {
                marks_missing: vec!["mtp-5".into()],
                ..base()
            },
            Call::Correct,
        ),
        (
            Inspection {
                marks_missing: vec!["malleolus-lateral".into()],
                ..base()
            },
            Call::ReMark,
        ),
        (
            Inspection {
                marks_missing: vec!["malleolus-lateral".into()],
                skin_wiped: Some(true),
                ..base()
            },
            Call::Recast,
        ),
        (
            Inspection {
                marks_missing: vec!["heel-upper".into(), "heel-lower".into()],
                skin_wiped: Some(true),
                ..base()
            },
            Call::Recast,
        ),
    ];
    for (inspection, call) in cases {
        assert_eq!(inspect(&inspection), call, "{inspection:?}");
    }
}

#[test]
fn what_cannot_be_judged_is_named() {
    let r = results(Side::Left);
    let v = judge(&Evidence::of_results(&r));
    assert_eq!(
        v.not_judged.len(),
        Tolerances::shipped().unwrap().limit.len()
    );
    assert!(
        v.not_judged
            .iter()
            .any(|t| t.get(Lang::En).contains("leg's own dimension"))
    );
    let json = serde_json::to_string(&v).unwrap();
    assert_eq!(serde_json::from_str::<Verdict>(&json).unwrap(), v);
}

#[test]
fn a_broken_table_is_refused_with_its_line() {
    let shipped = include_str!("../../data/tolerances.toml");
    let crossed = shipped.replacen(
        "keep = { low = -4, high = 4 }",
        "keep = { low = 4, high = -4 }",
        1,
    );
    let e = Tolerances::parse("own.toml", &crossed).unwrap_err();
    let line = shipped.lines().position(|l| l == "[[limit]]").unwrap() + 1;
    assert_eq!(e.line, line);
    assert!(e.to_string().contains("Forefoot to rearfoot"), "{e}");
    let typo = shipped.replacen("check = \"rock_mm\"", "check = \"rok_mm\"", 1);
    let e = Tolerances::parse("own.toml", &typo).unwrap_err();
    assert_eq!(
        e.line,
        shipped
            .lines()
            .position(|l| l == "check = \"rock_mm\"")
            .unwrap()
            + 1
    );
    assert!(Tolerances::parse("own.toml", "not toml at all").is_err());
    let nan = shipped.replacen("high = 2 }", "high = nan }", 1);
    assert!(Tolerances::parse("own.toml", &nan).is_err());
}

/// Every row of the table at each of its ends (all common practice, no source, but the hinge line:
/// Isman & Inman 1969 and Inman 1976, from memory, unverified).
#[test]
fn every_row_at_every_end() {
    let table = Tolerances::shipped().unwrap();
    let k = Call::Keep;
    let (c, x, m, n) = (Call::Correct, Call::Recast, Call::ReMark, Call::Note);
    // Inside, beyond keep, at the end of what a lab corrects, beyond: the same on both sides of 0.
    let both: [(&str, f64, f64); 7] = [
        ("forefoot_to_rearfoot_difference_deg", 4.0, 8.0),
        ("foot_to_leg_difference_deg", 3.0, 8.0),
        ("bimalleolar_breadth_difference_mm", 3.0, 6.0),
        ("heel_breadth_difference_mm", 3.0, 6.0),
        ("heel_to_first_mtp_difference_mm", 4.0, 8.0),
        ("medial_malleolus_height_difference_mm", 3.0, 6.0),
        ("lateral_malleolus_height_difference_mm", 3.0, 6.0),
    ];
    let mut rows: Vec<(&str, f64, Call)> = Vec::new();
    for (check, keep, correct) in both {
        for sign in [-1.0, 1.0] {
            rows.extend([
                (check, sign * keep, k),
                (check, sign * (keep + 0.1), c),
                (check, sign * correct, c),
                (check, sign * (correct + 0.1), x),
            ]);
        }
    }
    rows.extend([
        ("rock_mm", 2.0, k),
        ("rock_mm", 2.1, c),
        ("rock_mm", 5.0, c),
        ("rock_mm", 5.1, x),
        ("heel_to_vertical_deg", -30.0, n),
        ("heel_to_vertical_deg", 30.0, n),
        ("hinge_frontal_deg", 68.0, k),
        ("hinge_frontal_deg", 94.0, k),
        ("hinge_frontal_deg", 67.9, m),
        ("hinge_frontal_deg", 94.1, m),
        ("hinge_transverse_deg", 69.0, k),
        ("hinge_transverse_deg", 99.0, k),
        ("hinge_transverse_deg", 68.9, m),
        ("hinge_transverse_deg", 99.1, m),
        ("dent_elsewhere_mm", 2.0, k),
        ("dent_elsewhere_mm", 2.1, c),
        ("dent_elsewhere_mm", 5.0, c),
        ("dent_elsewhere_mm", 5.1, x),
        ("dent_on_heel_arch_malleolus_mm", 3.0, c),
        ("dent_on_heel_arch_malleolus_mm", 3.1, x),
        ("wall_min_mm", 3.0, k),
        ("wall_min_mm", 2.9, c),
        ("wall_max_mm", 6.0, k),
        ("wall_max_mm", 6.5, c),
        ("wall_heel_ankle_mm", 3.0, k),
        ("wall_heel_ankle_mm", 2.0, c),
        ("wall_heel_ankle_mm", 1.9, x),
        ("past_mtp_mm", 10.0, k),
        ("past_mtp_mm", 9.9, c),
        ("past_mtp_mm", 0.0, c),
        ("past_mtp_mm", -0.1, x),
        ("above_malleolus_mm", 40.0, k),
        ("above_malleolus_mm", 39.9, c),
        ("above_malleolus_mm", 20.0, c),
        ("above_malleolus_mm", 19.9, x),
    ]);
    let name = |l: &plinthside_visit::verdict::Limit| {
        let json = serde_json::to_value(l.check).unwrap();
        json.as_str().unwrap().to_owned()
    };
    for (check, value, call) in &rows {
        let limit = table.limit.iter().find(|l| name(l) == *check).expect(check);
        assert_eq!(limit.call(*value), *call, "{check} {value}");
        assert!(
            limit.beyond == n || !limit.remedy_beyond.de.is_empty(),
            "{check}"
        );
    }
    for limit in &table.limit {
        assert!(
            rows.iter().any(|(check, ..)| *check == name(limit)),
            "{}",
            name(limit)
        );
    }
}

/// With everything known nothing is left unjudged: every row finds its evidence.
#[test]
fn every_row_finds_its_evidence() {
    let mut r = results(Side::Left);
    for name in [
        N::Heel,
        N::ForefootToRearfoot,
        N::FootToLeg,
        N::HingeTiltFrontal,
        N::HingeTurnTransverse,
    ] {
        r.quantities.insert(name, quantity(2.0, 0.1, 0.2));
    }
    for dimension in [
        L::BimalleolarBreadth,
        L::HeelBreadth,
        L::HeelToFirstMtp,
        L::MedialMalleolusHeight,
        L::LateralMalleolusHeight,
    ] {
        r.comparisons.push(compare(dimension, 70.0, 70.0));
    }
    let record = CastRecord {
        foot_to_leg_intended_deg: Some(entry(0.0)),
        ..CastRecord::default()
    };
    let readings = [common::number("forefoot_to_rearfoot_deg", Side::Left, 2.0)];
    let mut inspection = Inspection {
        rock_mm: Some(entry(1.0)),
        wall_min_mm: Some(entry(4.0)),
        wall_heel_ankle_mm: Some(entry(4.0)),
        wall_max_mm: Some(entry(6.5)),
        crack: Some(Crack::None),
        dent_mm: Some(entry(0.0)),
        dent_place: Some(DentPlace::Heel),
        past_mtp_mm: Some(entry(12.0)),
        above_malleolus_mm: Some(entry(60.0)),
        ..Inspection::default()
    };
    let mut seen = std::collections::BTreeSet::new();
    for place in [DentPlace::Heel, DentPlace::Elsewhere] {
        inspection.dent_place = Some(place);
        let v = judge(&Evidence {
            record: Some(&record),
            inspection: Some(&inspection),
            readings: &readings,
            ..Evidence::of_results(&r)
        });
        assert_eq!(
            v.not_judged.len(),
            1,
            "one place of a dent at a time: {:?}",
            v.not_judged
        );
        // Typed to the half millimetre, shown to the half millimetre.
        let wall = of(&v, "wall_max_mm");
        assert_eq!(wall.text.get(Lang::En), "Thickest wall: 6.5 mm");
        assert_eq!(wall.text.get(Lang::De), "dickste Wandstelle: 6,5 mm");
        seen.extend(v.findings.into_iter().map(|f| f.check));
    }
    let table = Tolerances::shipped().unwrap();
    assert_eq!(seen.len(), table.limit.len() + table.state.len());
}
