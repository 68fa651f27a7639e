//! The visit that is open, one foot at a time, and what belongs to working on it.

use super::follow::{self, Following};
use super::handing::Papers;
use super::history::Told;
use super::labelling::Labelling;
use super::marking::{Marking, Photo, Refusal};
use super::questions::{
    Asking, awaited, cast_mut, examination, finished, inspection, order, person, position, ruler,
};
use super::timer;
use super::versions::Versions;
use super::work::Fresh;
use crate::error::AppError;
use crate::pipeline::{self, Measured};
use crate::records::Records;
use crate::{clock, sources};
use plinthside_measure::advice::Stand;
use plinthside_measure::cast::Results;
use plinthside_measure::marks::{Marks, Side};
use plinthside_measure::observed::{MarkView, PhotoTags};
use plinthside_measure::ruler::RulerEntry;
use plinthside_measure::solve::SolveOptions;
use plinthside_store::{Opened, THUMBNAIL_EDGE_PX};
use plinthside_ui as ui;
use plinthside_visit::verdict::{Advice, Call, Evidence, Tolerances, Verdict, verdict};
use plinthside_visit::{Cast, CastRecord, Clinic, Lang, Visit};
use slint::{Rgb8Pixel, SharedPixelBuffer};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// One foot of one visit, as the window works on it.
pub struct Case {
    /// The visit.
    pub visit: Visit,
    /// The foot.
    pub side: Side,
    /// What was measured on the cast so far.
    pub results: Option<Results>,
    /// Photographs, mat and taps; none for a cast measured by ruler or not at all.
    pub marking: Option<Marking>,
    /// Tags of photographs looked through already, by name.
    pub tags: BTreeMap<String, PhotoTags>,
    /// Where another photograph would help most, if one was asked about.
    pub stand: Option<Stand>,
    /// Why the marks as they are now give no result, where an earlier one is shown.
    pub refused: Option<String>,
}

/// A small copy of a photograph in the store, made once and kept there; none of what is no picture.
fn small_copy(records: &mut Records, sha256: &str) -> Option<SharedPixelBuffer<Rgb8Pixel>> {
    let jpeg = records
        .store()
        .small_photo(sha256, THUMBNAIL_EDGE_PX)
        .ok()?;
    let small = image::load_from_memory(&jpeg).ok()?.to_rgb8();
    let (width, height) = small.dimensions();
    let pixels = SharedPixelBuffer::clone_from_slice(small.as_raw(), width, height);
    Some(pixels)
}

/// The open case and what belongs to working on it.
pub struct Open {
    /// The case.
    pub case: Case,
    /// Which opening this is.
    pub serial: u64,
    /// Side drawing from the inner side.
    pub inner: bool,
    /// The lists of questions.
    pub person: Asking,
    /// See [`Open::person`].
    pub examine: Asking,
    /// See [`Open::person`].
    pub position: Asking,
    /// See [`Open::person`].
    pub inspect: Asking,
    /// See [`Open::person`].
    pub ruler: Asking,
    /// See [`Open::person`].
    pub order: Asking,
    /// What is entered after the hand-over.
    pub follow: Following,
    /// Its history, as far as it was told.
    pub told: Told,
    /// The visit before.
    pub earlier: Option<Box<Visit>>,
    /// How the cast before was taken.
    pub before: Option<CastRecord>,
    /// What the devices disagree about.
    pub versions: Versions,
    /// Label and papers.
    pub papers: Papers,
    /// The tie between bag and cast.
    pub labelling: Labelling,
    /// Why the order was not signed.
    pub refusal: String,
    /// Why ruler and calliper give no result yet.
    pub by_ruler: String,
    kept: Opened<Visit>,
}

impl Case {
    /// One foot of a visit; its photographs are loaded when they are wanted.
    #[must_use]
    pub fn new(visit: Visit, side: Side) -> Self {
        let results = visit
            .cast(side)
            .and_then(|cast| cast.measurement.as_ref()?.read().ok().flatten());
        Self {
            visit,
            side,
            results,
            marking: None,
            tags: BTreeMap::new(),
            stand: None,
            refused: None,
        }
    }

    /// What the measurement is computed with.
    #[must_use]
    pub fn marks(&self) -> Option<Marks> {
        let cast = self.visit.cast(self.side)?;
        Some(cast.sources.marks(self.side, self.visit.leg(self.side)))
    }

    /// The latest cast of this foot, made if there is none yet.
    pub fn cast_mut(&mut self) -> &mut Cast {
        cast_mut(&mut self.visit, self.side)
    }

    /// Whether the cast has photographs that are not loaded yet.
    #[must_use]
    pub fn wants_photographs(&self) -> bool {
        let cast = self.visit.cast(self.side);
        self.marking.is_none() && cast.is_some_and(|c| !c.sources.photographs.is_empty())
    }

    /// Whether everything is there to measure the cast anew without looking through photographs.
    #[must_use]
    pub fn is_ready_to_measure(&self) -> bool {
        let marked = self.marking.as_ref();
        marked.is_some_and(|m| m.is_looked_through() && !m.taps().is_empty())
    }

    /// Loads the photographs of the cast from the store.
    ///
    /// # Errors
    /// A photograph is missing or was altered, or the mat they stand on is not known any more.
    pub fn load_photographs(&mut self, records: &mut Records) -> Result<(), AppError> {
        let Some(cast) = self.visit.cast(self.side) else {
            return Ok(());
        };
        let Some(mat) = sources::mat_of(records.clinic(), &cast.sources)? else {
            return Ok(());
        };
        let photos = cast
            .sources
            .photographs
            .iter()
            .map(|photo| {
                Ok(Photo {
                    name: photo.id.clone(),
                    bytes: sources::bytes_of(records, photo)?.into(),
                    sha256: photo.sha256.clone(),
                    tags: self.tags.get(&photo.id).cloned(),
                    problem: String::new(),
                    small: small_copy(records, &photo.sha256),
                })
            })
            .collect::<Result<_, AppError>>()?;
        self.marking = Some(Marking::new(mat, photos, &cast.sources.taps));
        Ok(())
    }

    /// Takes the tags of a photograph, or why it can't be used.
    pub fn found(&mut self, sha256: &str, found: Result<PhotoTags, String>) {
        let photos = self.marking.as_mut().map(|m| m.photos.iter_mut());
        let photo = photos.and_then(|mut photos| photos.find(|p| p.sha256 == sha256));
        if let Some(photo) = photo {
            match found {
                Ok(tags) => {
                    self.tags.insert(photo.name.clone(), tags.clone());
                    photo.tags = Some(tags);
                }
                Err(problem) => photo.problem = problem,
            }
        }
    }

    /// Leaves a photograph out of the cast, with its taps; the store keeps its bytes. The cast is
    /// measured anew, and decided on anew.
    pub fn leave_out(&mut self, index: usize) {
        self.cast_mut().decision = None;
        let sources = &mut self.cast_mut().sources;
        if index < sources.photographs.len() {
            let gone = sources.photographs.remove(index);
            let none_left = sources.photographs.is_empty();
            sources.taps.retain(|tap| tap.photo != gone.id);
            sources.outlines.retain(|outline| outline.photo != gone.id);
            if none_left {
                self.cast_mut().record.label_seen.clear();
            }
            self.marking = None;
        }
    }

    /// Writes the taps of the marking screen into the visit.
    pub fn keep_taps(&mut self) {
        let Some(marking) = &self.marking else { return };
        let taps = marking.kept();
        let cast = self.cast_mut();
        if cast.sources.taps != taps {
            cast.sources.taps = taps;
            // It was decided on what the marks before said.
            cast.decision = None;
        }
    }

    /// Takes out what the program found and a measurement refused.
    pub fn give_way(&mut self, left_out: &[MarkView]) {
        if let (Some(marking), false) = (&mut self.marking, left_out.is_empty()) {
            marking.leave_out(left_out);
            self.keep_taps();
        }
    }

    /// Takes a measurement or why there is none; what is kept of it goes into the visit's cast. Where
    /// the marks as they are now give none, the one before stays, and is said to be older.
    pub fn measured(&mut self, measured: Result<Box<Fresh>, Refusal>) {
        let Some(marking) = &mut self.marking else {
            return;
        };
        self.refused = None;
        match measured {
            Ok(measured) => {
                let Fresh {
                    measured,
                    kept,
                    stand,
                } = *measured;
                self.stand = stand;
                let Measured {
                    solution,
                    results,
                    warnings,
                    ..
                } = measured;
                let first = warnings.into_iter().next();
                marking.solved(solution.ok_or_else(Refusal::default), first.clone());
                if results.is_some() {
                    self.results = results;
                    let cast = self.cast_mut();
                    cast.measurement = Some(kept);
                    cast.inspection.without_photographs = None;
                } else {
                    self.refused = first;
                }
            }
            Err(refusal) => {
                self.refused = Some(refusal.sentence.clone());
                marking.solved(Err(refusal), None);
            }
        }
    }
}

impl Case {
    /// What ruler and calliper have still to measure, in words.
    #[must_use]
    pub fn awaited_by_ruler(&self, lang: Lang) -> String {
        let none = RulerEntry::default();
        let cast = self.visit.cast(self.side);
        let begun = cast.map_or(&none, |cast| &cast.sources.ruler);
        match begun.is_empty() && self.results.is_some() {
            true => String::new(),
            false => awaited(begun, lang),
        }
    }

    /// Measures by ruler and calliper as far as they were entered; says what is still missing, or
    /// what can't be right. Nothing stands in for numbers that are missing: an earlier measurement
    /// stays until the new one is whole.
    pub fn measure_by_ruler(&mut self, by: &str, lang: Lang) -> Result<(), String> {
        let Some(mut marks) = self.marks() else {
            return Err(awaited(&RulerEntry::default(), lang));
        };
        marks.ruler = finished(&marks.ruler);
        let missing = awaited(&marks.ruler, lang);
        if !missing.is_empty() {
            return Err(missing);
        }
        let measured = pipeline::measure(None, &[], &marks, &SolveOptions::default())
            .map_err(|e| e.to_string())?;
        let kept = measured
            .to_keep(Vec::new(), by, clock::now())
            .map_err(|e| e.to_string())?;
        if measured.results.is_some() {
            self.results = measured.results;
            let cast = self.cast_mut();
            cast.measurement = Some(kept);
            cast.inspection.without_photographs = Some(true);
            cast.decision = None;
        }
        Ok(())
    }
}

impl Open {
    /// Opens a visit on one of its sides; its papers are written to a folder.
    #[must_use]
    pub fn new(
        kept: Opened<Visit>,
        side: Side,
        serial: u64,
        clinic: &Clinic,
        papers: PathBuf,
    ) -> Self {
        let case = Case::new(kept.value.clone(), side);
        let asking = |questions| Asking::new(questions, &case.visit, case.side);
        Self {
            serial,
            inner: true,
            person: asking(person()),
            examine: asking(examination()),
            position: asking(position()),
            inspect: asking(inspection()),
            ruler: asking(ruler()),
            order: asking(order(clinic)),
            follow: Following::default(),
            told: Told::default(),
            earlier: None,
            before: None,
            versions: Versions::default(),
            papers: Papers::new(papers),
            labelling: Labelling::default(),
            refusal: String::new(),
            by_ruler: String::new(),
            case,
            kept,
        }
    }

    /// Takes the visit up as it is now, after another device has changed it; the questions in hand
    /// stay.
    pub fn take_up(&mut self, kept: Opened<Visit>, side: Side) {
        self.case = Case::new(kept.value.clone(), side);
        self.kept = kept;
        self.told = Told::default();
    }

    /// Whether something is not saved yet.
    #[must_use]
    pub fn is_changed(&self) -> bool {
        self.kept.value != self.case.visit
    }

    /// Saves what was changed; returns when it reached the disk.
    ///
    /// # Errors
    /// The disk refuses; what was saved before is still saved.
    pub fn save(&mut self, records: &mut Records, by: &str) -> Result<i64, AppError> {
        let before = std::mem::replace(&mut self.kept.value, self.case.visit.clone());
        match records.save(&mut self.kept, by, "") {
            Ok(saved) => Ok(saved.at_ms),
            Err(problem) => {
                self.kept.value = before;
                Err(problem)
            }
        }
    }

    /// Turns to the other foot of a visit about both.
    pub(super) fn turn_to(&mut self, side: Side, clinic: &Clinic) {
        if self.case.visit.sides.contains(&side) && self.case.side != side {
            let visit = self.case.visit.clone();
            let papers = self.papers.folder().to_owned();
            let mut fresh = Self::new(self.kept.clone(), side, self.serial, clinic, papers);
            fresh.case = Case::new(visit, side);
            *self = fresh;
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

    /// Where to stand for another photograph, if one is worth taking: a mark was seen only once, or
    /// the camera alone leaves a limit open.
    #[must_use]
    pub fn stand(&self, verdict: &Verdict) -> Option<&Stand> {
        let seen_once = self
            .case
            .marking
            .as_ref()
            .is_some_and(Marking::has_lone_views);
        let asked = verdict
            .findings
            .iter()
            .any(|f| f.advice == Some(Advice::AnotherPhotograph));
        self.case.stand.as_ref().filter(|_| seen_once || asked)
    }

    /// The list of questions behind a screen, with the visit it asks about.
    pub fn asking(&mut self, screen: ui::Screen) -> Option<(&mut Asking, &mut Visit, Side)> {
        let asking = match screen {
            ui::Screen::Person => &mut self.person,
            ui::Screen::Examine => &mut self.examine,
            ui::Screen::Position => &mut self.position,
            ui::Screen::Inspect => &mut self.inspect,
            ui::Screen::Ruler => &mut self.ruler,
            ui::Screen::Order => &mut self.order,
            ui::Screen::FollowUp => self.follow.asking()?,
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
        let taken = visit
            .cast(*side)
            .is_some_and(|cast| !cast.sources.is_empty());
        let check = match (&self.case.results, taken) {
            (None, false) => ui::Fill::Empty,
            (None, true) => ui::Fill::Started,
            _ if self.case.refused.is_some() => ui::Fill::Attention,
            _ => match (self.case.decided(), self.verdict(tolerances).call) {
                (Some(_), _) | (None, Call::Keep) => ui::Fill::Complete,
                (None, Call::Note) => ui::Fill::Started,
                (None, _) => ui::Fill::Attention,
            },
        };
        let [label, hand_over] = self.papers.fills(visit, *side, self.labelling.proven);
        // Order and bag may say what somebody else did not mean.
        let settled = |fill| match self.versions.count() {
            0 => fill,
            _ => ui::Fill::Attention,
        };
        [
            (ui::Screen::Person, asked(&self.person)),
            (ui::Screen::Examine, asked(&self.examine)),
            (ui::Screen::Position, asked(&self.position)),
            (ui::Screen::Cast, timer::fill(visit, *side)),
            (ui::Screen::Check, check),
            (ui::Screen::Order, settled(asked(&self.order))),
            (ui::Screen::Label, settled(label)),
            (ui::Screen::HandOver, hand_over),
            (ui::Screen::FollowUp, follow::fill(visit, *side)),
        ]
        .into_iter()
        .map(|(screen, fill)| ui::StepState { screen, fill })
        .collect()
    }
}
