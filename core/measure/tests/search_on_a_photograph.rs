//! Large photographs are searched coarsely first. On a real one (AprilTags.jl, MIT: 40 tags of 31.5 mm,
//! 63 mm apart, on uneven paper) that must cost neither tags nor truth. Skipped where the data is not
//! beside the project.
#![allow(clippy::expect_used)] // a failed expectation is a failed test

use nalgebra::{DMatrix, DVector};
use plinthside_measure::detect::{DetectOptions, tags};
use plinthside_measure::observed::Px;
use plinthside_measure::photo::{Photograph, decode_luma};
use std::collections::BTreeMap;
use std::path::PathBuf;

type Corners = BTreeMap<u32, [Px; 4]>;

fn photograph() -> Option<Photograph> {
    let name = "taggridphoto.jpg";
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../../shared/data/tags/AprilTags.jl/data/CameraCalibration")
        .join(name);
    if !path.exists() {
        println!("skipped: data not here ({})", path.display());
        return None;
    }
    let bytes = std::fs::read(path).expect("readable");
    Some(decode_luma(name, &bytes).expect("a photograph"))
}

fn found(photo: &Photograph, decimate: Option<f32>) -> Corners {
    let options = DetectOptions {
        decimate,
        ..DetectOptions::default()
    };
    let seen = tags(photo, &options).tags;
    seen.into_iter().map(|t| (t.id, t.corners_px)).collect()
}

/// Where a corner of the grid lies, in tags: ids run down the columns of five, from 1.
fn drawn(id: u32, corner: usize) -> [f64; 2] {
    let [x, y] = [[0.0, 0.0], [1.0, 0.0], [1.0, -1.0], [0.0, -1.0]][corner];
    let (column, row) = ((id - 1) / 5, (id - 1) % 5);
    [x + 2.0 * f64::from(column), y - 2.0 * f64::from(row)]
}

/// Sum of squares (px²) that the best plane view of two neighbours leaves: 16 numbers, 8 free. Paper
/// 95 mm long is bent little.
fn misfit(seen: &Corners, pair: [u32; 2]) -> f64 {
    let pairs: Vec<([f64; 2], Px)> = pair
        .iter()
        .flat_map(|id| (0..4).map(|k| (drawn(*id, k), seen[id][k])))
        .collect();
    let mean = |k: usize| pairs.iter().map(|(_, px)| px[k]).sum::<f64>() / 8.0;
    let (middle, start) = ([mean(0), mean(1)], drawn(pair[0], 0));
    let rows = |h: Option<&DVector<f64>>| {
        let (mut a, mut b) = (DMatrix::zeros(16, 8), DVector::zeros(16));
        for (i, (at, px)) in pairs.iter().enumerate() {
            let [x, y] = [at[0] - start[0], at[1] - start[1]];
            // Weighted by the last estimate's denominator the errors are pixels.
            let weight = h.map_or(1.0, |h| 1.0 / (h[6] * x + h[7] * y + 1.0));
            for k in 0..2 {
                let v = px[k] - middle[k];
                let (row, at) = (2 * i + k, 3 * k);
                a[(row, at)] = x * weight;
                a[(row, at + 1)] = y * weight;
                a[(row, at + 2)] = weight;
                a[(row, 6)] = -v * x * weight;
                a[(row, 7)] = -v * y * weight;
                b[row] = v * weight;
            }
        }
        (a, b)
    };
    let mut h = None;
    let mut left = 0.0;
    for _ in 0..5 {
        let (a, b) = rows(h.as_ref());
        let solved = a
            .clone()
            .svd(true, true)
            .solve(&b, 1e-12)
            .expect("two tags");
        left = (&a * &solved - b).norm_squared();
        h = Some(solved);
    }
    left
}

#[test]
fn the_coarse_search_lies_no_farther_from_the_grid_than_the_fine_one() {
    let Some(photo) = photograph() else { return };
    let (coarse, fine) = (found(&photo, None), found(&photo, Some(2.0)));
    let all: Vec<u32> = (1..=40).collect();
    assert!(coarse.keys().eq(&all) && fine.keys().eq(&all));
    assert_ne!(coarse, fine, "the default searches coarsely first");
    let down = all.iter().filter(|id| *id % 5 != 0).map(|id| [*id, id + 1]);
    let across = (1..=35).map(|id| [id, id + 5]);
    let (mut sums, mut nearer, mut pairs) = ([0.0; 2], 0, 0);
    for pair in down.chain(across) {
        let left = [misfit(&coarse, pair), misfit(&fine, pair)];
        nearer += u32::from(left[0] < left[1]);
        pairs += 1;
        sums = [sums[0] + left[0], sums[1] + left[1]];
    }
    let [ours, other] = sums.map(|sum| (sum / (8.0 * f64::from(pairs))).sqrt());
    println!(
        "two neighbours and a plane: {ours:.4} px after the coarse search, {other:.4} px after the fine one; nearer in {nearer} of {pairs} pairs"
    );
    assert!(ours < 1.005 * other && 2 * nearer > pairs);
}
