//! Value noise from an integer hash: the same numbers on every machine.

use super::V3;

fn hash(x: i64, y: i64, z: i64) -> f64 {
    let mut h = (x as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15)
        ^ (y as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f)
        ^ (z as u64).wrapping_mul(0x1656_67b1_9e37_79f9);
    h ^= h >> 29;
    h = h.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    h ^= h >> 32;
    (h & 0xffff_ffff) as f64 / f64::from(u32::MAX) * 2.0 - 1.0
}

/// Smooth noise in −1..1 with features about one unit wide.
#[must_use]
pub fn noise(p: V3) -> f64 {
    let cell = p.map(f64::floor);
    let fade = (p - cell).map(|f| f * f * (3.0 - 2.0 * f));
    let corner = |dx: i64, dy: i64, dz: i64| {
        hash(cell.x as i64 + dx, cell.y as i64 + dy, cell.z as i64 + dz)
    };
    let mix = |a: f64, b: f64, t: f64| a + (b - a) * t;
    let along_x = |dy, dz| mix(corner(0, dy, dz), corner(1, dy, dz), fade.x);
    mix(
        mix(along_x(0, 0), along_x(1, 0), fade.y),
        mix(along_x(0, 1), along_x(1, 1), fade.y),
        fade.z,
    )
}

/// Sum of `octaves` of [`noise`], each twice as fine and half as strong; about −1..1.
#[must_use]
pub fn fbm(mut p: V3, octaves: u32) -> f64 {
    let (mut sum, mut weight, mut total) = (0.0, 1.0, 0.0);
    for _ in 0..octaves {
        sum += weight * noise(p);
        total += weight;
        weight *= 0.5;
        p = p * 2.03 + V3::new(17.1, -9.4, 5.3);
    }
    sum / total * 1.6
}

/// Gaussian number from two hashed uniforms; for sensor noise at pixel (x, y), channel c.
#[must_use]
pub fn gaussian(x: u32, y: u32, channel: u32, seed: u64) -> f64 {
    let key = i64::from(channel) * 2 + (seed as i64) * 64;
    let unit = |k: i64| (hash(i64::from(x), i64::from(y), key + k) * 0.5 + 0.5).clamp(1e-9, 1.0);
    (-2.0 * unit(0).ln()).sqrt() * (std::f64::consts::TAU * unit(1)).cos()
}

/// 0 below `a`, 1 above `b`, smooth between.
#[must_use]
pub fn smoothstep(a: f64, b: f64, x: f64) -> f64 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
