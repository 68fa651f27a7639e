//! The marks as the screen shows them: dots, lines, the list and its words.

use super::super::text::{models, said, sentence};
use super::{DOUBTFUL_SD, Marking, Shown, TALLEST_CAST_MM};
use plinthside_measure::ink::{self, InkDot};
use plinthside_measure::marks::MarkName;
use plinthside_measure::observed::{MarkView, PhotoTags, Px};
use plinthside_measure::predict;
use plinthside_measure::quantity::NORMAL_95;
use plinthside_ui as ui;
use plinthside_visit::{Lang, format};
use std::fmt::Write;

impl Marking {
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
            problem: said(&p.problem, lang).into(),
        });
        let problem = self
            .photos
            .get(self.photo_index)
            .map(|p| p.problem.clone())
            .filter(|p| !p.is_empty());
        let remark = problem
            .or_else(|| self.remark.clone())
            .filter(|r| !r.is_empty());
        let mut told: Vec<String> = remark.iter().map(|remark| said(remark, lang)).collect();
        if self.is_stopped() {
            let why = "the search for tags was stopped, so some photographs are not measured; look for tags again on the step Photographs";
            told.insert(0, sentence(why, lang));
        }
        told.extend(self.to_tap().iter().map(|tap| sentence(tap, lang)));
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
            seekable: self.is_seekable(),
            remark: ui::Remark {
                text: told.join("\n").into(),
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
                kind: self.kind(t),
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

    /// What a tap is: refused, found by the program, or set by a hand on ink or beside it.
    fn kind(&self, tap: &MarkView) -> ui::DotKind {
        let refused = |(mark, photo): &(MarkName, String)| *mark == tap.mark && *photo == tap.photo;
        if self.wrong.iter().any(refused) {
            ui::DotKind::Refused
        } else if self.found.contains(tap) {
            ui::DotKind::Found
        } else if tap.sd_px < ink::BARE_TAP_SD_PX {
            ui::DotKind::OnInk
        } else {
            ui::DotKind::OnPlaster
        }
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
                .map(|(sd, _)| format!("{} mm", format::number(NORMAL_95 * sd.max(), 1, lang)))
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
