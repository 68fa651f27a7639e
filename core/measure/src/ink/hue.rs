//! How violet each pixel is.

use crate::observed::Px;
use crate::photo::{Photograph, luma_of};

/// Added to every channel, grey levels: keeps the hue of near-black pixels from being noise.
const DARK: f64 = 6.0;

/// Excess of red and blue over green as a logarithm: the same in light and shade.
pub(super) fn violet([r, g, b]: [f64; 3]) -> f64 {
    ((r + b + 2.0 * DARK) / (2.0 * g + 2.0 * DARK)).ln()
}

/// A square of a photograph as violetness, against the plaster at its edge.
pub(super) struct HuePatch {
    /// Column and row of the photograph's pixel at the patch's top left.
    pub origin: [usize; 2],
    pub width: usize,
    pub height: usize,
    /// Violetness above the background, row by row.
    pub excess: Vec<f64>,
    /// Brightness, row by row, grey levels.
    pub light: Vec<f64>,
    /// Spread of the background's violetness, one standard deviation.
    pub noise: f64,
}

impl HuePatch {
    /// The patch that reaches `reach_px` from `centre`; `None` outside the photograph.
    pub(super) fn around(photo: &Photograph, centre: Px, reach_px: f64) -> Option<Self> {
        let reach = reach_px.clamp(8.0, 600.0);
        let [from, to] = [-reach, reach].map(|r| {
            [
                (centre[0] + r).clamp(0.0, f64::from(photo.width)) as usize,
                (centre[1] + r).clamp(0.0, f64::from(photo.height)) as usize,
            ]
        });
        let (width, height) = (to[0] - from[0], to[1] - from[1]);
        if width < 8 || height < 8 {
            return None;
        }
        let mut excess = Vec::with_capacity(width * height);
        let mut light = Vec::with_capacity(width * height);
        for y in from[1]..to[1] {
            for x in from[0]..to[0] {
                excess.push(violet(mean_of_nine(photo, x, y)));
                let [r, g, b] = photo.rgb_at(x, y);
                light.push(f64::from(luma_of(r, g, b)));
            }
        }
        // The frame of the patch, a sixth of it wide, is taken for plaster.
        let frame = (width.min(height) / 6).max(2);
        let mut plaster: Vec<f64> = excess
            .iter()
            .enumerate()
            .filter(|(i, _)| {
                let (x, y) = (i % width, i / width);
                x.min(y).min(width - 1 - x).min(height - 1 - y) < frame
            })
            .map(|(_, v)| *v)
            .collect();
        let background = median(&mut plaster);
        for v in &mut plaster {
            *v = (*v - background).abs();
        }
        let noise = 1.4826 * median(&mut plaster);
        for v in &mut excess {
            *v -= background;
        }
        Some(Self {
            origin: from,
            width,
            height,
            excess,
            light,
            noise,
        })
    }

    /// Photo-frame position of the centre of the patch's pixel `at`.
    pub(super) fn px(&self, at: usize) -> Px {
        [
            (self.origin[0] + at % self.width) as f64 + 0.5,
            (self.origin[1] + at / self.width) as f64 + 0.5,
        ]
    }
}

/// Mean colour of a pixel and its neighbours.
fn mean_of_nine(photo: &Photograph, x: usize, y: usize) -> [f64; 3] {
    let (right, bottom) = (photo.width as usize - 1, photo.height as usize - 1);
    let mut sum = [0u32; 3];
    let mut count = 0.0;
    for row in y.saturating_sub(1)..=(y + 1).min(bottom) {
        for column in x.saturating_sub(1)..=(x + 1).min(right) {
            let pixel = photo.rgb_at(column, row);
            sum.iter_mut()
                .zip(pixel)
                .for_each(|(s, v)| *s += u32::from(v));
            count += 1.0;
        }
    }
    sum.map(|s| f64::from(s) / count)
}

pub(super) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
