//! Marks on photographs: taps, what the ink made of them, and the points they give.

mod agree;
mod seek;
mod view;

pub use agree::{Refusal, measure_agreeing};
pub use seek::Seeker;

use super::work::Decoded;
use plinthside_measure::ink::{self, InkDot};
use plinthside_measure::marks::MarkName;
use plinthside_measure::mat::Mat;
use plinthside_measure::observed::{MarkView, PhotoTags, Px};
use plinthside_measure::photo::Photograph;
use plinthside_measure::solve::Solution;
use plinthside_visit::Tap;
use slint::{Image, Rgb8Pixel, SharedPixelBuffer};
use std::sync::Arc;

/// Marks every cast is asked for, in the order of the list.
const ASKED: [&str; 8] = [
    MarkName::MALLEOLUS_MEDIAL,
    MarkName::MALLEOLUS_LATERAL,
    MarkName::MTP_1,
    MarkName::MTP_5,
    MarkName::HEEL_UPPER,
    MarkName::HEEL_LOWER,
    MarkName::CALF_UPPER,
    MarkName::CALF_LOWER,
];

/// No mark of a cast stands higher over the mat, mm.
const TALLEST_CAST_MM: f64 = 450.0;

/// A residual beyond this many of its sd makes a mark doubtful on the screen.
const DOUBTFUL_SD: f64 = 4.0;

/// One photograph: its bytes as taken, and what was found in it.
#[derive(Clone)]
pub struct Photo {
    /// Name the marks refer to.
    pub name: String,
    /// The file.
    pub bytes: Arc<[u8]>,
    /// Its SHA-256, hexadecimal.
    pub sha256: String,
    /// Tags, once found.
    pub tags: Option<PhotoTags>,
    /// Why it can't be used.
    pub problem: String,
    /// A small copy; none of what is no picture.
    pub small: Option<SharedPixelBuffer<Rgb8Pixel>>,
}

/// The photograph on the screen, decoded.
struct Shown {
    index: usize,
    photo: Arc<Photograph>,
    image: Image,
    ink: Vec<InkDot>,
}

/// The taps on the photographs of one cast.
pub struct Marking {
    /// The printed mat.
    pub mat: Mat,
    /// The photographs.
    pub photos: Vec<Photo>,
    taps: Vec<MarkView>,
    /// Those of the taps that the program found, until a hand sets them.
    found: Vec<MarkView>,
    /// Found views that did not agree and were left out since the last tap.
    by_hand: Vec<(MarkName, String)>,
    marks: Vec<MarkName>,
    chosen: usize,
    photo_index: usize,
    undo: Vec<Vec<MarkView>>,
    /// The taps after the marks were sought in all photographs.
    sought_with: Vec<MarkView>,
    shown: Option<Shown>,
    asked_for: Option<usize>,
    looking: Looking,
    solution: Option<Solution>,
    remark: Option<String>,
    /// Views that the last refusal names.
    wrong: Vec<(MarkName, String)>,
}

/// How far the search for tags has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Looking {
    /// Not asked for yet.
    Wanted,
    Begun,
    /// Somebody stopped it; photographs without tags wait until it is asked for again.
    Stopped,
}

impl Marking {
    /// Photographs with the taps made so far.
    #[must_use]
    pub fn new(mat: Mat, photos: Vec<Photo>, taps: &[Tap]) -> Self {
        let mut marks: Vec<MarkName> = ASKED.into_iter().map(MarkName::from).collect();
        for tap in taps {
            if !marks.contains(&tap.mark) {
                marks.push(tap.mark.clone());
            }
        }
        Self {
            mat,
            photos,
            taps: taps.iter().map(Tap::view).collect(),
            found: taps.iter().filter(|t| t.found).map(Tap::view).collect(),
            by_hand: Vec::new(),
            marks,
            chosen: 0,
            photo_index: 0,
            undo: Vec::new(),
            sought_with: Vec::new(),
            shown: None,
            asked_for: None,
            looking: Looking::Wanted,
            solution: None,
            remark: None,
            wrong: Vec::new(),
        }
    }

    /// The taps.
    #[must_use]
    pub fn taps(&self) -> &[MarkView] {
        &self.taps
    }

    /// The taps as the visit keeps them.
    #[must_use]
    pub fn kept(&self) -> Vec<Tap> {
        let tap = |view: &MarkView| Tap {
            found: self.found.contains(view),
            ..Tap::of_view(view)
        };
        self.taps.iter().map(tap).collect()
    }

    /// Photographs whose tags were not looked for yet; each is handed out once.
    pub fn unseen(&mut self) -> Vec<Photo> {
        if self.looking != Looking::Wanted {
            return Vec::new();
        }
        self.looking = Looking::Begun;
        let unseen = |p: &&Photo| p.tags.is_none() && p.problem.is_empty();
        self.photos.iter().filter(unseen).cloned().collect()
    }

    /// The search for tags was stopped before every photograph was looked through.
    pub fn stop_looking(&mut self) {
        if self.looking == Looking::Begun && !self.is_looked_through() {
            self.looking = Looking::Stopped;
        }
    }

    /// Whether photographs without tags wait to be looked through again.
    #[must_use]
    pub fn is_stopped(&self) -> bool {
        self.looking == Looking::Stopped
    }

    /// Looks for tags again where that was stopped.
    pub fn look_again(&mut self) {
        self.looking = Looking::Wanted;
    }

    /// Whether tags were looked for in every photograph.
    #[must_use]
    pub fn is_looked_through(&self) -> bool {
        let looked = |photo: &Photo| photo.tags.is_some() || !photo.problem.is_empty();
        self.photos.iter().all(looked)
    }

    /// The photograph on the screen, if it still has to be decoded; asked for once.
    pub fn wanted(&mut self) -> Option<Photo> {
        if self.is_shown() || self.asked_for == Some(self.photo_index) {
            return None;
        }
        let photo = self.photos.get(self.photo_index)?;
        self.asked_for = Some(self.photo_index);
        Some(photo.clone())
    }

    /// Whether the photograph on the screen is decoded.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.shown
            .as_ref()
            .is_some_and(|s| s.index == self.photo_index)
    }

    /// Takes why a photograph can't be shown.
    pub fn refused(&mut self, sha256: &str, problem: String) {
        if let Some(photo) = self.photos.iter_mut().find(|p| p.sha256 == sha256) {
            photo.problem = problem;
        }
    }

    /// What the last measurement says, or why there is none; empty before it.
    #[must_use]
    pub fn remark(&self) -> &str {
        self.remark.as_deref().unwrap_or_default()
    }

    /// Whether a mark was seen in one photograph only.
    #[must_use]
    pub fn has_lone_views(&self) -> bool {
        self.solution
            .as_ref()
            .is_some_and(|s| !s.seen_once.is_empty())
    }

    /// Takes a decoded photograph with the ink found in it.
    pub fn decoded(&mut self, sha256: &str, Decoded { photo, pixels, ink }: Decoded) {
        let Some(index) = self.photos.iter().position(|p| p.sha256 == sha256) else {
            return;
        };
        self.asked_for = None;
        self.shown = Some(Shown {
            index,
            image: Image::from_rgb8(pixels),
            photo,
            ink,
        });
    }

    /// Takes what a new solution or its refusal says, and why there are no results from it yet.
    pub fn solved(&mut self, solution: Result<Solution, Refusal>, refusal: Option<String>) {
        match solution {
            Ok(solution) => {
                self.remark =
                    refusal.or_else(|| solution.warnings.first().map(ToString::to_string));
                self.solution = Some(solution);
                self.wrong.clear();
            }
            Err(refusal) => {
                self.solution = None;
                self.remark = Some(refusal.sentence);
                self.wrong = refusal.views;
            }
        }
    }

    /// Another photograph.
    pub fn choose_photo(&mut self, index: usize) {
        if index < self.photos.len() {
            self.photo_index = index;
        }
    }

    /// Another mark; the photograph stays, with the line or place where the mark must lie in it.
    pub fn choose_mark(&mut self, index: usize) {
        if index < self.marks.len() {
            self.chosen = index;
        }
    }

    fn photo_name(&self) -> &str {
        self.photos
            .get(self.photo_index)
            .map_or("", |p| p.name.as_str())
    }

    fn tap_here(&self) -> Option<&MarkView> {
        let mark = self.marks.get(self.chosen)?;
        self.taps
            .iter()
            .find(|t| t.mark == *mark && t.photo == self.photo_name())
    }

    /// Sets the chosen mark at a tap, moved onto the ink under it; a first tap leads on to the
    /// next mark. `false` if nothing changed.
    pub fn tap(&mut self, at: Px) -> bool {
        let Some(shown) = self.shown.as_ref().filter(|s| s.index == self.photo_index) else {
            return false;
        };
        let snap = ink::snap(&shown.photo, at);
        let first = self.tap_here().is_none();
        let placed = self.place(snap.px, snap.sd_px);
        if placed && first {
            self.advance();
        }
        placed
    }

    /// On to the next mark that is not tapped in this photograph and wants another view.
    fn advance(&mut self) {
        let photo = self.photo_name().to_owned();
        let wants = |mark: &MarkName| {
            let views = self.taps.iter().filter(|t| t.mark == *mark);
            views.clone().all(|t| t.photo != photo) && views.count() < 2
        };
        let after = (self.chosen + 1..self.marks.len()).chain(0..self.chosen);
        if let Some(next) = after.into_iter().find(|i| wants(&self.marks[*i])) {
            self.chosen = next;
        }
    }

    /// Moves the chosen mark by photograph pixels; it then counts as set by hand.
    pub fn nudge(&mut self, dx: f64, dy: f64) -> bool {
        let Some([x, y]) = self.tap_here().map(|t| t.px) else {
            return false;
        };
        self.place([x + dx, y + dy], ink::BARE_TAP_SD_PX)
    }

    fn place(&mut self, px: Px, sd_px: f64) -> bool {
        let (Some(mark), Some(photo)) = (
            self.marks.get(self.chosen).cloned(),
            self.photos.get(self.photo_index),
        ) else {
            return false;
        };
        let (photo, surface) = (photo.name.clone(), seek::surface(&self.taps, &mark));
        self.undo.push(self.taps.clone());
        self.taps.retain(|t| !(t.mark == mark && t.photo == photo));
        self.found.retain(|t| !(t.mark == mark && t.photo == photo));
        self.by_hand.clear();
        self.taps.push(MarkView {
            mark,
            photo,
            px,
            sd_px,
            surface,
        });
        true
    }

    /// Removes the chosen mark from this photograph.
    pub fn remove(&mut self) -> bool {
        let Some(tap) = self.tap_here().cloned() else {
            return false;
        };
        self.undo.push(self.taps.clone());
        self.taps.retain(|t| *t != tap);
        true
    }

    /// Takes back the last change.
    pub fn undo(&mut self) -> bool {
        let Some(before) = self.undo.pop() else {
            return false;
        };
        self.taps = before;
        true
    }
}
