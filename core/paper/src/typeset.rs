//! From a template and data to pages, PDF and PNG.
//!
//! Templates are files in `templates/`, compiled in with the fonts. Data reaches a template as one
//! JSON file of its own world, so that text someone typed is always text and never markup. There
//! is no clock, network or font of the computer: the same data gives the same bytes.

use crate::PaperError;
use serde::Serialize;
use serde_json::Value;
use std::sync::LazyLock;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration};
use typst::layout::{Frame, FrameItem};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::{LazyHash, Scalar};
use typst::{Library, LibraryExt, World};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};
use typst_render::RenderOptions;

/// Compilations that a cached intermediate result outlives.
const CACHE_AGE: usize = 8;

macro_rules! files {
    ($($name:literal),*) => { [$(($name, include_str!(concat!("../templates/", $name)))),*] };
}
macro_rules! fonts {
    ($($name:literal),*) => { [$(include_bytes!(concat!("../../../ui/fonts/", $name)) as &[u8]),*] };
}

/// Set pages, ready to be written as PDF or PNG.
pub struct Document(PagedDocument);

impl std::fmt::Debug for Document {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Document({} pages)", self.pages())
    }
}

impl Document {
    /// Sets `template` (a file name in `templates/`) with `data`.
    pub(crate) fn set(template: &str, data: &impl Serialize) -> Result<Self, PaperError> {
        let mut data = serde_json::to_value(data).map_err(|e| fault(e.to_string()))?;
        make_printable(&mut data);
        let data = serde_json::to_vec(&data).map_err(|e| fault(e.to_string()))?;
        let world = Desk {
            shelf: &SHELF,
            main: SHELF
                .sources
                .iter()
                .find(|(name, _)| *name == template)
                .map(|(_, source)| source.id())
                .ok_or_else(|| fault(format!("no template {template}")))?,
            data: Bytes::new(data),
        };
        let set = typst::compile::<PagedDocument>(&world);
        comemo::evict(CACHE_AGE);
        set.output.map(Self).map_err(|e| diagnostics(&e))
    }

    /// Number of pages.
    #[must_use]
    pub fn pages(&self) -> usize {
        self.0.pages().len()
    }

    /// The words of every page, a line for each run of text, in the order they were set.
    #[must_use]
    pub fn text(&self) -> Vec<String> {
        fn walk(frame: &Frame, words: &mut String) {
            for (_, item) in frame.items() {
                match item {
                    FrameItem::Group(group) => walk(&group.frame, words),
                    FrameItem::Text(text) => {
                        words.push_str(&text.text);
                        words.push('\n');
                    }
                    _ => {}
                }
            }
        }
        let words = |page: &typst_layout::Page| {
            let mut words = String::new();
            walk(&page.frame, &mut words);
            words
        };
        self.0.pages().iter().map(words).collect()
    }

    /// Width and height of a page (from 0), mm.
    #[must_use]
    pub fn page_mm(&self, page: usize) -> Option<[f64; 2]> {
        let size = self.0.pages().get(page)?.frame.size();
        Some([size.x.to_mm(), size.y.to_mm()])
    }

    /// All pages as tagged PDF/A-2a that also meets PDF/UA-1, with the fonts embedded.
    ///
    /// # Errors
    /// [`PaperError::Typesetting`] if the pages break one of the two standards.
    pub fn pdf(&self) -> Result<Vec<u8>, PaperError> {
        let standards = PdfStandards::new(&[PdfStandard::A_2a, PdfStandard::Ua_1])
            .map_err(|e| fault(e.message().to_string()))?;
        let options = PdfOptions {
            standards,
            creator: typst::foundations::Smart::Custom(Some("Plinthside".into())),
            ..PdfOptions::default()
        };
        typst_pdf::pdf(&self.0, &options).map_err(|e| diagnostics(&e))
    }

    /// One page (from 0) as PNG at `dpi`, with its size in the file; grey where the page is.
    ///
    /// # Errors
    /// [`PaperError::Request`] for a page that is not there or a `dpi` outside 30-1200.
    pub fn png(&self, page: usize, dpi: f64) -> Result<Vec<u8>, PaperError> {
        if !(30.0..=1200.0).contains(&dpi) {
            return Err(PaperError::Request(format!(
                "pictures are drawn at 30 to 1200 dots per inch, not at {dpi}"
            )));
        }
        let sheet = self.0.pages().get(page).ok_or_else(|| {
            PaperError::Request(format!(
                "the document has {} pages and no page {}",
                self.pages(),
                page + 1
            ))
        })?;
        let options = RenderOptions {
            pixel_per_pt: Scalar::new(dpi / 72.0),
            ..RenderOptions::default()
        };
        let picture = typst_render::render(sheet, &options);
        let rgb: Vec<[u8; 3]> = picture
            .pixels()
            .iter()
            .map(|p| {
                let c = p.demultiply();
                [c.red(), c.green(), c.blue()]
            })
            .collect();
        encode_png(picture.width(), picture.height(), &rgb, dpi)
            .map_err(|e| PaperError::Png(e.to_string()))
    }
}

fn encode_png(
    width: u32,
    height: u32,
    rgb: &[[u8; 3]],
    dpi: f64,
) -> Result<Vec<u8>, png::EncodingError> {
    let grey = rgb.iter().all(|[r, g, b]| r == g && g == b);
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    // Pages are mostly white: the quick way packs them nearly as well.
    encoder.set_compression(png::Compression::Fast);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_color(if grey {
        png::ColorType::Grayscale
    } else {
        png::ColorType::Rgb
    });
    let per_metre = (dpi / 0.0254).round() as u32;
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: per_metre,
        yppu: per_metre,
        unit: png::Unit::Meter,
    }));
    let mut writer = encoder.write_header()?;
    if grey {
        let values: Vec<u8> = rgb.iter().map(|p| p[0]).collect();
        writer.write_image_data(&values)?;
    } else {
        writer.write_image_data(rgb.as_flattened())?;
    }
    writer.finish()?;
    Ok(bytes)
}

/// What every document shares: built once.
struct Shelf {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
    sources: Vec<(&'static str, Source)>,
    data_id: Option<FileId>,
}

static SHELF: LazyLock<Shelf> = LazyLock::new(|| {
    let fonts: Vec<Font> = fonts![
        "AtkinsonHyperlegibleNext-Regular.ttf",
        "AtkinsonHyperlegibleNext-Regular_Italic.ttf",
        "AtkinsonHyperlegibleNext-Medium.ttf",
        "AtkinsonHyperlegibleNext-Bold.ttf",
        "AtkinsonHyperlegibleMono-Regular.ttf"
    ]
    .into_iter()
    .flat_map(|bytes| Font::iter(Bytes::new(bytes)))
    .collect();
    let sources = files![
        "common.typ",
        "label.typ",
        "labels.typ",
        "mat.typ",
        "order.typ",
        "bench.typ",
        "packing.typ",
        "card.typ",
        "leaflet.typ"
    ]
    .into_iter()
    .filter_map(|(name, text)| Some((name, Source::new(file_id(name)?, text.into()))))
    .collect();
    Shelf {
        library: LazyHash::new(Library::default()),
        book: LazyHash::new(FontBook::from_fonts(&fonts)),
        fonts,
        sources,
        data_id: file_id("data.json"),
    }
});

fn file_id(name: &str) -> Option<FileId> {
    let path = VirtualPath::new(name).ok()?;
    Some(RootedPath::new(VirtualRoot::Project, path).intern())
}

/// The world of one compilation: the shelf, and one file of data.
struct Desk {
    shelf: &'static Shelf,
    main: FileId,
    data: Bytes,
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &self.shelf.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.shelf.book
    }

    fn main(&self) -> FileId {
        self.main
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        let found = self.shelf.sources.iter().find(|(_, s)| s.id() == id);
        found.map_or(Err(FileError::AccessDenied), |(_, s)| Ok(s.clone()))
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if Some(id) == self.shelf.data_id {
            Ok(self.data.clone())
        } else {
            Err(FileError::AccessDenied)
        }
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.shelf.fonts.get(index).cloned()
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        None
    }
}

/// Greek letters that formulas and clinicians write and our fonts lack.
const GREEK: [(char, &str); 12] = [
    ('α', "alpha"),
    ('β', "beta"),
    ('γ', "gamma"),
    ('δ', "delta"),
    ('θ', "theta"),
    ('λ', "lambda"),
    ('ρ', "rho"),
    ('σ', "sigma"),
    ('τ', "tau"),
    ('φ', "phi"),
    ('ψ', "psi"),
    ('ω', "omega"),
];

/// Writes characters that our fonts lack as `[U+…]`: nothing typed vanishes and nothing stops a page.
fn make_printable(data: &mut Value) {
    match data {
        Value::String(text) => {
            let printable = |c: char| {
                c == '\n'
                    || SHELF
                        .fonts
                        .iter()
                        .all(|f| f.info().coverage.contains(c.into()))
            };
            if !text.chars().all(printable) {
                *text = text.chars().fold(String::new(), |mut out, c| {
                    if printable(c) {
                        out.push(c);
                    } else if let Some((_, name)) = GREEK.iter().find(|(g, _)| *g == c) {
                        out += name;
                    } else {
                        out += &format!("[U+{:04X}]", u32::from(c));
                    }
                    out
                });
            }
        }
        Value::Array(items) => items.iter_mut().for_each(make_printable),
        Value::Object(fields) => fields.values_mut().for_each(make_printable),
        _ => {}
    }
}

fn diagnostics(errors: &[SourceDiagnostic]) -> PaperError {
    let words: Vec<&str> = errors.iter().map(|e| e.message.as_str()).collect();
    fault(words.join("; "))
}

fn fault(words: String) -> PaperError {
    PaperError::Typesetting(words)
}
