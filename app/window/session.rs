//! What the window works on: visits, which one is open, which screen is shown. No screen types
//! but enums; every change goes through here and is then shown whole.

use super::advice::Tables;
use super::handing::{Papers, Source};
use super::marking::Marking;
use super::questions::{Asking, examination, order, person, position};
use super::timer;
use crate::pipeline::Measured;
use plinthside_measure::cast::Results;
use plinthside_measure::marks::{Marks, Side};
use plinthside_ui as ui;
use plinthside_visit::cast_record::Measurement;
use plinthside_visit::verdict::{Call, Evidence, Tolerances, Verdict, verdict};
use plinthside_visit::{Clinic, Lang, Visit};
use std::path::PathBuf;

/// One foot of one visit, as the window opens it.
pub struct Case {
    /// The visit.
    pub visit: Visit,
    /// The foot.
    pub side: Side,
    /// What was measured on the cast so far.
    pub results: Option<Results>,
    /// What a measurement is computed with beside the taps: the leg's dimensions, the wall, choices.
    pub marks: Marks,
    /// Photographs, mat and taps; none for a cast measured by ruler or not at all.
    pub marking: Option<Marking>,
}

/// How the program looks and speaks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Language of screens and sentences.
    pub lang: Lang,
    /// Dark colours for a dim room.
    pub dark: bool,
    /// 100, 125 or 150.
    pub text_percent: u32,
}

impl Default for Look {
    fn default() -> Self {
        Self {
            lang: Lang::En,
            dark: false,
            text_percent: 100,
        }
    }
}

/// The open case and what belongs to working on it.
pub struct Open {
    /// The case.
    pub case: Case,
    /// The clinician's own word on the cast.
    pub decided: Option<Call>,
    /// Side drawing from the inner side.
    pub inner: bool,
    /// The lists of questions.
    pub person: Asking,
    /// See [`Open::person`].
    pub examine: Asking,
    /// See [`Open::person`].
    pub position: Asking,
    /// See [`Open::person`].
    pub order: Asking,
    /// Label and papers.
    pub papers: Papers,
    /// Why the order was not signed.
    pub refusal: String,
}

/// Everything behind the window.
pub struct Session {
    /// All visits.
    pub cases: Vec<Open>,
    /// The one that is open.
    pub current: usize,
    /// The screen shown.
    pub screen: ui::Screen,
    /// Look and language.
    pub look: Look,
    /// Tables of rules, norms and limits.
    pub tables: Tables,
    /// The clinic.
    pub clinic: Clinic,
    /// Where papers are written.
    pub folder: PathBuf,
}

impl Case {
    /// Takes a measurement or why there is none; what is kept of it goes into the visit's cast.
    pub fn measured(&mut self, measured: Result<Box<(Measured, Measurement)>, String>) {
        let Some(marking) = &mut self.marking else {
            return;
        };
        match measured {
            Ok(measured) => {
                let (measured, kept) = *measured;
                let Measured {
                    solution,
                    results,
                    warnings,
                    ..
                } = measured;
                let first = warnings.into_iter().next();
                marking.solved(solution.ok_or_else(String::new), first);
                if results.is_some() {
                    self.results = results;
                    let side = self.side;
                    let cast = self.visit.casts.iter_mut().rfind(|c| c.side == side);
                    if let Some(cast) = cast {
                        cast.measurement = Some(kept);
                    }
                }
            }
            Err(sentence) => marking.solved(Err(sentence), None),
        }
    }
}

impl Open {
    /// Opens a case.
    #[must_use]
    pub fn new(case: Case) -> Self {
        let asking = |questions| Asking::new(questions, &case.visit, case.side);
        Self {
            decided: None,
            inner: true,
            person: asking(person()),
            examine: asking(examination()),
            position: asking(position()),
            order: asking(order()),
            papers: Papers::default(),
            refusal: String::new(),
            case,
        }
    }

    /// The verdict on the cast as it is measured now.
    #[must_use]
    pub fn verdict(&self, tolerances: &Tolerances) -> Verdict {
        let Case {
            visit,
            side,
            results,
            ..
        } = &self.case;
        let evidence = match visit.cast(*side) {
            Some(cast) => Evidence::of_visit(visit, cast, results.as_ref()),
            None => Evidence {
                side: *side,
                results: results.as_ref(),
                record: None,
                inspection: None,
                leg: visit.leg(*side),
                readings: &visit.readings,
            },
        };
        verdict(&evidence, tolerances)
    }

    /// The list of questions behind a screen, with the visit it asks about.
    pub fn asking(&mut self, screen: ui::Screen) -> Option<(&mut Asking, &mut Visit, Side)> {
        let asking = match screen {
            ui::Screen::Person => &mut self.person,
            ui::Screen::Examine => &mut self.examine,
            ui::Screen::Position => &mut self.position,
            ui::Screen::Order => &mut self.order,
            _ => return None,
        };
        Some((asking, &mut self.case.visit, self.case.side))
    }

    /// How far each step has come.
    #[must_use]
    pub fn steps(&self, tolerances: &Tolerances) -> Vec<ui::StepState> {
        let Case { visit, side, .. } = &self.case;
        let asked = |asking: &Asking| match asking.answered(visit, *side) {
            (0, _) => ui::Fill::Empty,
            (n, of) if n == of => ui::Fill::Complete,
            _ => ui::Fill::Started,
        };
        let check = if self.case.results.is_none() {
            match &self.case.marking {
                Some(marking) if marking.has_taps() => ui::Fill::Started,
                _ => ui::Fill::Empty,
            }
        } else {
            match (self.decided, self.verdict(tolerances).call) {
                (Some(_), _) | (None, Call::Keep) => ui::Fill::Complete,
                (None, Call::Note) => ui::Fill::Started,
                (None, _) => ui::Fill::Attention,
            }
        };
        let [label, hand_over] = self.papers.fills(visit, *side);
        [
            (ui::Screen::Person, asked(&self.person)),
            (ui::Screen::Examine, asked(&self.examine)),
            (ui::Screen::Position, asked(&self.position)),
            (ui::Screen::Cast, timer::fill(visit, *side)),
            (ui::Screen::Check, check),
            (ui::Screen::Order, asked(&self.order)),
            (ui::Screen::Label, label),
            (ui::Screen::HandOver, hand_over),
        ]
        .into_iter()
        .map(|(screen, fill)| ui::StepState { screen, fill })
        .collect()
    }
}

impl Look {
    /// German where the system speaks German.
    #[must_use]
    pub fn of_environment() -> Self {
        let spoken = ["LC_ALL", "LC_MESSAGES", "LANG"]
            .iter()
            .find_map(std::env::var_os);
        let german = spoken.is_some_and(|lang| lang.to_string_lossy().starts_with("de"));
        Self {
            lang: if german { Lang::De } else { Lang::En },
            ..Self::default()
        }
    }
}

impl Session {
    /// A session on some visits, at the list if there are several.
    #[must_use]
    pub fn new(
        cases: Vec<Case>,
        clinic: Clinic,
        look: Look,
        tables: Tables,
        folder: PathBuf,
    ) -> Self {
        let screen = if cases.len() == 1 {
            ui::Screen::Check
        } else {
            ui::Screen::Cases
        };
        Self {
            cases: cases.into_iter().map(Open::new).collect(),
            current: 0,
            screen,
            look,
            tables,
            clinic,
            folder,
        }
    }

    /// What the papers of the open case are made of.
    #[must_use]
    pub fn source(&self) -> Option<Source> {
        let case = &self.cases.get(self.current)?.case;
        Some(Source {
            clinic: self.clinic.clone(),
            visit: case.visit.clone(),
            side: case.side,
        })
    }

    /// The open case.
    pub fn open(&mut self) -> Option<&mut Open> {
        self.cases.get_mut(self.current)
    }

    /// The screen after this one on the line of steps.
    #[must_use]
    pub fn screen_after(&self) -> ui::Screen {
        match self.screen {
            ui::Screen::Person => ui::Screen::Examine,
            ui::Screen::Examine => ui::Screen::Position,
            ui::Screen::Position => ui::Screen::Cast,
            ui::Screen::Cast => ui::Screen::Check,
            ui::Screen::Check => ui::Screen::Order,
            ui::Screen::Order => ui::Screen::Label,
            other => other,
        }
    }
}
