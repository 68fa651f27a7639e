//! From pages to what a printer can take.

use super::{Sheet, Target};
use crate::error::AppError;
use crate::visits::Foot;
use crate::{files, papers};
use chrono::NaiveDate;
use hayro::hayro_interpret::InterpreterSettings;
use hayro::hayro_syntax::Pdf;
use hayro::vello_cpu::color::palette::css::WHITE;
use hayro::{RenderCache, RenderSettings};
use image::{ExtendedColorType, ImageEncoder};
use plinthside_measure::mat::sheet::SheetLayout;
use plinthside_paper::{Document, PaperError, PrinterDots};
use plinthside_print::{About, Images, PrintDocument};
use plinthside_visit::Lang;
use std::path::Path;
use std::sync::Arc;

/// The largest file that is printed.
const FILE_LIMIT_BYTES: u64 = 256 << 20;
/// Pictures of pages are drawn no finer than this, dots per inch.
const FINEST: u32 = 600;
/// Points in an inch, and millimetres.
const POINTS: f64 = 72.0;
const INCH_MM: f64 = 25.4;

/// In which forms a printer wants a document.
#[derive(Debug, Clone, PartialEq)]
pub struct Wants {
    /// As PDF.
    pub pdf: bool,
    /// As pictures of these resolutions, dots per inch.
    pub dpi: Vec<f64>,
}

impl Wants {
    /// What a printer that was asked takes; everything likely for one that did not answer, which
    /// may take no PDF when it does.
    #[must_use]
    pub fn of(about: Option<&About>, likely: &[u32]) -> Self {
        let Some(about) = about else {
            return Self {
                pdf: true,
                dpi: likely.iter().map(|&dpi| exact(dpi)).collect(),
            };
        };
        let pdf = about.formats.iter().any(|f| f == "application/pdf");
        let named = &about.raster_dpi;
        let finest = named.iter().filter(|&&dpi| dpi <= FINEST).max();
        let coarsest = named.iter().min();
        // A printer of JPEG alone names no resolution of raster.
        let chosen = finest.or(coarsest).or(likely.last());
        Self {
            pdf,
            dpi: if pdf {
                Vec::new()
            } else {
                chosen.map(|&dpi| exact(dpi)).into_iter().collect()
            },
        }
    }
}

/// Printers of “203 dpi” lay 8 dots to the millimetre.
fn exact(dpi: u32) -> f64 {
    if dpi == 203 {
        PrinterDots::DPI_203.dpi
    } else {
        f64::from(dpi)
    }
}

/// A paper of one foot, set for a printer: a label's modules are whole dots of it.
///
/// # Errors
/// What the paper needs is not there yet.
pub fn sheet(
    foot: &Foot<'_>,
    what: Sheet,
    to: &Target,
    today: NaiveDate,
) -> Result<PrintDocument, AppError> {
    let office = |title: &str, document: &Document| of_document(title, document, to);
    match what {
        Sheet::Label(size) => {
            let set = |dots| papers::label(foot, size, dots, today);
            let wants = Wants::of(to.about.as_ref(), &[203, 300, 600]);
            let (mut page_mm, mut pdf, mut images) = ([0.0; 2], None, Vec::new());
            if wants.pdf {
                let document = set(to.dots)?;
                page_mm = document.page_mm(0).unwrap_or_default();
                pdf = Some(document.pdf()?);
            }
            for dpi in wants.dpi {
                let document = set(PrinterDots { dpi })?;
                page_mm = document.page_mm(0).unwrap_or_default();
                let pages = vec![document.png(0, dpi)?];
                images.push(Images { dpi, pages });
            }
            Ok(PrintDocument {
                title: format!("Label, {}", foot.side),
                page_mm,
                pdf,
                images,
            })
        }
        Sheet::Order(paper) => office("Order", &papers::order(foot, paper, today)?),
        Sheet::Bench(paper) => office("Bench sheet", &papers::bench(foot, paper, today)?),
        Sheet::Packing(paper) => office("Packing list", &papers::packing(foot, paper, today)?),
        Sheet::Leaflet(paper) => office("Leaflet", &papers::leaflet(foot, paper, today)?),
    }
}

/// A mat at true scale.
///
/// # Errors
/// The page can't be set.
pub fn mat(
    layout: &SheetLayout,
    lang: Lang,
    to: &Target,
    today: NaiveDate,
) -> Result<PrintDocument, AppError> {
    of_document("Mat", &plinthside_paper::mat(layout, lang, today)?, to)
}

/// A sheet of pre-printed labels.
///
/// # Errors
/// The page can't be drawn.
pub fn stickers(document: &Document, to: &Target) -> Result<PrintDocument, AppError> {
    of_document("Labels", document, to)
}

/// Any pages of one size.
///
/// # Errors
/// A page can't be drawn.
pub fn of_document(
    title: &str,
    document: &Document,
    to: &Target,
) -> Result<PrintDocument, AppError> {
    let wants = Wants::of(to.about.as_ref(), &[300]);
    let images = wants.dpi.into_iter().map(|dpi| {
        let pages = (0..document.pages()).map(|page| document.png(page, dpi));
        Ok(Images {
            dpi,
            pages: pages.collect::<Result<_, PaperError>>()?,
        })
    });
    Ok(PrintDocument {
        title: title.to_owned(),
        page_mm: document.page_mm(0).unwrap_or_default(),
        pdf: wants.pdf.then(|| document.pdf()).transpose()?,
        images: images.collect::<Result<_, AppError>>()?,
    })
}

/// A file: a PDF, drawn as pictures too where the printer wants those, or a PNG of a page whose
/// file says how large it is (or `dpi` does).
///
/// # Errors
/// Another kind of file, a damaged one, pages of several sizes, or a picture without a size.
pub fn from_file(path: &Path, dpi: Option<f64>, to: &Target) -> Result<PrintDocument, AppError> {
    let bytes = files::read_limited(path, FILE_LIMIT_BYTES)?;
    let title = files::photo_name(path);
    let refused = |problem: String| AppError::Refused {
        path: path.to_owned(),
        problem,
    };
    if bytes.starts_with(b"%PDF") {
        from_pdf(bytes, title, to).map_err(refused)
    } else {
        from_png(bytes, title, dpi).map_err(refused)
    }
}

fn from_png(bytes: Vec<u8>, title: String, dpi: Option<f64>) -> Result<PrintDocument, String> {
    let decoder = png::Decoder::new(std::io::Cursor::new(&bytes));
    let reader = decoder.read_info().map_err(|e| {
        format!("neither a PDF nor a PNG ({e}); write the page as one of them and print that")
    })?;
    let info = reader.info();
    let in_file = info.pixel_dims.and_then(|dims| {
        let metre = dims.unit == png::Unit::Meter && dims.xppu == dims.yppu;
        metre.then(|| f64::from(dims.xppu) * INCH_MM / 1000.0)
    });
    let dpi = dpi
        .or(in_file)
        .filter(|dpi| (30.0..=2400.0).contains(dpi))
        .ok_or("the picture does not say how large it is; name its dots per inch with --dpi")?;
    // A PNG counts dots of a metre in whole numbers: 203.2 comes back as 203.2 ± 0.01.
    let dpi = [203.2, dpi.round()]
        .into_iter()
        .find(|whole| (whole - dpi).abs() < 0.06)
        .unwrap_or(dpi);
    let page_mm = [info.width, info.height].map(|px| f64::from(px) / dpi * INCH_MM);
    drop(reader);
    Ok(PrintDocument {
        title,
        page_mm,
        pdf: None,
        images: vec![Images {
            dpi,
            pages: vec![bytes],
        }],
    })
}

fn from_pdf(bytes: Vec<u8>, title: String, to: &Target) -> Result<PrintDocument, String> {
    let data = Arc::new(bytes.clone());
    let pdf = Pdf::new(data).map_err(|e| {
        format!("this PDF can't be read ({e:?}); write it again without a password and print that")
    })?;
    let sizes: Vec<[f64; 2]> = pdf
        .pages()
        .iter()
        .map(|page| {
            let (width, height) = page.render_dimensions();
            [width, height].map(|points| f64::from(points) / POINTS * INCH_MM)
        })
        .collect();
    let page_mm = *sizes.first().ok_or("this PDF has no pages")?;
    let same = |size: &[f64; 2]| (0..2).all(|i| (size[i] - page_mm[i]).abs() < 1.0);
    if !sizes.iter().all(same) {
        return Err("its pages are of several sizes; print each size by itself".into());
    }
    let wants = Wants::of(to.about.as_ref(), &[300]);
    let images = wants
        .dpi
        .iter()
        .map(|&dpi| {
            Ok(Images {
                dpi,
                pages: draw(&pdf, dpi)?,
            })
        })
        .collect::<Result<_, String>>()?;
    Ok(PrintDocument {
        title,
        page_mm,
        pdf: Some(bytes),
        images,
    })
}

/// Every page as a grey PNG.
fn draw(pdf: &Pdf, dpi: f64) -> Result<Vec<Vec<u8>>, String> {
    let cache = RenderCache::new();
    let settings = InterpreterSettings::default();
    let scale = (dpi / POINTS) as f32;
    pdf.pages()
        .iter()
        .map(|page| {
            let (width, height) = page.render_dimensions();
            let dots = |points: f32| Some((points * scale).round() as u16);
            let look = RenderSettings {
                x_scale: scale,
                y_scale: scale,
                width: dots(width),
                height: dots(height),
                bg_color: WHITE,
            };
            let picture = hayro::render(page, &cache, &settings, &look);
            let grey: Vec<u8> = picture
                .data()
                .iter()
                .map(|p| {
                    let parts = 299 * u32::from(p.r) + 587 * u32::from(p.g) + 114 * u32::from(p.b);
                    (parts / 1000) as u8
                })
                .collect();
            let mut png = Vec::new();
            image::codecs::png::PngEncoder::new(&mut png)
                .write_image(
                    &grey,
                    u32::from(picture.width()),
                    u32::from(picture.height()),
                    ExtendedColorType::L8,
                )
                .map_err(|e| e.to_string())?;
            Ok(png)
        })
        .collect()
}
