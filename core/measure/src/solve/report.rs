//! From the fitted parameters to a [`Solution`].

use super::datum::Datum;
use super::error::SolveError;
use super::input::Input;
use super::lens::Projection;
use super::model;
use super::problem::{Layout, Problem, State};
use super::recipe::{self, Fit};
use super::solution::{
    Camera, CornerOrder, DroppedTag, FurtherTerms, Intrinsics, MatShape, Point, Solution, Warning,
};
use super::start;
use crate::frames;
use crate::mat::Mat;
use crate::observed::PhotoTags;
use nalgebra::{DMatrix, Isometry3, Rotation3, Translation3, UnitQuaternion};

/// A bow above this is refused, mm.
const MOST_BOW_MM: f64 = 1.5;
/// A bow that buys nothing is left in the model, as wide as its ±, up to this, mm: no sheet on a
/// board bows more, so beyond it the bow only covers for a lens that the model does not fit.
const ABSURD_BOW_MM: f64 = 5.0;
/// A bow must shrink the corners' sd by this factor, and leave more than this without it, pixels.
const FLAT_ENOUGH: f64 = 1.5;
const FLAT_SD_PX: f64 = 0.3;
/// A bow or height above this is worth a word, mm.
const NOTED_BOW_MM: f64 = 0.5;
/// Relative sd of the focal length worth a word.
const WEAK_FOCAL: f64 = 0.003;
/// Corners of a sharp photograph scatter less than this, pixels.
const BLUR_PX: f64 = 1.5;
/// Corners further than this share of a tag's side do not belong to this mat.
const MISFIT_OF_SIDE: f64 = 0.05;
/// All corners this share too far in or out were found on another edge of the border.
const BORDER_SHARE: f64 = 0.03;
/// Taps scattering by more than this factor (of sd) are worth a word.
const TAP_SCATTER: f64 = 1.3;

/// The fit as predictions and advice need it.
#[derive(Clone)]
pub(crate) struct Fitted {
    pub problem: Problem,
    pub state: State,
    pub covariance: DMatrix<f64>,
}

impl std::fmt::Debug for Fitted {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Thousands of numbers that nobody reads; the solution repeats those that matter.
        f.debug_struct("Fitted").finish_non_exhaustive()
    }
}

impl Fitted {
    pub fn layout(&self) -> Layout {
        self.problem.layout()
    }
}

/// Every camera must look down on the printed side.
pub(crate) fn refuse_mirrored(
    problem: &Problem,
    state: &State,
    photos: &[PhotoTags],
) -> Result<(), SolveError> {
    let corners: Vec<_> = problem.tags.iter().flatten().map(|c| c.drawn).collect();
    // The paper's own plane; a target with relief is looked at from its mat's +Z side too.
    let (axes, middle, _) = start::plane(&corners);
    let below = state
        .poses
        .iter()
        .zip(photos)
        .find(|(pose, _)| (axes * (pose.centre() + problem.drawing.middle - middle)).z <= 0.0);
    below.map_or(Ok(()), |(_, photo)| {
        Err(SolveError::MirroredLayout {
            photo: photo.photo.clone(),
        })
    })
}

/// The tags must lie where the mat puts them, with corners on the right edge of the border.
pub(crate) fn refuse_misfit(
    mat: &Mat,
    problem: &Problem,
    state: &State,
    photos: &[PhotoTags],
) -> Result<(), SolveError> {
    let mut outward = Vec::new();
    let mut misfits = Vec::new();
    for (shot, photo) in photos.iter().enumerate() {
        let (mut distances, mut sides) = (Vec::new(), Vec::new());
        for view in problem
            .views
            .iter()
            .filter(|v| v.shot == shot && !v.dropped)
        {
            let r = problem
                .corner_residuals(state, view)
                .ok_or(SolveError::NoConvergence)?;
            let mean = |k: usize| view.px.iter().map(|p| p[k]).sum::<f64>() / 4.0;
            let middle = [mean(0), mean(1)];
            sides.extend(start::sides(&view.px));
            for (r, px) in r.iter().zip(&view.px) {
                distances.push(r[0].hypot(r[1]));
                let arm = [px[0] - middle[0], px[1] - middle[1]];
                outward.push((r[0] * arm[0] + r[1] * arm[1]) / arm[0].hypot(arm[1]).powi(2));
            }
        }
        let rms_px = start::median(distances) * 0.85 * std::f64::consts::SQRT_2;
        misfits.push((photo, rms_px, start::median(sides)));
    }
    let share = start::median(outward);
    if share.abs() > BORDER_SHARE {
        return Err(SolveError::WrongBorder {
            percent: 100.0 * share.abs(),
            direction: if share < 0.0 { "in" } else { "out" },
            other_bits: 3 - mat.border_bits,
        });
    }
    match misfits
        .into_iter()
        .find(|(_, rms_px, side)| *rms_px > MISFIT_OF_SIDE * side)
    {
        Some((photo, rms_px, _)) => Err(SolveError::TagsDoNotFit {
            photo: photo.photo.clone(),
            mat: mat.name.clone(),
            rms_px,
        }),
        None => Ok(()),
    }
}

/// A bow that the sheet cannot have is refused, if the residuals call for it. Where a flat sheet
/// explains the corners nearly as well, the photographs leave the bow open and it stays as it is;
/// where it is absurd, as with many like photographs taken straight from above by a lens our model
/// only nearly fits, the sheet is taken to be flat. Returns whether it was.
pub(crate) fn refuse_bowed(problem: &mut Problem, state: &mut State) -> Result<bool, SolveError> {
    let (bow_mm, _) = heights(problem, state);
    if bow_mm <= MOST_BOW_MM {
        return Ok(false);
    }
    let mut flat = problem.clone();
    flat.flat = false;
    flat.views.iter_mut().for_each(|view| view.dropped = false);
    let mut flat_state = state.clone();
    flat_state.print.bow = [0.0; 3];
    flat_state.heights.iter_mut().for_each(|h| *h = 0.0);
    recipe::trust_tags(&mut flat, &mut flat_state)?;
    let typical = |p: &Problem| start::median(p.shots.iter().map(|s| s.sd_px).collect());
    if typical(&flat) > FLAT_ENOUGH * typical(problem) && typical(&flat) > FLAT_SD_PX {
        return Err(SolveError::MatNotFlat { bow_mm });
    }
    if bow_mm <= ABSURD_BOW_MM {
        return Ok(false);
    }
    (*problem, *state) = (flat, flat_state);
    Ok(true)
}

/// Largest height of bow alone and of bow with tag heights, mm.
fn heights(problem: &Problem, state: &State) -> (f64, f64) {
    let (mut bow, mut all): (f64, f64) = (0.0, 0.0);
    for (tag, height) in problem.tags.iter().zip(&state.heights) {
        for corner in tag {
            let [u, v] = corner.uv;
            let q = state.print.bow;
            let z = q[0] * u * u + q[1] * u * v + q[2] * v * v;
            bow = bow.max(z.abs());
            all = all.max((z + height).abs());
        }
    }
    (bow, all)
}

/// Builds the solution.
pub(crate) fn report(
    mat: &Mat,
    photos: &[PhotoTags],
    input: Input<'_>,
    angles_deg: &[f64],
    mut fit: Fit,
) -> Solution {
    let Input {
        mut problem,
        mut state,
        order,
        cameras,
        marks,
        seen_once,
    } = input;
    let layout = problem.layout();
    let (bow_mm, uneven_mm) = heights(&problem, &state);
    let datum = Datum::new(&problem, &state);
    datum.level(&mut problem, &mut state);
    // Marks and tag heights alike.
    (layout.frame()..fit.covariance.nrows())
        .for_each(|i| fit.covariance[(i, i)] += fit.alike_mm.powi(2));
    let fitted = Fitted {
        problem,
        state,
        covariance: fit.covariance,
    };
    let covariance_mm2 = datum.covariance_of_marks(&fitted);
    let mut points = Vec::with_capacity(marks.len());
    for (index, mark) in marks.iter().enumerate() {
        let own = fitted.problem.taps.iter().filter(|tap| tap.mark == index);
        let distance = |t| {
            fitted
                .problem
                .tap_residual(&fitted.state, t)
                .map_or(f64::MAX, |[x, y]| x.hypot(y))
        };
        points.push(Point {
            mark: mark.name.clone(),
            surface: mark.surface,
            mat_mm: (fitted.state.marks[index] + fitted.problem.drawing.middle).into(),
            views: mark.taps.len(),
            worst_residual_px: own.map(distance).fold(0.0, f64::max),
            rays_deg: angles_deg[index],
        });
    }
    let (cameras_found, dropped_tags) = camera_reports(mat, photos, &fitted);
    let intrinsics = lens_reports(photos, &cameras, &fitted);
    let scale = mat.print_scale();
    let print = layout.print();
    let mat_shape = MatShape {
        aspect: fitted.state.print.aspect,
        sd_aspect: fitted.covariance[(print, print)].sqrt(),
        bow_mm,
        tag_heights_mm: mat
            .tags
            .iter()
            .zip(&fitted.state.heights)
            .map(|(tag, height)| (tag.id, *height))
            .collect(),
        sd_height_mm: if fitted.problem.heights_fixed() {
            0.0
        } else {
            fitted.problem.priors.height_mm
        },
        sheets: fitted
            .state
            .print
            .sheets
            .iter()
            .map(|[x, y, t]| [*x, *y, t.to_degrees()])
            .collect(),
    };
    let mut solution = Solution {
        points,
        seen_once,
        covariance_mm2,
        scale_sd: scale.common_sd,
        dof: fit.dof,
        tap_factor: fitted.problem.tap_factor,
        cameras: cameras_found,
        intrinsics,
        mat_shape,
        corner_order: order,
        dropped_tags,
        warnings: Vec::new(),
        fitted,
    };
    solution.warnings = warnings(mat, &solution, uneven_mm);
    solution
}

fn camera_reports(
    mat: &Mat,
    photos: &[PhotoTags],
    fitted: &Fitted,
) -> (Vec<Camera>, Vec<DroppedTag>) {
    let (problem, state) = (&fitted.problem, &fitted.state);
    let mut dropped = Vec::new();
    let mut cameras = Vec::with_capacity(photos.len());
    for (shot, photo) in photos.iter().enumerate() {
        let (mut tags, mut squares) = (0, 0.0);
        for view in problem.views.iter().filter(|view| view.shot == shot) {
            let r = problem.corner_residuals(state, view).unwrap_or_default();
            let sum: f64 = r.iter().flatten().map(|r| r * r).sum();
            if view.dropped {
                let (photo, id) = (photo.photo.clone(), mat.tags[view.tag].id);
                dropped.push(DroppedTag {
                    photo,
                    id,
                    rms_px: (sum / 4.0).sqrt(),
                });
            } else {
                tags += 1;
                squares += sum;
            }
        }
        let (pose, lens) = problem.camera(state, shot);
        let rotation = Rotation3::from_matrix_unchecked(pose.camera_from_mat.transpose());
        let centre = pose.centre() + problem.drawing.middle;
        let mat_from_camera = Isometry3::from_parts(
            Translation3::from(centre),
            UnitQuaternion::from_rotation_matrix(&rotation),
        );
        cameras.push(Camera {
            photo: photo.photo.clone(),
            tags,
            rms_px: (squares / (4.0 * f64::from(tags.max(1)))).sqrt(),
            sd_px: problem.shots[shot].sd_px,
            mat_from_camera: frames::rows(&mat_from_camera),
            f_px: lens.ln_f.exp() * (1.0 + pose.e),
            principal_px: [lens.c[0] + pose.dc[0], lens.c[1] + pose.dc[1]],
        });
    }
    (cameras, dropped)
}

fn lens_reports(
    photos: &[PhotoTags],
    cameras: &[crate::observed::CameraKey],
    fitted: &Fitted,
) -> Vec<Intrinsics> {
    let (problem, state, layout) = (&fitted.problem, &fitted.state, fitted.layout());
    let of_lens = |(index, lens): (usize, &model::Lens)| {
        let own: Vec<usize> = (0..photos.len())
            .filter(|s| problem.shots[*s].lens == index)
            .collect();
        let n = own.len() as f64;
        let mean = |value: &dyn Fn(usize) -> f64| own.iter().map(|s| value(*s)).sum::<f64>() / n;
        // The photographs' focal lengths are what the points depend on: F alone is only their mean.
        let weights: Vec<(usize, f64)> = std::iter::once((layout.lens(index), 1.0))
            .chain(own.iter().map(|s| (layout.shot(*s) + 6, 1.0 / n)))
            .collect();
        let mut variance = 0.0;
        for (i, a) in &weights {
            for (j, b) in &weights {
                variance += a * b * fitted.covariance[(*i, *j)];
            }
        }
        let f_px = lens.ln_f.exp() * (1.0 + mean(&|s| state.poses[s].e));
        Intrinsics {
            camera: cameras[index].clone(),
            photos: own.iter().map(|s| photos[*s].photo.clone()).collect(),
            f_px,
            sd_f_px: f_px * variance.max(0.0).sqrt(),
            cx: lens.c[0] + mean(&|s| state.poses[s].dc[0]),
            cy: lens.c[1] + mean(&|s| state.poses[s].dc[1]),
            k1: lens.k[0],
            k2: lens.k[1],
            further: problem.further[index].then(|| FurtherTerms {
                projection: lens.form,
                k3: lens.k[2],
                p1: lens.p[0],
                p2: lens.p[1],
                fx_over_fy: lens.s.exp(),
            }),
        }
    };
    state.lenses.iter().enumerate().map(of_lens).collect()
}

fn warnings(mat: &Mat, solution: &Solution, uneven_mm: f64) -> Vec<Warning> {
    let mut warnings = Vec::new();
    let scale = mat.print_scale();
    if !scale.measured {
        warnings.push(Warning::UnmeasuredPrint {
            sd_percent: 100.0 * scale.common_sd,
        });
    }
    let shape = &solution.mat_shape;
    if let Some((across, along)) = mat.printed.and_then(|p| p.across.zip(p.along)) {
        // What the photographs alone say: the prior, which holds the bars, taken out.
        let (own, prior) = (shape.sd_aspect.powi(-2), scale.aspect_sd.powi(-2));
        let alone = own - prior;
        let bars = across.ratio_sd().hypot(along.ratio_sd());
        let seen = shape.aspect * own / alone;
        let sd = bars.hypot(alone.max(f64::MIN_POSITIVE).powf(-0.5));
        if alone > 0.0 && seen.abs() > 3.0 * sd {
            warnings.push(Warning::BarsDisagree {
                aspect_percent: 100.0 * seen,
            });
        }
    }
    if solution.corner_order != CornerOrder::AS_AGREED {
        warnings.push(Warning::CornerOrder {
            order: solution.corner_order,
        });
    }
    for lens in &solution.intrinsics {
        let photo = lens.photos.first().cloned().unwrap_or_default();
        if let Some(terms) = &lens.further {
            let wide = terms.projection == Projection::Equidistant;
            let photo = photo.clone();
            warnings.push(Warning::UnusualLens { photo, wide });
        }
        let sd = lens.sd_f_px / lens.f_px;
        if sd > WEAK_FOCAL {
            warnings.push(Warning::WeakFocalLength {
                photo,
                sd_percent: 100.0 * sd,
            });
        }
    }
    if uneven_mm > NOTED_BOW_MM {
        warnings.push(Warning::UnevenMat { bow_mm: uneven_mm });
    }
    for camera in &solution.cameras {
        let photo = camera.photo.clone();
        let count = solution
            .dropped_tags
            .iter()
            .filter(|tag| tag.photo == photo)
            .count();
        if count > 0 {
            let of = count + camera.tags as usize;
            warnings.push(Warning::TagsDropped {
                photo: photo.clone(),
                count,
                of,
            });
        }
        if camera.sd_px > BLUR_PX {
            warnings.push(Warning::BlurredTags {
                photo,
                sd_px: camera.sd_px,
            });
        }
    }
    let factor = solution.tap_factor.sqrt();
    if factor > TAP_SCATTER {
        warnings.push(Warning::TapsScatter { factor });
    }
    let twice = solution
        .points
        .iter()
        .filter(|p| p.views == 2)
        .map(|p| p.mark.clone());
    let marks: Vec<_> = twice.collect();
    if !marks.is_empty() {
        warnings.push(Warning::TwoViews { marks });
    }
    warnings
}
