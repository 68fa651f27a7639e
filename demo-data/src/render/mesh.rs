//! The closed surface of the shell as triangles: inner face, outer face and the rounded rim.

use super::bvh::{Bvh, Hit, Ray};
use super::shell::Sheets;
use super::{V2, V3};

/// Which part of the shell a vertex belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Face {
    /// The face that lay on the skin.
    Inner,
    /// The outer face.
    Outer,
    /// The edge between them.
    Rim,
}

/// A closed triangle mesh with what shading needs at each vertex.
#[derive(Debug)]
pub struct Mesh {
    /// Vertices, mm.
    pub points: Vec<V3>,
    /// Unit normals, out of the plaster.
    pub normals: Vec<V3>,
    /// Part of the shell.
    pub faces: Vec<Face>,
    /// Millimetres along the shell and across it: the weave of the bandage follows them.
    pub weave_mm: Vec<V2>,
    /// Corners.
    pub triangles: Vec<[u32; 3]>,
    /// Ray tree over the triangles.
    pub tree: Bvh,
}

/// Points on the round of the rim between the two faces.
const ROUND: usize = 3;

struct Builder<'a> {
    sheets: &'a Sheets,
    points: Vec<V3>,
    faces: Vec<Face>,
    weave_mm: Vec<V2>,
    triangles: Vec<[u32; 3]>,
}

impl Builder<'_> {
    fn add(&mut self, p: V3, face: Face, weave: V2) -> u32 {
        self.points.push(p);
        self.faces.push(face);
        self.weave_mm.push(weave);
        (self.points.len() - 1) as u32
    }

    fn quad(&mut self, a: u32, b: u32, c: u32, d: u32) {
        // Where two rims meet, a corner is shared and one triangle has no area.
        let whole = |t: &[u32; 3]| t[0] != t[1] && t[1] != t[2] && t[2] != t[0];
        self.triangles
            .extend([[a, b, c], [a, c, d]].into_iter().filter(whole));
    }

    fn inner(&self, row: usize, column: usize) -> u32 {
        (row * self.sheets.columns + column) as u32
    }

    fn outer(&self, row: usize, column: usize) -> u32 {
        ((self.sheets.rows + row) * self.sheets.columns + column) as u32
    }

    /// Points from the inner to the outer face round the rim, which bulges along `away`.
    fn round(&mut self, inner: u32, outer: u32, away: V3) -> Vec<u32> {
        let (a, b) = (self.points[inner as usize], self.points[outer as usize]);
        let (centre, half) = ((a + b) * 0.5, (a - b) * 0.5);
        let away = away.normalize() * half.norm() * 0.75;
        let weave = self.weave_mm[inner as usize];
        let mut line = vec![inner];
        for k in 1..=ROUND {
            let (sin, cos) = (std::f64::consts::PI * k as f64 / (ROUND + 1) as f64).sin_cos();
            line.push(self.add(centre + half * cos + away * sin, Face::Rim, weave));
        }
        line.push(outer);
        line
    }

    fn stitch(&mut self, a: &[u32], b: &[u32], flip: bool) {
        for k in 0..a.len() - 1 {
            if flip {
                self.quad(a[k], b[k], b[k + 1], a[k + 1]);
            } else {
                self.quad(a[k], a[k + 1], b[k + 1], b[k]);
            }
        }
    }
}

impl Mesh {
    /// Closes the two faces of a shell.
    #[must_use]
    pub fn new(sheets: &Sheets, step_mm: f64) -> Self {
        let (rows, columns) = (sheets.rows, sheets.columns);
        let mut b = Builder {
            sheets,
            points: Vec::new(),
            faces: Vec::new(),
            weave_mm: Vec::new(),
            triangles: Vec::new(),
        };
        for (list, face) in [(&sheets.inner, Face::Inner), (&sheets.outer, Face::Outer)] {
            for (i, p) in list.iter().enumerate() {
                let weave = V2::new((i / columns) as f64, (i % columns) as f64) * step_mm;
                b.add(*p, face, weave);
            }
        }
        for row in 0..rows - 1 {
            for c in 0..columns - 1 {
                let (i, o) = (|r, c| b.inner(r, c), |r, c| b.outer(r, c));
                let inner = [i(row, c), i(row, c + 1), i(row + 1, c + 1), i(row + 1, c)];
                let outer = [o(row, c), o(row + 1, c), o(row + 1, c + 1), o(row, c + 1)];
                b.quad(inner[0], inner[1], inner[2], inner[3]);
                b.quad(outer[0], outer[1], outer[2], outer[3]);
            }
        }
        let point = |sheet: &Vec<V3>, r: usize, c: usize| sheet[r * columns + c];
        let mut corners: Vec<Vec<Vec<u32>>> = Vec::new();
        for (edge, next, flip) in [(0, 1, true), (columns - 1, columns - 2, false)] {
            let lines: Vec<Vec<u32>> = (0..rows)
                .map(|r| {
                    let away = point(&sheets.inner, r, edge) - point(&sheets.inner, r, next);
                    b.round(b.inner(r, edge), b.outer(r, edge), away)
                })
                .collect();
            for pair in lines.windows(2) {
                b.stitch(&pair[0], &pair[1], flip);
            }
            corners.push(vec![lines[0].clone(), lines[rows - 1].clone()]);
        }
        for (end, (edge, next, flip)) in [(0, 1, false), (rows - 1, rows - 2, true)]
            .iter()
            .enumerate()
        {
            let lines: Vec<Vec<u32>> = (0..columns)
                .map(|c| {
                    let away = point(&sheets.inner, *edge, c) - point(&sheets.inner, *next, c);
                    b.round(b.inner(*edge, c), b.outer(*edge, c), away)
                })
                .collect();
            for pair in lines.windows(2) {
                b.stitch(&pair[0], &pair[1], *flip);
            }
            b.stitch(&corners[0][end], &lines[0], *flip);
            b.stitch(&lines[columns - 1], &corners[1][end], *flip);
        }
        let Builder {
            points,
            faces,
            weave_mm,
            mut triangles,
            ..
        } = b;
        // The mirror image of a right shell turns the triangles inside out.
        let mirrored = sheets.inner[columns / 2 + 1].y < sheets.inner[columns / 2].y;
        if mirrored {
            for t in &mut triangles {
                t.swap(1, 2);
            }
        }
        let mut normals = vec![V3::zeros(); points.len()];
        for t in &triangles {
            let [a, b, c] = t.map(|i| points[i as usize]);
            for i in t {
                normals[*i as usize] += (b - a).cross(&(c - a));
            }
        }
        for n in &mut normals {
            *n = n.try_normalize(1e-12).unwrap_or_else(V3::z);
        }
        let tree = Bvh::new(&points, &triangles);
        Self {
            points,
            normals,
            faces,
            weave_mm,
            triangles,
            tree,
        }
    }

    /// Mixes a value given at the vertices at a hit.
    pub fn mix<T>(&self, hit: &Hit, values: &[T]) -> T
    where
        T: Copy + std::ops::Mul<f64, Output = T> + std::ops::Add<Output = T>,
    {
        let [a, b, c] = self.triangles[hit.triangle].map(|i| values[i as usize]);
        a * (1.0 - hit.u - hit.v) + b * hit.u + c * hit.v
    }

    /// How fast the two weave coordinates grow with place in the triangle hit, per mm.
    #[must_use]
    pub fn weave_directions(&self, hit: &Hit) -> (V3, V3) {
        let corners = self.triangles[hit.triangle].map(|i| i as usize);
        let edge = |k: usize| self.points[corners[k]] - self.points[corners[0]];
        let rise = |k: usize| self.weave_mm[corners[k]] - self.weave_mm[corners[0]];
        let (a, b) = (edge(1), edge(2));
        let det = a.norm_squared() * b.norm_squared() - a.dot(&b).powi(2);
        if det < 1e-12 {
            return (V3::zeros(), V3::zeros());
        }
        let dual_a = (a * b.norm_squared() - b * a.dot(&b)) / det;
        let dual_b = (b * a.norm_squared() - a * a.dot(&b)) / det;
        (
            dual_a * rise(1).x + dual_b * rise(2).x,
            dual_a * rise(1).y + dual_b * rise(2).y,
        )
    }

    /// First point that a ray meets.
    #[must_use]
    pub fn first(&self, ray: &Ray) -> Option<(V3, Hit)> {
        self.tree
            .nearest(ray, f64::INFINITY)
            .map(|hit| (ray.at(hit.t), hit))
    }

    /// Whether a straight line from `eye` reaches `p` on the surface without passing through
    /// plaster, and at no more than `steepest_deg` from the normal there.
    #[must_use]
    pub fn sees(&self, eye: V3, p: V3, normal: V3, steepest_deg: f64) -> bool {
        let to_eye = eye - p;
        normal.dot(&to_eye.normalize()) > steepest_deg.to_radians().cos()
            && !self.tree.blocked(
                &Ray {
                    origin: p + normal * 0.05,
                    dir: to_eye,
                },
                1.0,
            )
    }
}
