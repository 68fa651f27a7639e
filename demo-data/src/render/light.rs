//! Soft light of a room with one large window, gathered once for every point of the scene.
//!
//! Everything shown is matt, so the light on a point does not depend on the camera: it is worked
//! out at the vertices of the shell and on a grid of the mat, with what plaster and mat throw back
//! onto each other, and shared by all photographs.

use super::V3;
use super::bvh::Ray;
use super::mesh::Mesh;
use super::parallel;
use nalgebra::Rotation3;

/// Directions gathered at a point.
const DIRECTIONS: usize = 320;
/// Times that light is thrown on.
const BOUNCES: usize = 3;
/// Part of the light that plaster throws back.
pub const PLASTER: V3 = V3::new(0.83, 0.81, 0.77);
/// Part that the mat throws back on average.
const MAT_MEAN: f64 = 0.62;

/// The room: light arriving from a direction, linear red, green, blue.
#[must_use]
pub fn room(dir: V3, window: V3) -> V3 {
    let ceiling = 0.34 + 0.16 * dir.z.max(0.0);
    let floor = 0.10;
    let blend = (dir.z * 4.0 + 0.5).clamp(0.0, 1.0);
    let warm = V3::new(1.0, 0.965, 0.90) * (floor + (ceiling - floor) * blend);
    let lobe = ((dir.dot(&window) - 1.0) / 0.045).exp();
    warm + V3::new(0.96, 1.0, 1.05) * 8.5 * lobe
}

/// Light on the scene.
#[derive(Debug)]
pub struct Light {
    /// Irradiance at each vertex of the shell, linear.
    pub on_shell: Vec<V3>,
    /// Change of mean irradiance with the normal at each vertex: lights the fine relief.
    pub slope: Vec<V3>,
    /// Irradiance far from the shell on the level.
    pub open: V3,
    ground: Grid,
}

#[derive(Debug)]
struct Grid {
    corner: [f64; 2],
    step_mm: f64,
    width: usize,
    height: usize,
    values: Vec<V3>,
}

/// What the directions from a point lead to.
struct Found {
    /// Mean light of the directions that end in the room or on the mat.
    fixed: V3,
    /// The same for [`Light::slope`].
    fixed_slope: V3,
    /// The others: weighted direction, and the vertex they end at.
    shell: Vec<(V3, u32)>,
}

fn directions() -> Vec<V3> {
    let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    (0..DIRECTIONS)
        .map(|k| {
            let share = (k as f64 + 0.5) / DIRECTIONS as f64;
            let (sin, cos) = (golden * k as f64).sin_cos();
            let r = share.sqrt();
            V3::new(r * cos, r * sin, (1.0 - share).sqrt())
        })
        .collect()
}

fn gather(mesh: &Mesh, p: V3, normal: V3, window: V3, open: V3, local: &[V3]) -> Found {
    let turn = Rotation3::rotation_between(&V3::z(), &normal)
        .unwrap_or_else(|| Rotation3::from_axis_angle(&V3::x_axis(), std::f64::consts::PI));
    let origin = p + normal * 0.08;
    let mut found = Found {
        fixed: V3::zeros(),
        fixed_slope: V3::zeros(),
        shell: Vec::new(),
    };
    for d in local {
        let dir = turn * d;
        let lever = dir / d.z.max(0.08);
        if let Some(hit) = mesh.tree.nearest(&Ray { origin, dir }, f64::INFINITY) {
            found.shell.push((lever, mesh.triangles[hit.triangle][0]));
            continue;
        }
        let light = if dir.z < 0.0 {
            open * MAT_MEAN * 0.8
        } else {
            room(dir, window)
        };
        found.fixed += light;
        found.fixed_slope += lever * light.mean();
    }
    found
}

/// Mean light over all directions, given what the shell's vertices receive.
fn received(found: &Found, shell: &[V3]) -> V3 {
    let thrown: V3 = found.shell.iter().map(|(_, v)| shell[*v as usize]).sum();
    (found.fixed + thrown.component_mul(&PLASTER)) / DIRECTIONS as f64
}

impl Light {
    /// No light at all: for questions of geometry only.
    #[must_use]
    pub fn dark() -> Self {
        let ground = Grid {
            corner: [0.0; 2],
            step_mm: 1.0,
            width: 1,
            height: 1,
            values: vec![V3::zeros()],
        };
        Self {
            on_shell: Vec::new(),
            slope: Vec::new(),
            open: V3::zeros(),
            ground,
        }
    }

    /// Gathers the light on `mesh` and on the ground around it, `reach_mm` beyond its middle.
    #[must_use]
    pub fn new(mesh: &Mesh, window: V3, middle: [f64; 2], reach_mm: f64) -> Self {
        let local = directions();
        let open = local.iter().map(|d| room(*d, window)).sum::<V3>() / DIRECTIONS as f64;
        let found: Vec<Found> = parallel(mesh.points.len(), |i| {
            gather(mesh, mesh.points[i], mesh.normals[i], window, open, &local)
        });
        let mut on_shell = vec![V3::zeros(); mesh.points.len()];
        for _ in 0..=BOUNCES {
            on_shell = found.iter().map(|f| received(f, &on_shell)).collect();
        }
        let mut slope: Vec<V3> = found
            .iter()
            .map(|f| {
                let thrown = |v: u32| on_shell[v as usize].component_mul(&PLASTER).mean();
                let shell: V3 = f.shell.iter().map(|(lever, v)| lever * thrown(*v)).sum();
                (f.fixed_slope + shell) / DIRECTIONS as f64
            })
            .collect();
        for _ in 0..3 {
            on_shell = smooth(mesh, &on_shell);
            slope = smooth(mesh, &slope);
        }
        let step_mm = 3.0;
        let side = (2.0 * reach_mm / step_mm) as usize + 1;
        let corner = [middle[0] - reach_mm, middle[1] - reach_mm];
        let values = parallel(side * side, |i| {
            let x = corner[0] + (i % side) as f64 * step_mm;
            let y = corner[1] + (i / side) as f64 * step_mm;
            let found = gather(mesh, V3::new(x, y, 0.0), V3::z(), window, open, &local);
            received(&found, &on_shell)
        });
        let ground = Grid {
            corner,
            step_mm,
            width: side,
            height: side,
            values,
        };
        Self {
            on_shell,
            slope,
            open,
            ground,
        }
    }

    /// Irradiance on the level at a place of the mat frame.
    #[must_use]
    pub fn on_ground(&self, x_mm: f64, y_mm: f64) -> V3 {
        let g = &self.ground;
        let x = (x_mm - g.corner[0]) / g.step_mm;
        let y = (y_mm - g.corner[1]) / g.step_mm;
        let (w, h) = ((g.width - 1) as f64, (g.height - 1) as f64);
        let (cx, cy) = (x.clamp(0.0, w - 1e-6), y.clamp(0.0, h - 1e-6));
        let (i, j) = (cx as usize, cy as usize);
        let (u, v) = (cx - i as f64, cy - j as f64);
        let at = |i: usize, j: usize| g.values[j * g.width + i];
        let near = (at(i, j) * (1.0 - u) + at(i + 1, j) * u) * (1.0 - v)
            + (at(i, j + 1) * (1.0 - u) + at(i + 1, j + 1) * u) * v;
        let off = (x - cx).hypot(y - cy) * g.step_mm;
        self.open + (near - self.open) * (-off / 60.0).exp()
    }
}

/// Mean of each vertex and its neighbours: takes out the grain of the gathered directions.
fn smooth(mesh: &Mesh, values: &[V3]) -> Vec<V3> {
    let mut sum = values.to_vec();
    let mut count = vec![1.0; values.len()];
    for t in &mesh.triangles {
        for (a, b) in [(t[0], t[1]), (t[1], t[2]), (t[2], t[0])] {
            sum[a as usize] += values[b as usize];
            count[a as usize] += 1.0;
        }
    }
    sum.iter().zip(count).map(|(s, n)| s / n).collect()
}
