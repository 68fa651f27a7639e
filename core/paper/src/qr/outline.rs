//! A cast code found by the outline of its symbol, where its corner squares are covered, torn or
//! crushed: dark modules that lie close together grow into one patch, which the white around the
//! symbol keeps apart from everything else; four straight sides are fitted to it.

use super::fit::read_near;
use super::luma::Luma;
use crate::CastCode;

/// Pixels by which dark parts are grown together, and the light around is told from the dark.
const GROWN_PX: usize = 3;
const AROUND_PX: usize = 24;
/// How much darker than its surroundings a dark pixel is.
const BIAS: i32 = 5;
/// Step from one size of the picture to the next: a patch is sought at about two pixels a module.
const STEP: f64 = 1.4;
/// Pixels that the patch of a symbol may have, and the smaller side of its box.
const PATCH_PX: std::ops::RangeInclusive<usize> = 500..=7000;
const LEAST_SIDE_PX: usize = 18;
/// Share of its four sides' area that the patch fills.
const LEAST_FILLED: f64 = 0.7;
/// Patches tried at one size.
const MOST_PATCHES: usize = 12;

/// The first cast code found by its outline, with its corners; sought from the size `from` on, 0
/// being the picture's own.
pub(super) fn by_outline(picture: &Luma<'_>, from: usize) -> Option<(CastCode, [[f64; 2]; 4])> {
    let mut sizes = vec![picture.clone()];
    while let Some(last) = sizes.last()
        && last.longest() > 60
        && sizes.len() < 12
    {
        let next = last.scaled(1.0 / STEP);
        sizes.push(next);
    }
    let to_picture = |size: &Luma<'_>| picture.longest() as f64 / size.longest() as f64;
    for (i, size) in sizes.iter().enumerate().skip(from) {
        // Fitted at about four pixels a module.
        let coarse = &sizes[i.saturating_sub(2)];
        for patch in patches(size) {
            let corners = patch.map(|p| p.map(|v| v * to_picture(size)));
            let read = read_near(picture, coarse, to_picture(coarse), corners, true);
            if read.is_some() {
                return read;
            }
        }
    }
    None
}

/// The number of the first size of a picture that is no longer than this.
pub(super) fn size_of(picture: &Luma<'_>, longest: usize) -> usize {
    let steps = (picture.longest() as f64 / longest as f64).ln() / STEP.ln();
    steps.ceil().max(0.0) as usize
}

/// Four-sided dark patches, the largest first.
fn patches(picture: &Luma<'_>) -> Vec<[[f64; 2]; 4]> {
    let (width, height) = (picture.width, picture.height);
    let mean = picture.box_mean(AROUND_PX);
    let dark: Vec<bool> = picture
        .pixels
        .iter()
        .zip(&mean)
        .map(|(&p, &m)| i32::from(p) + BIAS < i32::from(m))
        .collect();
    let grown = reached(&dark, width, height, true);
    let mut left = reached(&grown, width, height, false);
    let mut found: Vec<(usize, [[f64; 2]; 4])> = Vec::new();
    let mut from = 0;
    while let Some(ahead) = left[from..].iter().position(|&dark| dark) {
        let start = from + ahead;
        from = start + 1;
        let (count, rows) = taken(&mut left, width, start);
        let box_width = rows.iter().map(|r| r.1[1]).max().unwrap_or(0)
            - rows.iter().map(|r| r.1[0]).min().unwrap_or(0);
        if !PATCH_PX.contains(&count) || rows.len().min(box_width) < LEAST_SIDE_PX {
            continue;
        }
        if let Some(quad) = four_sides(hull(&rows))
            && count as f64 >= LEAST_FILLED * area(&quad)
        {
            found.push((count, quad));
        }
    }
    found.sort_by_key(|(count, _)| std::cmp::Reverse(*count));
    found.truncate(MOST_PATCHES);
    found.into_iter().map(|(_, quad)| quad).collect()
}

/// Pixels within reach of one that is (`wanted`), or out of reach of every one that is not.
fn reached(pixels: &[bool], width: usize, height: usize, wanted: bool) -> Vec<bool> {
    let mut across = vec![!wanted; pixels.len()];
    for (row, out) in pixels
        .chunks_exact(width)
        .zip(across.chunks_exact_mut(width))
    {
        // Pixels still to be covered to the right of the last one wanted.
        let mut left = 0;
        for x in 0..(width + GROWN_PX) {
            if x < width && row[x] == wanted {
                left = 2 * GROWN_PX + 1;
            }
            if left > 0 {
                left -= 1;
                if x >= GROWN_PX {
                    out[x - GROWN_PX] = wanted;
                }
            }
        }
    }
    let mut out = across.clone();
    for y in 0..height {
        let (from, to) = (y.saturating_sub(GROWN_PX), (y + GROWN_PX + 1).min(height));
        let row = &mut out[y * width..][..width];
        for near in across[from * width..to * width].chunks_exact(width) {
            for (out, &near) in row.iter_mut().zip(near) {
                // Wanted wins: or for dark, and for light.
                *out = if wanted { *out | near } else { *out & near };
            }
        }
    }
    out
}

/// First and last column of a patch in each of its rows.
type Rows = Vec<(usize, [usize; 2])>;

/// Takes the patch around `start`, its first pixel in reading order, out of the picture: its
/// pixels and rows.
fn taken(left: &mut [bool], width: usize, start: usize) -> (usize, Rows) {
    let first = start / width;
    let mut rows: Vec<[usize; 2]> = Vec::new();
    let (mut count, mut stack, pixels) = (0, vec![start], left.len());
    left[start] = false;
    while let Some(i) = stack.pop() {
        count += 1;
        let (x, y) = (i % width, i / width - first);
        if rows.len() <= y {
            rows.resize(y + 1, [usize::MAX, 0]);
        }
        let ends = &mut rows[y];
        *ends = [ends[0].min(x), ends[1].max(x)];
        let mut visit = |j: usize| {
            if left[j] {
                left[j] = false;
                stack.push(j);
            }
        };
        if x > 0 {
            visit(i - 1);
        }
        if x + 1 < width {
            visit(i + 1);
        }
        if i >= width {
            visit(i - width);
        }
        if i + width < pixels {
            visit(i + width);
        }
    }
    (count, (first..).zip(rows).collect())
}

fn cross(o: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
}

/// Convex hull (Andrew 1979), clockwise on the screen.
fn hull(rows: &Rows) -> Vec<[f64; 2]> {
    let mut points: Vec<[f64; 2]> = rows
        .iter()
        .flat_map(|&(y, [from, to])| {
            let (y, from, to) = (y as f64, from as f64, to as f64 + 1.0);
            [[from, y], [to, y], [from, y + 1.0], [to, y + 1.0]]
        })
        .collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let half = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while let [.., a, b] = chain.as_slice()
                && cross(*a, *b, p) <= 0.0
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut all = half(&mut points.iter().copied());
    all.extend(half(&mut points.iter().rev().copied()));
    all
}

/// The hull with sides left out, the one that adds the least area first, until four are left.
fn four_sides(mut hull: Vec<[f64; 2]>) -> Option<[[f64; 2]; 4]> {
    while hull.len() > 4 {
        let n = hull.len();
        let mut best: Option<(f64, usize, [f64; 2])> = None;
        for i in 0..n {
            let [before, a, b, after] = [n - 1, 0, 1, 2].map(|k| hull[(i + k) % n]);
            let Some(corner) = meet(before, a, after, b) else {
                continue;
            };
            let added = cross(a, corner, b).abs();
            if best.is_none_or(|(least, ..)| added < least) {
                best = Some((added, i, corner));
            }
        }
        let (_, i, corner) = best?;
        let next = (i + 1) % n;
        hull[i] = corner;
        hull.remove(next);
    }
    hull.try_into().ok()
}

/// Where the line from `a` past `b` meets the line from `c` past `d`; `None` unless it is beyond both.
fn meet(a: [f64; 2], b: [f64; 2], c: [f64; 2], d: [f64; 2]) -> Option<[f64; 2]> {
    let (u, v) = ([b[0] - a[0], b[1] - a[1]], [d[0] - c[0], d[1] - c[1]]);
    let det = u[0] * v[1] - u[1] * v[0];
    if det.abs() < 1e-9 {
        return None;
    }
    let w = [c[0] - a[0], c[1] - a[1]];
    let s = (w[0] * v[1] - w[1] * v[0]) / det;
    let t = (w[0] * u[1] - w[1] * u[0]) / det;
    (s >= 1.0 && t >= 1.0).then(|| [a[0] + s * u[0], a[1] + s * u[1]])
}

fn area(quad: &[[f64; 2]; 4]) -> f64 {
    let [a, b, c, d] = *quad;
    (cross(a, b, c) + cross(a, c, d)).abs() / 2.0
}
