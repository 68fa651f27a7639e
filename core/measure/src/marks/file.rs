//! The marks file: what was tapped in the photographs, and what was measured by hand beside it.

use super::{MarkName, Side, Surface};
use crate::cast::{Settings, Wall};
use crate::leg::{Leg, LegError};
use crate::observed::{MarkView, PhotoTags, Px};
use crate::ruler::{RulerEntry, RulerError};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use thiserror::Error;

/// Tap sd where a mark states none, pixels.
pub const DEFAULT_TAP_SD_PX: f64 = 1.5;
/// Sd of a wall measured by hand where none is stated. Common practice, no source.
pub const DEFAULT_WALL_SD_MM: f64 = 0.5;

/// A traced area around a mark in one photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outline {
    /// The mark it surrounds.
    pub mark: MarkName,
    /// Name of the photograph.
    pub photo: String,
    /// Its line, in the photo frame.
    #[serde(rename = "points")]
    pub points_px: Vec<Px>,
}

/// A checked marks file.
#[derive(Debug, Clone, PartialEq)]
pub struct Marks {
    /// Recorded side.
    pub side: Side,
    /// Taps in photographs.
    pub views: Vec<MarkView>,
    /// Thickness of the wall, if measured.
    pub wall: Option<Wall>,
    /// Traced outlines.
    pub outlines: Vec<Outline>,
    /// Ruler and calliper entries; empty if none.
    pub ruler: RulerEntry,
    /// The patient's own dimensions.
    pub leg: Leg,
    /// Choices for the results.
    pub settings: Settings,
    /// What the reader should know about the file.
    pub warnings: Vec<String>,
}

/// What is wrong with a marks file.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum MarksError {
    /// Not JSON, or not of this form.
    #[error("the marks file can't be read: {0}; correct that place or save the marks again")]
    Form(String),
    /// Neither left nor right.
    #[error("the marks file must say \"side\": \"left\" or \"right\"{}", found.as_ref().map_or(String::new(), |f| format!(", not {f}")))]
    Side {
        /// What stands there instead.
        found: Option<String>,
    },
    /// A mark without a name.
    #[error("mark number {number} has no name; name it, for example \"mtp-1\"")]
    NoName {
        /// Counted from 1.
        number: usize,
    },
    /// The same mark twice in one photograph.
    #[error("{mark} is marked twice in {photo}; keep one of the two")]
    Twice {
        /// Which mark.
        mark: MarkName,
        /// Which photograph.
        photo: String,
    },
    /// One mark on both faces.
    #[error(
        "{mark} is said to be inside the shell in one photograph and outside in another; give the two dots different names"
    )]
    BothFaces {
        /// Which mark.
        mark: MarkName,
    },
    /// One mark both plantar and at the side of the joint.
    #[error(
        "{mark} is said to be plantar in one photograph and at the side of the joint in another; say the same in all"
    )]
    BothPlaces {
        /// Which mark.
        mark: MarkName,
    },
    /// A position that lies in no photograph.
    #[error("{mark} lies at ({x}, {y}) px, outside {photo}{}; mark it again", size.map_or(String::new(), |[w, h]| format!(" ({w} × {h} px)")))]
    OutsidePhoto {
        /// Which mark.
        mark: MarkName,
        /// Which photograph.
        photo: String,
        /// Position.
        x: f64,
        /// Position.
        y: f64,
        /// Size of the photograph, if known.
        size: Option<[u32; 2]>,
    },
    /// A photograph that is not among those given.
    #[error(
        "{mark} is marked in {photo}, which is not among the photographs given; add that photograph or correct the name"
    )]
    UnknownPhoto {
        /// Which mark.
        mark: MarkName,
        /// Which photograph.
        photo: String,
    },
    /// A number out of range.
    #[error("{what} is {value}; {remedy}")]
    OutOfRange {
        /// Which number.
        what: String,
        /// Its value.
        value: f64,
        /// What to enter.
        remedy: &'static str,
    },
    /// A dimension of the leg.
    #[error(transparent)]
    Leg(#[from] LegError),
    /// A ruler entry.
    #[error(transparent)]
    Ruler(#[from] RulerError),
}

#[derive(Deserialize)]
struct FileForm {
    side: Option<serde_json::Value>,
    #[serde(default)]
    marks: Vec<MarkForm>,
    wall_mm: Option<f64>,
    wall_sd_mm: Option<f64>,
    #[serde(default)]
    outlines: Vec<Outline>,
    #[serde(default)]
    ruler: RulerEntry,
    #[serde(default)]
    leg: Leg,
    #[serde(default)]
    settings: Settings,
    #[serde(flatten)]
    unknown: BTreeMap<String, serde::de::IgnoredAny>,
}

#[derive(Deserialize)]
struct MarkForm {
    mark: String,
    photo: String,
    x: f64,
    y: f64,
    sd_px: Option<f64>,
    #[serde(default)]
    surface: Surface,
    place: Option<Place>,
    #[serde(flatten)]
    unknown: BTreeMap<String, serde::de::IgnoredAny>,
}

/// Where at the joint an MTP mark sits.
#[derive(Clone, Copy, PartialEq, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Place {
    Plantar,
    Side,
}

impl Marks {
    /// Reads a marks file.
    ///
    /// # Errors
    /// The first thing that can't be taken as it stands, in words.
    pub fn from_json(text: &str) -> Result<Self, MarksError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let form: FileForm =
            serde_json::from_str(text).map_err(|e| MarksError::Form(e.to_string()))?;
        let side = match form.side {
            Some(serde_json::Value::String(s)) if s == "left" => Side::Left,
            Some(serde_json::Value::String(s)) if s == "right" => Side::Right,
            other => {
                return Err(MarksError::Side {
                    found: other.map(|value| value.to_string()),
                });
            }
        };
        let mut warnings = Vec::new();
        let unknown = form
            .unknown
            .keys()
            .chain(form.marks.iter().flat_map(|m| m.unknown.keys()));
        let mut unknown: Vec<&str> = unknown.map(String::as_str).collect();
        unknown.sort_unstable();
        unknown.dedup();
        if !unknown.is_empty() {
            warnings.push(format!(
                "The marks file holds what is not used here: {}.",
                unknown.join(", ")
            ));
        }
        form.leg.check()?;
        form.ruler.check()?;
        let mut settings = form.settings;
        let mut views: Vec<MarkView> = Vec::with_capacity(form.marks.len());
        let mut places: BTreeMap<MarkName, Option<Place>> = BTreeMap::new();
        for (i, mark) in form.marks.into_iter().enumerate() {
            let place = mark.place;
            let view = view(i, mark)?;
            check_against_earlier(&view, &views)?;
            let stated = places.entry(view.mark.clone()).or_insert(place);
            match (*stated, place) {
                (Some(a), Some(b)) if a != b => {
                    return Err(MarksError::BothPlaces { mark: view.mark });
                }
                (None, Some(_)) => *stated = place,
                _ => {}
            }
            views.push(view);
        }
        for (mark, place) in places {
            if place == Some(Place::Side) {
                settings.side_of_joint.insert(mark);
            } else if place.is_none() && mark.is_mtp() && !settings.side_of_joint.contains(&mark) {
                warnings.push(format!("{mark} doesn't say whether it is plantar or at the side of the joint; taken as plantar."));
            }
        }
        for outline in &form.outlines {
            check_outline(outline)?;
        }
        let wall = wall(form.wall_mm, form.wall_sd_mm)?;
        Ok(Self {
            side,
            views,
            wall,
            outlines: form.outlines,
            ruler: form.ruler,
            leg: form.leg,
            settings,
            warnings,
        })
    }

    /// Checks every position against the photographs' sizes.
    ///
    /// # Errors
    /// A photograph that is not given, a position outside its photograph.
    pub fn check_photos(&self, photos: &[PhotoTags]) -> Result<(), MarksError> {
        let taps = self
            .views
            .iter()
            .map(|view| (&view.mark, &view.photo, &view.px));
        let traced = self.outlines.iter().flat_map(|outline| {
            outline
                .points_px
                .iter()
                .map(|px| (&outline.mark, &outline.photo, px))
        });
        for (mark, name, &[x, y]) in taps.chain(traced) {
            let Some(photo) = photos.iter().find(|photo| photo.photo == *name) else {
                return Err(MarksError::UnknownPhoto {
                    mark: mark.clone(),
                    photo: name.clone(),
                });
            };
            if x > f64::from(photo.width) || y > f64::from(photo.height) {
                return Err(MarksError::OutsidePhoto {
                    mark: mark.clone(),
                    photo: name.clone(),
                    x,
                    y,
                    size: Some([photo.width, photo.height]),
                });
            }
        }
        Ok(())
    }
}

/// No photograph is larger; keeps later arithmetic far from overflow.
const LARGEST_PX: f64 = 1e6;

fn inside_any_photo([x, y]: Px) -> bool {
    (0.0..=LARGEST_PX).contains(&x) && (0.0..=LARGEST_PX).contains(&y)
}

fn view(index: usize, form: MarkForm) -> Result<MarkView, MarksError> {
    let name = form.mark.trim();
    if name.is_empty() {
        return Err(MarksError::NoName { number: index + 1 });
    }
    let mark = MarkName::from(name);
    if !inside_any_photo([form.x, form.y]) {
        let (x, y) = (form.x, form.y);
        return Err(MarksError::OutsidePhoto {
            mark,
            photo: form.photo,
            x,
            y,
            size: None,
        });
    }
    let sd_px = form.sd_px.unwrap_or(DEFAULT_TAP_SD_PX);
    if !(0.01..=100.0).contains(&sd_px) {
        return Err(MarksError::OutOfRange {
            what: format!("sd_px of {mark} in {}", form.photo),
            value: sd_px,
            remedy: "enter pixels from 0.01 to 100",
        });
    }
    Ok(MarkView {
        mark,
        photo: form.photo,
        px: [form.x, form.y],
        sd_px,
        surface: form.surface,
    })
}

fn check_against_earlier(view: &MarkView, earlier: &[MarkView]) -> Result<(), MarksError> {
    for other in earlier.iter().filter(|other| other.mark == view.mark) {
        if other.photo == view.photo {
            return Err(MarksError::Twice {
                mark: view.mark.clone(),
                photo: view.photo.clone(),
            });
        }
        if other.surface != view.surface {
            return Err(MarksError::BothFaces {
                mark: view.mark.clone(),
            });
        }
    }
    Ok(())
}

fn check_outline(outline: &Outline) -> Result<(), MarksError> {
    for &[x, y] in &outline.points_px {
        if !inside_any_photo([x, y]) {
            return Err(MarksError::OutsidePhoto {
                mark: outline.mark.clone(),
                photo: outline.photo.clone(),
                x,
                y,
                size: None,
            });
        }
    }
    Ok(())
}

fn wall(mm: Option<f64>, sd_mm: Option<f64>) -> Result<Option<Wall>, MarksError> {
    let Some(mm) = mm else { return Ok(None) };
    let sd_mm = sd_mm.unwrap_or(DEFAULT_WALL_SD_MM);
    let checks = [
        (
            "wall_mm",
            mm,
            0.5..=50.0,
            "enter the wall's thickness in millimetres, from 0.5 to 50",
        ),
        (
            "wall_sd_mm",
            sd_mm,
            0.0..=20.0,
            "enter millimetres from 0 to 20",
        ),
    ];
    for (what, value, range, remedy) in checks {
        if !range.contains(&value) {
            return Err(MarksError::OutOfRange {
                what: what.to_owned(),
                value,
                remedy,
            });
        }
    }
    Ok(Some(Wall { mm, sd_mm }))
}
