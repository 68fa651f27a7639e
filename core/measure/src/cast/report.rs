//! The JSON that `measure` prints.

use super::{
    CastPoints, Clearance, Comparison, HingePoint, ResultName, Results, SideCheck, Source,
};
use crate::marks::{MarkName, Side, Surface};
use crate::quantity::Quantity;
use crate::solve::{FurtherTerms, Solution};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// One point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PointReport {
    /// Which mark.
    pub mark: MarkName,
    /// In the mat frame (by ruler: the ruler's own).
    pub mat_mm: [f64; 3],
    /// In the cast frame, where one could be laid.
    pub cast_mm: Option<[f64; 3]>,
    /// Instrument sd along the axes of the mat frame.
    pub instrument_sd_mm: [f64; 3],
    /// Instrument covariance in the mat frame, row by row.
    pub covariance_mm2: [[f64; 3]; 3],
    /// The face of the shell.
    pub surface: Surface,
    /// Photographs or readings behind it.
    pub views: usize,
    /// Largest residual; photographs only.
    pub worst_residual_px: Option<f64>,
}

/// One photograph's camera.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CameraReport {
    /// The photograph.
    pub photo: String,
    /// Tags used.
    pub tags: u32,
    /// Root mean square of their residuals.
    pub rms_px: f64,
    /// Pose, row by row.
    pub mat_from_camera: [[f64; 4]; 4],
}

/// What photographs of one camera share.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct IntrinsicsReport {
    /// Its photographs.
    pub photos: Vec<String>,
    /// Focal length, pixels.
    pub f_px: f64,
    /// Principal point on the sensor, x.
    pub cx: f64,
    /// Principal point on the sensor, y.
    pub cy: f64,
    /// Radial distortion, r².
    pub k1: f64,
    /// Radial distortion, r⁴.
    pub k2: f64,
    /// Further terms, beside the others; absent where the photographs do not call for them.
    #[serde(flatten)]
    pub further: Option<FurtherTerms>,
}

/// Everything `measure` prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasureReport {
    /// Recorded side.
    pub side: Side,
    /// Photographs or ruler.
    pub source: Source,
    /// Every point.
    pub points: Vec<PointReport>,
    /// Every camera; empty by ruler.
    pub cameras: Vec<CameraReport>,
    /// Every lens; empty by ruler.
    pub intrinsics: Vec<IntrinsicsReport>,
    /// What the long direction runs to, in words; absent where no cast frame could be laid.
    pub reference: Option<String>,
    /// Every quantity by name.
    pub results: BTreeMap<ResultName, Quantity>,
    /// Which way the signed ones point.
    pub words: BTreeMap<ResultName, String>,
    /// The side, checked.
    pub side_check: Option<SideCheck>,
    /// Hinge points, medial then lateral.
    pub hinge_points: Vec<HingePoint>,
    /// Traced areas.
    pub clearances: Vec<Clearance>,
    /// Lengths beside the patient's own.
    pub comparisons: Vec<Comparison>,
    /// Keep, lab can correct, recast or re-mark: filled by whoever judges.
    pub verdict: Option<serde_json::Value>,
    /// Sentences for the reader.
    pub warnings: Vec<String>,
}

impl MeasureReport {
    /// Points with what was found on them; `results` is absent where no cast frame could be laid.
    #[must_use]
    pub fn new(
        side: Side,
        cast: &CastPoints,
        solution: Option<&Solution>,
        results: Option<&Results>,
    ) -> Self {
        let points = cast.points().iter().enumerate().map(|(i, point)| {
            let c = cast.covariance_mm2().fixed_view::<3, 3>(3 * i, 3 * i);
            PointReport {
                mark: point.mark.clone(),
                mat_mm: point.mm,
                cast_mm: results.and_then(|r| r.points.get(i)).map(|p| p.cast_mm),
                instrument_sd_mm: [0, 1, 2].map(|k| c[(k, k)].sqrt()),
                covariance_mm2: [0, 1, 2].map(|row| [0, 1, 2].map(|column| c[(row, column)])),
                surface: point.surface,
                views: point.views,
                worst_residual_px: point.worst_residual_px,
            }
        });
        let cameras = solution
            .map_or(&[][..], |s| &s.cameras)
            .iter()
            .map(|camera| CameraReport {
                photo: camera.photo.clone(),
                tags: camera.tags,
                rms_px: camera.rms_px,
                mat_from_camera: camera.mat_from_camera,
            });
        let intrinsics = solution
            .map_or(&[][..], |s| &s.intrinsics)
            .iter()
            .map(|lens| IntrinsicsReport {
                photos: lens.photos.clone(),
                f_px: lens.f_px,
                cx: lens.cx,
                cy: lens.cy,
                k1: lens.k1,
                k2: lens.k2,
                further: lens.further,
            });
        let solved = solution
            .map_or(&[][..], |s| &s.warnings)
            .iter()
            .map(ToString::to_string);
        let found = results.map_or(&[][..], |r| &r.warnings).iter().cloned();
        Self {
            side,
            source: cast.source(),
            points: points.collect(),
            cameras: cameras.collect(),
            intrinsics: intrinsics.collect(),
            reference: results.map(|r| r.reference.words().to_owned()),
            results: results.map(|r| r.quantities.clone()).unwrap_or_default(),
            words: results.map(|r| r.words.clone()).unwrap_or_default(),
            side_check: results.map(|r| r.side_check.clone()),
            hinge_points: results
                .map(|r| {
                    r.medial_hinge
                        .iter()
                        .chain(&r.lateral_hinge)
                        .cloned()
                        .collect()
                })
                .unwrap_or_default(),
            clearances: Vec::new(),
            comparisons: results.map(|r| r.comparisons.clone()).unwrap_or_default(),
            verdict: None,
            warnings: solved.chain(found).collect(),
        }
    }
}
