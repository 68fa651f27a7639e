//! The fields of a prescription as rows: name, value, why.

use super::rows::{Rows, Section, joined, some, yes_no};
use crate::language::Words;
use plinthside_visit::order::{
    BenchAngle, Direction, ForefootCorrection, HingeLineKind, MotionKind, Prescription,
    RearfootPost, ShoeWedge, Skive,
};
use plinthside_visit::{Entry, Revision};

/// Every section that has something to say.
pub(super) fn sections(p: &Prescription, revision: &Revision, w: Words) -> Vec<Section> {
    [
        motion(p, revision, w),
        hinge(p, revision, w),
        correction(p, revision, w),
        shell(p, revision, w),
        closure(p, revision, w),
        footwear(p, revision, w),
    ]
    .into_iter()
    .filter(|s| !s.rows.is_empty())
    .collect()
}

/// A direction in words: `stopped at 5°, adjustable`.
fn direction(d: &Direction, w: Words) -> Option<String> {
    let kind = d.kind.as_ref()?;
    let degrees = d.stop_deg.as_ref().map(|e| w.entry(e, "°"));
    let word = kind.label(w.0);
    let first = match (kind, degrees) {
        (MotionKind::Stopped, Some(at)) => w.with("{} at {}", &[word, &at]),
        (MotionKind::Stopped, None) => w.with("{}, angle not given", &[word]),
        (_, Some(at)) => w.with("{}, stop at {}", &[word, &at]),
        (_, None) => word.to_owned(),
    };
    joined([
        Some(first),
        d.stop.as_ref().map(|s| s.label(w.0).to_owned()),
        d.assist.as_ref().map(|a| a.label(w.0).to_owned()),
    ])
}

fn motion(p: &Prescription, revision: &Revision, w: Words) -> Section {
    let m = &p.motion;
    let mut rows = Rows::new(revision, w);
    let both = |name: &str| {
        [
            format!("motion.{name}.kind"),
            format!("motion.{name}.stop_deg"),
        ]
    };
    let paths = both("plantarflexion");
    rows.always(
        "Plantarflexion",
        direction(&m.plantarflexion, w),
        &[&paths[0], &paths[1]],
    );
    let paths = both("dorsiflexion");
    rows.always(
        "Dorsiflexion",
        direction(&m.dorsiflexion, w),
        &[&paths[0], &paths[1]],
    );
    let angle = m
        .bench_angle
        .as_ref()
        .map(|kind| match (kind, &m.bench_angle_deg) {
            (BenchAngle::Degrees, Some(e)) => w.with(
                "{} from the 90° position, dorsiflexed +",
                &[&w.entry(e, "°")],
            ),
            (kind, _) => kind.label(w.0).to_owned(),
        });
    rows.always("Ankle angle on the bench", angle, &["motion.bench_angle"]);
    rows.mm("Heel lift", m.heel_lift_mm.as_ref(), "motion.heel_lift_mm");
    rows.section("Motion")
}

fn hinge(p: &Prescription, revision: &Revision, w: Words) -> Section {
    let m = &p.motion;
    let l = &m.hinge_line;
    let mut rows = Rows::new(revision, w);
    rows.always(
        "Hinges",
        m.hinge_sides.as_ref().map(|s| s.label(w.0).to_owned()),
        &["motion.hinge_sides"],
    );
    let rated = m
        .hinge_rated_mass_kg
        .as_ref()
        .map(|e| w.with("rated for {}", &[&w.entry(e, " kg")]));
    let hinge = joined([
        some(&m.hinge),
        some(&m.hinge_size).map(|s| w.with("size {}", &[&s])),
        rated,
    ]);
    rows.always("Hinge", hinge, &["motion.hinge"]);
    let external = l.external_rotation_deg.as_ref().map(|e| w.entry(e, "°"));
    let line = l.kind.as_ref().map(|kind| match (kind, external) {
        (HingeLineKind::Level, Some(n)) => w.with("level, turned outward {}", &[&n]),
        (HingeLineKind::Typed, n) => joined([
            n.map(|n| w.with("turned outward {}", &[&n])),
            l.tilt_deg
                .as_ref()
                .map(|e| w.with("lateral end lower by {}", &[&w.entry(e, "°")])),
        ])
        .unwrap_or_else(|| kind.label(w.0).to_owned()),
        (kind, _) => kind.label(w.0).to_owned(),
    });
    rows.always(
        "Hinge line",
        line,
        &[
            "motion.hinge_line.kind",
            "motion.hinge_line.external_rotation_deg",
        ],
    );
    rows.given(
        "Counted",
        l.datum.as_ref().map(|d| d.label(w.0).to_owned()),
        &["motion.hinge_line.datum"],
    );
    let sides = [
        (
            "Medial hinge",
            [
                &l.medial_height_mm,
                &l.medial_from_heel_mm,
                &l.medial_down_mm,
                &l.medial_forward_mm,
            ],
            [
                "motion.hinge_line.medial_height_mm",
                "motion.hinge_line.medial_from_heel_mm",
            ],
        ),
        (
            "Lateral hinge",
            [
                &l.lateral_height_mm,
                &l.lateral_from_heel_mm,
                &l.lateral_down_mm,
                &l.lateral_forward_mm,
            ],
            [
                "motion.hinge_line.lateral_height_mm",
                "motion.hinge_line.lateral_from_heel_mm",
            ],
        ),
    ];
    for (name, [height, from_heel, down, forward], paths) in sides {
        let part = |e: &Option<Entry>, words: &str| {
            e.as_ref().map(|e| w.with(words, &[&w.entry(e, " mm")]))
        };
        let offset = |e: &Option<Entry>, words: &str| {
            part(&e.clone().filter(|e| e.usable() != Some(0.0)), words)
        };
        let value = joined([
            part(height, "{} high"),
            part(from_heel, "{} forward of the heel mark"),
            offset(down, "{} below its landmark"),
            offset(forward, "{} in front of its landmark"),
        ]);
        rows.given(name, value, &paths);
    }
    rows.section("Hinge line")
}

fn correction(p: &Prescription, revision: &Revision, w: Words) -> Section {
    let c = &p.correction;
    let mut rows = Rows::new(revision, w);
    let rearfoot = c.rearfoot_post.as_ref().and_then(|post| {
        let degrees = c.rearfoot_post_deg.as_ref().map(|e| w.entry(e, "°"));
        let first = match (post, degrees) {
            (RearfootPost::Inverted | RearfootPost::Everted, Some(n)) => {
                format!("{n} {}", post.label(w.0))
            }
            _ => post.label(w.0).to_owned(),
        };
        let hardness = c
            .rearfoot_post_hardness_shore_a
            .as_ref()
            .map(|e| format!("Shore A {}", w.entry(e, "")));
        joined([Some(first), some(&c.rearfoot_post_material), hardness])
    });
    rows.always(
        "Rearfoot post",
        rearfoot,
        &["correction.rearfoot_post", "correction.rearfoot_post_deg"],
    );
    let forefoot = c.forefoot.as_ref().and_then(|f| {
        let first = f.label(w.0).to_owned();
        if *f == ForefootCorrection::None {
            return Some(first);
        }
        joined([
            Some(first),
            c.forefoot_mm.as_ref().map(|e| w.entry(e, " mm")),
            c.forefoot_deg.as_ref().map(|e| w.entry(e, "°")),
            c.forefoot_under.as_ref().map(|u| u.label(w.0).to_owned()),
            c.forefoot_width_mm
                .as_ref()
                .map(|e| w.with("over a width of {}", &[&w.entry(e, " mm")])),
        ])
    });
    rows.always(
        "Forefoot",
        forefoot,
        &[
            "correction.forefoot",
            "correction.forefoot_mm",
            "correction.forefoot_deg",
        ],
    );
    let skive = c.skive.as_ref().and_then(|s| {
        let first = s.label(w.0).to_owned();
        if *s == Skive::None {
            return Some(first);
        }
        joined([
            Some(first),
            c.skive_mm
                .as_ref()
                .map(|e| w.with("{} deep", &[&w.entry(e, " mm")])),
            c.skive_deg
                .as_ref()
                .map(|e| w.with("at {}", &[&w.entry(e, "°")])),
        ])
    });
    rows.always(
        "Heel skive",
        skive,
        &["correction.skive", "correction.skive_mm"],
    );
    let wedge = c.shoe_wedge.as_ref().and_then(|wedge| {
        let height = c
            .shoe_wedge_mm
            .as_ref()
            .filter(|_| *wedge != ShoeWedge::None);
        joined([
            Some(wedge.label(w.0).to_owned()),
            height.map(|e| w.entry(e, " mm")),
        ])
    });
    rows.given("Wedge at the shoe", wedge, &["correction.shoe_wedge"]);
    rows.section("Correction")
}

fn shell(p: &Prescription, revision: &Revision, w: Words) -> Section {
    let s = &p.shell;
    let mut rows = Rows::new(revision, w);
    rows.always(
        "Band height from the floor",
        s.band_height_mm.as_ref().map(|e| w.entry(e, " mm")),
        &["shell.band_height_mm"],
    );
    let plastic = joined([
        some(&s.plastic),
        s.thickness_mm.as_ref().map(|e| w.entry(e, " mm")),
    ]);
    rows.always("Plastic", plastic, &["shell.plastic", "shell.thickness_mm"]);
    rows.text("Uprights", &s.uprights);
    rows.always(
        "Footplate ends",
        s.footplate_end.as_ref().map(|e| e.label(w.0).to_owned()),
        &["shell.footplate_end"],
    );
    rows.mm(
        "Toe spring",
        s.toe_spring_mm.as_ref(),
        "shell.toe_spring_mm",
    );
    let flange =
        |e: &Option<Entry>, words: &str| e.as_ref().map(|e| w.with(words, &[&w.entry(e, " mm")]));
    rows.given(
        "Flange tops from the floor",
        joined([
            flange(&s.medial_flange_top_mm, "medial {}"),
            flange(&s.lateral_flange_top_mm, "lateral {}"),
        ]),
        &["shell.medial_flange_top_mm", "shell.lateral_flange_top_mm"],
    );
    rows.given(
        "Lateral extension",
        yes_no(s.lateral_extension, w),
        &["shell.lateral_extension"],
    );
    rows.mm(
        "Heel cup depth",
        s.heel_cup_depth_mm.as_ref(),
        "shell.heel_cup_depth_mm",
    );
    rows.given(
        "Arch fill",
        s.arch_fill.as_ref().map(|a| a.label(w.0).to_owned()),
        &["shell.arch_fill"],
    );
    rows.given(
        "Build-up over the malleoli",
        joined([
            flange(&s.medial_malleolus_build_up_mm, "medial {}"),
            flange(&s.lateral_malleolus_build_up_mm, "lateral {}"),
        ]),
        &[
            "shell.medial_malleolus_build_up_mm",
            "shell.lateral_malleolus_build_up_mm",
        ],
    );
    for pad in &s.pads {
        let value = joined([
            Some(pad.place.label(w.0).to_owned()),
            pad.thickness_mm.as_ref().map(|e| w.entry(e, " mm")),
            some(&pad.material),
        ]);
        rows.given("Pad", value, &["shell.pads"]);
    }
    for spot in &s.reliefs {
        let value = joined([Some(spot.place.label(w.0).to_owned()), some(&spot.note)]);
        rows.given("Relieve", value, &["shell.reliefs"]);
    }
    rows.given(
        "Padded all over",
        yes_no(s.full_padding, w),
        &["shell.full_padding"],
    );
    rows.mm(
        "Growth allowance",
        s.growth_allowance_mm.as_ref(),
        "shell.growth_allowance_mm",
    );
    rows.section("Shell")
}

fn closure(p: &Prescription, revision: &Revision, w: Words) -> Section {
    let c = &p.closure;
    let mut rows = Rows::new(revision, w);
    for strap in &c.straps {
        let value = joined([
            Some(strap.place.label(w.0).to_owned()),
            strap.side.as_ref().map(|s| s.label(w.0).to_owned()),
            strap.hold.as_ref().map(|h| h.label(w.0).to_owned()),
            strap.long_tails.filter(|&l| l).map(|_| w.say("long tails")),
        ]);
        rows.given("Strap", value, &["closure.straps"]);
    }
    rows.given(
        "Can be let out",
        yes_no(c.adjustable, w),
        &["closure.adjustable"],
    );
    rows.text("Lining", &c.lining);
    rows.text("Cover", &c.cover);
    rows.text("Colour", &c.colour);
    rows.section("Closure")
}

fn footwear(p: &Prescription, revision: &Revision, w: Words) -> Section {
    let f = &p.footwear;
    let mut rows = Rows::new(revision, w);
    rows.mm(
        "Heel-to-ball drop",
        f.heel_to_ball_drop_mm.as_ref(),
        "footwear.heel_to_ball_drop_mm",
    );
    rows.mm(
        "Inside width at the ball",
        f.internal_width_mm.as_ref(),
        "footwear.internal_width_mm",
    );
    rows.mm(
        "Inside depth at the instep",
        f.internal_depth_mm.as_ref(),
        "footwear.internal_depth_mm",
    );
    rows.given(
        "Shoe closes with",
        f.closure.as_ref().map(|c| c.label(w.0).to_owned()),
        &["footwear.closure"],
    );
    rows.given(
        "Insole comes out",
        yes_no(f.removable_insole, w),
        &["footwear.removable_insole"],
    );
    rows.given(
        "Sent",
        f.sent.as_ref().map(|s| s.label(w.0).to_owned()),
        &["footwear.sent"],
    );
    rows.mm(
        "Raise on the other shoe",
        f.raise_other_shoe_mm.as_ref(),
        "footwear.raise_other_shoe_mm",
    );
    rows.given(
        "Trim to the shoe",
        yes_no(f.trim_to_shoe, w),
        &["footwear.trim_to_shoe"],
    );
    rows.section("Footwear")
}
