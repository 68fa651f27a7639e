//! The named places of leg and foot on two drawings: from the inner and from the outer side. Plain
//! line work for orientation, of no particular patient.

use super::check::canvas::{Canvas, P};
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::order::Place;
use slint::{ModelRc, VecModel};
use ui::Stroke;

/// The box of both drawings, millimetres: toes to the right, heel at 0, floor at 0.
const LEFT: f64 = -34.0;
const RIGHT: f64 = 262.0;
const TOP: f64 = -268.0;
const FLOOR: f64 = 14.0;

/// Where a place lies on its drawing.
pub struct At {
    /// `medial` or `lateral`, as the record names drawings.
    pub drawing: &'static str,
    /// Toes to the right.
    place: P,
}

impl At {
    /// Share of the drawing's width from its left edge, as it is shown for one foot.
    pub fn across(&self, side: Side) -> f64 {
        (self.x(side) - left(self.inner(), side)) / (RIGHT - LEFT)
    }

    /// Share of the drawing's height from its upper edge.
    pub fn down(&self) -> f64 {
        (self.place[1] - TOP) / (FLOOR - TOP)
    }

    fn inner(&self) -> bool {
        self.drawing == "medial"
    }

    fn x(&self, side: Side) -> f64 {
        self.place[0] * forward(self.inner(), side)
    }
}

/// 1 where the toes point to the right: a left foot from its inner side, a right one from its
/// outer side.
fn forward(inner: bool, side: Side) -> f64 {
    if inner == (side == Side::Left) {
        1.0
    } else {
        -1.0
    }
}

fn left(inner: bool, side: Side) -> f64 {
    if forward(inner, side) > 0.0 {
        LEFT
    } else {
        -RIGHT
    }
}

/// Where a named place lies.
pub fn of(place: &Place) -> At {
    let (drawing, place) = match place {
        Place::MedialMalleolus => ("medial", [60.0, -86.0]),
        Place::Navicular => ("medial", [112.0, -60.0]),
        Place::Arch => ("medial", [112.0, -14.0]),
        Place::FirstMtp => ("medial", [184.0, -24.0]),
        Place::ShinCrest => ("medial", [93.0, -170.0]),
        Place::CalfBand => ("medial", [18.0, -238.0]),
        Place::LateralMalleolus => ("lateral", [52.0, -74.0]),
        Place::FifthBase => ("lateral", [106.0, -24.0]),
        Place::FifthMtp => ("lateral", [168.0, -16.0]),
        Place::Heel => ("lateral", [4.0, -26.0]),
        Place::AchillesTendon => ("lateral", [14.0, -124.0]),
        Place::FibularHead => ("lateral", [56.0, -242.0]),
        // A word of a newer version has no place on these drawings.
        Place::Other(_) => ("", [0.0, 0.0]),
    };
    At { drawing, place }
}

/// Both drawings of one foot, the one from the patient's left first.
pub fn drawings(side: Side) -> Vec<ui::PlacesView> {
    let inner_first = side == Side::Right;
    [inner_first, !inner_first]
        .map(|inner| drawing(inner, side))
        .into()
}

fn drawing(inner: bool, side: Side) -> ui::PlacesView {
    let f = forward(inner, side);
    let mut canvas = Canvas::default();
    let arch = if inner { -13.0 } else { -2.0 };
    let outline: [P; 24] = [
        [24.0, 0.0],
        [4.0, -7.0],
        [-3.0, -28.0],
        [7.0, -56.0],
        [17.0, -92.0],
        [16.0, -132.0],
        [4.0, -180.0],
        [-8.0, -226.0],
        [-9.0, -262.0],
        [87.0, -262.0],
        [95.0, -222.0],
        [96.0, -176.0],
        [92.0, -138.0],
        [97.0, -112.0],
        [116.0, -88.0],
        [146.0, -64.0],
        [180.0, -45.0],
        [214.0, -31.0],
        [240.0, -24.0],
        [251.0, -12.0],
        [240.0, 0.0],
        [184.0, 0.0],
        [124.0, arch],
        [70.0, -1.0],
    ];
    canvas.smooth(Stroke::Plaster, &outline.map(|[x, y]| [x * f, y]));
    canvas.line(
        Stroke::Ground,
        [(LEFT + 6.0) * f, 0.0],
        [(RIGHT - 4.0) * f, 0.0],
    );
    let malleolus = of(if inner {
        &Place::MedialMalleolus
    } else {
        &Place::LateralMalleolus
    });
    let [x, y] = malleolus.place;
    let ring: Vec<P> = (0..8)
        .map(|i| {
            let (sin, cos) = (f64::from(i) * std::f64::consts::FRAC_PI_4).sin_cos();
            [(x + 13.0 * cos) * f, y + 16.0 * sin]
        })
        .collect();
    canvas.smooth(Stroke::Dimension, &ring);
    // The crease before the toes.
    canvas.line(Stroke::Dimension, [206.0 * f, -34.0], [212.0 * f, -8.0]);
    let spots = Place::ALL.iter().enumerate().filter_map(|(choice, place)| {
        let at = of(place);
        (at.inner() == inner).then(|| ui::PlaceSpot {
            choice: choice as i32,
            x_mm: (at.place[0] * f) as f32,
            y_mm: at.place[1] as f32,
        })
    });
    let spots: Vec<ui::PlaceSpot> = spots.collect();
    let left = left(inner, side);
    ui::PlacesView {
        inner,
        drawing: canvas.finish(left, TOP, left + RIGHT - LEFT, FLOOR),
        spots: ModelRc::new(VecModel::from(spots)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_place_lies_on_its_drawing_apart_from_the_others_and_toes_point_as_seen() {
        for side in [Side::Left, Side::Right] {
            for place in Place::ALL {
                let at = of(place);
                assert!((0.05..0.95).contains(&at.across(side)), "{place:?}");
                assert!((0.05..0.99).contains(&at.down()), "{place:?}");
                for other in Place::ALL.iter().filter(|o| *o != place) {
                    let other = of(other);
                    let apart = (at.place[0] - other.place[0]).hypot(at.place[1] - other.place[1]);
                    assert!(at.drawing != other.drawing || apart > 44.0, "{place:?}");
                }
            }
        }
        // Seen from its inner side a left foot points to the right.
        assert!(of(&Place::FirstMtp).across(Side::Left) > of(&Place::Navicular).across(Side::Left));
        assert!(
            of(&Place::FirstMtp).across(Side::Right) < of(&Place::Navicular).across(Side::Right)
        );
    }
}
