//! No input of any kind panics or yields a NaN.

use crate::marks_file::GOOD;
use nalgebra::DMatrix;
use plinthside_measure::cast::{
    CalfBand, CastPoints, HingeOffset, MarkingSd, MeasuredPoint, MotionRange, OrderedLine,
    OutlineRays, Ray, Reference, Settings, Source, Wall, clearance, hinge_mismatch, plan_skive,
    results,
};
use plinthside_measure::flat::{PlanePoint, Taps, flat};
use plinthside_measure::leg::{Leg, Readings};
use plinthside_measure::marks::{MarkName as M, Marks, Side, Surface};
use plinthside_measure::quantity::Quantity;
use proptest::prelude::*;

const NAMES: [&str; 14] = [
    M::HEEL_LOWER,
    M::HEEL_UPPER,
    M::MTP_1,
    M::MTP_5,
    M::MALLEOLUS_MEDIAL,
    M::MALLEOLUS_LATERAL,
    M::CALF_LOWER,
    M::CALF_UPPER,
    M::MTP_2,
    M::MTP_4,
    M::HEEL_PLANTAR,
    M::HEEL_MEDIAL,
    M::HEEL_LATERAL,
    "scratch",
];

/// Mostly the numbers of a cast, often the same ones again, sometimes absurd ones.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => -200.0..200.0_f64,
        4 => prop::sample::select(vec![0.0, 1.0, -1.0, 50.0, 1e-12]),
        1 => any::<f64>(),
    ]
}

/// Numbers a cast can have, degenerate ones among them.
fn coordinate() -> impl Strategy<Value = f64> {
    prop_oneof![5 => -300.0..300.0_f64, 3 => prop::sample::select(vec![0.0, 1.0, 50.0, 1e-9, 10_000.0])]
}

fn side() -> impl Strategy<Value = Side> {
    prop_oneof![Just(Side::Left), Just(Side::Right)]
}

fn finite(q: &Quantity) -> bool {
    [q.value, q.instrument_sd, q.total_sd, q.low95, q.high95]
        .iter()
        .all(|x| x.is_finite())
        && q.low95 <= q.high95
}

fn points(
    at: &[[f64; 3]],
    sd: f64,
    dof: f64,
    scale: f64,
    outside: usize,
    wall: Option<Wall>,
) -> Option<CastPoints> {
    let n = 3 * at.len();
    let points = at.iter().enumerate().map(|(i, mm)| MeasuredPoint {
        mark: NAMES[i].into(),
        mm: *mm,
        surface: if outside >> i & 1 == 1 {
            Surface::Outside
        } else {
            Surface::Inside
        },
        views: 3,
        worst_residual_px: None,
    });
    let covariance = DMatrix::identity(n, n) * (sd * sd);
    CastPoints::new(
        points.collect(),
        covariance,
        dof,
        scale,
        Source::Photographs,
        wall,
    )
    .ok()
}

fn check_all(
    cast: &CastPoints,
    side: Side,
    settings: &Settings,
    leg: &Leg,
) -> Result<(), TestCaseError> {
    if let Ok(results) = results(cast, side, settings, leg) {
        for (name, q) in &results.quantities {
            prop_assert!(finite(q), "{name}: {q:?}");
        }
        for point in &results.points {
            let numbers = [point.cast_mm, point.instrument_sd_mm, point.total_sd_mm].concat();
            prop_assert!(numbers.iter().all(|x| x.is_finite()), "{point:?}");
        }
        for c in &results.comparisons {
            prop_assert!(finite(&c.difference), "{c:?}");
        }
        prop_assert!(
            !serde_json::to_string(&results)
                .unwrap()
                .contains("null,null,null")
        );
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600.max(ProptestConfig::default().cases)))]

    #[test]
    fn any_points_give_finite_results_or_a_refusal(
        at in prop::collection::vec([coordinate(), coordinate(), coordinate()], 0..=NAMES.len()),
        (sd, dof, scale) in (number(), number(), number()),
        (outside, side) in (any::<usize>(), side()),
        wall in prop::option::of((number(), number())),
        (down_mm, within_mm, rock) in (number(), number(), prop::option::of(number())),
        m2 in any::<bool>(),
    ) {
        let wall = wall.map(|(mm, sd_mm)| Wall { mm, sd_mm });
        let mut settings = Settings {
            reference: if m2 { Reference::Mtp2 } else { Reference::MtpMidpoint },
            medial_hinge_offset: HingeOffset { down_mm, forward_mm: 0.0 },
            rock_mm: rock,
            ..Settings::default()
        };
        settings.marking.sd.insert(M::MTP_1.into(), MarkingSd { within_mm, between_mm: 1.0 });
        let leg = Leg { bimalleolar_breadth_mm: Readings(vec![70.0, 71.0]), ..Leg::default() };
        // Usable sd most of the time, so that the formulas are reached.
        for (sd, dof, scale) in [(sd, dof, scale), (0.2, 30.0, 0.003)] {
            if let Some(cast) = points(&at, sd, dof, scale, outside, wall) {
                check_all(&cast, side, &settings, &leg)?;
                check_all(&cast, side, &Settings { reference: settings.reference, ..Settings::default() }, &leg)?;
            }
        }
    }

    #[test]
    fn any_points_are_taken_or_refused(at in prop::collection::vec([number(), number(), number()], 8)) {
        if let Some(cast) = points(&at, 0.2, 30.0, 0.003, 0, None) {
            check_all(&cast, Side::Left, &Settings::default(), &Leg::default())?;
        }
    }

    #[test]
    fn any_hinge_comparison_is_finite_or_refused(
        at in prop::collection::vec([coordinate(), coordinate(), coordinate()], 8),
        (n, height_mm, width_mm, depth_mm) in (number(), number(), number(), number()),
        (plantarflexion_deg, dorsiflexion_deg) in (number(), number()),
        typed in prop::option::of(([number(), number(), number()], [number(), number(), number()])),
        side in side(),
    ) {
        let Some(cast) = points(&at, 0.2, 30.0, 0.003, 0, None) else { return Ok(()) };
        let ordered = match typed {
            Some((medial_mm, lateral_mm)) => OrderedLine::Typed { medial_mm, lateral_mm },
            None => OrderedLine::Level { external_deg: n },
        };
        let bands = [
            CalfBand { height_mm, width_mm, depth_mm },
            CalfBand { height_mm: 200.0, width_mm: 80.0, depth_mm: 90.0 },
        ];
        let ranges = [
            MotionRange { plantarflexion_deg, dorsiflexion_deg },
            MotionRange { plantarflexion_deg: 15.0, dorsiflexion_deg: 10.0 },
        ];
        for (band, range) in bands.iter().zip(&ranges) {
            if let Ok(m) = hinge_mismatch(&cast, side, &Settings::default(), &ordered, band, range) {
                prop_assert!(finite(&m.largest), "{m:?}");
            }
        }
    }

    #[test]
    fn any_skive_flat_and_outline_is_finite_or_refused(
        (a, b, c) in (number(), number(), number()),
        taps in [[number(), number()], [number(), number()], [number(), number()]],
        plane in prop::collection::vec(([number(), number()], [number(), number()]), 0..8),
        rays in prop::collection::vec(([number(), number(), number()], [number(), number(), number()]), 0..6),
    ) {
        if let Ok(plan) = plan_skive(a, b, c) {
            prop_assert!(plan.reach_mm.is_finite() && plan.share_of_heel <= 0.5);
        }
        let plane: Vec<PlanePoint> = plane.into_iter().map(|(px, plane_mm)| PlanePoint { px, plane_mm }).collect();
        for taps in [Taps::Angle(taps), Taps::Length([taps[0], taps[1]])] {
            if let Ok(flat) = flat(&taps, a, &plane) {
                prop_assert!(finite(&flat.quantity), "{flat:?}");
            }
            if let Ok(flat) = flat(&taps, 1.5, &plane) {
                prop_assert!(finite(&flat.quantity), "{flat:?}");
            }
        }
        let cast = crate::support::cast(&crate::support::worked(Side::Left));
        let rays = rays.into_iter().map(|(o, d)| Ray { origin_mm: o.into(), direction: d.into(), sd_rad: 0.001 });
        let outline = OutlineRays { mark: M::MTP_1.into(), photo: "a.jpg".into(), rays: rays.collect() };
        if let Ok(found) = clearance(&cast, Side::Left, &Settings::default(), &M::MTP_1.into(), &[outline]) {
            prop_assert!(found.reach.iter().all(|(_, q)| finite(q)), "{found:?}");
        }
    }

    #[test]
    fn any_text_is_read_or_refused(text in ".{0,200}") {
        let _ = Marks::from_json(&text);
    }

    /// A good file with passages cut, doubled or replaced, up to the results.
    #[test]
    fn a_damaged_marks_file_is_read_or_refused(
        cuts in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), prop::sample::select(vec!["", "0", "-1", "1e308", "null", "\"", "[", "}", ",", "mtp-5", "9999"])), 1..4),
    ) {
        let mut text = GOOD.to_owned();
        for (from, len, put) in cuts {
            let start = from.index(text.len());
            let end = (start + len.index(6)).min(text.len());
            if text.is_char_boundary(start) && text.is_char_boundary(end) {
                text.replace_range(start..end, put);
            }
        }
        use_all(&text)?;
    }

    /// Well-formed files with any numbers in them.
    #[test]
    fn any_numbers_in_a_marks_file(
        numbers in prop::collection::vec(number(), 12),
        replaced in prop::collection::vec(any::<prop::sample::Index>(), 12),
    ) {
        let mut value: serde_json::Value = serde_json::from_str(GOOD).unwrap();
        let paths = [
            "/marks/0/x", "/marks/0/sd_px", "/wall_mm", "/outlines/0/points/0/0", "/ruler/0/height_mm",
            "/ruler/0/lateral_mm", "/ruler/1/forward_mm", "/ruler/2/height_mm", "/ruler/3/breadth_mm",
            "/leg/heel_breadth_mm", "/leg/shank_lean_deg", "/settings/rock_mm",
        ];
        for (path, number) in replaced.iter().zip(numbers) {
            if let Some(place) = value.pointer_mut(paths[path.index(paths.len())]) {
                *place = number.into();
            }
        }
        use_all(&value.to_string())?;
    }
}

fn use_all(text: &str) -> Result<(), TestCaseError> {
    let Ok(marks) = Marks::from_json(text) else {
        return Ok(());
    };
    if let Ok(cast) = marks.ruler.cast_points(marks.side, marks.wall) {
        prop_assert!(cast.covariance_mm2().iter().all(|c| c.is_finite()));
        check_all(&cast, marks.side, &marks.settings, &marks.leg)?;
        let midpoint = Settings {
            reference: Reference::MtpMidpoint,
            ..marks.settings.clone()
        };
        check_all(&cast, marks.side, &midpoint, &marks.leg)?;
    }
    Ok(())
}
