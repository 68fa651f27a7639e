//! Two A4 sheets on a board, the right one laid askew, from rendered photographs to marks in space:
//! rendered, packed as JPEG, decoded, tags found, dots snapped, solved.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use plinthside_demo_data::render::print::Laid;
use plinthside_demo_data::render::{clinic, photo, record, studio};
use plinthside_measure::detect::{DetectOptions, tags};
use plinthside_measure::ink;
use plinthside_measure::marks::{MarkName, Surface};
use plinthside_measure::mat::{Bar, Mat, Paper, Printed};
use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::photo::decode;
use plinthside_measure::solve::{SolveOptions, solve};

const ASKEW: Laid = Laid {
    shift_mm: [1.8, -1.3],
    turn_deg: 0.35,
};
/// Of the demo's stands: five into the front, one of them turned; each mark is in two or more.
const STANDS: [usize; 5] = [0, 1, 2, 3, 4];
/// Half the demo's resolution each way: 3 megapixels.
const SHRINK: u32 = 2;

/// The layout's own mat file with both bars of this print measured.
fn mat() -> Mat {
    let layout = Paper::TwoA4.layout();
    let bar = |nominal_mm: f64| {
        Some(Bar {
            nominal_mm,
            measured_mm: nominal_mm * clinic::PRINT_SCALE,
            sd_mm: 0.3,
        })
    };
    let mut mat = layout.mat().expect("a layout of ours");
    mat.printed = Some(Printed {
        across: bar(layout.pages[0].across.nominal_mm),
        along: bar(layout.pages[0].along.nominal_mm),
    });
    mat
}

#[test]
fn marks_on_two_sheets_laid_askew_come_back_where_they_are() {
    let [mut left, _] = clinic::patients();
    left.stands = STANDS.map(|i| left.stands[i]).to_vec();
    let laid = [Laid::default(), ASKEW];
    let (scene, marks) = studio::scene_on(Paper::TwoA4, &laid, &left, true);
    let cameras = studio::cameras(&left, SHRINK);
    let truth = record::truth(&left, &scene, &marks, &cameras);
    let (mut photos, mut taps): (Vec<PhotoTags>, Vec<MarkView>) = (Vec::new(), Vec::new());
    let (mut squares, mut corners, mut snapped) = (0.0, 0.0, 0);
    for (i, (camera, exact)) in cameras.iter().zip(&truth.photos).enumerate() {
        let [w, h] = camera.size_px;
        let rgb = photo::develop(&scene, camera, [0, 0, w, h], i as u64);
        let jpeg = photo::jpeg(&rgb, camera, &left, i, 88).expect("a JPEG");
        let picture = decode(&exact.photo, &jpeg).expect("a photograph");
        let seen = tags(&picture, &DetectOptions::default());
        for (id, drawn) in &exact.tags_px {
            let tag = seen.tags.iter().find(|t| t.id == *id);
            let tag = tag.unwrap_or_else(|| panic!("tag {id} missing in {}", exact.photo));
            for (a, b) in tag.corners_px.iter().zip(drawn) {
                squares += (a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2);
                corners += 2.0;
            }
        }
        for (mark, [x, y]) in &exact.marks_px {
            let tap = ink::snap(&picture, [x + 2.5, y - 2.0]);
            snapped += u32::from(tap.on_ink);
            taps.push(MarkView {
                mark: MarkName::from(mark.as_str()),
                photo: exact.photo.clone(),
                px: tap.px,
                sd_px: tap.sd_px,
                surface: Surface::Inside,
            });
        }
        photos.push(seen);
    }
    let rms_px = f64::sqrt(squares / corners);
    println!(
        "corners {rms_px:.3} px rms, {snapped} of {} taps on ink",
        taps.len()
    );
    assert!(rms_px < 0.1 && snapped as usize * 10 >= taps.len() * 9);

    let mat = mat();
    let sheets = |photo: &PhotoTags| {
        [0, 1].map(|s| {
            photo
                .tags
                .iter()
                .filter(|t| mat.tag(t.id).is_some_and(|t| t.sheet == s))
                .count()
        })
    };
    assert!(
        photos.iter().all(|p| sheets(p).iter().all(|n| *n >= 3)),
        "both sheets in each"
    );
    let solution = solve(&mat, &photos, &taps, &SolveOptions::default()).expect("a solution");
    let [x, y, turn_deg] = solution.mat_shape.sheets[0];
    println!("the right sheet lies {x:.2}, {y:.2} mm beside its place, turned {turn_deg:.3}°");
    assert!((x - ASKEW.shift_mm[0]).abs() < 0.1 && (y - ASKEW.shift_mm[1]).abs() < 0.1);
    assert!((turn_deg - ASKEW.turn_deg).abs() < 0.03);

    // Small dots at this resolution stay taps of ± 4 px and say so; the others are held to 1 mm.
    let (mut inside, mut sharp, mut worst_mm) = (0, 0, 0.0_f64);
    for mark in &truth.marks {
        let (index, point) = solution.point(&mark.mark).expect("a solved mark");
        let sd = solution.sd_mm(index);
        for axis in 0..3 {
            let off = (point.mat_mm[axis] - mark.mat_mm[axis]).abs();
            inside += usize::from(off < 1.96 * sd[axis]);
            assert!(
                off < 4.5 * sd[axis] + 0.1,
                "{} axis {axis}: {off} mm",
                mark.mark
            );
        }
        if sd.max() < 0.5 {
            sharp += 1;
            let off = (0..3).map(|k| (point.mat_mm[k] - mark.mat_mm[k]).abs());
            worst_mm = off.fold(worst_mm, f64::max);
        }
    }
    let all = 3 * truth.marks.len();
    println!(
        "{inside} of {all} coordinates inside 95 %, the worst of {sharp} sharp marks {worst_mm:.2} mm off"
    );
    assert!(inside * 100 >= all * 85 && sharp >= 8 && worst_mm < 1.0);

    // Taken for one sheet, drawn as a whole, the same corners scatter more.
    let mut glued = mat.clone();
    glued.tags.iter_mut().for_each(|tag| tag.sheet = 0);
    let scatter = |mat: &Mat| {
        solve(mat, &photos, &[], &SolveOptions::default())
            .map_or(f64::INFINITY, |s| s.cameras[0].sd_px)
    };
    let (parted, whole) = (scatter(&mat), scatter(&glued));
    println!("corners scatter {parted:.3} px, taken for one sheet {whole:.3} px");
    assert!(whole > 3.0 * parted);
}
