//! Photographs made by others, whole and damaged, through the decoder.
//!
//! EXIF orientation: github.com/recurser/exif-orientation-examples (MIT). Damaged and odd files:
//! the test suites of the image, image-png and jpeg-decoder crates (MIT or Apache-2.0), PngSuite
//! among them. They lie beside the project in `../shared/data/images`.

#![allow(clippy::expect_used)]

use plinthside_measure::photo::{LIMITS, PhotoError, decode, decode_luma};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

fn data() -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/images");
    if folder.is_dir() {
        return Some(folder);
    }
    println!("skipped: data not here");
    None
}

fn files_below(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            files_below(&path, found);
        } else {
            found.push(path);
        }
    }
}

#[test]
fn every_file_decodes_or_is_refused_in_words() {
    let Some(folder) = data() else { return };
    let mut paths = Vec::new();
    files_below(&folder, &mut paths);
    let mut outcomes: BTreeMap<String, usize> = BTreeMap::new();
    for path in &paths {
        let bytes = fs::read(path).expect("a file");
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let outcome = match decode(&name, &bytes) {
            Ok(photo) => {
                assert_eq!(photo.rgb().len(), (photo.width * photo.height * 3) as usize);
                assert!(u64::from(photo.width) * u64::from(photo.height) <= LIMITS.area_px);
                let luma = decode_luma(&name, &bytes).expect("what decodes in colour decodes grey");
                assert_eq!((luma.width, luma.height), (photo.width, photo.height));
                "decoded".to_owned()
            }
            Err(error) => {
                let sentence = error.to_string();
                assert!(sentence.starts_with(&*name), "{sentence}");
                assert!(
                    !sentence.contains('\n') && sentence.len() < 400,
                    "{sentence}"
                );
                match &error {
                    PhotoError::OtherType { kind, .. } => (*kind).to_owned(),
                    other => format!("{other:?}")
                        .split_once(' ')
                        .map_or_else(String::new, |w| w.0.to_owned()),
                }
            }
        };
        *outcomes.entry(outcome).or_default() += 1;
    }
    println!("{} files: {outcomes:?}", paths.len());
    assert!(paths.len() > 400);
}

/// Each picture is stored in all orientations (0 means none given); they are separate JPEGs of
/// the same scene, so they differ by compression alone.
#[test]
fn every_orientation_comes_out_upright() {
    let Some(folder) = data() else { return };
    let folder = folder.join("exif-orientation-examples");
    for shape in ["Landscape", "Portrait"] {
        let read = |orientation: u8| {
            let name = format!("{shape}_{orientation}.jpg");
            let bytes = fs::read(folder.join(&name)).expect("a file");
            decode(&name, &bytes).expect("a photograph")
        };
        let upright = read(1);
        let difference = |pixels: &[u8]| {
            let sum: f64 = upright
                .rgb()
                .iter()
                .zip(pixels)
                .map(|(a, b)| f64::from(a.abs_diff(*b)))
                .sum();
            sum / pixels.len() as f64
        };
        let upside_down: Vec<u8> = upright
            .rgb()
            .chunks_exact(3)
            .rev()
            .flatten()
            .copied()
            .collect();
        assert!(difference(&upside_down) > 20.0, "a wrong turn must show");
        for orientation in 0..=8 {
            let photo = read(orientation);
            assert_eq!(photo.orientation, orientation.max(1));
            assert_eq!((photo.width, photo.height), (upright.width, upright.height));
            let off = difference(&photo.rgb());
            println!("{shape}_{orientation}: {off:.2} levels from the upright picture");
            assert!(off < 4.0);
        }
    }
}
