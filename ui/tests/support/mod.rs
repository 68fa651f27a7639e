//! A window drawn by the software renderer in memory, and its picture beside the kept one.
#![allow(dead_code)] // every test file uses its own part

use i_slint_backend_testing::{ElementHandle, TestingBackend, TestingBackendOptions};
use image::RgbImage;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use plinthside_ui::{App, Theme};
use slint::{ComponentHandle, LogicalSize};
use std::path::{Path, PathBuf};

/// How a window is opened.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    pub width: u32,
    pub height: u32,
    pub dark: bool,
    pub text_scale: f32,
}

impl Look {
    pub const TABLET: Self = Self {
        width: 1280,
        height: 800,
        dark: false,
        text_scale: 1.0,
    };

    pub fn name(&self) -> String {
        let ground = if self.dark { "dark" } else { "light" };
        format!(
            "{}x{}-{ground}-{:.0}",
            self.width,
            self.height,
            self.text_scale * 100.0
        )
    }
}

/// Opens a window on the preview data. One a test: the backend belongs to the thread.
pub fn open(look: Look) -> App {
    let backend = TestingBackend::new(TestingBackendOptions {
        mock_time: true,
        threading: false,
        renderer_name: Some("software".into()),
    });
    // A second window of the same test finds the backend in place.
    let _ = slint::platform::set_platform(Box::new(backend));
    let app = App::new().expect("the window can be made");
    dress(&app, look);
    app.show().expect("the window can be shown");
    app
}

/// Presses the control of that name, as assistive technology does.
pub fn touch(app: &App, name: &str) {
    ElementHandle::find_by_accessible_label(app, name)
        .next()
        .unwrap_or_else(|| panic!("no {name}"))
        .invoke_accessible_default_action();
}

/// Gives an open window another look.
pub fn dress(app: &App, look: Look) {
    let theme = app.global::<Theme>();
    theme.set_dark(look.dark);
    theme.set_text_scale(look.text_scale);
    app.window()
        .set_size(LogicalSize::new(look.width as f32, look.height as f32));
}

/// The picture of a window, half its size: small enough to keep, large enough to show a fault.
pub fn picture(app: &App) -> RgbImage {
    i_slint_backend_testing::mock_elapsed_time(std::time::Duration::from_millis(500));
    let shot = app
        .window()
        .take_snapshot()
        .expect("the window can be drawn");
    let rgb: Vec<u8> = shot
        .as_bytes()
        .chunks_exact(4)
        .flat_map(|p| [p[0], p[1], p[2]])
        .collect();
    RgbImage::from_raw(shot.width(), shot.height(), rgb).expect("three bytes a pixel")
}

fn half(full: &RgbImage) -> RgbImage {
    image::imageops::resize(
        full,
        full.width() / 2,
        full.height() / 2,
        image::imageops::FilterType::Triangle,
    )
}

/// Share of pixels that differ visibly.
fn changed(a: &RgbImage, b: &RgbImage) -> f64 {
    if a.dimensions() != b.dimensions() {
        return 1.0;
    }
    let differs =
        |(p, q): &(&image::Rgb<u8>, &image::Rgb<u8>)| (0..3).any(|i| p[i].abs_diff(q[i]) > 40);
    a.pixels().zip(b.pixels()).filter(differs).count() as f64 / f64::from(a.width() * a.height())
}

/// Compares a window with the kept picture; a changed or new one is written, in full size too, to
/// `build-output/pictures` and reported.
pub fn compare(app: &App, name: &str) -> Result<(), String> {
    let full = picture(app);
    let now = half(&full);
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let kept: PathBuf = root.join("tests/pictures").join(format!("{name}.png"));
    let share = match image::open(&kept) {
        Ok(before) => changed(&before.to_rgb8(), &now),
        Err(_) => 1.0,
    };
    if share < 0.0008 {
        return Ok(());
    }
    let out = root.join("../build-output/pictures");
    std::fs::create_dir_all(&out).map_err(|e| e.to_string())?;
    let new = out.join(format!("{name}.png"));
    save_small(&now, &new)?;
    full.save(out.join(format!("{name}.full.png")))
        .map_err(|e| e.to_string())?;
    Err(format!(
        "{:.2} % of {name} changed: see {}, copy it to {} if it is right",
        share * 100.0,
        new.display(),
        kept.display()
    ))
}

/// Writes a picture as small as PNG can.
fn save_small(picture: &RgbImage, path: &Path) -> Result<(), String> {
    let file = std::fs::File::create(path).map_err(|e| e.to_string())?;
    let encoder = PngEncoder::new_with_quality(file, CompressionType::Best, FilterType::Adaptive);
    picture
        .write_with_encoder(encoder)
        .map_err(|e| e.to_string())
}
