//! What cannot be measured is refused in words that name the photograph or mark.
//! Source: the simulator in `support`.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

mod support;

use nalgebra::Vector3;
use plinthside_measure::mat::{Mat, Paper};
use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::solve::{Solution, SolveError, SolveOptions, Warning, solve};
use support::{Stand, World, four_corners, marks, six_views};

fn run(mat: &Mat, photos: &[PhotoTags], taps: &[MarkView]) -> Result<Solution, SolveError> {
    solve(mat, photos, taps, &SolveOptions::default())
}

fn good() -> (World, Vec<PhotoTags>, Vec<MarkView>) {
    let world = World::new(six_views());
    let (photos, taps) = world.noisy(3);
    (world, photos, taps)
}

/// Runs good photographs after a change and returns the refusal, checked to be a sentence.
fn refusal(change: impl FnOnce(&mut World, &mut Vec<PhotoTags>, &mut Vec<MarkView>)) -> SolveError {
    let (mut world, mut photos, mut taps) = good();
    change(&mut world, &mut photos, &mut taps);
    let error = run(&world.mat, &photos, &taps).expect_err("must be refused");
    println!("{error}");
    let text = error.to_string();
    assert!(
        !text.contains("NaN") && !text.contains("inf") && text.len() > 40,
        "{text}"
    );
    error
}

macro_rules! refused {
    ($pattern:pat, $change:expr) => {{
        let error = refusal($change);
        assert!(matches!(error, $pattern), "{error:?}");
    }};
}

#[test]
fn good_photographs_are_measured() {
    let (world, photos, taps) = good();
    let solution = run(&world.mat, &photos, &taps).expect("good photographs");
    assert_eq!(solution.points.len(), 8);
    assert!(solution.dropped_tags.is_empty());
    for warning in &solution.warnings {
        println!("{warning}");
    }
}

#[test]
fn impossible_photographs_are_refused_with_a_remedy() {
    refused!(SolveError::NoPhotographs, |_, p, _| p.clear());
    refused!(SolveError::BadPhotograph { .. }, |_, p, _| p[0]
        .orientation =
        9);
    refused!(SolveError::BadPhotograph { .. }, |_, p, _| p[0].width = 0);
    refused!(SolveError::SamePhotographTwice { .. }, |_, p, _| p[1]
        .photo =
        p[0].photo.clone());
    refused!(SolveError::SamePhotographTwice { .. }, |_, p, _| p[1]
        .tags =
        p[0].tags.clone());
    refused!(SolveError::TooFewTags { seen: 2, .. }, |_, p, _| p[2]
        .tags
        .truncate(2));
    refused!(SolveError::TooFewTags { seen: 0, .. }, |_, p, _| p[2]
        .tags
        .clear());
    refused!(SolveError::TagTwice { .. }, |_, p, _| {
        let again = p[1].tags[0].clone();
        p[1].tags.push(again);
    });
    refused!(SolveError::BadCorner { .. }, |_, p, _| p[1].tags[0]
        .corners_px[2][1] =
        f64::NAN);
    refused!(SolveError::BadCorner { .. }, |_, p, _| p[1].tags[0]
        .corners_px[2][0] =
        1e300);
}

#[test]
fn another_mat_is_refused() {
    refused!(SolveError::UnknownMat { .. }, |w, _, _| {
        w.mat = Paper::A4.layout().mat().expect("ours");
    });
    // The right numbers in the wrong places.
    refused!(SolveError::TagsDoNotFit { .. }, |w, _, _| {
        let places: Vec<_> = w.mat.tags.iter().map(|t| t.corners_mm).collect();
        for (i, tag) in w.mat.tags.iter_mut().enumerate() {
            tag.corners_mm = places[(7 * i + 3) % places.len()];
        }
    });
    // Nearly the right places, as on another make of the same sheet.
    refused!(SolveError::TagsDoNotFit { .. }, |w, _, _| {
        for (i, tag) in w.mat.tags.iter_mut().enumerate() {
            let (s, c) = (2.4 * i as f64).sin_cos();
            tag.corners_mm = tag
                .corners_mm
                .map(|[x, y, z]| [x + 4.0 * c, y + 4.0 * s, z]);
        }
    });
    refused!(SolveError::MirroredLayout { .. }, |w, _, _| {
        for tag in &mut w.mat.tags {
            tag.corners_mm = tag.corners_mm.map(|[x, y, z]| [420.0 - x, y, z]);
        }
    });
    // Mirrored places with corners that still run the usual way round.
    refused!(SolveError::MirroredLayout { .. }, |w, _, _| {
        for tag in &mut w.mat.tags {
            let [a, b, c, d] = tag.corners_mm.map(|[x, y, z]| [420.0 - x, y, z]);
            tag.corners_mm = [b, a, d, c];
        }
    });
}

/// A two-bit border read by a detector of one bit: right numbers, corners 8 % too far in.
#[test]
fn corners_on_the_wrong_edge_of_the_border() {
    for (share, inward) in [(0.92, true), (1.09, false)] {
        let error = refusal(|_, photos, _| {
            for tag in photos.iter_mut().flat_map(|p| &mut p.tags) {
                let middle = [0, 1].map(|k| tag.corners_px.iter().map(|p| p[k]).sum::<f64>() / 4.0);
                tag.corners_px = tag
                    .corners_px
                    .map(|p| [0, 1].map(|k| middle[k] + share * (p[k] - middle[k])));
            }
        });
        let SolveError::WrongBorder {
            percent, direction, ..
        } = error
        else {
            panic!("{error:?}");
        };
        assert!((7.0..10.0).contains(&percent), "{percent}");
        assert_eq!(direction, if inward { "in" } else { "out" });
    }
}

#[test]
fn corners_that_start_elsewhere_or_run_the_other_way_are_recognised_and_reported() {
    let (world, photos, taps) = good();
    let agreed = run(&world.mat, &photos, &taps).expect("agreed order");
    for start in 0..4 {
        for reversed in [false, true] {
            let mut mat = world.mat.clone();
            for tag in &mut mat.tags {
                let c = tag.corners_mm;
                // A pure rotation by the file, or its mirror order.
                tag.corners_mm = std::array::from_fn(|i| {
                    if reversed {
                        c[(start + 4 - i) % 4]
                    } else {
                        c[(start + i) % 4]
                    }
                });
            }
            let solution = run(&mat, &photos, &taps).expect("recognised");
            let told = solution
                .warnings
                .iter()
                .any(|w| matches!(w, Warning::CornerOrder { .. }));
            assert_eq!(told, start != 0 || reversed);
            for (a, b) in agreed.points.iter().zip(&solution.points) {
                let off = (Vector3::from(a.mat_mm) - Vector3::from(b.mat_mm)).norm();
                assert!(off < 1e-6, "start {start} reversed {reversed}: {off} mm");
            }
        }
    }
}

#[test]
fn impossible_marks_are_refused_with_a_remedy() {
    refused!(SolveError::NoSuchPhotograph { .. }, |_, _, t| t[0].photo =
        "none.jpg".into());
    let bad = |part: &str, change: &dyn Fn(&mut MarkView)| {
        let error = refusal(|_, _, t| change(&mut t[0]));
        assert!(matches!(error, SolveError::BadMark { .. }), "{error:?}");
        assert!(error.to_string().contains(part), "{error}");
    };
    bad("its place is not a number", &|t| t.px[0] = f64::NAN);
    bad("outside the picture", &|t| t.px[1] = -1.0);
    bad("outside the picture", &|t| t.px[0] = 4032.5);
    bad("not a positive number", &|t| t.sd_px = 0.0);
    bad("not a positive number", &|t| t.sd_px = f64::INFINITY);
    refused!(SolveError::MarkTwice { .. }, |_, _, t| {
        let again = t[0].clone();
        t.push(again);
    });
    refused!(SolveError::MixedSurface { .. }, |_, _, t| {
        t[0].surface = plinthside_measure::marks::Surface::Outside;
    });
    refused!(SolveError::SeenOnce { .. }, |_, _, t| {
        let name = t[0].mark.clone();
        let mut first = true;
        t.retain(|tap| tap.mark != name || std::mem::take(&mut first));
    });
}

#[test]
fn a_mark_seen_once_is_set_aside_while_views_are_collected() {
    let (world, photos, mut taps) = good();
    let name = taps[0].mark.clone();
    let mut first = true;
    taps.retain(|tap| tap.mark != name || std::mem::take(&mut first));
    let options = SolveOptions {
        unfinished: true,
        ..SolveOptions::default()
    };
    let solution = solve(&world.mat, &photos, &taps, &options).expect("the others");
    assert_eq!(solution.seen_once, vec![name]);
    assert_eq!(solution.points.len(), 7);
    let none = solve(&world.mat, &photos, &[], &SolveOptions::default()).expect("cameras alone");
    assert!(none.points.is_empty() && none.cameras.len() == 6);
}

#[test]
fn rays_that_hardly_cross_are_refused() {
    let mut stands = vec![four_corners()[0]; 3];
    stands[1].azimuth_deg -= 6.0;
    stands[2].azimuth_deg -= 120.0;
    let world = World::new(stands);
    let (photos, mut taps) = world.noisy(5);
    taps.retain(|t| t.photo != "photo-3.jpg");
    let error = run(&world.mat, &photos, &taps).expect_err("narrow");
    assert!(matches!(error, SolveError::NarrowRays { .. }), "{error}");
    let narrow = SolveOptions {
        min_rays_deg: 3.0,
        ..SolveOptions::default()
    };
    solve(&world.mat, &photos, &taps, &narrow).expect("the switch lets them pass");
}

#[test]
fn a_sheet_bowed_beyond_1_5_mm() {
    let mut world = World::new(six_views());
    world.bow = [2.2, 0.0, 0.0];
    let (photos, taps) = world.noisy(3);
    let error = run(&world.mat, &photos, &taps).expect_err("bowed");
    assert!(
        matches!(error, SolveError::MatNotFlat { bow_mm } if bow_mm > 1.5),
        "{error}"
    );
}

#[test]
fn a_tap_far_off_is_named() {
    for by in [60.0, 800.0] {
        let (world, photos, mut taps) = good();
        let views = |name: &str| taps.iter().filter(|t| t.mark.as_str() == name).count();
        let (three, two) = ("heel-lower", "mtp-5");
        assert!(views(three) == 3 && views(two) == 2);
        let index = |name: &str| {
            taps.iter()
                .position(|t| t.mark.as_str() == name)
                .expect("seen")
        };
        let (i, j) = (index(three), index(two));
        let before = taps[i].px;
        taps[i].px[0] += if before[0] > 2000.0 { -by } else { by };
        let error = run(&world.mat, &photos, &taps).expect_err("wrong");
        println!("{error}");
        let SolveError::WrongTap {
            mark,
            photo,
            off_px,
        } = error
        else {
            panic!("{error:?}")
        };
        assert_eq!((mark.as_str(), photo), (three, taps[i].photo.clone()));
        assert!((off_px - by).abs() < 0.5 * by, "{off_px}");
        taps[i].px = before;
        let across = if taps[j].px[1] > 1500.0 { -by } else { by };
        taps[j].px[1] += across;
        taps[j].px[0] += 0.3 * across;
        let error = run(&world.mat, &photos, &taps).expect_err("wrong");
        println!("{error}");
        assert!(matches!(error, SolveError::OneOfTwoTaps { mark, .. } if mark.as_str() == two));
    }
}

/// Taps of photograph `i` as if the cast had been moved, or were another cast.
fn replace_taps(
    world: &World,
    taps: &mut [MarkView],
    i: usize,
    place: &dyn Fn(usize) -> Vector3<f64>,
) {
    let names = marks();
    for tap in taps
        .iter_mut()
        .filter(|t| t.photo == support::photo_name(i))
    {
        let m = names
            .iter()
            .position(|m| m.name == tap.mark.as_str())
            .expect("known");
        let px = world.pixel(i, &place(m));
        tap.px = [px.x, px.y];
    }
}

#[test]
fn a_cast_that_moved_between_photographs() {
    for moved_mm in [6.0, 25.0] {
        let (world, photos, mut taps) = good();
        let truth = world.truth();
        replace_taps(&world, &mut taps, 0, &|m| {
            truth[m] + Vector3::new(0.6, 0.8, 0.0) * moved_mm
        });
        let error = run(&world.mat, &photos, &taps).expect_err("moved");
        println!("{error}");
        let SolveError::CastMoved {
            photo,
            moved_mm: found,
        } = error
        else {
            panic!("{error:?}")
        };
        assert_eq!(photo, support::photo_name(0));
        assert!(
            (found - moved_mm).abs() < 0.3 * moved_mm,
            "{found} of {moved_mm} mm"
        );
    }
}

#[test]
fn a_cast_that_moved_in_two_photographs_together() {
    let world = World::new(support::six_views());
    let (photos, mut taps) = world.noisy(3);
    let truth = world.truth();
    let shift = Vector3::new(6.0, -8.0, 0.0);
    for i in [1, 3] {
        replace_taps(&world, &mut taps, i, &|m| truth[m] + shift);
    }
    let error = run(&world.mat, &photos, &taps).expect_err("moved");
    println!("{error}");
    let SolveError::CastMoved { photo, moved_mm } = error else {
        panic!("{error:?}")
    };
    assert_eq!(
        photo,
        format!("{} and {}", support::photo_name(1), support::photo_name(3))
    );
    assert!((moved_mm - shift.norm()).abs() < 3.0, "{moved_mm}");
}

#[test]
fn photographs_of_different_casts_are_refused() {
    let (world, photos, mut taps) = good();
    let truth = world.truth();
    for i in [0, 2, 4] {
        replace_taps(&world, &mut taps, i, &|m| {
            let around = world.cast_origin_mm;
            let p = truth[m] - around;
            let wiggle = Vector3::new(0.0, 9.0 * (m as f64 * 2.1).sin(), 8.0 * (m as f64).cos());
            around + p * 0.87 + wiggle
        });
    }
    let error = run(&world.mat, &photos, &taps).expect_err("two casts");
    println!("{error}");
    assert!(
        matches!(error, SolveError::DifferentCasts { .. }),
        "{error:?}"
    );
}

#[test]
fn equal_heights_without_a_turn_widen_the_interval_and_say_so() {
    let flat = |azimuth_deg| Stand {
        azimuth_deg,
        elevation_deg: 37.0,
        roll_deg: 0.0,
        distance_mm: 480.0,
    };
    let level = World::new([135.0, -135.0, 34.0, -34.0].map(flat).to_vec());
    let turned = World::new(four_corners());
    let widest = |world: &World| {
        let (photos, taps) = world.noisy(11);
        let options = SolveOptions {
            min_rays_deg: 5.0,
            unfinished: true,
            ..SolveOptions::default()
        };
        let solution = solve(&world.mat, &photos, &taps, &options).expect("solved");
        let told = solution
            .warnings
            .iter()
            .any(|w| matches!(w, Warning::WeakFocalLength { .. }));
        let lens = &solution.intrinsics[0];
        let sd = solution.covariance_mm2.diagonal().max().sqrt();
        println!(
            "sd f {:.2} %, largest sd {sd:.2} mm",
            100.0 * lens.sd_f_px / lens.f_px
        );
        (lens.sd_f_px / lens.f_px, sd, told)
    };
    let (level_f, level_sd, level_told) = widest(&level);
    let (turned_f, turned_sd, _) = widest(&turned);
    assert!(level_told && level_f > 2.0 * turned_f && level_sd > turned_sd);
}
