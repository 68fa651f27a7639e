//! Label, papers and the sealed package: typeset off the screen's thread, shown and written.

use super::session::Session;
use super::text::{models, said};
use crate::error::AppError;
use crate::package::ForLab;
use crate::visits::Foot;
use crate::{clock, files, outbox, papers};
use plinthside_measure::marks::Side;
use plinthside_paper::{Document, LabelSize, Paper, PrinterDots};
use plinthside_ui as ui;
use plinthside_visit::person::Lab;
use plinthside_visit::{Clinic, Lang, Text, Visit};
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

/// Label and papers of one case as far as they are made. What was written is what lies in the
/// folder, so that it is known again after a restart.
pub struct Papers {
    folder: PathBuf,
    made_of: Option<Source>,
    picture: Option<Result<Image, String>>,
    problems: Vec<(ui::PaperKind, String)>,
    package_problem: String,
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
        let path = folder.join(file_name(paper, &self.visit, self.side));
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
    /// Papers that are written to this folder.
    #[must_use]
    pub fn new(folder: PathBuf) -> Self {
        Self {
            folder,
            made_of: None,
            picture: None,
            problems: Vec::new(),
            package_problem: String::new(),
        }
    }

    /// Where papers are written.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

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

    /// Takes a paper that was written, or why it was not.
    pub fn take_written(&mut self, written: Written) {
        self.problems.retain(|(paper, _)| *paper != written.paper);
        if let Err(problem) = written.file {
            self.problems.push((written.paper, problem));
        }
    }

    /// Takes the sealed package, or why there is none.
    pub fn take_package(&mut self, file: Result<PathBuf, String>) {
        self.package_problem = file.err().unwrap_or_default();
    }

    /// Where something lies for the screen; empty if it was not written.
    fn written(&self, name: &str) -> SharedString {
        let path = self.folder.join(name);
        match path.is_file() {
            true => path.display().to_string().into(),
            false => SharedString::new(),
        }
    }

    /// One paper, as far as it was written.
    pub fn row(&self, paper: ui::PaperKind, visit: &Visit, side: Side, lang: Lang) -> ui::PaperRow {
        let problem = self.problems.iter().find(|(about, _)| *about == paper);
        ui::PaperRow {
            paper,
            file: self.written(&file_name(paper, visit, side)),
            problem: problem.map_or_else(SharedString::new, |(_, why)| said(why, lang).into()),
        }
    }

    /// The label screen.
    pub fn label_view(&self, visit: &Visit, side: Side, lang: Lang) -> ui::LabelView {
        let picture = self.picture.as_ref().and_then(|p| p.as_ref().ok()).cloned();
        let row = self.row(ui::PaperKind::Label, visit, side, lang);
        let problem = match &self.picture {
            Some(Err(problem)) => said(problem, lang).into(),
            _ => row.problem,
        };
        let cast = visit.cast(side);
        ui::LabelView {
            ready: picture.is_some(),
            code: cast.and_then(|c| c.code.clone()).unwrap_or_default().into(),
            seen: cast.map_or("", |c| c.record.label_seen.as_str()).into(),
            picture: picture.unwrap_or_default(),
            problem,
            saved: row.file,
        }
    }

    /// The hand-over screen.
    pub fn hand_over_view(
        &self,
        visit: &Visit,
        side: Side,
        lab: Option<&Lab>,
        on_its_way: &str,
        lang: Lang,
    ) -> ui::HandOverView {
        let rows = PAPERS
            .into_iter()
            .map(|paper| self.row(paper, visit, side, lang));
        ui::HandOverView {
            folder: self.folder.display().to_string().into(),
            papers: models(rows.collect()),
            package: ui::PackageRow {
                lab: lab.map_or("", |lab| lab.name.as_str()).into(),
                sealable: lab.is_some_and(|lab| !lab.public_key.is_empty()),
                file: self.written(&package_name(visit, side)),
                on_its_way: on_its_way.into(),
                problem: said(&self.package_problem, lang).into(),
            },
        }
    }

    /// How far the two steps have come: label, hand-over.
    pub fn fills(&self, visit: &Visit, side: Side, proven: bool) -> [ui::Fill; 2] {
        let bound = visit.cast(side).is_some_and(|c| c.code.is_some());
        let done = |paper| !self.written(&file_name(paper, visit, side)).is_empty();
        let label = match (bound, proven || done(ui::PaperKind::Label)) {
            (true, true) => ui::Fill::Complete,
            (true, false) => ui::Fill::Started,
            (false, _) => ui::Fill::Empty,
        };
        let papers = PAPERS.into_iter().filter(|paper| done(*paper)).count();
        let failed = !self.problems.is_empty() || !self.package_problem.is_empty();
        let hand_over = match (papers, failed) {
            (_, true) => ui::Fill::Attention,
            (n, _) if n == PAPERS.len() => ui::Fill::Complete,
            (0, _) => ui::Fill::Empty,
            _ => ui::Fill::Started,
        };
        [label, hand_over]
    }
}

impl Session {
    /// A package was sealed, or was not: it goes to the targets where labs fetch theirs.
    /// The visit may be closed by then.
    pub fn sealed(&mut self, case: u64, lab: &str, file: Result<PathBuf, String>) {
        if let Ok(file) = &file {
            self.try_records(|records| outbox::add(records.store(), lab, file));
        }
        if let Some(open) = self.opening(case) {
            open.papers.take_package(file);
        }
    }

    /// Where the package of the open case is on its way to, in words.
    pub fn on_its_way(&mut self) -> String {
        let lang = self.look.lang;
        let (Some(open), super::desk::Desk::Open(records)) = (&self.open, &mut self.desk) else {
            return String::new();
        };
        let name = package_name(&open.case.visit, open.case.side);
        let parcel = outbox::find(records.store(), &open.papers.folder.join(name));
        let Some(parcel) = parcel else {
            return String::new();
        };
        let line = |en: &str, de: &str, targets: &[String]| {
            let said = format!("{} {}", Text::new(en, de).get(lang), targets.join(", "));
            (!targets.is_empty()).then_some(said)
        };
        let waits = line("waits to be laid at", "wartet auf", &parcel.waits_for);
        let lies = line(
            "lies for the lab at",
            "liegt für die Werkstatt bei",
            &parcel.lies_at,
        );
        let both = [lies, waits].into_iter().flatten();
        both.collect::<Vec<_>>().join(" · ")
    }
}

/// What the files of a foot's order begin with: the cast's code, or the visit where none is bound,
/// and the revision. One order never writes over another, nor a revision over the one before.
fn stem(visit: &Visit, side: Side) -> String {
    let code = visit.cast(side).and_then(|cast| cast.code.clone());
    let code = code.unwrap_or_else(|| format!("{}-{side}", visit.id));
    let newest = visit.order(side).and_then(|order| order.newest());
    format!("{code}-r{}", newest.map_or(0, |revision| revision.number))
}

/// The file of the sealed package.
fn package_name(visit: &Visit, side: Side) -> String {
    format!("{}.age", stem(visit, side))
}

/// The file of one paper.
fn file_name(paper: ui::PaperKind, visit: &Visit, side: Side) -> String {
    let name = match paper {
        ui::PaperKind::Order => "order",
        ui::PaperKind::BenchSheet => "bench",
        ui::PaperKind::PackingList => "packing",
        ui::PaperKind::Label => "label",
        ui::PaperKind::Leaflet => "leaflet",
    };
    format!("{}-{name}.pdf", stem(visit, side))
}

/// The papers a hand-over writes, in order.
pub fn all() -> impl Iterator<Item = ui::PaperKind> {
    PAPERS.into_iter()
}
