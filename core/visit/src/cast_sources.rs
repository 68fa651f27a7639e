//! What a cast was measured from: photographs, taps, traces, ruler lines and choices, kept so that
//! everything derived can be computed again.

use crate::examination::LegDimensions;
use crate::words::Extra;
use plinthside_measure::cast::{Settings, Wall};
use plinthside_measure::marks::{MarkName, Marks, Outline, Side, Surface};
use plinthside_measure::observed::MarkView;
use plinthside_measure::ruler::RulerEntry;
use serde::{Deserialize, Serialize};

/// Everything a cast is measured from.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CastSources {
    /// Identifier of the clinic's mat it stands on; empty without photographs.
    pub mat: String,
    /// Photographs, in the order taken in.
    pub photographs: Vec<CastPhoto>,
    /// Taps.
    pub taps: Vec<Tap>,
    /// Traced areas.
    pub outlines: Vec<Outline>,
    /// Thickness of the wall, where measured.
    pub wall: Option<Wall>,
    /// Ruler and calliper lines.
    pub ruler: RulerEntry,
    /// Choices for the results.
    pub settings: Settings,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// One photograph of a cast; its bytes are kept by the store.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CastPhoto {
    /// The name that taps refer to.
    pub id: String,
    /// SHA-256 of the file, hexadecimal.
    pub sha256: String,
}

/// One mark tapped in one photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Tap {
    /// `mark@photograph`: two devices that tap one mark in one photograph mean the same tap.
    pub id: String,
    /// Which mark.
    pub mark: MarkName,
    /// Which photograph.
    pub photo: String,
    /// Place in the photo frame, pixels.
    pub x_px: f64,
    /// Place in the photo frame, pixels.
    pub y_px: f64,
    /// Standard deviation on each axis, pixels.
    pub sd_px: f64,
    /// The face of the shell that carries the mark.
    pub surface: Surface,
    /// Put there by the program, from where the other photographs put the mark, and moved by nobody.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub found: bool,
}

impl Tap {
    /// A tap as the measurement has it, made by hand.
    #[must_use]
    pub fn of_view(view: &MarkView) -> Self {
        let [x_px, y_px] = view.px;
        Self {
            id: format!("{}@{}", view.mark, view.photo),
            mark: view.mark.clone(),
            photo: view.photo.clone(),
            x_px,
            y_px,
            sd_px: view.sd_px,
            surface: view.surface,
            found: false,
        }
    }

    /// The tap as the measurement takes it.
    #[must_use]
    pub fn view(&self) -> MarkView {
        MarkView {
            mark: self.mark.clone(),
            photo: self.photo.clone(),
            px: [self.x_px, self.y_px],
            sd_px: self.sd_px,
            surface: self.surface,
        }
    }
}

impl CastSources {
    /// Nothing was taken or entered yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Takes what a marks file holds; the leg's own dimensions stand in the examination.
    #[must_use]
    pub fn of_marks(marks: &Marks, mat: impl Into<String>, photographs: Vec<CastPhoto>) -> Self {
        Self {
            mat: mat.into(),
            photographs,
            taps: marks.views.iter().map(Tap::of_view).collect(),
            outlines: marks.outlines.clone(),
            wall: marks.wall,
            ruler: marks.ruler.clone(),
            settings: marks.settings.clone(),
            extra: Extra::new(),
        }
    }

    /// What the measurement takes, with the leg of that side.
    #[must_use]
    pub fn marks(&self, side: Side, leg: Option<&LegDimensions>) -> Marks {
        Marks {
            side,
            views: self.taps.iter().map(Tap::view).collect(),
            wall: self.wall,
            outlines: self.outlines.clone(),
            ruler: self.ruler.clone(),
            leg: leg.map(LegDimensions::to_leg).unwrap_or_default(),
            settings: self.settings.clone(),
            warnings: Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_marks_file_comes_back_from_what_is_kept_of_it() {
        let json = r#"{"side":"left","wall_mm":5,"marks":[
            {"mark":"mtp-1","photo":"a.jpg","x":10.5,"y":20.25,"sd_px":0.5,"surface":"outside","place":"side"},
            {"mark":"mtp-1","photo":"b.jpg","x":11,"y":21,"surface":"outside","place":"side"}],
            "ruler":[{"mark":"heel-upper","height_mm":[62],"forward_mm":[0],"lateral_mm":[2]}]}"#;
        let marks = Marks::from_json(json).expect("a marks file");
        let kept = CastSources::of_marks(&marks, "m", Vec::new());
        let text = serde_json::to_string(&kept).expect("JSON");
        let read: CastSources = serde_json::from_str(&text).expect("what was written");
        assert_eq!(read, kept);
        assert_eq!(read.marks(Side::Left, None), marks);
    }
}
