//! Patches of ink: which are dots, and where their centroids lie.

use super::hue::{HuePatch, median, violet};
use super::{InkDot, Region};
use crate::observed::Px;
use crate::photo::Photograph;
use crate::plane::{Plane, PlaneSums};

/// Least violetness above the plaster that is ink (0.1: a tenth more red and blue than green).
const LEAST_EXCESS: f64 = 0.10;
/// And at least this many times the plaster's own spread.
const LEAST_OVER_NOISE: f64 = 5.0;
/// A dot's axes differ by no more than this factor; a stroke's do.
const LONGEST_SHAPE: f64 = 3.0;
/// A dot fills at least this share of the ellipse of its spread.
const LEAST_FILL: f64 = 0.7;
/// Least area of a dot, pixels.
const LEAST_AREA: usize = 12;
/// Floor of a centroid's ±: the ellipse's bias and what the sensor does to colour, pixels.
const FLOOR_SD_PX: f64 = 0.1;
/// The blurred rim around a dot, pixels.
const RIM: usize = 3;
/// Ink is no perfect disc: this share of the diameter.
const SHAPE_SD_SHARE: f64 = 0.02;

/// Ink near a tap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Ink {
    Dot(InkDot),
    /// A line, or something larger than any dot.
    Stroke,
}

/// The patch of ink nearest to `near`, if one lies within `aim_px`.
pub(super) fn nearest(patch: &HuePatch, near: Px, aim_px: f64) -> Option<Ink> {
    let limit = LEAST_EXCESS.max(LEAST_OVER_NOISE * patch.noise);
    let mut blobs = blobs(&patch.excess, patch.width, limit);
    blobs.retain(|blob| blob.len() >= LEAST_AREA);
    let distance = |blob: &Vec<usize>| {
        let to = |&at: &usize| {
            let [x, y] = patch.px(at);
            (x - near[0]).hypot(y - near[1])
        };
        blob.iter().map(to).fold(f64::INFINITY, f64::min)
    };
    let (blob, off) = blobs
        .iter()
        .map(|blob| (blob, distance(blob)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    (off <= aim_px).then(|| measure(patch, blob))
}

/// Connected sets of pixels above a limit (by sides).
fn blobs(values: &[f64], width: usize, limit: f64) -> Vec<Vec<usize>> {
    let mut seen: Vec<bool> = values.iter().map(|&v| v < limit).collect();
    let mut found = Vec::new();
    for start in 0..values.len() {
        if seen[start] {
            continue;
        }
        seen[start] = true;
        let mut blob = vec![start];
        let mut next = 0;
        while let Some(&at) = blob.get(next) {
            next += 1;
            let column = at % width;
            let sides = [
                (column > 0).then(|| at - 1),
                (column + 1 < width).then(|| at + 1),
                at.checked_sub(width),
                Some(at + width).filter(|&below| below < values.len()),
            ];
            for side in sides.into_iter().flatten() {
                if !seen[side] {
                    seen[side] = true;
                    blob.push(side);
                }
            }
        }
        found.push(blob);
    }
    found
}

/// Centroid and ± of a blob. Hue says which pixels; how much ink each shows is read from its
/// brightness against the plaster around, since files keep colour at half the resolution and not
/// all of them centre it alike.
fn measure(patch: &HuePatch, blob: &[usize]) -> Ink {
    let cut_off = blob.iter().any(|at| {
        let (x, y) = (at % patch.width, at / patch.width);
        x == 0 || y == 0 || x + 1 == patch.width || y + 1 == patch.height
    });
    let rim = grown(patch, blob, RIM);
    let (Some(plaster), false) = (plaster_around(patch, &rim), cut_off) else {
        return Ink::Stroke;
    };
    let darker = |at: usize| {
        let [x, y] = patch.px(at);
        plaster.plane.at(x, y) - patch.light[at]
    };
    let mut tones: Vec<f64> = blob.iter().map(|&at| darker(at)).collect();
    let full = median(&mut tones);
    if full <= 0.0 {
        return Ink::Stroke;
    }
    let (mut sum, mut moment, mut spread, mut lever) = (0.0, [0.0; 2], [0.0; 3], 0.0);
    let near = patch.px(blob[0]);
    for at in (0..rim.len()).filter(|&at| rim[at]) {
        let weight = (darker(at) / full).clamp(-0.2, 1.2);
        let [x, y] = patch.px(at);
        let [x, y] = [x - near[0], y - near[1]];
        sum += weight;
        moment = [moment[0] + weight * x, moment[1] + weight * y];
        spread[0] += weight * x * x;
        spread[1] += weight * x * y;
        spread[2] += weight * y * y;
    }
    let [mx, my] = moment.map(|m| m / sum);
    let (xx, xy, yy) = (
        spread[0] / sum - mx * mx,
        spread[1] / sum - mx * my,
        spread[2] / sum - my * my,
    );
    let (mean, half) = (f64::midpoint(xx, yy), ((xx - yy) / 2.0).hypot(xy));
    let (long, short) = ((mean + half).sqrt(), (mean - half).max(0.0).sqrt());
    // A filled ellipse has area 4π·long·short; rings and bent strokes have less.
    let fill = sum / (4.0 * std::f64::consts::PI * long * short);
    // NaN, where weights cancel, is no dot either.
    if !(long <= LONGEST_SHAPE * short && fill >= LEAST_FILL) {
        return Ink::Stroke;
    }
    let px = [near[0] + mx, near[1] + my];
    for at in (0..rim.len()).filter(|&at| rim[at]) {
        let [x, y] = patch.px(at);
        lever += 0.5 * ((x - px[0]).powi(2) + (y - px[1]).powi(2));
    }
    let noise_px = plaster.noise / full * lever.sqrt() / sum;
    let size_px = 2.0 * (sum / std::f64::consts::PI).sqrt();
    Ink::Dot(InkDot {
        px,
        sd_px: noise_px.hypot(FLOOR_SD_PX).hypot(SHAPE_SD_SHARE * size_px),
        size_px,
    })
}

/// Brightness of the bare plaster around a blob and its spread.
struct Plaster {
    plane: Plane,
    noise: f64,
}

fn plaster_around(patch: &HuePatch, rim: &[bool]) -> Option<Plaster> {
    let inner: Vec<usize> = (0..rim.len()).filter(|&at| rim[at]).collect();
    let wide = (inner.len() as f64).sqrt() as usize / 3;
    let outer = grown(patch, &inner, wide.clamp(3, 12));
    let bare = |at: &usize| outer[*at] && !rim[*at] && patch.excess[*at] < LEAST_EXCESS / 2.0;
    let ring: Vec<usize> = (0..rim.len()).filter(bare).collect();
    let mut sums = PlaneSums::default();
    for &at in &ring {
        let [x, y] = patch.px(at);
        sums.add(x, y, patch.light[at]);
    }
    let plane = sums.fit()?;
    let mut off: Vec<f64> = ring
        .iter()
        .map(|&at| {
            let [x, y] = patch.px(at);
            (patch.light[at] - plane.at(x, y)).abs()
        })
        .collect();
    Some(Plaster {
        plane,
        noise: 1.4826 * median(&mut off),
    })
}

/// Which pixels lie in the blob or within `by` of it, by rows and columns.
fn grown(patch: &HuePatch, blob: &[usize], by: usize) -> Vec<bool> {
    let mut inside = vec![false; patch.excess.len()];
    for &at in blob {
        let (x, y) = (at % patch.width, at / patch.width);
        for row in y.saturating_sub(by)..=(y + by).min(patch.height - 1) {
            let line = row * patch.width;
            inside[line + x.saturating_sub(by)..=line + (x + by).min(patch.width - 1)].fill(true);
        }
    }
    inside
}

/// Longer side of the copy that is searched for dots, pixels.
const SEARCH_SIDE_PX: u32 = 2000;
/// Half the side of the square whose mean is a pixel's surroundings, in the searched copy.
const SURROUND: usize = 24;
/// Largest width of a dot, in the searched copy.
const LARGEST_WIDTH: usize = 80;

/// Places where a dot may lie, with its rough width, both in the photo frame.
pub(super) fn candidates(photo: &Photograph, region: Region) -> Vec<(Px, f64)> {
    let (Some(w), Some(h)) = (
        region.x1.checked_sub(region.x0),
        region.y1.checked_sub(region.y0),
    ) else {
        return Vec::new();
    };
    let by = w.max(h).div_ceil(SEARCH_SIDE_PX).max(1) as usize;
    let (width, height) = (w as usize / by, h as usize / by);
    if width < 8 || height < 8 {
        return Vec::new();
    }
    let mut plane = Vec::with_capacity(width * height);
    for row in 0..height {
        for column in 0..width {
            let mut sum = [0u32; 3];
            for y in 0..by {
                for x in 0..by {
                    let at = [
                        region.x0 as usize + column * by + x,
                        region.y0 as usize + row * by + y,
                    ];
                    let pixel = photo.rgb_at(at[0], at[1]);
                    sum.iter_mut()
                        .zip(pixel)
                        .for_each(|(s, v)| *s += u32::from(v));
                }
            }
            plane.push(violet(sum.map(|s| f64::from(s) / (by * by) as f64)));
        }
    }
    let around = local_mean(&plane, width);
    plane
        .iter_mut()
        .zip(around)
        .for_each(|(v, mean)| *v -= mean);
    let scale = by as f64;
    blobs(&plane, width, LEAST_EXCESS)
        .iter()
        .filter_map(|blob| {
            let columns = blob.iter().map(|at| at % width);
            let (left, right) = (columns.clone().min()?, columns.max()?);
            let (top, bottom) = (blob.iter().min()? / width, blob.iter().max()? / width);
            let (wide, tall) = (right - left + 1, bottom - top + 1);
            let fits = wide.max(tall) <= LARGEST_WIDTH && blob.len() * by * by >= LEAST_AREA;
            // A disc fills 0.79 of its box, a ring or a bent stroke little of it.
            (fits && blob.len() * 5 > wide * tall * 2).then(|| {
                let middle = [
                    f64::from(region.x0) + (left + right + 1) as f64 / 2.0 * scale,
                    f64::from(region.y0) + (top + bottom + 1) as f64 / 2.0 * scale,
                ];
                (middle, wide.max(tall) as f64 * scale)
            })
        })
        .collect()
}

/// Mean over the square around each value, cut off at the borders, by running sums.
fn local_mean(plane: &[f64], width: usize) -> Vec<f64> {
    let height = plane.len() / width;
    let mut sums = vec![0.0; (width + 1) * (height + 1)];
    for y in 0..height {
        let mut line = 0.0;
        for x in 0..width {
            line += plane[y * width + x];
            sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + line;
        }
    }
    let mut means = Vec::with_capacity(plane.len());
    for y in 0..height {
        let (top, bottom) = (y.saturating_sub(SURROUND), (y + SURROUND + 1).min(height));
        for x in 0..width {
            let (left, right) = (x.saturating_sub(SURROUND), (x + SURROUND + 1).min(width));
            let at = |row: usize, column: usize| sums[row * (width + 1) + column];
            let sum = at(bottom, right) - at(top, right) - at(bottom, left) + at(top, left);
            means.push(sum / ((bottom - top) * (right - left)) as f64);
        }
    }
    means
}
