//! What an ordered hinge line other than the leg's own costs at the calf band.

use super::{Direction, HingeLineKind, MotionKind};
use crate::entry::Entry;
use crate::examination::Dimension;
use crate::format;
use crate::rules::Case;
use crate::words::{Lang, Text};
use plinthside_measure::cast::{
    BandPlace, CalfBand, CastPoints, Mismatch, MotionRange, OrderedLine, ResultName, Settings,
    hinge_mismatch,
};

/// How far the leg moves in the calf band on the ordered line, in words; `None` where the line is
/// the leg's own, or cast, band or range do not say enough.
#[must_use]
pub fn line_cost(case: &Case<'_>) -> Option<Text> {
    let found = mismatch(case)?;
    let in_lang = |lang| {
        let largest = &found.largest;
        // Whole millimetres as everything on the bench sheet, the ± rounded up.
        let mm = format::number(largest.value, 0, lang);
        let half = format::number(largest.plus_minus().total.ceil(), 0, lang);
        let deg = format::quantity(found.at.turn_deg.abs(), "deg", lang);
        let (place, dorsal) = (place(found.at.place, lang), found.at.turn_deg > 0.0);
        match lang {
            Lang::En => {
                let turn = if dorsal {
                    "dorsiflexed"
                } else {
                    "plantarflexed"
                };
                format!(
                    "On this hinge line the leg moves up to {mm} ± {half} mm in the calf band ({place}, {deg} {turn} from the cast): leg and brace are taken to turn by the same angle, rigid and without slip, and the marks' errors as independent."
                )
            }
            Lang::De => {
                let turn = if dorsal {
                    "Dorsalextension"
                } else {
                    "Plantarflexion"
                };
                format!(
                    "Auf dieser Gelenklinie bewegt sich das Bein im Wadenband um bis zu {mm} ± {half} mm ({place}, {deg} {turn} gegenüber dem Abdruck); Bein und Orthese gelten dabei als starr, gleich weit gedreht und ohne Schlupf, die Fehler der Markierungen als unabhängig."
                )
            }
        }
    };
    Some(Text::new(in_lang(Lang::En), in_lang(Lang::De)))
}

fn mismatch(case: &Case<'_>) -> Option<Mismatch> {
    let (results, motion) = (case.results?, &case.revision?.prescription.motion);
    let line = &motion.hinge_line;
    let ordered = match line.kind.as_ref()? {
        HingeLineKind::Level => OrderedLine::Level {
            external_deg: usable(line.external_rotation_deg.as_ref())?,
        },
        _ => return None,
    };
    let leg = case.visit.leg(case.side)?;
    let band = CalfBand {
        height_mm: leg.get(Dimension::FloorToBandMm)?,
        width_mm: leg.get(Dimension::BandWidthMm)?,
        depth_mm: leg.get(Dimension::BandDepthMm)?,
    };
    // Stops count from the 90° position, the range from the pose of the cast.
    let pose_deg = results.quantities.get(&ResultName::FootToLeg)?.value;
    let passive_deg = |reading| case.visit.reading(reading, case.side)?.mean();
    let range = MotionRange {
        plantarflexion_deg: (end_deg(&motion.plantarflexion, || {
            passive_deg("ankle_plantarflexion_deg")
        })? + pose_deg)
            .max(0.0),
        dorsiflexion_deg: (end_deg(&motion.dorsiflexion, || {
            passive_deg("ankle_dorsiflexion_knee_bent_deg")
        })? - pose_deg)
            .max(0.0),
    };
    let own = Settings::default();
    let settings = case.cast.map_or(&own, |cast| &cast.sources.settings);
    let points = CastPoints::from_results(results).ok()?;
    hinge_mismatch(&points, case.side, settings, &ordered, &band, &range).ok()
}

/// Where a movement ends: at the stop, or where the patient's own passive movement does.
fn end_deg(direction: &Direction, passive: impl Fn() -> Option<f64>) -> Option<f64> {
    match direction.kind.as_ref()? {
        MotionKind::Stopped => usable(direction.stop_deg.as_ref()),
        MotionKind::Blocked => Some(0.0),
        MotionKind::Free | MotionKind::Assisted => passive(),
        MotionKind::Other(_) => None,
    }
}

fn usable(entry: Option<&Entry>) -> Option<f64> {
    entry.and_then(Entry::usable)
}

fn place(place: BandPlace, lang: Lang) -> &'static str {
    match (place, lang) {
        (BandPlace::Back, Lang::En) => "at the back",
        (BandPlace::Front, Lang::En) => "in front",
        (BandPlace::Medial, Lang::En) => "medially",
        (BandPlace::Lateral, Lang::En) => "laterally",
        (BandPlace::Back, Lang::De) => "hinten",
        (BandPlace::Front, Lang::De) => "vorn",
        (BandPlace::Medial, Lang::De) => "medial",
        (BandPlace::Lateral, Lang::De) => "lateral",
    }
}
