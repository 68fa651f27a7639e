//! Contrast of every text and ground in use, computed from the theme as WCAG 2.2 defines it
//! (success criterion 1.4.3, relative luminance of IEC 61966-2-1 sRGB): at least 4.5 : 1; marks
//! and edges that carry meaning at least 3 : 1 (1.4.11).

mod support;

use plinthside_ui::{Colours, Theme};
use slint::{Color, ComponentHandle};
use support::{Look, open};

fn luminance(c: Color) -> f64 {
    let linear = |v: u8| {
        let v = f64::from(v) / 255.0;
        if v <= 0.040_45 {
            v / 12.92
        } else {
            ((v + 0.055) / 1.055).powf(2.4)
        }
    };
    0.2126 * linear(c.red()) + 0.7152 * linear(c.green()) + 0.0722 * linear(c.blue())
}

fn contrast(a: Color, b: Color) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn contrast_formula_gives_the_known_values() {
    let grey = Color::from_rgb_u8(0x77, 0x77, 0x77);
    let white = Color::from_rgb_u8(255, 255, 255);
    assert!((contrast(white, Color::from_rgb_u8(0, 0, 0)) - 21.0).abs() < 1e-9);
    // The grey just too light for text on white, a well-known value: 4.48 : 1.
    assert!((contrast(white, grey) - 4.48).abs() < 0.005);
}

#[test]
fn every_text_can_be_read_on_its_ground() {
    let app = open(Look::TABLET);
    let theme = app.global::<Theme>();
    for (set, c) in [
        ("light", theme.get_light_set()),
        ("dark", theme.get_dark_set()),
    ] {
        let Colours {
            paper,
            card,
            ink,
            slate,
            indelible,
            tint,
            on_indelible,
            plaster,
            ..
        } = c;
        let text = [
            (
                "ink",
                ink,
                vec![
                    ("paper", paper),
                    ("card", card),
                    ("tint", tint),
                    ("plaster", plaster),
                    ("caution ground", c.caution_ground),
                    ("stop ground", c.stop_ground),
                    ("good ground", c.good_ground),
                ],
            ),
            (
                "slate",
                slate,
                vec![
                    ("paper", paper),
                    ("card", card),
                    ("tint", tint),
                    ("plaster", plaster),
                ],
            ),
            (
                "indelible",
                indelible,
                vec![("paper", paper), ("card", card), ("tint", tint)],
            ),
            ("on indelible", on_indelible, vec![("indelible", indelible)]),
            ("paper", paper, vec![("ink", ink)]),
            (
                "caution",
                c.caution,
                vec![
                    ("caution ground", c.caution_ground),
                    ("paper", paper),
                    ("card", card),
                    ("tint", tint),
                ],
            ),
            (
                "stop",
                c.stop,
                vec![
                    ("stop ground", c.stop_ground),
                    ("paper", paper),
                    ("card", card),
                ],
            ),
            (
                "good",
                c.good,
                vec![
                    ("good ground", c.good_ground),
                    ("paper", paper),
                    ("card", card),
                ],
            ),
        ];
        for (name, colour, grounds) in text {
            for (ground_name, ground) in grounds {
                let ratio = contrast(colour, ground);
                assert!(
                    ratio >= 4.5,
                    "{set}: {name} on {ground_name} has only {ratio:.2} : 1"
                );
            }
        }
        for (name, ground) in [
            ("good", c.good_ground),
            ("caution", c.caution_ground),
            ("stop", c.stop_ground),
            ("plaster", plaster),
        ] {
            let ratio = contrast(indelible, ground);
            assert!(
                ratio >= 3.0,
                "{set}: a mark on {name} has only {ratio:.2} : 1"
            );
        }
    }
}

/// On a photograph any colour may lie behind a mark: it stands out from its own pale rim, and the
/// rim from the dark ground around the photograph (1.4.11, 3 : 1 for graphics).
#[test]
fn every_mark_on_a_photograph_stands_out() {
    let app = open(Look::TABLET);
    let c = app.global::<Theme>().get_photo();
    for (name, colour, ground) in [
        ("rim on ground", c.rim, c.ground),
        ("mark in rim", c.mark, c.rim),
        ("proposed in rim", c.proposed, c.rim),
        ("bare in rim", c.bare, c.rim),
        ("refused in rim", c.refused, c.rim),
        ("tag on ground", c.tag, c.ground),
        // Tags are printed on white paper.
        ("tag on paper", c.tag, Color::from_rgb_u8(255, 255, 255)),
    ] {
        let ratio = contrast(colour, ground);
        assert!(ratio >= 3.0, "{name} has only {ratio:.2} : 1");
    }
}
