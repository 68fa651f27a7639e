//! Where the names of marks go so that none covers another.

use serde_json::Value;

/// Height of a label's line and mean width of a letter at 8 pt, mm.
const LINE_MM: f64 = 3.4;
const LETTER_MM: f64 = 1.75;

#[derive(Clone, Copy)]
struct Box2 {
    low: [f64; 2],
    high: [f64; 2],
}

impl Box2 {
    fn around(at: [f64; 2], half: [f64; 2]) -> Self {
        Self {
            low: [at[0] - half[0], at[1] - half[1]],
            high: [at[0] + half[0], at[1] + half[1]],
        }
    }

    fn overlap(&self, other: &Self) -> f64 {
        let side =
            |i: usize| (self.high[i].min(other.high[i]) - self.low[i].max(other.low[i])).max(0.0);
        side(0) * side(1)
    }
}

/// Takes places in a drawing one by one.
pub(super) struct Labels {
    width: f64,
    height: f64,
    taken: Vec<Box2>,
}

impl Labels {
    pub(super) fn new(width: f64, height: f64) -> Self {
        Self {
            width,
            height,
            taken: Vec::new(),
        }
    }

    /// Keeps labels off a shape's line (as a chain of small boxes) or number.
    pub(super) fn avoid(&mut self, shape: &Value) {
        let point = |v: &Value| Some([v[0].as_f64()?, v[1].as_f64()?]);
        if let (Some(a), Some(b)) = (point(&shape["from"]), point(&shape["to"])) {
            let steps = ((a[0] - b[0]).hypot(a[1] - b[1]) / 2.0).ceil().max(1.0) as usize;
            for i in 0..=steps {
                let t = i as f64 / steps as f64;
                let at = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
                self.taken.push(Box2::around(at, [0.6, 0.6]));
            }
        }
        if shape["kind"] == "outline" {
            let points = shape["points"].as_array();
            for at in points.into_iter().flatten().filter_map(point) {
                self.taken.push(Box2::around(at, [0.8, 0.8]));
            }
        }
        if shape["kind"] == "hinge"
            && let Some(at) = point(&shape["at"])
        {
            self.taken.push(Box2::around(at, [4.2, 4.2]));
        }
        if shape["kind"] == "number"
            && let Some(at) = point(&shape["at"])
        {
            self.taken.push(Box2::around(at, [4.0, LINE_MM / 2.0]));
        }
    }

    pub(super) fn avoid_point(&mut self, at: [f64; 2]) {
        self.taken.push(Box2::around(at, [1.3, 1.3]));
    }

    /// Centre of the label for a mark: the free one of the places around it, or the freest.
    pub(super) fn place(&mut self, at: [f64; 2], text: &str) -> [f64; 2] {
        let half = [
            text.chars().count() as f64 * LETTER_MM / 2.0 + 0.4,
            LINE_MM / 2.0,
        ];
        let outward = if at[0] < self.width / 2.0 { -1.0 } else { 1.0 };
        let (dx, dy) = (half[0] + 1.8, half[1] + 1.6);
        let offsets = [
            [outward * dx, 0.0],
            [-outward * dx, 0.0],
            [outward * dx, -dy],
            [outward * dx, dy],
            [0.0, -dy],
            [0.0, dy],
            [-outward * dx, -dy],
            [-outward * dx, dy],
            [outward * (dx + 3.0), -2.0 * dy],
            [outward * (dx + 3.0), 2.0 * dy],
            [-outward * (dx + 3.0), -2.0 * dy],
            [outward * (dx + 4.0), 0.0],
            [-outward * (dx + 4.0), 0.0],
            [0.0, -2.0 * dy],
        ];
        let page = Box2 {
            low: [0.0, 0.0],
            high: [self.width, self.height],
        };
        let cost = |offset: &[f64; 2]| {
            let place = Box2::around([at[0] + offset[0], at[1] + offset[1]], half);
            let outside = 4.0 * half[0] * half[1] - place.overlap(&page);
            outside * 4.0 + self.taken.iter().map(|t| place.overlap(t)).sum::<f64>()
        };
        let mut best = offsets[0];
        for offset in &offsets[1..] {
            if cost(offset) + 1e-6 < cost(&best) {
                best = *offset;
            }
        }
        let centre = [at[0] + best[0], at[1] + best[1]];
        self.taken.push(Box2::around(centre, half));
        centre
    }
}
