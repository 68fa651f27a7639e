//! Printed mats: the sheet is chosen, printed, and its check bars are measured; casts photographed
//! from then on are measured with those lengths.

use crate::mats::{self, RULE_SD_MM};
use crate::window::printing::Want;
use crate::window::questions::{Kind, Question, item};
use crate::window::session::Session;
use crate::window::text::sentence;
use crate::{clock, files};
use plinthside_measure::mat::Mat;
use plinthside_measure::mat::sheet::Paper;
use plinthside_ui as ui;
use plinthside_visit::person::PrintedMat;
use plinthside_visit::{Clinic, Lang, Text, format};

/// A mat that is being printed and measured.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Draft {
    /// Which of [`Paper::ALL`].
    paper: usize,
    /// Printer, by its name.
    printer: String,
    /// What both bars measure, mm.
    bars_mm: [Option<f64>; 2],
    /// Names of the clinic's printers, to choose from.
    printers: Vec<String>,
}

impl Draft {
    /// A draft for a clinic: its first printer of sheets, its own mat's paper.
    pub fn new(clinic: &Clinic) -> Self {
        let sheets = clinic.printers.iter().filter(|p| p.label.is_empty());
        let printers: Vec<String> = sheets.map(|p| p.name.clone()).collect();
        let last = clinic.mats.last().map_or("", |mat| mat.paper.as_str());
        Self {
            paper: Paper::ALL
                .iter()
                .position(|paper| mats::paper_name(*paper) == last)
                .unwrap_or(1),
            printer: printers.first().cloned().unwrap_or_default(),
            bars_mm: [None, None],
            printers,
        }
    }

    /// The paper.
    pub fn paper(&self) -> Paper {
        Paper::ALL.get(self.paper).copied().unwrap_or(Paper::A4)
    }

    /// The printer's name.
    pub fn printer(&self) -> &str {
        &self.printer
    }
}

/// What is asked of a mat.
pub fn questions() -> Vec<Box<dyn Question<Draft, ()>>> {
    vec![
        Box::new(OnPaper),
        Box::new(ByPrinter),
        Box::new(BarLength { along: false }),
        Box::new(BarLength { along: true }),
    ]
}

fn paper_words(paper: Paper, lang: Lang) -> &'static str {
    match (paper, lang) {
        (Paper::A3, Lang::En) => "A3, for a long shell",
        (Paper::A3, Lang::De) => "A3, für eine lange Schale",
        (Paper::A4, Lang::En) => "A4, for a short shell",
        (Paper::A4, Lang::De) => "A4, für eine kurze Schale",
        (Paper::Letter, Lang::En) => "Letter, for a short shell",
        (Paper::Letter, Lang::De) => "Letter, für eine kurze Schale",
        (Paper::TwoA4, Lang::En) => "two A4 sheets on a board",
        (Paper::TwoA4, Lang::De) => "zwei A4-Blätter auf einem Brett",
    }
}

struct OnPaper;

impl Question<Draft, ()> for OnPaper {
    fn key(&self) -> String {
        "paper".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Sheet", "Bogen").get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, draft: &Draft, (): (), lang: Lang) -> String {
        paper_words(draft.paper(), lang).to_owned()
    }

    fn choices(&self, draft: &Draft, (): (), lang: Lang) -> Vec<ui::ChoiceItem> {
        let papers = Paper::ALL.into_iter();
        papers
            .map(|paper| item(paper_words(paper, lang), paper == draft.paper()))
            .collect()
    }

    fn choose(&self, draft: &mut Draft, (): (), index: usize) {
        draft.paper = index;
        draft.bars_mm = [None, None];
    }
}

struct ByPrinter;

impl Question<Draft, ()> for ByPrinter {
    fn key(&self) -> String {
        "printer".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Printer", "Drucker").get(lang).to_owned()
    }

    fn note(&self, _draft: &Draft, (): (), lang: Lang) -> String {
        Text::new(
            "each printer scales a little in its own way; print at 100 %, never fitted to the page",
            "jeder Drucker verzieht ein wenig anders; mit 100 % drucken, nie an die Seite angepasst",
        )
        .get(lang)
        .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Text
    }

    fn shown(&self, draft: &Draft, (): (), _lang: Lang) -> String {
        draft.printer.clone()
    }

    fn type_in(&self, draft: &mut Draft, (): (), text: &str) -> Option<Text> {
        text.trim().clone_into(&mut draft.printer);
        None
    }

    fn choices(&self, draft: &Draft, (): (), _lang: Lang) -> Vec<ui::ChoiceItem> {
        let names = draft.printers.iter();
        names
            .map(|name| item(name, *name == draft.printer))
            .collect()
    }

    fn choose(&self, draft: &mut Draft, (): (), index: usize) {
        if let Some(name) = draft.printers.get(index) {
            draft.printer.clone_from(name);
        }
    }
}

struct BarLength {
    along: bool,
}

impl BarLength {
    fn drawn_mm(&self, draft: &Draft) -> f64 {
        let layout = draft.paper().layout();
        let page = layout.pages.first();
        page.map_or(0.0, |page| match self.along {
            true => page.along.nominal_mm,
            false => page.across.nominal_mm,
        })
    }
}

/// A length as people type it, with either decimal sign.
fn length(text: &str) -> Option<f64> {
    let text = text.trim().trim_end_matches("mm").trim().replace(',', ".");
    text.parse().ok().filter(|mm: &f64| mm.is_finite())
}

impl Question<Draft, ()> for BarLength {
    fn key(&self) -> String {
        if self.along { "along" } else { "across" }.into()
    }

    fn label(&self, lang: Lang) -> String {
        let text = match self.along {
            false => Text::new("Check bar across, mm", "Prüfstrecke quer, mm"),
            true => Text::new("Check bar along, mm", "Prüfstrecke längs, mm"),
        };
        text.get(lang).to_owned()
    }

    fn note(&self, draft: &Draft, (): (), lang: Lang) -> String {
        let drawn = format::number(self.drawn_mm(draft), 0, lang);
        Text::new(
            format!("drawn {drawn} mm long; type what a steel rule shows once the sheet lies on its board"),
            format!("{drawn} mm lang gezeichnet; eingeben, was ein Stahllineal zeigt, wenn der Bogen auf seinem Brett liegt"),
        )
        .get(lang)
        .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Text
    }

    fn shown(&self, draft: &Draft, (): (), lang: Lang) -> String {
        let mm = draft.bars_mm[usize::from(self.along)];
        mm.map_or_else(String::new, |mm| format::number(mm, 1, lang))
    }

    fn type_in(&self, draft: &mut Draft, (): (), text: &str) -> Option<Text> {
        let bar = usize::from(self.along);
        let drawn = self.drawn_mm(draft);
        match length(text) {
            _ if text.trim().is_empty() => draft.bars_mm[bar] = None,
            Some(mm) if (0.85 * drawn..=1.15 * drawn).contains(&mm) => {
                draft.bars_mm[bar] = Some(mm);
            }
            _ => {
                return Some(Text::new(
                    format!("Type millimetres near {drawn:.0}, as {:.1}.", drawn - 0.5),
                    format!(
                        "Bitte Millimeter nahe {drawn:.0} eingeben, etwa {},5.",
                        drawn - 1.0
                    ),
                ));
            }
        }
        None
    }
}

/// The clinic's mats for the screen, the newest first: that is the one in use for its tags.
pub fn rows(clinic: &Clinic, lang: Lang) -> Vec<ui::SettingsRow> {
    let row = |mat: &PrintedMat| {
        let day = mat.measured_at.map(|at| {
            let form = Text::new("%-d %b %Y", "%d.%m.%Y");
            at.format(form.get(lang)).to_string()
        });
        let read = Mat::from_json(&mat.layout).ok();
        let bars = read.as_ref().and_then(|mat| mat.printed).map(|printed| {
            let bars = [printed.across, printed.along].into_iter().flatten();
            let words = bars.map(|bar| format!("{} mm", format::number(bar.measured_mm, 1, lang)));
            words.collect::<Vec<_>>().join(" × ")
        });
        let fault = read.and_then(|mat| mat.print_fault());
        let detail: Vec<String> = [bars, day].into_iter().flatten().collect();
        let (detail, tone) = match detail.is_empty() {
            false => (detail.join(" · "), ui::Tone::Plain),
            true => (
                Text::new("check bars not measured", "Prüfstrecken nicht gemessen")
                    .get(lang)
                    .to_owned(),
                ui::Tone::Caution,
            ),
        };
        ui::SettingsRow {
            title: mat.name.as_str().into(),
            detail: detail.into(),
            note: fault
                .map_or_else(String::new, |f| sentence(&f.to_string(), lang))
                .into(),
            tone,
            mark: -1,
        }
    };
    clinic.mats.iter().rev().map(row).collect()
}

impl Session {
    /// Writes the chosen sheet as a PDF and has the system open it for printing.
    pub fn save_mat(&mut self) {
        let draft = &self.settings.draft;
        let name = mats::paper_name(draft.paper());
        let path = self.folder.join(format!("mat-{name}.pdf"));
        let (layout, lang) = (draft.paper().layout(), self.look.lang);
        let folder = self.folder.clone();
        let write = || -> Result<(), crate::error::AppError> {
            files::make_folder(&folder)?;
            let pdf = plinthside_paper::mat(&layout, lang, clock::today())?.pdf()?;
            files::write(&path, &pdf)
        };
        match write() {
            Ok(()) => {
                let path = path.display();
                let said = Text::new(
                    format!(
                        "Written to {path}. Print it at 100 %, tape it to its board, then measure both check bars."
                    ),
                    format!(
                        "Geschrieben nach {path}. Mit 100 % drucken, auf das Brett kleben, dann beide Prüfstrecken messen."
                    ),
                );
                self.settings.say(said, lang);
            }
            Err(problem) => self.settings.refuse(problem.to_string()),
        }
    }

    /// Keeps the measured lengths: casts photographed from now on are measured with them.
    pub fn keep_mat(&mut self) {
        let lang = self.look.lang;
        let draft = self.settings.draft.clone();
        let [Some(across_mm), Some(along_mm)] = draft.bars_mm else {
            let said = Text::new(
                "Measure both check bars with a steel rule and type both lengths first.",
                "Bitte zuerst beide Prüfstrecken mit einem Stahllineal messen und beide Längen eingeben.",
            );
            self.settings.refuse(said.get(lang).to_owned());
            return;
        };
        let mut clinic = self.clinic();
        let bars = [across_mm, along_mm];
        let entered = mats::enter(
            &mut clinic,
            draft.paper(),
            draft.printer(),
            bars,
            RULE_SD_MM,
            clock::now(),
        );
        match entered {
            Ok(fault) => {
                self.change_clinic(|now| *now = clinic);
                self.settings_back();
                match fault {
                    Some(fault) => self.settings.refuse(sentence(&fault.to_string(), lang)),
                    None => self.settings.say(
                        Text::new(
                            "Kept. Casts photographed on this mat from now on are measured with these lengths.",
                            "Behalten. Abdrücke, die ab jetzt auf dieser Matte fotografiert werden, werden mit diesen Längen gemessen.",
                        ),
                        lang,
                    ),
                }
            }
            Err(problem) => self.settings.refuse(problem.to_string()),
        }
    }
}

impl Session {
    /// The chosen sheet for its printer.
    pub fn print_mat(&self) -> Want {
        Want::Mat {
            clinic: Box::new(self.clinic()),
            paper: self.settings.draft.paper(),
            printer: self.settings.draft.printer().to_owned(),
            by: self.person.clone(),
        }
    }

    /// Says what is to be done with the sheet once it is printed.
    pub fn mat_is_printed(&mut self) {
        let said = Text::new(
            "It is in the queue of the printer. Tape it to its board, then measure both check bars.",
            "Der Bogen ist auf dem Weg zum Drucker. Auf das Brett kleben, dann beide Prüfstrecken messen.",
        );
        self.settings.say(said, self.look.lang);
    }
}
