//! Print quality of the labels as they are rendered, by the parameters of ISO/IEC 15415:2011 that a
//! picture allows to compute (clause 7.8) with the fixed patterns of ISO/IEC 18004:2015, annex G.
//!
//! The standard's limits of an A as the manuals of verifiers print them: contrast 70 %, modulation
//! 0.50, axial non-uniformity 0.06, grid non-uniformity 0.38, unused error correction 0.62.

use crate::data::{a_code, a_label, date};
use plinthside_measure::marks::Side;
use plinthside_paper::qr::{Luma, Symbol, cast_symbol, read_codes};
use plinthside_paper::{LabelSize, Paper, PrinterDots, label, labels};

/// Codewords of version 2, level H: 16 data and 28 for correction, of which none is held back
/// (ISO/IEC 18004:2015, table 9).
const CORRECTABLE: f64 = 28.0;

/// A rendered symbol measured: reflectances by module and the grid as its edges lie.
struct Measured {
    symbol: Symbol,
    /// Reflectance in the middle of each module under an aperture of 0.8 module, 0 to 1; rows
    /// from the quiet zone's first.
    reflectance: Vec<Vec<f64>>,
    /// Edges between modules along x and y, pixels, of the rows and columns that have them.
    edges: [Vec<(usize, f64)>; 2],
    module_px: [f64; 2],
}

const QUIET: usize = 4;

fn measure(png: &[u8]) -> Measured {
    let grey = image::load_from_memory(png).unwrap().to_luma8();
    let found = read_codes(&Luma::from_grey(grey.width(), grey.height(), grey.as_raw()).unwrap());
    let [[left, top], [right, _], [_, bottom], _] = found[0].corners_px;
    let symbol = cast_symbol(a_code()).unwrap();
    let n = symbol.size as f64;
    let module_px = [(right - left) / n, (bottom - top) / n];
    let radius = 0.4 * module_px[0];
    let aperture = |x: f64, y: f64| {
        let (mut sum, mut count) = (0.0, 0.0);
        for py in (y - radius).floor() as i64..=(y + radius).ceil() as i64 {
            for px in (x - radius).floor() as i64..=(x + radius).ceil() as i64 {
                if (px as f64 + 0.5 - x).hypot(py as f64 + 0.5 - y) <= radius {
                    let inside =
                        px >= 0 && py >= 0 && px < grey.width().into() && py < grey.height().into();
                    assert!(inside, "the quiet zone is cut off");
                    sum += f64::from(grey.get_pixel(px as u32, py as u32).0[0]) / 255.0;
                    count += 1.0;
                }
            }
        }
        sum / count
    };
    let all = symbol.size + 2 * QUIET;
    let middle = |i: usize, from: f64, px: f64| from + (i as f64 - QUIET as f64 + 0.5) * px;
    let reflectance = (0..all)
        .map(|y| {
            (0..all)
                .map(|x| aperture(middle(x, left, module_px[0]), middle(y, top, module_px[1])))
                .collect()
        })
        .collect();
    // Where dark and light meet along the middle of each row and column.
    let mut edges = [Vec::new(), Vec::new()];
    for line in 0..symbol.size {
        for at in 1..symbol.size {
            let dark = |i: usize, along_x: bool| {
                if along_x {
                    symbol.rows[line][i]
                } else {
                    symbol.rows[i][line]
                }
            };
            for (axis, along_x) in [true, false].into_iter().enumerate() {
                if dark(at - 1, along_x) == dark(at, along_x) {
                    continue;
                }
                let value = |t: f64| {
                    let across = |from: f64, px: f64| from + (line as f64 + 0.5) * px;
                    let (x, y) = if along_x {
                        (t, across(top, module_px[1]))
                    } else {
                        (across(left, module_px[0]), t)
                    };
                    f64::from(grey.get_pixel(x as u32, y as u32).0[0])
                };
                let (from, px) = if along_x {
                    (left, module_px[0])
                } else {
                    (top, module_px[1])
                };
                let ideal = from + at as f64 * px;
                let mut t = ideal - 0.5 * px;
                let first = value(t) < 128.0;
                while (value(t) < 128.0) == first && t < ideal + 0.5 * px {
                    t += 0.02;
                }
                edges[axis].push((at, t - ideal));
            }
        }
    }
    Measured {
        symbol,
        reflectance,
        edges,
        module_px,
    }
}

impl Measured {
    fn all(&self) -> impl Iterator<Item = (usize, usize, f64)> + '_ {
        let rows = self.reflectance.iter().enumerate();
        rows.flat_map(|(y, row)| row.iter().enumerate().map(move |(x, &r)| (x, y, r)))
    }

    fn dark(&self, x: usize, y: usize) -> bool {
        let inside = |v: usize| (QUIET..QUIET + self.symbol.size).contains(&v);
        inside(x) && inside(y) && self.symbol.rows[y - QUIET][x - QUIET]
    }

    /// 7.8.3: the widest difference of reflectance.
    fn contrast(&self) -> (f64, f64) {
        let light = self.all().map(|m| m.2).fold(0.0, f64::max);
        let dark = self.all().map(|m| m.2).fold(1.0, f64::min);
        (light - dark, f64::midpoint(light, dark))
    }

    /// 7.8.4: the least margin of a module to the global threshold, as a share of the contrast. If
    /// even the worst module passes, every codeword does.
    fn modulation(&self) -> f64 {
        let (contrast, threshold) = self.contrast();
        let margin = |r: f64| 2.0 * (r - threshold).abs() / contrast;
        self.all()
            .map(|m| margin(m.2))
            .fold(f64::INFINITY, f64::min)
    }

    /// Modules on the wrong side of the threshold: in the fixed patterns and quiet zone
    /// (7.8.5, and annex G of ISO/IEC 18004), and in the data.
    fn wrong(&self) -> (usize, usize) {
        let (_, threshold) = self.contrast();
        let n = self.symbol.size;
        let fixed = |x: usize, y: usize| {
            if x < QUIET || y < QUIET || x >= QUIET + n || y >= QUIET + n {
                return true;
            }
            let (x, y) = (x - QUIET, y - QUIET);
            let squares = [[3, 3], [n - 4, 3], [3, n - 4]];
            // The corner squares with the white line beside them.
            let corner = squares
                .iter()
                .any(|[cx, cy]| x.abs_diff(*cx).max(y.abs_diff(*cy)) <= 4);
            corner || x == 6 || y == 6 || ((16..=20).contains(&x) && (16..=20).contains(&y))
        };
        let wrong = self
            .all()
            .filter(|&(x, y, r)| (r < threshold) != self.dark(x, y));
        wrong.fold(
            (0, 0),
            |(a, b), (x, y, _)| {
                if fixed(x, y) { (a + 1, b) } else { (a, b + 1) }
            },
        )
    }

    /// 7.8.6: how much the mean module differs along x and y.
    fn axial_non_uniformity(&self) -> f64 {
        // Mean pitch from the edges as they lie.
        let pitch = |axis: usize| {
            let (first, last) = (1, self.symbol.size - 1);
            let mean = |at: usize| {
                let of: Vec<f64> = self.edges[axis]
                    .iter()
                    .filter(|e| e.0 == at)
                    .map(|e| e.1)
                    .collect();
                of.iter().sum::<f64>() / of.len() as f64
            };
            self.module_px[axis] + (mean(last) - mean(first)) / (last - first) as f64
        };
        let (x, y) = (pitch(0), pitch(1));
        (x - y).abs() / f64::midpoint(x, y)
    }

    /// 7.8.7: the farthest a grid line's place is from where an even grid has it, in modules.
    fn grid_non_uniformity(&self) -> f64 {
        let off = |axis: usize| {
            self.edges[axis]
                .iter()
                .map(move |e| e.1.abs() / self.module_px[axis])
        };
        off(0).chain(off(1)).fold(0.0, f64::max)
    }
}

/// Grade A in every parameter, or an assertion; prints them.
fn assert_grade_a(png: &[u8], what: &str) {
    let m = measure(png);
    let (contrast, _) = m.contrast();
    let (fixed, data) = m.wrong();
    // 7.8.8: each wrong module spoils one codeword at most.
    let unused = 1.0 - 2.0 * data as f64 / CORRECTABLE;
    let (axial, grid) = (m.axial_non_uniformity(), m.grid_non_uniformity());
    let modulation = m.modulation();
    println!(
        "{what:22} {contrast:5.2} {modulation:5.2} {fixed:5} {axial:6.3} {grid:6.3} {unused:5.2}"
    );
    assert!(contrast >= 0.70, "{what}: symbol contrast {contrast}");
    assert!(modulation >= 0.50, "{what}: modulation {modulation}");
    assert_eq!(fixed, 0, "{what}: fixed pattern damage");
    assert!(axial <= 0.06, "{what}: axial non-uniformity {axial}");
    assert!(grid <= 0.38, "{what}: grid non-uniformity {grid}");
    assert!(unused >= 0.62, "{what}: unused error correction {unused}");
}

/// Every size at both printers' dots, both sides.
#[test]
fn every_label_is_grade_a() {
    println!("label                     SC   MOD   FPD   ANU    GNU    UEC");
    for size in LabelSize::ALL {
        for printer in [PrinterDots::DPI_203, PrinterDots::DPI_300] {
            for side in [Side::Left, Side::Right] {
                let page = label(&a_label(side), size, printer).unwrap();
                let png = page.png(0, printer.dpi).unwrap();
                assert_grade_a(&png, &format!("{size} {side} {:.0}", printer.dpi));
            }
        }
    }
}

/// Labels printed ahead on an office printer: drawn for 600 dots an inch, and as 300 lay them.
#[test]
fn every_sticker_is_grade_a() {
    for paper in [Paper::A4, Paper::Letter] {
        let page = labels(&[a_code()], 1, "Clinic", "1", paper, date()).unwrap();
        for dpi in [300.0, 600.0] {
            let png = page.png(0, dpi).unwrap();
            assert_grade_a(&png, &format!("sticker {paper:?} {dpi}"));
        }
    }
}

/// The grading tells a bad print from a good one: a symbol stretched, soiled or pale fails.
#[test]
fn a_bad_print_is_not_grade_a() {
    let page = label(
        &a_label(Side::Left),
        LabelSize::W62H100,
        PrinterDots::DPI_203,
    )
    .unwrap();
    let good = image::load_from_memory(&page.png(0, 203.2).unwrap())
        .unwrap()
        .to_luma8();
    let png = |picture: &image::GrayImage| {
        let mut bytes = std::io::Cursor::new(Vec::new());
        picture
            .write_to(&mut bytes, image::ImageFormat::Png)
            .unwrap();
        bytes.into_inner()
    };
    let [left, top] = measured_corner(&good);
    let pale = image::GrayImage::from_fn(good.width(), good.height(), |x, y| {
        image::Luma([150 + good.get_pixel(x, y).0[0] * 2 / 5])
    });
    assert!(measure(&png(&pale)).contrast().0 < 0.70);
    let mut soiled = good.clone();
    for y in 0..24 {
        for x in 0..24 {
            soiled.put_pixel(
                left + x,
                top + y,
                image::Luma([if x < 12 { 255 } else { 110 }]),
            );
        }
    }
    let m = measure(&png(&soiled));
    assert!(m.wrong().0 > 0 && m.modulation() < 0.50);
    let (w, h) = (good.width(), good.height() * 11 / 10);
    let long = image::imageops::resize(&good, w, h, image::imageops::FilterType::Nearest);
    assert!(measure(&png(&long)).axial_non_uniformity() > 0.06);
}

fn measured_corner(grey: &image::GrayImage) -> [u32; 2] {
    let found = read_codes(&Luma::from_grey(grey.width(), grey.height(), grey.as_raw()).unwrap());
    found[0].corners_px[0].map(|v| v.round() as u32)
}
