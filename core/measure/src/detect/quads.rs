//! Dark four-sided figures in a photograph.

use super::grey::Grey;
use crate::observed::Px;

/// Side of the tiles whose darkest and lightest pixels set the local threshold.
const TILE: usize = 8;
/// Least difference between dark and light in a neighbourhood of tiles, grey levels.
const LEAST_CONTRAST: u8 = 25;
/// Dark is what lies in this lower share of the local range. Below one half, so that squares that
/// touch corner to corner (where blur leaves one half) come apart; the lower one for corners that
/// overlap a little in print.
const DARK_SHARES: [f64; 2] = [0.38, 0.2];
/// Least side of a figure, pixels of the searched image.
const LEAST_SIDE: f64 = 10.0;

/// Finds dark convex four-sided figures; corners clockwise as seen, to about a pixel of `grey`.
pub(super) fn dark_quads(grey: &Grey<'_>) -> Vec<[Px; 4]> {
    DARK_SHARES
        .iter()
        .flat_map(|&share| outlines(grey, &dark_threshold(grey, share)))
        .filter_map(|extremes| four_sides(convex_hull(extremes)))
        .collect()
}

/// For each tile the brightness under which a pixel is dark; zero where all is alike.
fn dark_threshold(grey: &Grey<'_>, dark_share: f64) -> Tiles {
    let (columns, rows) = (grey.width.div_ceil(TILE), grey.height.div_ceil(TILE));
    let mut range = vec![(u8::MAX, u8::MIN); columns * rows];
    for (y, line) in grey.pixels.chunks_exact(grey.width).enumerate() {
        for (x, part) in line.chunks(TILE).enumerate() {
            let (low, high) = &mut range[y / TILE * columns + x];
            for &value in part {
                *low = value.min(*low);
                *high = value.max(*high);
            }
        }
    }
    let mut threshold = vec![0; columns * rows];
    for row in 0..rows {
        for column in 0..columns {
            let (mut low, mut high) = (u8::MAX, u8::MIN);
            for r in row.saturating_sub(1)..(row + 2).min(rows) {
                for &(l, h) in &range[r * columns + column.saturating_sub(1)
                    ..r * columns + (column + 2).min(columns)]
                {
                    (low, high) = (low.min(l), high.max(h));
                }
            }
            let spread = high - low;
            if spread >= LEAST_CONTRAST {
                threshold[row * columns + column] = low + (f64::from(spread) * dark_share) as u8;
            }
        }
    }
    Tiles { columns, threshold }
}

struct Tiles {
    columns: usize,
    threshold: Vec<u8>,
}

/// A dark stretch of one row.
struct Run {
    row: usize,
    from: usize,
    /// One behind its last pixel.
    to: usize,
}

/// The ends of each row of each connected dark patch that could be a tag.
fn outlines(grey: &Grey<'_>, tiles: &Tiles) -> Vec<Vec<[f64; 2]>> {
    let mut runs: Vec<Run> = Vec::new();
    let mut parents: Vec<usize> = Vec::new();
    let mut above = 0..0;
    for (row, line) in grey.pixels.chunks_exact(grey.width).enumerate() {
        let limits = &tiles.threshold[row / TILE * tiles.columns..];
        let first = runs.len();
        let mut open = None;
        for x in 0..=grey.width {
            let dark = x < grey.width && line[x] < limits[x / TILE];
            match (dark, open) {
                (true, None) => open = Some(x),
                (false, Some(from)) => {
                    runs.push(Run { row, from, to: x });
                    parents.push(parents.len());
                    open = None;
                }
                _ => {}
            }
        }
        let mut upper = above.clone();
        for run in first..runs.len() {
            // Runs of both rows lie in order: skip those that end before this one begins.
            while upper.start < upper.end && runs[upper.start].to <= runs[run].from {
                upper.start += 1;
            }
            for other in upper.clone().take_while(|&u| runs[u].from < runs[run].to) {
                join(&mut parents, other, run);
            }
        }
        above = first..runs.len();
    }
    let mut patches: Vec<Vec<usize>> = vec![Vec::new(); runs.len()];
    for run in 0..runs.len() {
        patches[root(&mut parents, run)].push(run);
    }
    let side = LEAST_SIDE as usize;
    let large_enough = |patch: &Vec<usize>| {
        let (Some(&first), Some(&last)) = (patch.first(), patch.last()) else {
            return false;
        };
        runs[last].row - runs[first].row >= side && patch.len() >= side
    };
    patches
        .iter()
        .filter(|patch| large_enough(patch))
        .map(|patch| row_ends(patch.iter().map(|&run| &runs[run])))
        .collect()
}

/// Outer pixel corners of the first and last pixel of every row.
fn row_ends<'a>(patch: impl Iterator<Item = &'a Run>) -> Vec<[f64; 2]> {
    let mut ends: Vec<(usize, usize, usize)> = Vec::new();
    for run in patch {
        match ends.last_mut() {
            Some((row, from, to)) if *row == run.row => {
                (*from, *to) = (run.from.min(*from), run.to.max(*to));
            }
            _ => ends.push((run.row, run.from, run.to)),
        }
    }
    ends.iter()
        .flat_map(|&(row, from, to)| [from, to].map(|x| [x as f64, row as f64 + 0.5]))
        .collect()
}

fn root(parents: &mut [usize], mut run: usize) -> usize {
    while parents[run] != run {
        parents[run] = parents[parents[run]];
        run = parents[run];
    }
    run
}

fn join(parents: &mut [usize], a: usize, b: usize) {
    let (a, b) = (root(parents, a), root(parents, b));
    parents[a.max(b)] = a.min(b);
}

fn cross(o: Px, a: Px, b: Px) -> f64 {
    (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
}

/// Convex hull, clockwise as seen (y points down), by Andrew's monotone chain.
fn convex_hull(mut points: Vec<Px>) -> Vec<Px> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let half = |points: &mut dyn Iterator<Item = Px>| {
        let mut chain: Vec<Px> = Vec::new();
        for point in points {
            while chain.len() >= 2
                && cross(chain[chain.len() - 2], chain[chain.len() - 1], point) <= 0.0
            {
                chain.pop();
            }
            chain.push(point);
        }
        chain.pop();
        chain
    };
    let mut hull = half(&mut points.iter().copied());
    hull.extend(half(&mut points.iter().rev().copied()));
    hull
}

fn area(polygon: &[Px]) -> f64 {
    let next = polygon.iter().cycle().skip(1);
    polygon
        .iter()
        .zip(next)
        .map(|(a, b)| a[0] * b[1] - b[0] * a[1])
        .sum::<f64>()
        / 2.0
}

/// Takes away the side whose neighbours, made longer, add least area, until four are left;
/// refuses what is not nearly filled by the patch's hull.
fn four_sides(hull: Vec<Px>) -> Option<[Px; 4]> {
    let hull_area = area(&hull);
    let mut polygon = hull;
    while polygon.len() > 4 {
        let n = polygon.len();
        let (_, side, corner) = (0..n)
            .filter_map(|i| {
                let [before, from, to, after] = [n - 1, 0, 1, 2].map(|k| polygon[(i + k) % n]);
                let corner = meet(before, from, to, after)?;
                Some((cross(from, corner, to).abs(), i, corner))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        polygon[side] = corner;
        polygon.remove((side + 1) % n);
    }
    let quad: [Px; 4] = polygon.try_into().ok()?;
    let long_enough = (0..4).all(|i| {
        let (a, b) = (quad[i], quad[(i + 1) % 4]);
        (a[0] - b[0]).hypot(a[1] - b[1]) >= LEAST_SIDE
    });
    (long_enough && hull_area > 0.85 * area(&quad)).then_some(quad)
}

/// Where the line `before → from`, made longer, meets `after → to`, made longer; `None` if they
/// part instead.
fn meet(before: Px, from: Px, to: Px, after: Px) -> Option<Px> {
    let (d, e) = (
        [from[0] - before[0], from[1] - before[1]],
        [to[0] - after[0], to[1] - after[1]],
    );
    let det = d[0] * e[1] - d[1] * e[0];
    let ahead = ((to[0] - from[0]) * e[1] - (to[1] - from[1]) * e[0]) / det;
    (ahead.is_finite() && ahead >= 0.0).then(|| [from[0] + ahead * d[0], from[1] + ahead * d[1]])
}
