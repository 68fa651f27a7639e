//! Marks on photographs: taps, what the ink made of them, and the points they give.

use super::text::models;
use super::work::Decoded;
use plinthside_measure::ink::{self, InkDot};
use plinthside_measure::marks::{MarkName, Surface};
use plinthside_measure::mat::Mat;
use plinthside_measure::observed::{MarkView, PhotoTags, Px};
use plinthside_measure::photo::Photograph;
use plinthside_measure::predict;
use plinthside_measure::solve::Solution;
use plinthside_ui as ui;
use plinthside_visit::{Lang, format};
use slint::Image;
use std::fmt::Write;
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
    marks: Vec<MarkName>,
    chosen: usize,
    photo_index: usize,
    undo: Vec<Vec<MarkView>>,
    shown: Option<Shown>,
    asked_for: Option<usize>,
    /// Tags were looked for.
    sought: bool,
    solution: Option<Solution>,
    remark: Option<String>,
}

impl Marking {
    /// Photographs with the taps made so far.
    #[must_use]
    pub fn new(mat: Mat, photos: Vec<Photo>, taps: Vec<MarkView>) -> Self {
        let mut marks: Vec<MarkName> = ASKED.into_iter().map(MarkName::from).collect();
        for tap in &taps {
            if !marks.contains(&tap.mark) {
                marks.push(tap.mark.clone());
            }
        }
        Self {
            mat,
            photos,
            taps,
            marks,
            chosen: 0,
            photo_index: 0,
            undo: Vec::new(),
            shown: None,
            asked_for: None,
            sought: false,
            solution: None,
            remark: None,
        }
    }

    /// Whether anything is marked.
    #[must_use]
    pub fn has_taps(&self) -> bool {
        !self.taps.is_empty()
    }

    /// The taps.
    #[must_use]
    pub fn taps(&self) -> &[MarkView] {
        &self.taps
    }

    /// Photographs whose tags were not looked for yet; each is handed out once.
    pub fn unseen(&mut self) -> Vec<(usize, Photo)> {
        if std::mem::replace(&mut self.sought, true) {
            return Vec::new();
        }
        let unseen = self.photos.iter().enumerate();
        unseen
            .filter(|(_, p)| p.tags.is_none() && p.problem.is_empty())
            .map(|(i, p)| (i, p.clone()))
            .collect()
    }

    /// Index and bytes of the photograph on the screen, if it still has to be decoded; asked for
    /// once.
    pub fn wanted(&mut self) -> Option<(usize, Photo)> {
        if self.is_shown() || self.asked_for == Some(self.photo_index) {
            return None;
        }
        let photo = self.photos.get(self.photo_index)?;
        self.asked_for = Some(self.photo_index);
        Some((self.photo_index, photo.clone()))
    }

    /// Whether the photograph on the screen is decoded.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.shown
            .as_ref()
            .is_some_and(|s| s.index == self.photo_index)
    }

    /// Takes why a photograph can't be shown.
    pub fn refused(&mut self, index: usize, problem: String) {
        if let Some(photo) = self.photos.get_mut(index) {
            photo.problem = problem;
        }
    }

    /// What the last measurement says, or why there is none; empty before it.
    #[must_use]
    pub fn remark(&self) -> &str {
        self.remark.as_deref().unwrap_or_default()
    }

    /// Takes a decoded photograph with the ink found in it.
    pub fn decoded(&mut self, index: usize, Decoded { photo, pixels, ink }: Decoded) {
        self.asked_for = None;
        self.shown = Some(Shown {
            index,
            image: Image::from_rgb8(pixels),
            photo,
            ink,
        });
    }

    /// Takes what a new solution or its refusal says, and why there are no results from it yet.
    pub fn solved(&mut self, solution: Result<Solution, String>, refusal: Option<String>) {
        match solution {
            Ok(solution) => {
                self.remark =
                    refusal.or_else(|| solution.warnings.first().map(ToString::to_string));
                self.solution = Some(solution);
            }
            Err(sentence) => {
                self.solution = None;
                self.remark = Some(sentence);
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

    /// Marks that the other views place on ink of the photograph on the screen, where they are not
    /// tapped yet.
    fn proposals(&self) -> Vec<MarkView> {
        let (Some(solution), Some(shown)) = (
            &self.solution,
            self.shown.as_ref().filter(|s| s.index == self.photo_index),
        ) else {
            return Vec::new();
        };
        let photo = self.photo_name();
        let untapped = |mark: &&MarkName| {
            let here = |t: &MarkView| t.mark == **mark && t.photo == photo;
            !self.taps.iter().any(here)
        };
        let on_ink = |mark: &MarkName| {
            let place = predict::place(solution, mark, photo, ink::BARE_TAP_SD_PX).ok()??;
            let reach = place.half_axes_px[0].max(shown.photo.width as f64 / 400.0);
            let off = |dot: &&InkDot| (dot.px[0] - place.px[0]).hypot(dot.px[1] - place.px[1]);
            let dot = shown
                .ink
                .iter()
                .min_by(|a, b| off(a).total_cmp(&off(b)))
                .filter(|dot| place.inside && off(dot) <= reach)?;
            let snap = ink::snap(&shown.photo, dot.px);
            Some(MarkView {
                mark: mark.clone(),
                photo: photo.to_owned(),
                px: snap.px,
                sd_px: snap.sd_px,
                surface: self.surface(mark),
            })
        };
        self.marks
            .iter()
            .filter(untapped)
            .filter_map(on_ink)
            .collect()
    }

    /// Takes every mark that the other views place on ink here. `false` if there is none.
    pub fn take_predicted(&mut self) -> bool {
        let proposals = self.proposals();
        if proposals.is_empty() {
            return false;
        }
        self.undo.push(self.taps.clone());
        self.taps.extend(proposals);
        true
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
        let (photo, surface) = (photo.name.clone(), self.surface(&mark));
        self.undo.push(self.taps.clone());
        self.taps.retain(|t| !(t.mark == mark && t.photo == photo));
        self.taps.push(MarkView {
            mark,
            photo,
            px,
            sd_px,
            surface,
        });
        true
    }

    /// The face a mark is on: as its other taps say, inside for a new one.
    fn surface(&self, mark: &MarkName) -> Surface {
        self.taps
            .iter()
            .find(|t| t.mark == *mark)
            .map_or(Surface::Inside, |t| t.surface)
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

    /// The marks as the screen shows them.
    #[must_use]
    pub fn view(&self, lang: Lang) -> ui::MarkView {
        let here = self.tap_here().map(|t| t.px);
        let tags = self
            .photos
            .get(self.photo_index)
            .and_then(|p| p.tags.as_ref());
        let shown = self.shown.as_ref().filter(|s| s.index == self.photo_index);
        let (width, height) = shown
            .map(|s| (s.photo.width, s.photo.height))
            .or(tags.map(|t| (t.width, t.height)))
            .unwrap_or_default();
        let photos = self.photos.iter().map(|p| ui::PhotoTab {
            name: p.name.as_str().into(),
            tags: p.tags.as_ref().map_or(0, |t| t.tags.len() as i32),
            problem: p.problem.as_str().into(),
        });
        let problem = self
            .photos
            .get(self.photo_index)
            .map(|p| p.problem.clone())
            .filter(|p| !p.is_empty());
        let remark = problem.or_else(|| self.remark.clone()).unwrap_or_default();
        ui::MarkView {
            photos: models(photos.collect()),
            photo_index: self.photo_index as i32,
            photo: shown.map(|s| s.image.clone()).unwrap_or_default(),
            width_px: width as f32,
            height_px: height as f32,
            tag_outlines: tags.map(outlines).unwrap_or_default().into(),
            dots: models(self.dots(shown)),
            ghosts: models(self.ghosts()),
            items: models(
                self.marks
                    .iter()
                    .map(|mark| self.item(mark, lang))
                    .collect(),
            ),
            chosen: self.chosen as i32,
            tapped: here.is_some(),
            x_px: here.map_or(0.0, |p| p[0] as f32),
            y_px: here.map_or(0.0, |p| p[1] as f32),
            can_undo: !self.undo.is_empty(),
            proposed: self.proposals().len() as i32,
            remark: ui::Remark {
                text: remark.into(),
                source: Default::default(),
                tone: ui::Tone::Caution,
            },
        }
    }

    fn dots(&self, shown: Option<&Shown>) -> Vec<ui::PhotoDot> {
        let name = self.photo_name();
        let taps = self
            .taps
            .iter()
            .filter(|t| t.photo == name)
            .map(|t| ui::PhotoDot {
                x_px: t.px[0] as f32,
                y_px: t.px[1] as f32,
                kind: if t.sd_px < ink::BARE_TAP_SD_PX {
                    ui::DotKind::OnInk
                } else {
                    ui::DotKind::OnPlaster
                },
                item: self
                    .marks
                    .iter()
                    .position(|m| *m == t.mark)
                    .map_or(-1, |i| i as i32),
            });
        let free = |dot: &&InkDot| {
            let near = |t: &MarkView| {
                (t.px[0] - dot.px[0]).hypot(t.px[1] - dot.px[1]) < dot.size_px.max(4.0)
            };
            !self.taps.iter().filter(|t| t.photo == name).any(near)
        };
        let proposed = shown
            .into_iter()
            .flat_map(|s| s.ink.iter())
            .filter(free)
            .map(|dot| ui::PhotoDot {
                x_px: dot.px[0] as f32,
                y_px: dot.px[1] as f32,
                kind: ui::DotKind::Proposed,
                item: -1,
            });
        proposed.chain(taps).chain(self.predicted()).collect()
    }

    /// Where the chosen mark must lie in this photograph, when it is not tapped here but placed.
    fn predicted(&self) -> Option<ui::PhotoDot> {
        let mark = self.marks.get(self.chosen)?;
        if self.tap_here().is_some() {
            return None;
        }
        let place = predict::place(
            self.solution.as_ref()?,
            mark,
            self.photo_name(),
            ink::BARE_TAP_SD_PX,
        );
        let place = place.ok().flatten().filter(|place| place.inside)?;
        Some(ui::PhotoDot {
            x_px: place.px[0] as f32,
            y_px: place.px[1] as f32,
            kind: ui::DotKind::Predicted,
            item: self.chosen as i32,
        })
    }

    /// The line on which the chosen mark must lie here, from its only other view.
    fn ghosts(&self) -> Vec<ui::GhostLine> {
        let (Some(mark), Some(solution), None) =
            (self.marks.get(self.chosen), &self.solution, self.tap_here())
        else {
            return Vec::new();
        };
        let mut views = self.taps.iter().filter(|t| t.mark == *mark);
        let (Some(tap), None) = (views.next(), views.next()) else {
            return Vec::new();
        };
        let line = predict::ghost_line(solution, tap, self.photo_name(), 0.0..=TALLEST_CAST_MM)
            .unwrap_or_default();
        let piece = |ends: &[Px]| ui::GhostLine {
            x1_px: ends[0][0] as f32,
            y1_px: ends[0][1] as f32,
            x2_px: ends[1][0] as f32,
            y2_px: ends[1][1] as f32,
        };
        line.windows(2).map(piece).collect()
    }

    fn item(&self, mark: &MarkName, lang: Lang) -> ui::MarkItem {
        let views = self.taps.iter().filter(|t| t.mark == *mark).count();
        let point = self
            .solution
            .as_ref()
            .and_then(|s| s.point(mark.as_str()).map(|(i, p)| (s.sd_mm(i), p)));
        let sd_px = self
            .taps
            .iter()
            .filter(|t| t.mark == *mark)
            .map(|t| t.sd_px)
            .fold(1.0, f64::max);
        let state = match (views, point.as_ref()) {
            (0, _) => ui::MarkState::Missing,
            (1, _) => ui::MarkState::OneView,
            (_, Some((_, p))) if p.worst_residual_px > DOUBTFUL_SD * sd_px => {
                ui::MarkState::Doubtful
            }
            _ => ui::MarkState::Placed,
        };
        ui::MarkItem {
            mark: name(mark),
            name: mark.as_str().into(),
            state,
            views: views as i32,
            // The widest axis, as half of the 95 % interval.
            error: point
                .map(|(sd, _)| format!("{} mm", format::number(1.96 * sd.max(), 1, lang)))
                .unwrap_or_default()
                .into(),
        }
    }
}

fn name(mark: &MarkName) -> ui::Mark {
    match mark.as_str() {
        MarkName::MALLEOLUS_MEDIAL => ui::Mark::MalleolusMedial,
        MarkName::MALLEOLUS_LATERAL => ui::Mark::MalleolusLateral,
        MarkName::MALLEOLUS_MEDIAL_LOWER => ui::Mark::MalleolusMedialLower,
        MarkName::MALLEOLUS_LATERAL_LOWER => ui::Mark::MalleolusLateralLower,
        MarkName::MTP_1 => ui::Mark::Mtp1,
        MarkName::MTP_2 => ui::Mark::Mtp2,
        MarkName::MTP_4 => ui::Mark::Mtp4,
        MarkName::MTP_5 => ui::Mark::Mtp5,
        MarkName::HEEL_UPPER => ui::Mark::HeelUpper,
        MarkName::HEEL_LOWER => ui::Mark::HeelLower,
        MarkName::CALF_UPPER => ui::Mark::CalfUpper,
        MarkName::CALF_LOWER => ui::Mark::CalfLower,
        _ => ui::Mark::Other,
    }
}

fn outlines(tags: &PhotoTags) -> String {
    let mut commands = String::new();
    for tag in &tags.tags {
        for (i, [x, y]) in tag.corners_px.iter().enumerate() {
            let _ = write!(
                commands,
                "{} {x:.1} {y:.1} ",
                if i == 0 { "M" } else { "L" }
            );
        }
        commands.push_str("Z ");
    }
    commands
}
