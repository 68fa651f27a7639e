//! Checks what was seen and lays it out as a [`Problem`].

use super::error::SolveError;
use super::model::{Corner, Drawing, Lens, Pose, Print};
use super::problem::{Priors, Problem, Shot, State, TagView, Tap};
use super::rays;
use super::solution::{CornerOrder, SolveOptions};
use super::start::{self, Pairs};
use crate::frames::Turn;
use crate::marks::{MarkName, Surface};
use crate::mat::Mat;
use crate::observed::{CameraKey, MarkView, PhotoTags};
use nalgebra::Vector3;
use std::collections::{BTreeMap, BTreeSet};

/// Fewest tags that place a camera.
const FEWEST_TAGS: usize = 3;
/// No photograph is wider than this, pixels.
const LARGEST_PX: f64 = 200_000.0;
/// No tap is vaguer than this, pixels.
const VAGUEST_TAP_PX: f64 = 500.0;
/// A target with more relief than this share of its extent is not a sheet of paper.
const SHEET_RELIEF: f64 = 0.01;
/// Corners further than this share of a tag's side from any plane view belong to another mat.
const OTHER_MAT: f64 = 0.3;
/// Sd of a corner coordinate before anything is known, pixels.
const FIRST_SD_PX: f64 = 1.0;

/// One mark and its taps by (photograph, tap).
pub(crate) struct Mark<'a> {
    pub name: MarkName,
    pub surface: Surface,
    pub taps: Vec<(usize, &'a MarkView)>,
}

/// Checked input with starting values; marks are not placed yet.
pub(crate) struct Input<'a> {
    pub problem: Problem,
    pub state: State,
    pub order: CornerOrder,
    pub cameras: Vec<CameraKey>,
    pub marks: Vec<Mark<'a>>,
    pub seen_once: Vec<MarkName>,
}

/// A tag of the mat, by index, and its corners on the sensor as found.
type FoundTag = (usize, [[f64; 2]; 4]);

/// Checks photographs and marks and finds where to start.
pub(crate) fn prepare<'a>(
    mat: &Mat,
    photos: &[PhotoTags],
    views: &'a [MarkView],
    options: &SolveOptions,
) -> Result<Input<'a>, SolveError> {
    let turns = check_photos(photos)?;
    let (marks, seen_once) = group_marks(photos, views, options)?;
    let tag_index: BTreeMap<u32, usize> = mat
        .tags
        .iter()
        .enumerate()
        .map(|(i, tag)| (tag.id, i))
        .collect();
    let (drawing, tags, flat) = drawn(mat);

    let mut found = Vec::with_capacity(photos.len());
    for (photo, turn) in photos.iter().zip(&turns) {
        found.push(usable_tags(mat, photo, turn, &tag_index)?);
    }
    let pairs = |photo: &Vec<FoundTag>, order: CornerOrder| {
        let mut pairs = Pairs {
            mat: Vec::new(),
            px: Vec::new(),
        };
        for (tag, px) in photo {
            for (i, px) in px.iter().enumerate() {
                pairs
                    .mat
                    .push(tags[*tag][order.file_index(i)].drawn - drawing.middle);
                pairs.px.push(*px);
            }
        }
        pairs
    };
    let agreed: Vec<_> = found
        .iter()
        .map(|p| pairs(p, CornerOrder::AS_AGREED))
        .collect();
    let order = start::corner_order(&agreed);
    let ordered: Vec<_> = found.iter().map(|p| pairs(p, order)).collect();
    if flat {
        for (photo, pairs) in photos.iter().zip(&ordered) {
            let (rms_px, side) = start::plane_misfit(pairs);
            if rms_px > OTHER_MAT * side {
                let (photo, mat) = (photo.photo.clone(), mat.name.clone());
                return Err(SolveError::TagsDoNotFit { photo, mat, rms_px });
            }
        }
    }

    let cameras: Vec<CameraKey> = photos
        .iter()
        .map(sensor_key)
        .collect::<BTreeSet<_>>()
        .into_iter()
        .collect();
    let lens_of = |photo: &PhotoTags| cameras.iter().position(|c| *c == sensor_key(photo));
    let shots: Vec<Shot> = photos
        .iter()
        .zip(&turns)
        .map(|(photo, turn)| Shot {
            lens: lens_of(photo).unwrap_or(0),
            turn: *turn,
            sd_px: FIRST_SD_PX,
        })
        .collect();
    let (lenses, poses) = first_cameras(&shots, photos, ordered, cameras.len())?;

    let mut tag_views = Vec::new();
    for (shot, photo) in found.iter().enumerate() {
        for (tag, px) in photo {
            let mut in_file_order = [[0.0; 2]; 4];
            px.iter()
                .enumerate()
                .for_each(|(i, px)| in_file_order[order.file_index(i)] = *px);
            let view = TagView {
                shot,
                tag: *tag,
                px: in_file_order,
                weight: [1.0; 4],
                dropped: false,
            };
            tag_views.push(view);
        }
    }
    let mut priors = Priors::PAGE;
    priors.on = options.priors;
    priors.aspect = mat.print_scale().aspect_sd;
    let sheets = drawing.sheet_middles.len();
    let state = State {
        poses,
        print: Print {
            aspect: 0.0,
            bow: [0.0; 3],
            sheets: vec![[0.0; 3]; sheets - 1],
        },
        heights: vec![0.0; tags.len()],
        marks: Vec::new(),
        lenses,
    };
    let lens_centre = state
        .lenses
        .iter()
        .map(|lens| (lens.ln_f, lens.c))
        .collect();
    let problem = Problem {
        shots,
        views: tag_views,
        taps: Vec::new(),
        tap_factor: 1.0,
        tags,
        drawing,
        flat,
        priors,
        further: vec![false; cameras.len()],
        lens_centre,
        marks: 0,
    };
    Ok(Input {
        problem,
        state,
        order,
        cameras,
        marks,
        seen_once,
    })
}

/// The camera of a photograph; the stored size is taken from the image itself.
fn sensor_key(photo: &PhotoTags) -> CameraKey {
    let turned = photo.orientation > 4;
    let (w, h) = if turned {
        (photo.height, photo.width)
    } else {
        (photo.width, photo.height)
    };
    CameraKey {
        sensor_width_px: w,
        sensor_height_px: h,
        ..photo.camera.clone()
    }
}

fn check_photos(photos: &[PhotoTags]) -> Result<Vec<Turn>, SolveError> {
    if photos.is_empty() {
        return Err(SolveError::NoPhotographs);
    }
    for (i, photo) in photos.iter().enumerate() {
        let same = |other: &&PhotoTags| {
            other.photo == photo.photo || (!photo.tags.is_empty() && other.tags == photo.tags)
        };
        if let Some(other) = photos[..i].iter().find(same) {
            let (first, second) = (other.photo.clone(), photo.photo.clone());
            return Err(SolveError::SamePhotographTwice { first, second });
        }
    }
    let turn = |photo: &PhotoTags| {
        let bad = |what| SolveError::BadPhotograph {
            photo: photo.photo.clone(),
            what,
        };
        let largest = f64::from(photo.width.max(photo.height));
        if photo.width == 0 || photo.height == 0 || largest > LARGEST_PX {
            return Err(bad("its size is not that of a picture"));
        }
        Turn::new(photo.orientation, photo.width, photo.height)
            .ok_or_else(|| bad("its orientation is not one of 1 to 8"))
    };
    photos.iter().map(turn).collect()
}

/// The photograph's tags that are on the mat, turned to the sensor.
fn usable_tags(
    mat: &Mat,
    photo: &PhotoTags,
    turn: &Turn,
    index: &BTreeMap<u32, usize>,
) -> Result<Vec<FoundTag>, SolveError> {
    let name = || photo.photo.clone();
    let mut usable = Vec::new();
    let mut ids = BTreeSet::new();
    for tag in &photo.tags {
        if !ids.insert(tag.id) {
            return Err(SolveError::TagTwice {
                photo: name(),
                id: tag.id,
            });
        }
        if !tag
            .corners_px
            .iter()
            .flatten()
            .all(|v| v.abs() <= LARGEST_PX)
        {
            return Err(SolveError::BadCorner {
                photo: name(),
                id: tag.id,
            });
        }
        if let Some(i) = index.get(&tag.id) {
            usable.push((*i, tag.corners_px.map(|px| turn.sensor_from_photo(px))));
        }
    }
    if usable.is_empty() && !photo.tags.is_empty() {
        let (mat, seen) = (mat.name.clone(), photo.tags.len());
        return Err(SolveError::UnknownMat {
            photo: name(),
            mat,
            seen,
        });
    }
    if usable.len() < FEWEST_TAGS {
        let (seen, needed) = (usable.len(), FEWEST_TAGS);
        return Err(SolveError::TooFewTags {
            photo: name(),
            seen,
            needed,
        });
    }
    Ok(usable)
}

/// Marks in order of first appearance, each with its taps; those seen once apart.
fn group_marks<'a>(
    photos: &[PhotoTags],
    views: &'a [MarkView],
    options: &SolveOptions,
) -> Result<(Vec<Mark<'a>>, Vec<MarkName>), SolveError> {
    let mut marks: Vec<Mark<'a>> = Vec::new();
    for view in views {
        let (mark, photo) = (view.mark.clone(), view.photo.clone());
        let Some(shot) = photos.iter().position(|p| p.photo == view.photo) else {
            return Err(SolveError::NoSuchPhotograph { mark, photo });
        };
        if let Some(what) = impossible(view, &photos[shot]) {
            return Err(SolveError::BadMark { mark, photo, what });
        }
        let at = marks
            .iter()
            .position(|m| m.name == view.mark)
            .unwrap_or_else(|| {
                marks.push(Mark {
                    name: mark.clone(),
                    surface: view.surface,
                    taps: Vec::new(),
                });
                marks.len() - 1
            });
        let entry = &mut marks[at];
        if entry.surface != view.surface {
            return Err(SolveError::MixedSurface { mark });
        }
        if entry.taps.iter().any(|(s, _)| *s == shot) {
            return Err(SolveError::MarkTwice { mark, photo });
        }
        entry.taps.push((shot, view));
    }
    let (seen, once): (Vec<_>, Vec<_>) = marks.into_iter().partition(|m| m.taps.len() > 1);
    match once.first() {
        Some(mark) if !options.unfinished => {
            let photo = mark.taps[0].1.photo.clone();
            Err(SolveError::SeenOnce {
                mark: mark.name.clone(),
                photo,
            })
        }
        _ => Ok((seen, once.into_iter().map(|m| m.name).collect())),
    }
}

fn impossible(view: &MarkView, photo: &PhotoTags) -> Option<&'static str> {
    let [x, y] = view.px;
    if !(x.is_finite() && y.is_finite()) {
        return Some("its place is not a number");
    }
    if !(0.0..=f64::from(photo.width)).contains(&x) || !(0.0..=f64::from(photo.height)).contains(&y)
    {
        return Some("it lies outside the picture");
    }
    if !(view.sd_px > 0.0 && view.sd_px <= VAGUEST_TAP_PX) {
        return Some("its ± is not a positive number of pixels");
    }
    None
}

/// The mat as drawn, bars applied; whether it is a sheet.
fn drawn(mat: &Mat) -> (Drawing, Vec<[Corner; 4]>, bool) {
    let scale = mat.print_scale();
    let [fx, fy] = scale.factor;
    // Relief is not printed; it scales with neither bar.
    let place = |c: &[f64; 3]| Vector3::new(c[0] * fx, c[1] * fy, c[2]);
    let all = |sheet: Option<usize>| {
        let on = mat
            .tags
            .iter()
            .filter(move |tag| sheet.is_none_or(|s| tag.sheet == s));
        on.flat_map(|tag| tag.corners_mm.iter().map(place))
            .collect::<Vec<_>>()
    };
    let middle_of = |points: &[Vector3<f64>]| {
        let low = points.iter().fold(points[0], |a, p| a.inf(p));
        let high = points.iter().fold(points[0], |a, p| a.sup(p));
        ((low + high) / 2.0, (high - low).xy().max() / 2.0)
    };
    let corners = all(None);
    let (middle, half) = middle_of(&corners);
    let sheets = mat.tags.iter().map(|tag| tag.sheet).max().unwrap_or(0) + 1;
    let sheet_middles = (0..sheets).map(|s| middle_of(&all(Some(s))).0).collect();
    let (_, _, thick) = start::plane(&corners);
    let tags = mat.tags.iter().map(|tag| {
        tag.corners_mm.map(|c| {
            let drawn = place(&c);
            let off = (drawn - middle) / half;
            Corner {
                drawn,
                uv: [off.x, off.y],
                sheet: tag.sheet,
            }
        })
    });
    let drawing = Drawing {
        middle,
        aspect_share: scale.aspect_share,
        sheet_middles,
    };
    (drawing, tags.collect(), thick < SHEET_RELIEF)
}

/// Starting lens of every camera and pose of every photograph.
fn first_cameras(
    shots: &[Shot],
    photos: &[PhotoTags],
    pairs: Vec<Pairs>,
    cameras: usize,
) -> Result<(Vec<Lens>, Vec<Pose>), SolveError> {
    let mut pairs: Vec<Option<Pairs>> = pairs.into_iter().map(Some).collect();
    let mut poses: Vec<Option<Pose>> = vec![None; shots.len()];
    let mut lenses = Vec::with_capacity(cameras);
    for camera in 0..cameras {
        let own: Vec<usize> = (0..shots.len())
            .filter(|s| shots[*s].lens == camera)
            .collect();
        let exif: Vec<f64> = own
            .iter()
            .filter_map(|s| photos[*s].exif_focal_px)
            .filter(|f| f.is_finite() && *f > 0.0)
            .collect();
        let exif = (!exif.is_empty()).then(|| start::median(exif));
        let sensor_px = shots[own[0]].turn.sensor_px;
        let own_pairs: Vec<Pairs> = own.iter().filter_map(|s| pairs[*s].take()).collect();
        let (lens, found) =
            start::lens_and_poses(&own_pairs, sensor_px, exif).ok_or(SolveError::NoConvergence)?;
        own.iter()
            .zip(found)
            .for_each(|(s, pose)| poses[*s] = Some(pose));
        lenses.push(lens);
    }
    let poses: Option<Vec<Pose>> = poses.into_iter().collect();
    Ok((lenses, poses.ok_or(SolveError::NoConvergence)?))
}

impl Input<'_> {
    /// Adds every mark at the place where its rays meet.
    pub fn place_marks(&mut self, options: &SolveOptions) -> Result<Vec<f64>, SolveError> {
        let mut angles = Vec::with_capacity(self.marks.len());
        for (index, mark) in self.marks.iter().enumerate() {
            let mut sight = Vec::with_capacity(mark.taps.len());
            for (shot, view) in &mark.taps {
                let px = self.problem.shots[*shot].turn.sensor_from_photo(view.px);
                sight.push(start::tap_ray(&self.problem, &self.state, *shot, px));
                self.problem.taps.push(Tap {
                    shot: *shot,
                    mark: index,
                    px,
                    sd_px: view.sd_px,
                });
            }
            let angle_deg = rays::widest_deg(&sight);
            let place = rays::meet(&sight).filter(|_| angle_deg >= options.min_rays_deg);
            self.state
                .marks
                .push(place.ok_or_else(|| SolveError::NarrowRays {
                    mark: mark.name.clone(),
                    angle_deg,
                    needed_deg: options.min_rays_deg,
                })?);
            angles.push(angle_deg);
        }
        self.problem.marks = self.marks.len();
        Ok(angles)
    }
}
