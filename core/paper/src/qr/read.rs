//! Reading every QR code in a photograph.
//!
//! Finding and decoding are rxing's. What it finds depends on how the picture is turned into black
//! and white, so a picture is tried in rounds, cheapest first, until a round reads something:
//! as it is and shrunk; other thresholds; by the symbol's outline; other sizes, softened and
//! sharpened; seen aslant; inverted. Where the corner
//! squares are found and the symbol does not decode, its modules are measured again in the grey
//! picture instead of the black and white one.

use super::binarise::{Threshold, dark_pixels};
use super::fit::{SIZE, read_near};
use super::luma::Luma;
use super::outline::{self, by_outline};
use super::resample::modules_from_grey;
use crate::CastCode;
use rxing::common::{BitMatrix, DetectorRXingResult};
use rxing::qrcode::cpp_port::decoder::Decode;
use rxing::qrcode::cpp_port::detector::{FindFinderPatterns, GenerateFinderPatternSets, SampleQR};
use serde::Serialize;

/// A QR code found in a photograph, ours or not.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FoundCode {
    /// What it says.
    pub text: String,
    /// Whether it is a cast code with a right check symbol.
    pub cast_code: bool,
    /// Corners of the symbol (quiet zone left out) in the photo frame, pixels: top-left,
    /// top-right, bottom-right, bottom-left of the upright symbol.
    pub corners_px: [[f64; 2]; 4],
}

impl FoundCode {
    /// The cast code it carries, if it is one.
    #[must_use]
    pub fn cast(&self) -> Option<CastCode> {
        CastCode::from_payload(&self.text)
    }
}

/// Longest edge at which a picture is searched; codes are found again at full size if need be.
const WORKING_EDGE: usize = 1600;
/// Rows by which the two halves of a large picture overlap on each side of its middle: a code that
/// is too small for the shrunk picture is not larger than that.
const SEAM_PX: usize = 160;
/// A code whose edge is shorter than this in the shrunk picture may have smaller neighbours.
const SMALL_PX: f64 = 60.0;
/// Sets of three corner squares tried in one black and white picture; noise makes thousands.
const MAX_SETS: usize = 60;

/// Every QR code in the picture, in reading order of their top left corners.
///
/// Never fails: a picture without a code gives an empty list.
#[must_use]
pub fn read_codes(picture: &Luma<'_>) -> Vec<FoundCode> {
    let mut found = Vec::new();
    let shrink = picture.longest().div_ceil(WORKING_EDGE).max(1);
    let working = if shrink > 1 {
        picture.shrunk(shrink)
    } else {
        picture.clone()
    };
    let scale = shrink as f64;

    // Round 1: as it is, shrunk if it is large; both halves a little less shrunk, on two cores, where
    // nothing is read or what is read is so small that others beside it may have been too small;
    // both at full size where still nothing is.
    Attempt::new(&working, scale).run(Threshold::Blocks, &mut found);
    let small = |code: &FoundCode| edge_px(code) < SMALL_PX * scale;
    if shrink > 1 && (found.is_empty() || found.iter().any(small)) {
        by_halves(picture, shrink - 1, &mut found);
    }
    if shrink > 2 && found.is_empty() {
        by_halves(picture, 1, &mut found);
    }
    if found.is_empty() {
        thresholds(&working, scale, &WIDE, &mut found);
    }
    // A large photograph holds modules that the shrunk one has lost: what is found by its outline
    // there is read here, sooner than in all the other ways.
    if found.is_empty() && shrink > 1 {
        found.extend(outlined(
            picture,
            outline::size_of(picture, WORKING_EDGE),
            &|p| p,
        ));
    }
    if found.is_empty() {
        harder(&working, scale, &mut found);
    }
    if found.is_empty() {
        found.extend(aslant_or_damaged(&working, scale));
    }
    if found.is_empty() && shrink > 1 {
        let full = Attempt::new(picture, 1.0);
        full.run(around(0.01, 6), &mut found);
        full.run(Threshold::Histogram, &mut found);
    }
    if found.is_empty() {
        // Bright on dark.
        let inverted = working.inverted();
        Attempt::new(&inverted, scale).run(Threshold::Blocks, &mut found);
        if found.is_empty() {
            Attempt::new(&inverted.scaled(0.5), scale * 2.0).run(Threshold::Blocks, &mut found);
        }
    }
    found.sort_by(|a, b| {
        let key = |c: &FoundCode| (c.corners_px[0][1], c.corners_px[0][0]);
        let ((ya, xa), (yb, xb)) = (key(a), key(b));
        ya.total_cmp(&yb).then(xa.total_cmp(&xb))
    });
    found
}

/// Reads both halves of a picture shrunk so many times, each on a core.
fn by_halves(picture: &Luma<'_>, shrink: usize, found: &mut Vec<FoundCode>) {
    let middle = picture.height / 2;
    let seam = SEAM_PX.min(middle);
    let read = |from: usize, to: usize| {
        let part = picture.rows(from, to);
        let part = if shrink > 1 {
            part.shrunk(shrink)
        } else {
            part
        };
        let mut found = Vec::new();
        let attempt = Attempt::new(&part, shrink as f64).below(from);
        attempt.run(Threshold::Blocks, &mut found);
        found
    };
    let (first, second) = std::thread::scope(|scope| {
        let second = scope.spawn(|| read(middle - seam, picture.height));
        let first = read(0, (middle + seam).min(picture.height));
        match second.join() {
            Ok(second) => (first, second),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    });
    for code in first.into_iter().chain(second) {
        keep(code, found);
    }
}

/// Thresholds for low contrast and for shades that the first round's blocks do not follow.
const WIDE: [Threshold; 4] = [
    around(0.02, 4),
    around(0.05, 4),
    around(0.12, 4),
    Threshold::Histogram,
];

const fn around(share: f64, bias: i32) -> Threshold {
    Threshold::Around { share, bias }
}

/// Tries thresholds one by one until one of them reads something.
fn thresholds(picture: &Luma<'_>, scale: f64, list: &[Threshold], found: &mut Vec<FoundCode>) {
    let attempt = Attempt::new(picture, scale);
    for &threshold in list {
        if found.is_empty() {
            attempt.run(threshold, found);
        }
    }
}

/// Round 2: other sizes and filters, until one of them reads something.
fn harder(working: &Luma<'_>, scale: f64, found: &mut Vec<FoundCode>) {
    let both = [Threshold::Blocks, around(0.05, 4)];
    for factor in [0.5, 0.71, 1.0 / 3.0, 0.25] {
        if found.is_empty() && working.longest() as f64 * factor >= 60.0 {
            let list = [both[0], both[1], Threshold::Histogram];
            thresholds(&working.scaled(factor), scale / factor, &list, found);
        }
    }
    if found.is_empty() && working.longest() < WORKING_EDGE {
        thresholds(&working.scaled(2.0), scale / 2.0, &both, found);
    }
    for radius in [1, 2] {
        if found.is_empty() {
            thresholds(&working.softened(radius), scale, &both, found);
        }
    }
    for (radius, gain) in [(2, 2), (4, 3)] {
        if found.is_empty() {
            let list = [Threshold::Blocks, around(0.05, 8)];
            thresholds(&working.sharpened(radius, gain), scale, &list, found);
        }
    }
}

/// Longest edge at which a picture is stretched.
const STRETCHED_EDGE: f64 = 1000.0;

/// Round 3: a cast code by the outline of its symbol; then any code seen so far aslant that its
/// squares do not look like squares.
fn aslant_or_damaged(working: &Luma<'_>, scale: f64) -> Option<FoundCode> {
    if scale == 1.0
        && let Some(code) = outlined(working, 0, &|p| p)
    {
        return Some(code);
    }
    let shrink = (STRETCHED_EDGE / working.longest() as f64).min(1.0);
    let small = working.scaled(shrink);
    for direction_deg in [0.0, 45.0, 90.0, 135.0] {
        let (stretched, back) = small.stretched(direction_deg);
        let to_photo = |p: [f64; 2]| back(p).map(|v| v * scale / shrink);
        let mut found = Vec::new();
        Attempt::new(&stretched, 1.0).run(Threshold::Blocks, &mut found);
        if let Some(mut code) = found.pop() {
            code.corners_px = code.corners_px.map(to_photo);
            return Some(code);
        }
        if let Some(code) = outlined(&stretched, 1, &to_photo) {
            return Some(code);
        }
    }
    None
}

/// A cast code by the outline of its symbol, sought from one size of the picture on.
fn outlined(
    picture: &Luma<'_>,
    from: usize,
    to_photo: &dyn Fn([f64; 2]) -> [f64; 2],
) -> Option<FoundCode> {
    let (code, corners) = by_outline(picture, from)?;
    Some(FoundCode {
        text: code.payload(),
        cast_code: true,
        corners_px: corners.map(to_photo),
    })
}

/// One grey picture and its size beside the photograph.
struct Attempt<'a> {
    picture: &'a Luma<'a>,
    /// Photograph pixels to one of this picture.
    scale: f64,
    /// Photograph rows above this picture.
    below: usize,
}

impl<'a> Attempt<'a> {
    fn new(picture: &'a Luma<'a>, scale: f64) -> Self {
        Self {
            picture,
            scale,
            below: 0,
        }
    }

    fn below(self, below: usize) -> Self {
        Self { below, ..self }
    }

    fn run(&self, threshold: Threshold, found: &mut Vec<FoundCode>) {
        let Some(dark) = dark_pixels(self.picture, threshold) else {
            return;
        };
        let mut squares = FindFinderPatterns(&dark, true, 0);
        let mut used = Vec::new();
        // Laying a grid onto the grey picture takes long: once in a picture.
        let mut fits = usize::from(threshold == Threshold::Blocks);
        for set in GenerateFinderPatternSets(&mut squares)
            .into_iter()
            .take(MAX_SETS)
        {
            let corners = [set.bl, set.tl, set.tr];
            if corners.iter().any(|c| used.contains(c)) {
                continue;
            }
            let Ok(sample) = SampleQR(&dark, &set) else {
                continue;
            };
            // rxing adds half a pixel to corners that already count from the pixel's edge, and
            // gives them as top-left, top-right, bottom-left, bottom-right.
            let [tl, tr, bl, br] = match sample.getPoints() {
                [tl, tr, bl, br] => {
                    [tl, tr, bl, br].map(|p| [f64::from(p.x) - 0.5, f64::from(p.y) - 0.5])
                }
                _ => continue,
            };
            let quad = [tl, tr, br, bl];
            let text = decode(sample.getBits()).or_else(|| {
                let size = sample.getBits().width() as usize;
                modules_from_grey(self.picture, &quad, size)
                    .iter()
                    .find_map(decode)
                    .or_else(|| {
                        if size != SIZE || fits == 0 {
                            return None;
                        }
                        fits -= 1;
                        let (code, _) = read_near(self.picture, self.picture, 1.0, quad, false)?;
                        Some(code.payload())
                    })
            });
            if let Some(text) = text {
                used.extend(corners);
                let code = FoundCode {
                    cast_code: CastCode::from_payload(&text).is_some(),
                    text,
                    corners_px: quad
                        .map(|[x, y]| [x * self.scale, y * self.scale + self.below as f64]),
                };
                keep(code, found);
            }
        }
    }
}

/// Length of a code's shortest edge, photograph pixels.
fn edge_px(code: &FoundCode) -> f64 {
    let corners = code.corners_px;
    let edge = |i: usize| {
        let ([x0, y0], [x1, y1]) = (corners[i], corners[(i + 1) % 4]);
        (x0 - x1).hypot(y0 - y1)
    };
    (0..4).map(edge).fold(f64::INFINITY, f64::min)
}

/// Adds a code unless the same one was already found at the same place.
fn keep(code: FoundCode, found: &mut Vec<FoundCode>) {
    let centre = |code: &FoundCode| {
        let sum = code
            .corners_px
            .iter()
            .fold([0.0, 0.0], |s, p| [s[0] + p[0], s[1] + p[1]]);
        [sum[0] / 4.0, sum[1] / 4.0]
    };
    let [[x0, y0], _, [x2, y2], _] = code.corners_px;
    let reach = (x0 - x2).hypot(y0 - y2) / 2.0;
    let [x, y] = centre(&code);
    let same = found.iter_mut().find(|other| {
        let [ox, oy] = centre(other);
        other.text == code.text && (ox - x).hypot(oy - y) < reach
    });
    match same {
        // What is found later was found in a larger picture and has the finer corners.
        Some(other) => other.corners_px = code.corners_px,
        None => found.push(code),
    }
}

fn decode(bits: &BitMatrix) -> Option<String> {
    let result = Decode(bits).ok()?;
    result.isValid().then(|| result.text())
}
