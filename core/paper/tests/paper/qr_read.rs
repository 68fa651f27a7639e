use crate::data::{a_code, a_label, date};
use plinthside_measure::marks::Side;
use plinthside_paper::qr::{FoundCode, Luma, read_codes};
use plinthside_paper::{CastCode, LabelSize, Paper, PrinterDots, label, labels};
use proptest::prelude::*;
use qrcode::canvas::Canvas;
use qrcode::ec::construct_codewords;
use qrcode::{EcLevel, Version};
use std::path::PathBuf;

fn read_png(png: &[u8]) -> Vec<FoundCode> {
    let grey = image::load_from_memory(png).unwrap().to_luma8();
    read(&grey)
}

fn read(grey: &image::GrayImage) -> Vec<FoundCode> {
    read_codes(&Luma::from_grey(grey.width(), grey.height(), grey.as_raw()).unwrap())
}

/// Every label at both printer resolutions reads back, its modules lie on whole dots, and the
/// corners found are those drawn.
#[test]
fn every_printed_label_reads_back() {
    for size in LabelSize::ALL {
        for side in [Side::Left, Side::Right] {
            for printer in [PrinterDots::DPI_203, PrinterDots::DPI_300] {
                let png = label(&a_label(side), size, printer)
                    .unwrap()
                    .png(0, printer.dpi)
                    .unwrap();
                let found = read_png(&png);
                assert_eq!(found.len(), 1, "{size} {side} {printer:?}");
                assert_eq!(found[0].cast(), Some(a_code()));
                assert!(found[0].cast_code);
                let grey = image::load_from_memory(&png).unwrap().to_luma8();
                let [[x0, y0], [x1, _], _, _] = found[0].corners_px;
                let module = (x1 - x0) / 25.0;
                assert!(
                    (module - module.round()).abs() < 0.05,
                    "{size}: module of {module} dots"
                );
                // On whole dots every pixel of the symbol is pure black or white.
                let edge = (module.round() * 25.0) as u32;
                let (left, top) = (x0.round() as u32, y0.round() as u32);
                assert!((x0 - x0.round()).abs() < 0.5 && (y0 - y0.round()).abs() < 0.5);
                let greys = (0..edge * edge)
                    .map(|i| grey.get_pixel(left + i % edge, top + i / edge).0[0])
                    .filter(|&p| p > 2 && p < 253)
                    .count();
                assert_eq!(greys, 0, "{size} {side} {printer:?}");
            }
        }
    }
}

/// A whole sheet of stickers in one picture: every code, each once.
#[test]
fn many_codes_in_one_picture() {
    let codes: Vec<CastCode> = (1_u64..)
        .filter_map(|i| CastCode::from_bits(i.wrapping_mul(0x9E37_79B9_7F4A_7C15)))
        .take(24)
        .collect();
    let sheet = labels(&codes, 1, "Clinic", "1", Paper::A4, date()).unwrap();
    let found = read_png(&sheet.png(0, 200.0).unwrap());
    let mut read: Vec<CastCode> = found.iter().filter_map(FoundCode::cast).collect();
    read.sort_unstable();
    let mut wanted = codes;
    wanted.sort_unstable();
    assert_eq!(read, wanted);
}

#[test]
fn turned_and_inverted_labels_are_read() {
    let png = label(
        &a_label(Side::Left),
        LabelSize::W62H100,
        PrinterDots::DPI_203,
    )
    .unwrap()
    .png(0, 203.2)
    .unwrap();
    let upright = image::load_from_memory(&png).unwrap().to_luma8();
    let [w, h] = [f64::from(upright.width()), f64::from(upright.height())];
    let at = read(&upright)[0].corners_px;
    let turned = image::imageops::rotate90(&upright);
    let corners = read(&turned)[0].corners_px;
    for (p, q) in at.iter().zip(&corners) {
        // A quarter turn clockwise takes (x, y) to (h − y, x).
        assert!(
            (h - p[1] - q[0]).abs() < 1.0 && (p[0] - q[1]).abs() < 1.0,
            "{at:?} {corners:?} {w}"
        );
    }
    let mut inverted = upright;
    image::imageops::invert(&mut inverted);
    assert_eq!(read(&inverted).len(), 1);
}

#[test]
fn sizes_that_do_not_fit_are_refused() {
    assert!(Luma::from_grey(2, 2, &[0; 3]).is_err());
    assert!(Luma::from_grey(0, 0, &[]).is_err());
    assert!(Luma::from_grey(u32::MAX, u32::MAX, &[0; 4]).is_err());
    for (w, h) in [(1, 1), (1, 100), (100, 1), (3, 5), (41, 2)] {
        let grey = vec![128; (w * h) as usize];
        assert!(read_codes(&Luma::from_grey(w, h, &grey).unwrap()).is_empty());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Any content behind a right checksum, however senseless, is read or refused without a panic.
    #[test]
    fn senseless_contents_are_no_code(data in proptest::collection::vec(any::<u8>(), 28)) {
        let (data, ec) = construct_codewords(&data, Version::Normal(2), EcLevel::M).unwrap();
        let mut canvas = Canvas::new(Version::Normal(2), EcLevel::M);
        canvas.draw_all_functional_patterns();
        canvas.draw_data(&data, &ec);
        let dark = canvas.apply_best_mask().into_colors();
        let grey = image::GrayImage::from_fn(33 * 4, 33 * 4, |x, y| {
            let (x, y) = ((x / 4) as i32 - 4, (y / 4) as i32 - 4);
            let inside = (0..25).contains(&x) && (0..25).contains(&y);
            image::Luma([if inside && dark[(y * 25 + x) as usize] == qrcode::Color::Dark { 0 } else { 255 }])
        });
        read(&grey);
    }

    /// Noise and pieces of codes: no panic, nothing read as one of ours.
    #[test]
    fn noise_is_never_read_as_a_cast_code(width in 1_u32..90, height in 1_u32..90, seed in any::<u64>(), blocks in 1_u32..9) {
        let hash = |x: u32, y: u32| {
            let v = (u64::from(x / blocks) << 32 | u64::from(y / blocks)) ^ seed;
            let v = (v ^ (v >> 31)).wrapping_mul(0x9E37_79B9_7F4A_7C15);
            (v >> 56) as u8
        };
        let grey = image::GrayImage::from_fn(width, height, |x, y| image::Luma([hash(x, y)]));
        prop_assert!(read(&grey).iter().all(|c| !c.cast_code));
    }
}

fn shared(folder: &str) -> Option<PathBuf> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../../shared/data/qr")
        .join(folder);
    if path.is_dir() {
        Some(path)
    } else {
        println!("skipped: data not here ({})", path.display());
        None
    }
}

fn pictures(folder: &PathBuf) -> Vec<(PathBuf, image::GrayImage)> {
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "png" || e == "jpg"))
        .collect();
    paths.sort();
    paths
        .into_iter()
        .filter_map(|p| Some((p.clone(), image::open(&p).ok()?.to_luma8())))
        .collect()
}

/// The photographs of the ZXing project's black-box tests (Apache-2.0), sets 1 to 3. The best of
/// zbar, OpenCV and zxing-cpp reads 93 of these 97 exactly.
#[test]
fn photographs_of_others_are_read_as_they_say() {
    let Some(folder) = shared("zxing") else {
        return;
    };
    let (mut read_exactly, mut all) = (0, 0);
    for set in ["qrcode-1", "qrcode-2", "qrcode-3"] {
        let (before, before_all) = (read_exactly, all);
        for (path, grey) in pictures(&folder.join(set)) {
            let text = std::fs::read_to_string(path.with_extension("txt")).unwrap();
            all += 1;
            if read(&grey)
                .iter()
                .any(|c| c.text.trim_end() == text.trim_end())
            {
                read_exactly += 1;
            } else {
                println!("not read: {}", path.display());
            }
        }
        println!("{set}: {} of {}", read_exactly - before, all - before_all);
    }
    println!("all: {read_exactly} of {all}");
    assert_eq!(all, 97);
    assert!(read_exactly >= 95, "{read_exactly}");
}

/// Photographs without a QR code: any read is false.
#[test]
fn photographs_without_a_code_give_none() {
    let Some(folder) = shared("negatives") else {
        return;
    };
    let pictures = pictures(&folder);
    assert!(pictures.len() >= 15, "{}", pictures.len());
    for (path, grey) in pictures {
        assert_eq!(read(&grey), [], "{}", path.display());
    }
}
