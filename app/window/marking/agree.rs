//! What the program found gives way to what was tapped: a view that it found and that a measurement
//! refuses is left out, and the clinician is told which mark to tap by hand.

use super::Marking;
use crate::error::AppError;
use plinthside_measure::marks::{MarkName, Marks};
use plinthside_measure::observed::MarkView;
use plinthside_measure::solve::SolveError;

/// Why there is no measurement.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Refusal {
    /// In words.
    pub sentence: String,
    /// The views at fault: a mark in a photograph.
    pub views: Vec<(MarkName, String)>,
}

impl From<AppError> for Refusal {
    fn from(problem: AppError) -> Self {
        let views = match &problem {
            AppError::Solve(refusal) => at_fault(refusal),
            _ => Vec::new(),
        };
        Self {
            sentence: problem.to_string(),
            views,
        }
    }
}

/// The views that a refusal names.
fn at_fault(refusal: &SolveError) -> Vec<(MarkName, String)> {
    match refusal {
        SolveError::WrongTap { mark, photo, .. } | SolveError::BadMark { mark, photo, .. } => {
            vec![(mark.clone(), photo.clone())]
        }
        SolveError::OneOfTwoTaps {
            mark,
            first,
            second,
        } => [first, second].map(|p| (mark.clone(), p.clone())).into(),
        _ => Vec::new(),
    }
}

/// The found views that stand behind a refusal: those it names, else those of the mark it names,
/// else, where many marks disagree, those in the photograph it names. Empty where no found view has
/// a part in it.
fn blamed(refusal: &SolveError, found: &[MarkView]) -> Vec<MarkView> {
    let of = |wanted: &dyn Fn(&&MarkView) -> bool| -> Vec<MarkView> {
        found.iter().filter(wanted).cloned().collect()
    };
    match refusal {
        SolveError::WrongTap { mark, .. }
        | SolveError::OneOfTwoTaps { mark, .. }
        | SolveError::BadMark { mark, .. }
        | SolveError::NarrowRays { mark, .. } => {
            let named = at_fault(refusal);
            let exact = of(&|view| {
                named
                    .iter()
                    .any(|(m, p)| *m == view.mark && *p == view.photo)
            });
            match exact.is_empty() {
                true => of(&|view| view.mark == *mark),
                false => exact,
            }
        }
        SolveError::CastMoved { photo, .. } | SolveError::DifferentCasts { photo, .. } => {
            let there = of(&|view| photo.split(" and ").any(|name| name == view.photo));
            match there.is_empty() {
                true => found.to_vec(),
                false => there,
            }
        }
        _ => Vec::new(),
    }
}

/// Measures, leaving out found views until what remains agrees; the views left out come with it. A
/// refusal that no found view has a part in stands.
pub fn measure_agreeing<T>(
    mut marks: Marks,
    mut found: Vec<MarkView>,
    measure: impl Fn(&Marks) -> Result<T, AppError>,
) -> (Result<T, AppError>, Marks, Vec<MarkView>) {
    let mut left_out = Vec::new();
    loop {
        let measured = measure(&marks);
        let gone = match &measured {
            Err(AppError::Solve(refusal)) => blamed(refusal, &found),
            _ => Vec::new(),
        };
        if gone.is_empty() {
            return (measured, marks, left_out);
        }
        marks.views.retain(|view| !gone.contains(view));
        found.retain(|view| !gone.contains(view));
        left_out.extend(gone);
    }
}

impl Marking {
    /// The views that the program found and nobody has tapped since.
    #[must_use]
    pub fn found_views(&self) -> Vec<MarkView> {
        let still = |view: &&MarkView| self.taps.contains(view);
        self.found.iter().filter(still).cloned().collect()
    }

    /// Takes out found views that did not agree with the taps; they are said until something is
    /// tapped.
    pub fn leave_out(&mut self, gone: &[MarkView]) {
        if gone.is_empty() {
            return;
        }
        let sought = self.sought_with == self.taps;
        self.taps.retain(|view| !gone.contains(view));
        self.found.retain(|view| !gone.contains(view));
        for view in gone {
            self.by_hand.push((view.mark.clone(), view.photo.clone()));
        }
        if sought {
            self.sought_with.clone_from(&self.taps);
        }
    }

    /// Which marks are to be tapped by hand, in words, a sentence each; empty where none was left
    /// out.
    pub(super) fn to_tap(&self) -> Vec<String> {
        let mut marks: Vec<&MarkName> = Vec::new();
        for (mark, _) in &self.by_hand {
            if !marks.contains(&mark) {
                marks.push(mark);
            }
        }
        let photos = |mark: &MarkName| {
            let of = self.by_hand.iter().filter(|(m, _)| m == mark);
            of.map(|(_, photo)| photo.as_str())
                .collect::<Vec<_>>()
                .join(", ")
        };
        let told = marks.into_iter().map(|mark| {
            format!(
                "what was found of mark {mark} in {} did not agree with the taps and was left out; tap it there by hand where it is seen",
                photos(mark)
            )
        });
        told.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plinthside_measure::marks::Surface;
    use plinthside_visit::Tap;

    fn view(mark: &str, photo: &str) -> MarkView {
        MarkView {
            mark: MarkName::from(mark),
            photo: photo.to_owned(),
            px: [1.0, 2.0],
            sd_px: 0.2,
            surface: Surface::Inside,
        }
    }

    #[test]
    fn found_views_are_blamed_and_taps_never() {
        let found = [view("mtp-1", "b"), view("mtp-1", "c"), view("mtp-5", "c")];
        let wrong = |mark: &str, photo: &str| SolveError::WrongTap {
            mark: MarkName::from(mark),
            photo: photo.to_owned(),
            off_px: 4.0,
        };
        assert_eq!(blamed(&wrong("mtp-1", "b"), &found), found[..1]);
        // A tap is named: it is the mark's found views that give way.
        assert_eq!(blamed(&wrong("mtp-1", "a"), &found), found[..2]);
        assert_eq!(blamed(&wrong("heel-upper", "a"), &found), []);
        let moved = SolveError::CastMoved {
            photo: "a and c".into(),
            moved_mm: 2.0,
        };
        assert_eq!(blamed(&moved, &found), found[1..]);
        assert_eq!(blamed(&SolveError::NoConvergence, &found), []);
    }

    #[test]
    fn what_was_found_is_still_so_when_the_visit_is_opened_again() {
        let mat = || plinthside_measure::mat::Mat::from_json(plinthside_demo_data::MAT_JSON);
        let tapped = [Tap::of_view(&view("mtp-1", "a"))];
        let mut marking = Marking::new(mat().expect("a mat"), vec![], &tapped);
        marking.found(vec![view("mtp-1", "b"), view("mtp-1", "a")]);
        let text = serde_json::to_string(&marking.kept()).expect("JSON");
        let kept: Vec<Tap> = serde_json::from_str(&text).expect("what was written");
        let again = Marking::new(mat().expect("a mat"), vec![], &kept);
        assert_eq!(again.taps(), marking.taps());
        assert_eq!(again.found_views(), [view("mtp-1", "b")]);
    }

    #[test]
    fn what_disagrees_is_left_out_until_the_rest_agrees() {
        let found = vec![view("mtp-1", "b"), view("mtp-5", "b")];
        let mut marks = Marks::from_json(plinthside_demo_data::CASTS[0].marks_json).expect("marks");
        marks.views = vec![view("mtp-1", "a")];
        marks.views.extend(found.clone());
        let refuse = |named: &str, photo: &str| {
            Err(AppError::Solve(SolveError::WrongTap {
                mark: MarkName::from(named),
                photo: photo.to_owned(),
                off_px: 4.0,
            }))
        };
        let measure = |marks: &Marks| match marks.views.len() {
            3 => refuse("mtp-1", "b"),
            2 => refuse("mtp-5", "b"),
            _ => Ok(()),
        };
        let (measured, marks, left_out) = measure_agreeing(marks, found.clone(), measure);
        assert!(measured.is_ok() && marks.views == [view("mtp-1", "a")]);
        assert_eq!(left_out, found);
        // What only taps say stays a refusal.
        let (measured, _, left_out) =
            measure_agreeing(marks, found, |_: &Marks| refuse("heel-upper", "a"));
        assert!(measured.is_err() && left_out.is_empty());
    }
}
