//! From tags and marks to results and a verdict: one way for the commands, the demo and the
//! screens.

use crate::error::AppError;
use plinthside_measure::cast::{
    self, CastError, CastPoints, Clearance, MeasureReport, OutlineRays, Results, Settings,
};
use plinthside_measure::marks::{MarkName, Marks};
use plinthside_measure::mat::Mat;
use plinthside_measure::observed::PhotoTags;
use plinthside_measure::solve::{Solution, SolveOptions, solve};
use plinthside_visit::When;
use plinthside_visit::cast_record::Measurement;
use plinthside_visit::verdict::{Evidence, Tolerances, Verdict, verdict};
use std::collections::BTreeSet;

/// Everything one measurement gave.
#[derive(Debug)]
pub struct Measured {
    /// The points, by photographs or ruler.
    pub points: CastPoints,
    /// Cameras and marks in the mat frame; absent by ruler.
    pub solution: Option<Solution>,
    /// Angles, hinge points, lengths; absent where the marks lay no cast frame.
    pub results: Option<Results>,
    /// Reach of the traced outlines.
    pub clearances: Vec<Clearance>,
    /// Sentences for the reader.
    pub warnings: Vec<String>,
}

/// Measures a cast from its photographs, or from ruler entries where there are none.
///
/// # Errors
/// The first thing that stands in the way, with the remedy.
pub fn measure(
    mat: Option<&Mat>,
    photos: &[PhotoTags],
    marks: &Marks,
    options: &SolveOptions,
) -> Result<Measured, AppError> {
    let (points, solution) = if photos.is_empty() && !marks.ruler.is_empty() {
        (marks.ruler.cast_points(marks.side, marks.wall)?, None)
    } else {
        let mat = mat.ok_or_else(|| {
            AppError::Request("photographs need the mat they were taken on: give --mat".into())
        })?;
        marks.check_photos(photos)?;
        let solution = solve(mat, photos, &marks.views, options)?;
        (
            CastPoints::from_solution(&solution, marks.wall)?,
            Some(solution),
        )
    };
    let mut warnings = marks.warnings.clone();
    let results = match cast::results(&points, marks.side, &marks.settings, &marks.leg) {
        Ok(results) => Some(results),
        // Points of a target that is no cast are a result too; say what is missing for more.
        Err(problem @ CastError::NoFrame { .. }) => {
            warnings.push(problem.to_string());
            None
        }
        Err(problem) => return Err(problem.into()),
    };
    let clearances = match &solution {
        Some(solution) if results.is_some() => {
            clearances(solution, photos, marks, &points, &mut warnings)
        }
        _ => Vec::new(),
    };
    Ok(Measured {
        points,
        solution,
        results,
        clearances,
        warnings,
    })
}

/// The reach of every traced outline; one that gives none is named in the warnings.
fn clearances(
    solution: &Solution,
    photos: &[PhotoTags],
    marks: &Marks,
    points: &CastPoints,
    warnings: &mut Vec<String>,
) -> Vec<Clearance> {
    let traced: BTreeSet<&MarkName> = marks.outlines.iter().map(|outline| &outline.mark).collect();
    let settings: &Settings = &marks.settings;
    let reach = |mark: &MarkName| {
        let rays = marks
            .outlines
            .iter()
            .filter(|outline| outline.mark == *mark)
            .map(|outline| OutlineRays::of_outline(solution, photos, outline))
            .collect::<Result<Vec<_>, _>>()?;
        cast::clearance(points, marks.side, settings, mark, &rays)
    };
    traced
        .into_iter()
        .filter_map(|mark| {
            reach(mark)
                .map_err(|problem| warnings.push(problem.to_string()))
                .ok()
        })
        .collect()
}

impl Measured {
    /// The judgement on the measurement alone, against the leg's dimensions of the marks file.
    ///
    /// # Errors
    /// When the shipped tolerances can't be read.
    pub fn verdict(&self) -> Result<Option<Verdict>, AppError> {
        let Some(results) = &self.results else {
            return Ok(None);
        };
        let tolerances = Tolerances::shipped()?;
        Ok(Some(verdict(&Evidence::of_results(results), &tolerances)))
    }

    /// The measurement as a visit keeps it, with the hash of every photograph behind it.
    ///
    /// # Errors
    /// When the results can't be written as JSON.
    pub fn to_keep(
        &self,
        photographs: Vec<String>,
        by: &str,
        at: When,
    ) -> Result<Measurement, AppError> {
        let kept = match &self.results {
            Some(results) => Measurement::with_results(results).map_err(AppError::Encode)?,
            None => Measurement::default(),
        };
        Ok(Measurement {
            at: Some(at),
            by: by.to_owned(),
            photos: photographs,
            clearances: self.clearances.clone(),
            ..kept
        })
    }

    /// The JSON that `measure` prints.
    ///
    /// # Errors
    /// When the verdict can't be written as JSON.
    pub fn report(
        &self,
        marks: &Marks,
        verdict: Option<&Verdict>,
    ) -> Result<MeasureReport, AppError> {
        let mut report = MeasureReport::new(
            marks.side,
            &self.points,
            self.solution.as_ref(),
            self.results.as_ref(),
        );
        report.clearances.clone_from(&self.clearances);
        report.verdict = verdict
            .map(serde_json::to_value)
            .transpose()
            .map_err(AppError::Encode)?;
        report.warnings.extend(self.warnings.iter().cloned());
        Ok(report)
    }
}
