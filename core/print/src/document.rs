//! What is printed: pages as PDF, as pictures, or both, and how a printer wants them.

use crate::raster::{GreyPage, PixelType, pwg_raster};
use crate::{About, Media, Placed};
use serde::{Deserialize, Serialize};

/// Pages as pictures at one resolution.
#[derive(Debug, Clone, PartialEq)]
pub struct Images {
    /// Dots per inch.
    pub dpi: f64,
    /// A PNG for each page.
    pub pages: Vec<Vec<u8>>,
}

/// A document ready to be printed at true scale.
#[derive(Debug, Clone, PartialEq)]
pub struct PrintDocument {
    /// What people call it.
    pub title: String,
    /// Width and height of every page, mm.
    pub page_mm: [f64; 2],
    /// All pages as PDF.
    pub pdf: Option<Vec<u8>>,
    /// All pages as pictures, for printers that take no PDF; any number of resolutions.
    pub images: Vec<Images>,
}

/// Why a document cannot be printed as it is.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DocumentProblem {
    /// A page has no size a paper can have.
    #[error("the page has no size that paper can have")]
    Size,
    /// There is nothing in it.
    #[error("the document holds neither a PDF nor a picture of its pages")]
    Empty,
    /// The printer takes none of the formats.
    #[error("this printer takes {}; the document is there as {}", takes.join(", "), has.join(", "))]
    Format {
        /// What the printer takes.
        takes: Vec<String>,
        /// What there is.
        has: Vec<String>,
    },
    /// The printer takes pictures of other resolutions.
    #[error("this printer wants pictures of {} dots an inch; print again with one of these", wants.join(", "))]
    Resolution {
        /// Resolutions it takes.
        wants: Vec<String>,
    },
    /// A picture that cannot be read.
    #[error("page {page} is not a picture that can be read ({why})")]
    Picture {
        /// Page, from 1.
        page: usize,
        /// What the decoder said.
        why: String,
    },
}

/// A document as it goes to a printer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Payload {
    /// Its MIME type.
    pub format: &'static str,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Dots per inch of a picture.
    pub dpi: Option<u32>,
}

/// What the shelf keeps of a document beside its bytes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Contents {
    pub title: String,
    pub page_mm: [f64; 2],
    pub pdf: bool,
    /// Dots per inch and number of pages.
    pub images: Vec<(f64, usize)>,
}

const PDF: &str = "application/pdf";
const PWG: &str = "image/pwg-raster";
const JPEG: &str = "image/jpeg";

impl PrintDocument {
    /// Size of its pages, if it is one and there is something to print.
    ///
    /// # Errors
    /// [`DocumentProblem::Size`] and [`DocumentProblem::Empty`].
    pub fn check(&self) -> Result<Media, DocumentProblem> {
        if self.pdf.is_none() && self.images.iter().all(|i| i.pages.is_empty()) {
            return Err(DocumentProblem::Empty);
        }
        Media::from_mm(self.page_mm).ok_or(DocumentProblem::Size)
    }

    /// The document as a printer wants it: the format it prefers, else PDF, else PWG raster, else,
    /// for a single page, JPEG. Pictures are turned here where `placed` says so; pages of a PDF
    /// name their size, and whoever draws them turns them.
    ///
    /// # Errors
    /// [`DocumentProblem`]
    pub fn for_printer(&self, about: &About, placed: Placed) -> Result<Payload, DocumentProblem> {
        let takes = |format: &str| about.formats.iter().any(|f| f == format);
        let mut order = vec![PDF, PWG, JPEG];
        if let Some(first) = order
            .iter()
            .position(|f| about.prefers.as_deref() == Some(f))
        {
            order[..=first].rotate_right(1);
        }
        let mut problem = None;
        for format in order.into_iter().filter(|f| takes(f)) {
            let made = match format {
                PDF => Ok(self.pdf.clone().map(|bytes| Payload {
                    format: PDF,
                    bytes,
                    dpi: None,
                })),
                PWG => self.as_raster(about, placed),
                _ => self.as_jpeg(placed.turned),
            };
            match made {
                Ok(Some(payload)) => return Ok(payload),
                Ok(None) => {}
                Err(error) => problem = problem.or(Some(error)),
            }
        }
        Err(problem.unwrap_or_else(|| DocumentProblem::Format {
            takes: about.formats.clone(),
            has: self.has(),
        }))
    }

    fn has(&self) -> Vec<String> {
        let pdf = self.pdf.is_some().then(|| PDF.to_owned());
        let images = self
            .images
            .iter()
            .map(|i| format!("pictures of {} dots an inch", i.dpi.round()));
        pdf.into_iter().chain(images).collect()
    }

    fn as_raster(&self, about: &About, placed: Placed) -> Result<Option<Payload>, DocumentProblem> {
        let (Some(kind), false) = (PixelType::of(&about.raster_types), self.images.is_empty())
        else {
            return Ok(None);
        };
        let dots = |i: &Images| i.dpi.round() as u32;
        // A page for an old printer that names no resolution goes as it is.
        let fits = |i: &&Images| about.raster_dpi.is_empty() || about.raster_dpi.contains(&dots(i));
        let best = self
            .images
            .iter()
            .filter(|i| !i.pages.is_empty())
            .filter(fits)
            .max_by_key(|i| dots(i));
        let Some(images) = best else {
            let wants = about.raster_dpi.iter().map(ToString::to_string).collect();
            return Err(DocumentProblem::Resolution { wants });
        };
        let pages = images
            .pages
            .iter()
            .zip(1..)
            .map(|(png, page)| grey(png, page, placed.turned))
            .collect::<Result<Vec<_>, _>>()?;
        let mut page_mm = self.page_mm;
        if placed.turned {
            page_mm.reverse();
        }
        Ok(Some(Payload {
            format: PWG,
            bytes: pwg_raster(&pages, kind, dots(images), page_mm),
            dpi: Some(dots(images)),
        }))
    }

    fn as_jpeg(&self, turned: bool) -> Result<Option<Payload>, DocumentProblem> {
        let single = self.images.iter().filter(|i| i.pages.len() == 1);
        let Some(images) = single.max_by(|a, b| a.dpi.total_cmp(&b.dpi)) else {
            return Ok(None);
        };
        let page = grey(&images.pages[0], 1, turned)?;
        let dpi = images.dpi.round() as u32;
        let mut bytes = Vec::new();
        let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 97);
        encoder.set_pixel_density(image::codecs::jpeg::PixelDensity::dpi(
            u16::try_from(dpi).unwrap_or(300),
        ));
        encoder
            .encode(
                &page.pixels,
                page.width,
                page.height,
                image::ExtendedColorType::L8,
            )
            .map_err(|e| DocumentProblem::Picture {
                page: 1,
                why: e.to_string(),
            })?;
        Ok(Some(Payload {
            format: JPEG,
            bytes,
            dpi: Some(dpi),
        }))
    }
}

/// A page in grey; `turned`: its right edge at the top, as IPP turns landscape pages (RFC 8011,
/// section 5.2.10).
fn grey(png: &[u8], page: usize, turned: bool) -> Result<GreyPage, DocumentProblem> {
    let decoded = image::load_from_memory(png).map_err(|e| DocumentProblem::Picture {
        page,
        why: e.to_string(),
    })?;
    let mut grey = decoded.into_luma8();
    if turned {
        grey = image::imageops::rotate270(&grey);
    }
    Ok(GreyPage {
        width: grey.width(),
        height: grey.height(),
        pixels: grey.into_raw(),
    })
}
