//! Marks that the photographs so far place on ink of others: sought in all of them at once.

use super::Marking;
use plinthside_measure::ink::{self, InkDot};
use plinthside_measure::marks::{MarkName, Surface};
use plinthside_measure::observed::MarkView;
use plinthside_measure::photo::Photograph;
use plinthside_measure::predict;
use plinthside_measure::solve::Solution;

/// How far the whole ink of a mark may lie from where its other views put it, standard deviation on
/// each axis, pixels: whole dots in rendered photographs lie within 0.5, those half hidden behind an
/// edge of the shell up to several off.
const FOUND_SD_PX: f64 = 0.5;

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
            let place = predict::place(&self.solution, mark, name, FOUND_SD_PX).ok()??;
            let off = |dot: &&InkDot| (dot.px[0] - place.px[0]).hypot(dot.px[1] - place.px[1]);
            let dot = dots
                .iter()
                .min_by(|a, b| off(a).total_cmp(&off(b)))
                .filter(|dot| place.inside && off(dot) <= place.half_axes_px[0])?;
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
                self.taps.push(view.clone());
                self.found.push(view);
            }
        }
        self.by_hand.clear();
        self.sought_with.clone_from(&self.taps);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plinthside_demo_data::CASTS;
    use plinthside_demo_data::truth::Truth;
    use plinthside_measure::detect::{self, DetectOptions};
    use plinthside_measure::marks::Marks;
    use plinthside_measure::mat::Mat;
    use plinthside_measure::photo;
    use plinthside_measure::solve::{SolveOptions, solve};

    /// Two views of each mark by hand; what is found in the others lies where the ink truly is.
    #[test]
    fn what_is_found_lies_where_the_mark_is() {
        let (mut found_count, mut half_hidden, mut worst_px) = (0, 0, 0.0_f64);
        for cast in &CASTS {
            let truth: Truth = serde_json::from_str(cast.truth_json).expect("truth");
            let mat = Mat::from_json(plinthside_demo_data::MAT_JSON).expect("a mat");
            let read = |p: &plinthside_demo_data::Photo| photo::decode(p.name, p.jpeg);
            let photos: Vec<Photograph> = cast
                .photos
                .iter()
                .map(|p| read(p).expect("decoded"))
                .collect();
            let options = DetectOptions::default();
            let tags: Vec<_> = photos.iter().map(|p| detect::tags(p, &options)).collect();
            let marks = Marks::from_json(cast.marks_corrected_json).expect("marks");
            let mut taps: Vec<MarkView> = Vec::new();
            for view in &marks.views {
                if taps.iter().filter(|t| t.mark == view.mark).count() < 2 {
                    let at = cast.photos.iter().position(|p| p.name == view.photo);
                    let snap = ink::snap(&photos[at.expect("a photograph")], view.px);
                    let (px, sd_px) = (snap.px, snap.sd_px);
                    taps.push(MarkView {
                        px,
                        sd_px,
                        ..view.clone()
                    });
                }
            }
            let unfinished = SolveOptions {
                unfinished: true,
                ..SolveOptions::default()
            };
            let solution = solve(&mat, &tags, &taps, &unfinished).expect("solved");
            let mut names: Vec<MarkName> = Vec::new();
            for tap in &taps {
                if !names.contains(&tap.mark) {
                    names.push(tap.mark.clone());
                }
            }
            let seeker = Seeker {
                solution,
                marks: names,
                taps,
            };
            for (photo, demo) in photos.iter().zip(&cast.photos) {
                let seen = truth.photos.iter().find(|p| p.photo == demo.name);
                let seen = &seen.expect("in the truth").marks_px;
                for view in seeker.seek(demo.name, photo, &ink::find(photo, None)) {
                    let [x, y] = view.px;
                    let off = seen
                        .get(view.mark.as_str())
                        .map(|at| (x - at[0]).hypot(y - at[1]));
                    found_count += 1;
                    match off {
                        Some(off_px) => worst_px = worst_px.max(off_px),
                        None => half_hidden += 1,
                    }
                }
            }
        }
        println!(
            "{found_count} found, {half_hidden} on ink half hidden; at most {worst_px:.2} px off"
        );
        assert!(found_count >= 40, "{found_count} found");
        assert!(worst_px < 1.0, "{worst_px} px off");
        // Those are no further off than the other views leave open; a measurement tells the rest.
        assert!(half_hidden <= 3, "{half_hidden} on ink half hidden");
    }
}
