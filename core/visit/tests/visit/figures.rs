//! Statistics of the practice against printed worked examples.

use crate::common;
use plinthside_measure::cast::ResultName;
use plinthside_measure::marks::Side;
use plinthside_visit::cast_record::Measurement;
use plinthside_visit::figures::{FigureError, icc, limits_of_agreement, practice, repeats, wilson};
use plinthside_visit::{Cast, Visit};

fn near(got: f64, want: f64, within: f64) {
    assert!(
        (got - want).abs() <= within,
        "{got} is not {want} ± {within}"
    );
}

/// Shrout & Fleiss 1979, Psychol Bull 86:420-428, Table 2: six targets, four judges. Printed:
/// .17 .29 .71 .44 .62 .91; mean squares 11.24, 6.26, 32.49, 1.02.
#[test]
fn correlations_are_those_shrout_and_fleiss_print() {
    let rows = [
        [9., 2., 5., 8.],
        [6., 1., 3., 2.],
        [8., 4., 6., 8.],
        [7., 1., 2., 6.],
        [10., 5., 6., 9.],
        [6., 2., 4., 7.],
    ]
    .map(|r| r.to_vec());
    let s = icc(&rows).unwrap();
    for (got, printed) in [
        (s.icc_1_1, 0.17),
        (s.icc_2_1, 0.29),
        (s.icc_3_1, 0.71),
        (s.icc_1_k, 0.44),
        (s.icc_2_k, 0.62),
        (s.icc_3_k, 0.91),
    ] {
        near(got.value, printed, 0.005);
    }
    for (got, printed) in [
        (s.between_targets, 11.24),
        (s.within_targets, 6.26),
        (s.between_judges, 32.49),
        (s.residual, 1.02),
    ] {
        near(got, printed, 0.005);
    }
    // Intervals to two digits, as an independent library (pingouin) prints them.
    for (got, low, high) in [
        (s.icc_1_1, -0.13, 0.72),
        (s.icc_2_1, 0.02, 0.76),
        (s.icc_3_1, 0.34, 0.95),
        (s.icc_1_k, -0.88, 0.91),
        (s.icc_2_k, 0.07, 0.93),
        (s.icc_3_k, 0.68, 0.99),
    ] {
        near(got.low95, low, 0.005);
        near(got.high95, high, 0.005);
    }
    // Arithmetic on the same table.
    near(s.sem_consistency, 1.009_675, 1e-6);
    near(s.sem_agreement, 2.502_776, 1e-6);
}

const WRIGHT: [(f64, f64); 17] = [
    (494., 490.),
    (395., 397.),
    (516., 512.),
    (434., 401.),
    (476., 470.),
    (557., 611.),
    (413., 415.),
    (442., 431.),
    (650., 638.),
    (433., 429.),
    (417., 420.),
    (656., 633.),
    (267., 275.),
    (478., 492.),
    (178., 165.),
    (423., 372.),
    (427., 421.),
];
const MINI: [(f64, f64); 17] = [
    (512., 525.),
    (430., 415.),
    (520., 508.),
    (428., 444.),
    (500., 500.),
    (600., 625.),
    (364., 460.),
    (380., 390.),
    (658., 642.),
    (445., 432.),
    (432., 420.),
    (626., 605.),
    (260., 227.),
    (477., 467.),
    (259., 268.),
    (350., 370.),
    (451., 443.),
];

/// Bland & Altman 1986, Lancet i:307-310, Table 1: first readings of two peak flow meters.
/// Printed: mean difference −2.1, SD 38.8; interval of the bias −22.0 to 17.8; SE of a limit 16.3.
#[test]
fn limits_are_those_bland_and_altman_print() {
    let pairs: Vec<_> = WRIGHT.iter().zip(MINI).map(|(w, m)| (w.0, m.0)).collect();
    let l = limits_of_agreement(&pairs).unwrap();
    near(l.bias.value, -2.1, 0.05);
    near(l.sd, 38.8, 0.05);
    near(l.bias.low95, -22.0, 0.06);
    near(l.bias.high95, 17.8, 0.06);
    near(l.se_of_limit, 16.3, 0.05);
    // Printed with ± 2 SD from rounded figures: −79.7 and 75.5.
    near(l.bias.value - 2.0 * l.sd, -79.7, 0.1);
    near(l.bias.value + 2.0 * l.sd, 75.5, 0.1);
    // Exact, with 1.96: arithmetic on the same table.
    near(l.lower.value, -78.0973, 1e-3);
    near(l.upper.value, 73.8620, 1e-3);
}

/// The same paper's repeatability, 2·√(Σd²/n): 43.2 and 56.4 printed (from memory, unverified);
/// technical error √(Σd²/2n) (Ulijaszek & Kerr 1999, Br J Nutr 82:165-177): arithmetic, Σd² 7966, 13479.
#[test]
fn the_technical_error_is_that_of_the_printed_pairs() {
    for (pairs, sum_d2, tem) in [(WRIGHT, 7966.0, 15.306_669), (MINI, 13_479.0, 19.910_831)] {
        let r = repeats(&pairs.map(|(a, b)| vec![a, b])).unwrap();
        near(r.technical_error, tem, 1e-6);
        near(r.technical_error, f64::sqrt(sum_d2 / 34.0), 1e-9);
        near(r.coefficient, 1.96 * std::f64::consts::SQRT_2 * tem, 1e-5);
    }
}

/// Wilson 1927; the closed form solved as the quadratic it comes from: both ends put the observed
/// share exactly 1.96 standard errors away.
#[test]
fn wilson_interval_solves_its_equation() {
    for (count, of) in [(1_u64, 10_u64), (5, 40), (17, 200), (199, 200), (3, 3000)] {
        let share = wilson(count, of).share.unwrap();
        let p = count as f64 / of as f64;
        for end in [share.low95, share.high95] {
            let se = (end * (1.0 - end) / of as f64).sqrt();
            near((p - end).abs() / se, 1.959_964, 1e-6);
        }
    }
    let none = wilson(0, 12).share.unwrap();
    assert!(none.low95 == 0.0 && none.high95 > 0.2);
    assert_eq!(wilson(12, 12).share.unwrap().high95, 1.0);
    assert_eq!(wilson(0, 0).share, None);
    assert_eq!(wilson(3, 2).share, None);
}

#[test]
fn bad_data_is_refused_in_words() {
    assert!(matches!(icc(&[]), Err(FigureError::TooFew { .. })));
    assert!(matches!(
        icc(&[vec![1.0, 2.0]]),
        Err(FigureError::TooFew { .. })
    ));
    assert!(matches!(
        icc(&[vec![1.0, 2.0], vec![1.0]]),
        Err(FigureError::Ragged { row: 2, .. })
    ));
    assert!(matches!(
        icc(&[vec![1.0, 2.0], vec![1.0, f64::NAN]]),
        Err(FigureError::NotANumber { row: 2 })
    ));
    assert!(matches!(
        icc(&[vec![1.0, 1.0], vec![1.0, 1.0]]),
        Err(FigureError::NoVariation { .. })
    ));
    assert!(matches!(
        limits_of_agreement(&[(1.0, 2.0)]),
        Err(FigureError::TooFew { .. })
    ));
    assert!(matches!(
        limits_of_agreement(&[(f64::INFINITY, 1.0), (1.0, 2.0)]),
        Err(FigureError::NotANumber { row: 1 })
    ));
    assert!(matches!(
        repeats(&[vec![1.0, 2.0]]),
        Err(FigureError::TooFew { .. })
    ));
}

/// Ulijaszek & Kerr 1999, Br J Nutr 82:165-177: technical error √(Σd²/2n) of pairs.
#[test]
fn a_casters_repeated_casts_give_his_technical_error() {
    let bimalleolar = [(70.0, 72.0), (75.0, 74.0), (80.0, 83.0)];
    let cast = |id: &str, mm: f64| {
        let mut r = common::results(Side::Left);
        r.quantities
            .insert(ResultName::Bimalleolar, common::quantity(mm, 0.2, 0.5));
        let mut cast = Cast::new(id, Side::Left);
        cast.record.cast_by = "Caster A".into();
        cast.measurement = Some(Measurement::with_results(&r).unwrap());
        cast
    };
    let visits: Vec<Visit> = bimalleolar
        .iter()
        .map(|(a, b)| {
            let mut visit = common::visit(Side::Left);
            visit.casts = vec![cast("c-1", *a), cast("c-2", *b)];
            visit
        })
        .collect();
    let said = practice(&visits).repeats;
    assert_eq!(said.keys().collect::<Vec<_>>(), ["Caster A"]);
    let r = &said["Caster A"][&ResultName::Bimalleolar];
    let tem = f64::sqrt((4.0 + 1.0 + 9.0) / 6.0);
    assert!((r.technical_error - tem).abs() < 1e-12);
    assert!((r.coefficient - 1.96 * std::f64::consts::SQRT_2 * tem).abs() < 1e-12);
    assert!((r.limits.bias.value + 4.0 / 3.0).abs() < 1e-12);
    assert!(r.icc.icc_1_1.value > 0.8 && r.icc.targets == 3);
    assert!(
        practice(&visits[..1]).repeats.is_empty(),
        "one foot tells nothing"
    );
}
