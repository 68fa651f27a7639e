//! Printed pages as grey pictures with a scale: the mat's lettering, the label, handwriting.

use ab_glyph::{Font, FontRef, PxScale, ScaleFont, point};
use qrcode::{Color, EcLevel, QrCode, Version};

/// A grey picture, 1 white to 0 black, with its resolution.
#[derive(Debug, Clone)]
pub struct Raster {
    width: usize,
    height: usize,
    per_mm: f64,
    grey: Vec<f32>,
}

/// Lettering for labels and mats.
pub const BOLD: &[u8] = include_bytes!("../../../ui/fonts/AtkinsonHyperlegibleNext-Bold.ttf");
/// Lettering for running text.
pub const REGULAR: &[u8] = include_bytes!("../../../ui/fonts/AtkinsonHyperlegibleNext-Regular.ttf");

impl Raster {
    /// A white page.
    #[must_use]
    pub fn new(width_mm: f64, height_mm: f64, per_mm: f64) -> Self {
        let (width, height) = ((width_mm * per_mm) as usize, (height_mm * per_mm) as usize);
        Self {
            width,
            height,
            per_mm,
            grey: vec![1.0; width * height],
        }
    }

    /// Grey at a place in mm from the top-left corner, bilinear; none off the page.
    #[must_use]
    pub fn at_mm(&self, x_mm: f64, y_mm: f64) -> Option<f64> {
        let (x, y) = (x_mm * self.per_mm - 0.5, y_mm * self.per_mm - 0.5);
        let (w, h) = (self.width as f64, self.height as f64);
        if x < -0.5 || y < -0.5 || x > w - 0.5 || y > h - 0.5 {
            return None;
        }
        let (x, y) = (x.clamp(0.0, w - 1.001), y.clamp(0.0, h - 1.001));
        let (i, j) = (x as usize, y as usize);
        let (u, v) = (x - i as f64, y - j as f64);
        let at = |i: usize, j: usize| f64::from(self.grey[j * self.width + i]);
        let top = at(i, j) * (1.0 - u) + at(i + 1, j) * u;
        let low = at(i, j + 1) * (1.0 - u) + at(i + 1, j + 1) * u;
        Some(top * (1.0 - v) + low * v)
    }

    /// Blackens a rectangle; places in mm from the top-left corner.
    pub fn bar(&mut self, x_mm: f64, y_mm: f64, width_mm: f64, height_mm: f64) {
        let px = |mm: f64| (mm * self.per_mm).round().max(0.0) as usize;
        let (x0, x1) = (px(x_mm), px(x_mm + width_mm).min(self.width));
        for j in px(y_mm)..px(y_mm + height_mm).min(self.height) {
            self.grey[j * self.width + x0..j * self.width + x1].fill(0.0);
        }
    }

    /// Writes a line whose capitals stand about 0.7 `size_mm` high; `y_mm` is its baseline.
    pub fn text(&mut self, font: &[u8], text: &str, x_mm: f64, y_mm: f64, size_mm: f64) {
        let Ok(font) = FontRef::try_from_slice(font) else {
            return;
        };
        let scaled = font.as_scaled(PxScale::from((size_mm * self.per_mm) as f32));
        let mut pen = (x_mm * self.per_mm) as f32;
        for letter in text.chars() {
            let id = scaled.scaled_glyph(letter).id;
            let glyph =
                id.with_scale_and_position(scaled.scale(), point(pen, (y_mm * self.per_mm) as f32));
            pen += scaled.h_advance(id);
            let Some(outline) = font.outline_glyph(glyph) else {
                continue;
            };
            let corner = outline.px_bounds().min;
            outline.draw(|i, j, ink| {
                let (x, y) = (corner.x + i as f32, corner.y + j as f32);
                if x >= 0.0 && y >= 0.0 && (x as usize) < self.width && (y as usize) < self.height {
                    let spot = &mut self.grey[y as usize * self.width + x as usize];
                    *spot = spot.min(1.0 - ink);
                }
            });
        }
    }

    /// Draws a QR code (version 2, level H) without its quiet zone; false if `text` does not fit.
    #[must_use]
    pub fn qr(&mut self, text: &str, x_mm: f64, y_mm: f64, module_mm: f64) -> bool {
        let code = QrCode::with_version(text, Version::Normal(2), EcLevel::H);
        let Ok(code) = code else { return false };
        let width = code.width();
        for (i, colour) in code.to_colors().iter().enumerate() {
            if *colour == Color::Dark {
                let (column, row) = ((i % width) as f64, (i / width) as f64);
                self.bar(
                    x_mm + column * module_mm,
                    y_mm + row * module_mm,
                    module_mm,
                    module_mm,
                );
            }
        }
        true
    }
}

/// What the label in the photographs says.
#[derive(Debug, Clone)]
pub struct LabelText {
    /// Cast code with hyphens.
    pub code: String,
    /// "left" or "right".
    pub side: &'static str,
    /// Small lines.
    pub lines: Vec<String>,
}

/// Size of the label, mm.
pub const LABEL_MM: [f64; 2] = [62.0, 100.0];

/// The cast label: square code, text code, side as a letter and a word.
#[must_use]
pub fn label(text: &LabelText) -> Raster {
    let mut page = Raster::new(LABEL_MM[0], LABEL_MM[1], 10.0);
    let plain: String = text.code.chars().filter(|c| *c != '-').collect();
    let drawn = page.qr(&plain, 6.0, 6.0, 1.2);
    debug_assert!(drawn, "thirteen alphanumerics fit version 2-H");
    let word = text.side.to_uppercase();
    page.text(BOLD, &word[..1], 42.0, 30.0, 34.0);
    page.text(BOLD, &word, 42.0, 39.0, 6.5);
    page.text(BOLD, &text.code, 6.0, 50.0, 6.6);
    page.bar(6.0, 54.0, 50.0, 0.4);
    for (i, line) in text.lines.iter().enumerate() {
        page.text(REGULAR, line, 6.0, 62.0 + 7.0 * i as f64, 5.2);
    }
    page
}

/// A word as written by hand, on a page just large enough.
#[must_use]
pub fn handwriting(text: &str, size_mm: f64) -> Raster {
    let mut page = Raster::new(
        size_mm * (0.75 * text.len() as f64 + 0.3),
        size_mm * 1.2,
        8.0,
    );
    page.text(REGULAR, text, 0.1 * size_mm, 0.9 * size_mm, size_mm);
    page
}
