//! Label, papers and the sealed package: typeset off the screen's thread, shown and written.

use super::text::models;
use crate::error::AppError;
use crate::package::ForLab;
use crate::visits::Foot;
use crate::{clock, files, papers};
use plinthside_measure::marks::Side;
use plinthside_paper::{Document, LabelSize, Paper, PrinterDots};
use plinthside_ui as ui;
use plinthside_visit::person::Lab;
use plinthside_visit::{Clinic, Visit};
use slint::{Image, SharedString};
use std::path::{Path, PathBuf};

/// The label the screen shows and writes.
const LABEL: LabelSize = LabelSize::W62H100;
/// Dots per inch of the label's picture.
const LABEL_DOTS: PrinterDots = PrinterDots::DPI_300;

/// The papers of the hand-over.
const PAPERS: [ui::PaperKind; 5] = [
    ui::PaperKind::Order,
    ui::PaperKind::BenchSheet,
    ui::PaperKind::PackingList,
    ui::PaperKind::Label,
    ui::PaperKind::Leaflet,
];

/// What the papers are made of; goes to the worker whole.
#[derive(Clone, PartialEq)]
pub struct Source {
    /// The clinic.
    pub clinic: Clinic,
    /// The visit.
    pub visit: Visit,
    /// The foot.
    pub side: Side,
}

/// A paper or the sealed package, written.
pub struct Written {
    /// Which.
    pub paper: ui::PaperKind,
    /// Where, or why not.
    pub file: Result<PathBuf, String>,
}

/// Label and papers of one case as far as they are made.
#[derive(Default)]
pub struct Papers {
    made_of: Option<Source>,
    picture: Option<Result<Image, String>>,
    written: Vec<Written>,
    package: Option<Result<PathBuf, String>>,
}

impl Source {
    /// The foot, as papers and packages take it.
    #[must_use]
    pub fn foot(&self) -> Foot<'_> {
        Foot {
            clinic: &self.clinic,
            visit: &self.visit,
            side: self.side,
        }
    }

    fn set(&self, paper: ui::PaperKind) -> Result<Document, AppError> {
        let (foot, today) = (self.foot(), clock::today());
        match paper {
            ui::PaperKind::Order => papers::order(&foot, Paper::A4, today),
            ui::PaperKind::BenchSheet => papers::bench(&foot, Paper::A4, today),
            ui::PaperKind::PackingList => papers::packing(&foot, Paper::A4, today),
            ui::PaperKind::Leaflet => papers::leaflet(&foot, Paper::A4, today),
            ui::PaperKind::Label => papers::label(&foot, LABEL, LABEL_DOTS, today),
        }
    }

    /// The label as a PNG.
    ///
    /// # Errors
    /// In words: no order, no code bound.
    pub fn label_png(&self) -> Result<Vec<u8>, String> {
        let document = self.set(ui::PaperKind::Label).map_err(|e| e.to_string())?;
        document.png(0, LABEL_DOTS.dpi).map_err(|e| e.to_string())
    }

    /// The lab that the order goes to, if the clinic knows it.
    #[must_use]
    pub fn lab(&self) -> Option<&Lab> {
        let (_, revision) = self.foot().order().ok()?;
        let name = revision.prescription.identity.lab.trim();
        let labs = &self.clinic.labs;
        labs.iter().find(|lab| lab.name.eq_ignore_ascii_case(name))
    }

    /// Seals the package for the lab and writes it; says where it lies.
    ///
    /// # Errors
    /// In words: the order is not signed, the key is none, or the folder can't be written.
    pub fn seal(&self, parcel: &ForLab, folder: &Path) -> Result<PathBuf, String> {
        let write = || -> Result<PathBuf, AppError> {
            let package = parcel.seal(&self.foot(), false)?;
            files::make_folder(folder)?;
            let path = folder.join(&package.name);
            files::write(&path, &package.bytes)?;
            Ok(path)
        };
        write().map_err(|e| e.to_string())
    }

    /// Writes one paper as a PDF.
    pub fn write(&self, paper: ui::PaperKind, folder: &Path) -> Written {
        let name = match paper {
            ui::PaperKind::Order => "order",
            ui::PaperKind::BenchSheet => "bench",
            ui::PaperKind::PackingList => "packing",
            ui::PaperKind::Label => "label",
            ui::PaperKind::Leaflet => "leaflet",
        };
        let path = folder.join(format!("{name}-{}.pdf", self.side));
        let write = || -> Result<(), AppError> {
            files::make_folder(folder)?;
            files::write(&path, &self.set(paper)?.pdf()?)
        };
        Written {
            paper,
            file: write().map(|()| path).map_err(|e| e.to_string()),
        }
    }
}

impl Papers {
    /// What the label has to be set from, if the visit has changed since it was.
    pub fn stale(&mut self, source: Source) -> Option<Source> {
        if self.made_of.as_ref() == Some(&source) {
            return None;
        }
        self.made_of = Some(source.clone());
        Some(source)
    }

    /// Takes the label's picture.
    pub fn take_label(&mut self, png: Result<Vec<u8>, String>) {
        self.picture =
            Some(png.and_then(|png| {
                Image::load_from_data(&png, Some("png")).map_err(|e| e.to_string())
            }));
    }

    /// Takes a paper that was written.
    pub fn take_written(&mut self, written: Written) {
        self.written.retain(|w| w.paper != written.paper);
        self.written.push(written);
    }

    /// Takes the sealed package, or why there is none.
    pub fn take_package(&mut self, file: Result<PathBuf, String>) {
        self.package = Some(file);
    }

    /// One paper, as far as it was written.
    pub fn row(&self, paper: ui::PaperKind) -> ui::PaperRow {
        let written = self.written.iter().find(|w| w.paper == paper);
        let (file, problem) = told(written.map(|w| &w.file));
        ui::PaperRow {
            paper,
            file,
            problem,
        }
    }

    /// The label screen.
    pub fn label_view(&self, visit: &Visit, side: Side) -> ui::LabelView {
        let picture = self.picture.as_ref().and_then(|p| p.as_ref().ok()).cloned();
        let problem = match &self.picture {
            Some(Err(problem)) => problem.clone(),
            _ => self.row(ui::PaperKind::Label).problem.to_string(),
        };
        let cast = visit.cast(side);
        ui::LabelView {
            ready: picture.is_some(),
            code: cast.and_then(|c| c.code.clone()).unwrap_or_default().into(),
            seen: cast.map_or("", |c| c.record.label_seen.as_str()).into(),
            picture: picture.unwrap_or_default(),
            problem: problem.into(),
            saved: self.row(ui::PaperKind::Label).file,
        }
    }

    /// The hand-over screen.
    pub fn hand_over_view(&self, folder: &Path, lab: Option<&Lab>) -> ui::HandOverView {
        let (file, problem) = told(self.package.as_ref());
        ui::HandOverView {
            folder: folder.display().to_string().into(),
            papers: models(PAPERS.into_iter().map(|paper| self.row(paper)).collect()),
            package: ui::PackageRow {
                lab: lab.map_or("", |lab| lab.name.as_str()).into(),
                sealable: lab.is_some_and(|lab| !lab.public_key.is_empty()),
                file,
                problem,
            },
        }
    }

    /// How far the two steps have come: label, hand-over.
    pub fn fills(&self, visit: &Visit, side: Side, proven: bool) -> [ui::Fill; 2] {
        let bound = visit.cast(side).is_some_and(|c| c.code.is_some());
        let done = |paper| {
            self.written
                .iter()
                .any(|w| w.paper == paper && w.file.is_ok())
        };
        let label = match (bound, proven || done(ui::PaperKind::Label)) {
            (true, true) => ui::Fill::Complete,
            (true, false) => ui::Fill::Started,
            (false, _) => ui::Fill::Empty,
        };
        let papers = PAPERS.into_iter().filter(|paper| done(*paper)).count();
        let failed =
            self.written.iter().any(|w| w.file.is_err()) || matches!(self.package, Some(Err(_)));
        let hand_over = match (papers, failed) {
            (_, true) => ui::Fill::Attention,
            (n, _) if n == PAPERS.len() => ui::Fill::Complete,
            (0, _) => ui::Fill::Empty,
            _ => ui::Fill::Started,
        };
        [label, hand_over]
    }
}

/// Where something was written, and what went wrong, for the screen.
fn told(file: Option<&Result<PathBuf, String>>) -> (SharedString, SharedString) {
    match file {
        Some(Ok(path)) => (path.display().to_string().into(), SharedString::new()),
        Some(Err(problem)) => (SharedString::new(), problem.into()),
        None => Default::default(),
    }
}

/// The papers a hand-over writes, in order.
pub fn all() -> impl Iterator<Item = ui::PaperKind> {
    PAPERS.into_iter()
}
