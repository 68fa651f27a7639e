//! What hand and eye check on the shell: wall, cracks, dents, rock, how far the plaster reaches.

use super::position::{number, word};
use super::record::MarksMissing;
use super::{Question, Scale};
use plinthside_measure::marks::Side;
use plinthside_visit::Lang;
use plinthside_visit::cast_record::{Crack, DentPlace, Packing};

/// The questions about the shell, in the order of handling it.
pub fn inspection() -> Vec<Box<dyn Question>> {
    let mm = |high, step| Scale {
        low: 0.0,
        high,
        step,
        unit: "mm",
        repeats: false,
    };
    vec![
        word(
            "inspection.crack",
            "Cracks",
            "Risse",
            Crack::ALL,
            Crack::label,
            |c| &mut c.inspection.crack,
        ),
        number(
            "inspection.rock_mm",
            "Rock at the edge on a flat table",
            "Kippeln am Rand auf ebenem Tisch",
            mm(20.0, 1.0),
            |c| &mut c.inspection.rock_mm,
        ),
        number(
            "inspection.wall_min_mm",
            "Thinnest wall",
            "Dünnste Wand",
            mm(15.0, 0.5),
            |c| &mut c.inspection.wall_min_mm,
        ),
        Box::new(MarksMissing),
        word(
            "inspection.skin_wiped",
            "Marks on the skin",
            "Markierungen auf der Haut",
            &[false, true],
            |wiped, lang| match (wiped, lang) {
                (false, Lang::En) => "still there",
                (false, Lang::De) => "noch da",
                (true, Lang::En) => "wiped off",
                (true, Lang::De) => "abgewischt",
            },
            |c| &mut c.inspection.skin_wiped,
        ),
        word(
            "cast.side_written",
            "Letter on the plaster",
            "Buchstabe auf dem Gips",
            &[Side::Left, Side::Right],
            |side, _| match side {
                Side::Left => "L",
                Side::Right => "R",
            },
            |c| &mut c.record.side_written,
        ),
        number(
            "cast.foot_to_leg_reached_deg",
            "Foot to leg, reached",
            "Fuß zu Bein, erreicht",
            Scale {
                low: -50.0,
                high: 30.0,
                step: 1.0,
                unit: "deg",
                repeats: false,
            },
            |c| &mut c.record.foot_to_leg_reached_deg,
        ),
        number(
            "inspection.wall_heel_ankle_mm",
            "Thinnest wall at heel or ankle",
            "Dünnste Wand an Ferse oder Knöchel",
            mm(15.0, 0.5),
            |c| &mut c.inspection.wall_heel_ankle_mm,
        ),
        number(
            "inspection.wall_max_mm",
            "Thickest wall",
            "Dickste Wand",
            mm(25.0, 0.5),
            |c| &mut c.inspection.wall_max_mm,
        ),
        number(
            "inspection.dent_mm",
            "Deepest thumb print or fold",
            "Tiefster Daumenabdruck oder Falte",
            mm(20.0, 1.0),
            |c| &mut c.inspection.dent_mm,
        ),
        word(
            "inspection.dent_place",
            "Where it lies",
            "Wo sie liegt",
            DentPlace::ALL,
            DentPlace::label,
            |c| &mut c.inspection.dent_place,
        ),
        number(
            "inspection.past_mtp_mm",
            "Plaster past the MTP joints",
            "Gips über die MTP-Gelenke hinaus",
            mm(60.0, 5.0),
            |c| &mut c.inspection.past_mtp_mm,
        ),
        number(
            "inspection.above_malleolus_mm",
            "Plaster above the malleolus",
            "Gips über dem Knöchel",
            mm(300.0, 5.0),
            |c| &mut c.inspection.above_malleolus_mm,
        ),
        word(
            "cast.packing",
            "Packed",
            "Verpackt",
            Packing::ALL,
            Packing::label,
            |c| &mut c.record.packing,
        ),
    ]
}
