//! A grey picture and the few ways of changing it that help a reader.

use crate::PaperError;
use std::borrow::Cow;

/// A grey picture: 8 bits a pixel, row by row from the top, no padding.
#[derive(Debug, Clone)]
pub struct Luma<'a> {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) pixels: Cow<'a, [u8]>,
}

impl<'a> Luma<'a> {
    /// Wraps grey pixels.
    ///
    /// # Errors
    /// [`PaperError::Request`] if the number of bytes is not `width` × `height`, or if there are none.
    pub fn from_grey(width: u32, height: u32, pixels: &'a [u8]) -> Result<Self, PaperError> {
        let size = (width as usize).checked_mul(height as usize);
        if size != Some(pixels.len()) || pixels.is_empty() {
            return Err(PaperError::Request(format!(
                "a picture of {width} × {height} pixels cannot have {} bytes; decode it again",
                pixels.len()
            )));
        }
        Ok(Self {
            width: width as usize,
            height: height as usize,
            pixels: Cow::Borrowed(pixels),
        })
    }

    pub(super) fn new(width: usize, height: usize, pixels: Vec<u8>) -> Luma<'static> {
        Luma {
            width,
            height,
            pixels: Cow::Owned(pixels),
        }
    }

    /// Rows `from..to` of the picture, not copied.
    pub(super) fn rows(&self, from: usize, to: usize) -> Luma<'_> {
        Luma {
            width: self.width,
            height: to - from,
            pixels: Cow::Borrowed(&self.pixels[from * self.width..to * self.width]),
        }
    }

    /// The longer edge, pixels.
    pub(super) fn longest(&self) -> usize {
        self.width.max(self.height)
    }

    /// Dark and bright swapped.
    pub(super) fn inverted(&self) -> Luma<'static> {
        Luma::new(
            self.width,
            self.height,
            self.pixels.iter().map(|p| 255 - p).collect(),
        )
    }

    /// Means of `n` × `n` blocks; an incomplete block at the right or bottom edge is left out.
    pub(super) fn shrunk(&self, n: usize) -> Luma<'static> {
        let (width, height) = ((self.width / n).max(1), (self.height / n).max(1));
        // Sums of so many rows fit 16 bits; no camera has pictures that need more.
        let (nx, ny) = (n.min(self.width), n.min(self.height).min(256));
        let mut pixels = Vec::with_capacity(width * height);
        let count = (nx * ny) as u32;
        // Divided by multiplying: a division for each pixel would take longer than all the rest.
        let inverse = (1_u64 << 32) / u64::from(count) + 1;
        let mean = |sum: u32| ((u64::from(sum + count / 2) * inverse) >> 32) as u8;
        // Down the columns first: whole rows are added many pixels at a time.
        let mut columns = vec![0_u16; self.width];
        for y in 0..height {
            columns.fill(0);
            for row in self.pixels[y * n * self.width..]
                .chunks_exact(self.width)
                .take(ny)
            {
                for (sum, &p) in columns.iter_mut().zip(row) {
                    *sum += u16::from(p);
                }
            }
            let columns = &columns[..width * nx];
            let sum = |c: &[u16]| c.iter().map(|&v| u32::from(v)).sum::<u32>();
            match nx {
                // The usual shrinkings of a photograph, with lengths the compiler knows.
                2 => pixels.extend(columns.as_chunks::<2>().0.iter().map(|c| mean(sum(c)))),
                3 => pixels.extend(columns.as_chunks::<3>().0.iter().map(|c| mean(sum(c)))),
                _ => pixels.extend(columns.chunks_exact(nx).map(|c| mean(sum(c)))),
            }
        }
        Luma::new(width, height, pixels)
    }

    /// The picture drawn `scale` times as large, bilinear.
    pub(super) fn scaled(&self, scale: f64) -> Luma<'static> {
        let width = ((self.width as f64 * scale).round() as usize).max(1);
        let height = ((self.height as f64 * scale).round() as usize).max(1);
        let columns: Vec<(usize, usize, u32)> = (0..width)
            .map(|x| neighbours(x, width, self.width))
            .collect();
        let mut pixels = Vec::with_capacity(width * height);
        for y in 0..height {
            let (y0, y1, fy) = neighbours(y, height, self.height);
            let top = &self.pixels[y0 * self.width..(y0 + 1) * self.width];
            let bottom = &self.pixels[y1 * self.width..(y1 + 1) * self.width];
            for &(x0, x1, fx) in &columns {
                let mix = |row: &[u8]| u32::from(row[x0]) * (256 - fx) + u32::from(row[x1]) * fx;
                let value = (mix(top) * (256 - fy) + mix(bottom) * fy + (1 << 15)) >> 16;
                pixels.push(value as u8);
            }
        }
        Luma::new(width, height, pixels)
    }

    /// The picture stretched to twice its length along a direction (degrees from the rows), as a
    /// surface that is seen aslant looks from before; with the map from its pixels to this one's.
    pub(super) fn stretched(
        &self,
        direction_deg: f64,
    ) -> (Luma<'static>, impl Fn([f64; 2]) -> [f64; 2] + use<>) {
        let (sin, cos) = direction_deg.to_radians().sin_cos();
        // I + n·nᵀ, and its inverse I − n·nᵀ/2.
        let with = move |[x, y]: [f64; 2], share: f64| {
            let along = share * (x * cos + y * sin);
            [x + along * cos, y + along * sin]
        };
        let (w, h) = (self.width as f64, self.height as f64);
        let corners = [[0.0, 0.0], [w, 0.0], [0.0, h], [w, h]].map(|p| with(p, 1.0));
        let least = [0, 1].map(|i| corners.iter().map(|c| c[i]).fold(f64::INFINITY, f64::min));
        let most = [0, 1].map(|i| corners.iter().map(|c| c[i]).fold(0.0, f64::max));
        let size = [0, 1].map(|i| ((most[i] - least[i]).ceil() as usize).max(1));
        let back = move |[x, y]: [f64; 2]| with([x + least[0], y + least[1]], -0.5);
        // Along a row both coordinates grow evenly; 16 bits behind the point are enough.
        let fixed = |v: f64| (v * 65536.0) as i64;
        let step = with([1.0, 0.0], -0.5).map(fixed);
        let mut pixels = Vec::with_capacity(size[0] * size[1]);
        for y in 0..size[1] {
            let mut at = back([0.5, y as f64 + 0.5]).map(|v| fixed(v - 0.5));
            for _ in 0..size[0] {
                pixels.push(self.at_fixed(at));
                at = [at[0] + step[0], at[1] + step[1]];
            }
        }
        (Luma::new(size[0], size[1], pixels), back)
    }

    /// Mean over a square of `2·radius + 1` pixels (fewer at the edge).
    pub(super) fn box_mean(&self, radius: usize) -> Vec<u8> {
        let (w, h) = (self.width, self.height);
        let mut across = vec![0_u8; w * h];
        for (row, out) in self.pixels.chunks_exact(w).zip(across.chunks_exact_mut(w)) {
            running_mean(row.iter().copied(), w, radius, |x, v| out[x] = v);
        }
        // Down the columns, a whole row of sums at a time: kind to the cache.
        let mut sums = vec![0_u32; w];
        let mut mean = vec![0_u8; w * h];
        let mut count = 0_u32;
        let add = |sums: &mut [u32], y: usize, sign: bool| {
            for (sum, &v) in sums.iter_mut().zip(&across[y * w..(y + 1) * w]) {
                *sum = if sign {
                    *sum + u32::from(v)
                } else {
                    *sum - u32::from(v)
                };
            }
        };
        for y in 0..radius.min(h) {
            add(&mut sums, y, true);
            count += 1;
        }
        for y in 0..h {
            if y + radius < h {
                add(&mut sums, y + radius, true);
                count += 1;
            }
            if y > radius {
                add(&mut sums, y - radius - 1, false);
                count -= 1;
            }
            let inverse = (1_u64 << 32) / u64::from(count) + 1;
            for (out, sum) in mean[y * w..(y + 1) * w].iter_mut().zip(&sums) {
                *out = ((u64::from(sum + count / 2) * inverse) >> 32) as u8;
            }
        }
        mean
    }

    /// The picture softened by two box means: close to a Gaussian blur.
    pub(super) fn softened(&self, radius: usize) -> Luma<'static> {
        let once = Luma::new(self.width, self.height, self.box_mean(radius));
        let twice = once.box_mean(radius);
        Luma::new(self.width, self.height, twice)
    }

    /// The picture with the difference to its local mean enlarged `gain` times.
    pub(super) fn sharpened(&self, radius: usize, gain: i32) -> Luma<'static> {
        let soft = self.softened(radius);
        let pixels = self
            .pixels
            .iter()
            .zip(soft.pixels.iter())
            .map(|(&p, &m)| {
                (i32::from(m) + (gain + 1) * (i32::from(p) - i32::from(m))).clamp(0, 255) as u8
            })
            .collect();
        Luma::new(self.width, self.height, pixels)
    }

    /// Brightness at a point in 65536ths of a pixel, counted from the centre of the first; the edge
    /// pixel outside the picture.
    fn at_fixed(&self, at: [i64; 2]) -> u8 {
        let most = [self.width, self.height].map(|n| ((n - 1) as i64) << 16);
        let [x, y] = [0, 1].map(|i| at[i].clamp(0, most[i]) as usize);
        let (x0, y0) = (x >> 16, y >> 16);
        let (x1, y1) = ((x0 + 1).min(self.width - 1), (y0 + 1).min(self.height - 1));
        let (fx, fy) = ((x >> 8 & 255) as u32, (y >> 8 & 255) as u32);
        let mix = |row: usize| {
            let row = &self.pixels[row * self.width..][..self.width];
            u32::from(row[x0]) * (256 - fx) + u32::from(row[x1]) * fx
        };
        ((mix(y0) * (256 - fy) + mix(y1) * fy + (1 << 15)) >> 16) as u8
    }

    /// Brightness at a point in pixels (centre of the first pixel at 0.5), bilinear; the edge
    /// pixel outside the picture.
    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        let clamp = |v: f64, n: usize| (v - 0.5).clamp(0.0, (n - 1) as f64);
        let (x, y) = (clamp(x, self.width), clamp(y, self.height));
        let (x0, y0) = (x as usize, y as usize);
        let (x1, y1) = ((x0 + 1).min(self.width - 1), (y0 + 1).min(self.height - 1));
        let (fx, fy) = (x - x0 as f64, y - y0 as f64);
        let p = |x: usize, y: usize| f64::from(self.pixels[y * self.width + x]);
        (p(x0, y0) * (1.0 - fx) + p(x1, y0) * fx) * (1.0 - fy)
            + (p(x0, y1) * (1.0 - fx) + p(x1, y1) * fx) * fy
    }
}

/// The two source pixels around target pixel `i` and the weight of the second, of 256.
fn neighbours(i: usize, target: usize, source: usize) -> (usize, usize, u32) {
    let at =
        ((i as f64 + 0.5) * source as f64 / target as f64 - 0.5).clamp(0.0, (source - 1) as f64);
    let low = at as usize;
    (
        low,
        (low + 1).min(source - 1),
        ((at - low as f64) * 256.0) as u32,
    )
}

fn running_mean(
    values: impl Iterator<Item = u8> + Clone,
    n: usize,
    radius: usize,
    mut put: impl FnMut(usize, u8),
) {
    let (mut sum, mut count) = (0_u32, 0_u32);
    let mut enter = values.clone();
    let mut leave = values;
    for v in enter.by_ref().take(radius) {
        sum += u32::from(v);
        count += 1;
    }
    for x in 0..n {
        if let Some(v) = enter.next() {
            sum += u32::from(v);
            count += 1;
        }
        if x > radius
            && let Some(v) = leave.next()
        {
            sum -= u32::from(v);
            count -= 1;
        }
        put(x, ((sum + count / 2) / count) as u8);
    }
}
