//! Ray against triangle mesh through a tree of boxes.

use super::V3;

/// A ray; `dir` need not be of unit length, distances are in its lengths.
#[derive(Debug, Clone, Copy)]
pub struct Ray {
    /// Start, mm.
    pub origin: V3,
    /// Direction.
    pub dir: V3,
}

impl Ray {
    /// Point at distance `t`.
    #[must_use]
    pub fn at(&self, t: f64) -> V3 {
        self.origin + self.dir * t
    }
}

/// Where a ray met a triangle: distance, triangle and barycentric weights of its corners 1 and 2.
#[derive(Debug, Clone, Copy)]
pub struct Hit {
    /// Distance along the ray.
    pub t: f64,
    /// Index of the triangle.
    pub triangle: usize,
    /// Weight of corner 1.
    pub u: f64,
    /// Weight of corner 2.
    pub v: f64,
}

#[derive(Debug, Clone, Copy)]
struct Bounds {
    low: V3,
    high: V3,
}

impl Bounds {
    fn empty() -> Self {
        Self {
            low: V3::repeat(f64::INFINITY),
            high: V3::repeat(f64::NEG_INFINITY),
        }
    }

    fn grow(&mut self, p: &V3) {
        self.low = self.low.inf(p);
        self.high = self.high.sup(p);
    }

    fn near(&self, origin: &V3, inverse: &V3, limit: f64) -> Option<f64> {
        let a = (self.low - origin).component_mul(inverse);
        let b = (self.high - origin).component_mul(inverse);
        let enter = a.inf(&b).max().max(0.0);
        let leave = a.sup(&b).min().min(limit);
        (enter <= leave).then_some(enter)
    }
}

#[derive(Debug)]
struct Node {
    bounds: Bounds,
    /// First triangle of a leaf, or index of the right child (the left one follows the node).
    link: usize,
    /// Triangles in a leaf; 0 for a branch.
    count: usize,
}

#[derive(Debug)]
struct Triangle {
    corner: V3,
    edge1: V3,
    edge2: V3,
    index: usize,
}

impl Triangle {
    /// Möller and Trumbore 1997.
    fn meet(&self, ray: &Ray, limit: f64) -> Option<Hit> {
        let p = ray.dir.cross(&self.edge2);
        let det = self.edge1.dot(&p);
        if det.abs() < 1e-12 {
            return None;
        }
        let s = ray.origin - self.corner;
        let u = s.dot(&p) / det;
        if !(0.0..=1.0).contains(&u) {
            return None;
        }
        let q = s.cross(&self.edge1);
        let v = ray.dir.dot(&q) / det;
        if v < 0.0 || u + v > 1.0 {
            return None;
        }
        let t = self.edge2.dot(&q) / det;
        (t > 1e-6 && t < limit).then_some(Hit {
            t,
            triangle: self.index,
            u,
            v,
        })
    }
}

/// The tree.
#[derive(Debug)]
pub struct Bvh {
    nodes: Vec<Node>,
    triangles: Vec<Triangle>,
}

const LEAF: usize = 4;

impl Bvh {
    /// Builds the tree by halving at the median along the longest side.
    #[must_use]
    pub fn new(points: &[V3], triangles: &[[u32; 3]]) -> Self {
        let mut list: Vec<Triangle> = triangles
            .iter()
            .enumerate()
            .map(|(index, t)| {
                let [a, b, c] = t.map(|i| points[i as usize]);
                Triangle {
                    corner: a,
                    edge1: b - a,
                    edge2: c - a,
                    index,
                }
            })
            .collect();
        let mut nodes = Vec::with_capacity(list.len());
        split(&mut list, 0, &mut nodes);
        Self {
            nodes,
            triangles: list,
        }
    }

    /// Nearest triangle met before distance `limit`.
    #[must_use]
    pub fn nearest(&self, ray: &Ray, limit: f64) -> Option<Hit> {
        self.walk(ray, limit, false)
    }

    /// Whether any triangle is met before distance `limit`.
    #[must_use]
    pub fn blocked(&self, ray: &Ray, limit: f64) -> bool {
        self.walk(ray, limit, true).is_some()
    }

    fn walk(&self, ray: &Ray, limit: f64, any: bool) -> Option<Hit> {
        let inverse = ray.dir.map(|d| 1.0 / d);
        let mut best: Option<Hit> = None;
        let mut limit = limit;
        let mut stack = [(0_usize, 0.0_f64); 64];
        let mut depth = 0;
        if let Some(t) = self.nodes[0].bounds.near(&ray.origin, &inverse, limit) {
            stack[0] = (0, t);
            depth = 1;
        }
        while depth > 0 {
            depth -= 1;
            let (index, enter) = stack[depth];
            if enter > limit {
                continue;
            }
            let node = &self.nodes[index];
            if node.count > 0 {
                for triangle in &self.triangles[node.link..node.link + node.count] {
                    if let Some(hit) = triangle.meet(ray, limit) {
                        limit = hit.t;
                        best = Some(hit);
                        if any {
                            return best;
                        }
                    }
                }
                continue;
            }
            let child = |i: usize| {
                self.nodes[i]
                    .bounds
                    .near(&ray.origin, &inverse, limit)
                    .map(|t| (i, t))
            };
            match (child(index + 1), child(node.link)) {
                (Some(a), Some(b)) => {
                    let (far, near) = if a.1 < b.1 { (b, a) } else { (a, b) };
                    stack[depth] = far;
                    stack[depth + 1] = near;
                    depth += 2;
                }
                (Some(only), None) | (None, Some(only)) => {
                    stack[depth] = only;
                    depth += 1;
                }
                (None, None) => {}
            }
        }
        best
    }
}

fn split(list: &mut [Triangle], first: usize, nodes: &mut Vec<Node>) {
    let (mut bounds, mut centres) = (Bounds::empty(), Bounds::empty());
    for t in list.iter() {
        for p in [t.corner, t.corner + t.edge1, t.corner + t.edge2] {
            bounds.grow(&p);
        }
        centres.grow(&(t.corner + (t.edge1 + t.edge2) / 3.0));
    }
    let here = nodes.len();
    if list.len() <= LEAF {
        nodes.push(Node {
            bounds,
            link: first,
            count: list.len(),
        });
        return;
    }
    nodes.push(Node {
        bounds,
        link: 0,
        count: 0,
    });
    let axis = (centres.high - centres.low).imax();
    let middle = list.len() / 2;
    let place = |t: &Triangle| t.corner[axis] + (t.edge1[axis] + t.edge2[axis]) / 3.0;
    list.select_nth_unstable_by(middle, |a, b| place(a).total_cmp(&place(b)));
    let (left, right) = list.split_at_mut(middle);
    split(left, first, nodes);
    nodes[here].link = nodes.len();
    split(right, first + middle, nodes);
}
