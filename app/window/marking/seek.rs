//! Marks that the photographs so far place on ink of others: sought in all of them at once.

use super::Marking;
use plinthside_measure::ink::{self, InkDot};
use plinthside_measure::marks::{MarkName, Surface};
use plinthside_measure::observed::MarkView;
use plinthside_measure::photo::Photograph;
use plinthside_measure::predict;
use plinthside_measure::solve::Solution;

/// What the marks are sought with; goes to the worker whole.
pub struct Seeker {
    solution: Solution,
    marks: Vec<MarkName>,
    taps: Vec<MarkView>,
}

impl Seeker {
    /// The marks not tapped in a photograph that its other views place on ink of it.
    #[must_use]
    pub fn seek(&self, name: &str, photo: &Photograph, dots: &[InkDot]) -> Vec<MarkView> {
        let untapped = |mark: &&MarkName| {
            !self
                .taps
                .iter()
                .any(|tap| tap.mark == **mark && tap.photo == name)
        };
        let on_ink = |mark: &MarkName| {
            let place = predict::place(&self.solution, mark, name, ink::BARE_TAP_SD_PX).ok()??;
            let reach = place.half_axes_px[0].max(photo.width as f64 / 400.0);
            let off = |dot: &&InkDot| (dot.px[0] - place.px[0]).hypot(dot.px[1] - place.px[1]);
            let dot = dots
                .iter()
                .min_by(|a, b| off(a).total_cmp(&off(b)))
                .filter(|dot| place.inside && off(dot) <= reach)?;
            let snap = ink::snap(photo, dot.px);
            Some(MarkView {
                mark: mark.clone(),
                photo: name.to_owned(),
                px: snap.px,
                sd_px: snap.sd_px,
                surface: surface(&self.taps, mark),
            })
        };
        self.marks
            .iter()
            .filter(untapped)
            .filter_map(on_ink)
            .collect()
    }
}

/// The face a mark is on: as its other taps say, inside for a new one.
pub(super) fn surface(taps: &[MarkView], mark: &MarkName) -> Surface {
    taps.iter()
        .find(|tap| tap.mark == *mark)
        .map_or(Surface::Inside, |tap| tap.surface)
}

impl Marking {
    /// Whether seeking in all photographs could find something: a mark has its place, and the taps
    /// have changed since it was sought last.
    #[must_use]
    pub fn is_seekable(&self) -> bool {
        let placed = self.solution.as_ref().is_some_and(|s| !s.points.is_empty());
        placed && self.sought_with != self.taps
    }

    /// What the marks are sought with in all photographs; `None` before any has its place.
    pub fn seeker(&mut self) -> Option<Seeker> {
        let solution = self.solution.clone().filter(|s| !s.points.is_empty())?;
        self.undo.push(self.taps.clone());
        Some(Seeker {
            solution,
            marks: self.marks.clone(),
            taps: self.taps.clone(),
        })
    }

    /// Takes marks found in a photograph, unless they were tapped meanwhile.
    pub fn found(&mut self, found: Vec<MarkView>) {
        for view in found {
            let tapped = |tap: &MarkView| tap.mark == view.mark && tap.photo == view.photo;
            if !self.taps.iter().any(tapped) {
                self.taps.push(view);
            }
        }
        self.sought_with.clone_from(&self.taps);
    }
}
