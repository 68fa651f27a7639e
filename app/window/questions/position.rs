//! How the cast is taken: intended position, before the plaster is wet.

use super::line::line;
use super::record::PutOff;
use super::{Kind, Question, Scale, item};
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::cast_record::{
    Cast, CastPosition, CastRecord, Covering, FirstRay, Midtarsal, RearfootHeld, SkinCover,
};
use plinthside_visit::{Entry, Lang, Text, Visit};

/// The questions of the position, in the order of the work.
pub fn position() -> Vec<Box<dyn Question>> {
    let deg = |low, high| Scale {
        low,
        high,
        step: 1.0,
        unit: "deg",
        repeats: false,
    };
    let scale = |low, high, unit| Scale {
        low,
        high,
        step: 1.0,
        unit,
        repeats: false,
    };
    vec![
        word(
            "cast.position",
            "The patient lies",
            "Der Patient liegt",
            CastPosition::ALL,
            CastPosition::label,
            |c| &mut c.record.position,
        ),
        number(
            "cast.knee_flexion_deg",
            "Knee flexion",
            "Kniebeugung",
            deg(0.0, 120.0),
            |c| &mut c.record.knee_flexion_deg,
        ),
        word(
            "cast.rearfoot_held",
            "Rearfoot held",
            "Rückfuß gehalten",
            RearfootHeld::ALL,
            RearfootHeld::label,
            |c| &mut c.record.rearfoot_held,
        ),
        word(
            "cast.midtarsal",
            "Midtarsal joint",
            "Mittelfußgelenk",
            Midtarsal::ALL,
            Midtarsal::label,
            |c| &mut c.record.midtarsal,
        ),
        word(
            "cast.first_ray",
            "First ray",
            "Erster Strahl",
            FirstRay::ALL,
            FirstRay::label,
            |c| &mut c.record.first_ray,
        ),
        number(
            "cast.foot_to_leg_intended_deg",
            "Foot to leg, intended",
            "Fuß zu Bein, vorgesehen",
            deg(-50.0, 30.0),
            |c| &mut c.record.foot_to_leg_intended_deg,
        ),
        word(
            "cast.skin_cover",
            "Between skin and plaster",
            "Zwischen Haut und Gips",
            SkinCover::ALL,
            SkinCover::label,
            |c| &mut c.record.skin_cover,
        ),
        word(
            "cast.covering",
            "Over or under the plaster",
            "Über oder unter dem Gips",
            Covering::ALL,
            Covering::label,
            |c| &mut c.record.covering,
        ),
        number(
            "cast.water_cel",
            "Water",
            "Wasser",
            scale(10.0, 45.0, "Cel"),
            |c| &mut c.record.water_cel,
        ),
        number(
            "cast.layers_overlap",
            "Layers where slabs overlap",
            "Lagen an der Überlappung",
            scale(1.0, 20.0, ""),
            |c| &mut c.record.layers_overlap,
        ),
        line(
            "cast.slab_pattern",
            "How the slabs are laid",
            "Wie die Longuetten liegen",
            |v, side| &mut record_mut(v, side).slab_pattern,
        ),
        line(
            "cast.extent",
            "From where to where",
            "Von wo bis wo",
            |v, side| &mut record_mut(v, side).extent,
        ),
        line("cast.marked_by", "Marked by", "Markiert von", |v, side| {
            &mut record_mut(v, side).marked_by
        }),
        line("cast.cast_by", "Cast by", "Gegipst von", |v, side| {
            &mut record_mut(v, side).cast_by
        }),
        Box::new(PutOff),
    ]
}

/// What was intended, in one line for the timer.
pub fn intended(visit: &Visit, side: Side, lang: Lang) -> String {
    let shown: Vec<String> = position()
        .iter()
        .take(6)
        .filter_map(|q| {
            let value = q.shown(visit, side, lang);
            (!value.is_empty()).then(|| format!("{}: {value}", q.label(lang)))
        })
        .collect();
    shown.join(" · ")
}

/// The cast record of one side, made if it was not there.
pub fn record_mut(visit: &mut Visit, side: Side) -> &mut CastRecord {
    &mut cast_mut(visit, side).record
}

/// The latest cast of one side, made if there is none yet.
pub fn cast_mut(visit: &mut Visit, side: Side) -> &mut Cast {
    let index = visit
        .casts
        .iter()
        .rposition(|c| c.side == side)
        .unwrap_or_else(|| {
            let id = format!("cast-{}", visit.casts.len() + 1);
            visit.casts.push(Cast::new(id, side));
            visit.casts.len() - 1
        });
    &mut visit.casts[index]
}

/// What a field of the record holds, read through the writing accessor on a copy: one accessor a
/// field is enough.
fn field<T: Clone>(
    visit: &Visit,
    side: Side,
    access: fn(&mut Cast) -> &mut Option<T>,
) -> Option<T> {
    access(&mut visit.cast(side)?.clone()).clone()
}

type Label<W> = fn(&W, Lang) -> &str;

struct WordOf<W: 'static> {
    key: &'static str,
    label: Text,
    all: &'static [W],
    of: Label<W>,
    access: fn(&mut Cast) -> &mut Option<W>,
}

pub(super) fn word<W: Clone + PartialEq + 'static>(
    key: &'static str,
    en: &str,
    de: &str,
    all: &'static [W],
    of: Label<W>,
    access: fn(&mut Cast) -> &mut Option<W>,
) -> Box<dyn Question> {
    Box::new(WordOf {
        key,
        label: Text::new(en, de),
        all,
        of,
        access,
    })
}

impl<W: Clone + PartialEq + 'static> Question for WordOf<W> {
    fn key(&self) -> String {
        self.key.to_owned()
    }

    fn label(&self, lang: Lang) -> String {
        self.label.get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        field(visit, side, self.access).map_or_else(String::new, |w| (self.of)(&w, lang).to_owned())
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = field(visit, side, self.access);
        self.all
            .iter()
            .map(|w| item((self.of)(w, lang), now.as_ref() == Some(w)))
            .collect()
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        let Some(word) = self.all.get(index) else {
            return;
        };
        let place = (self.access)(cast_mut(visit, side));
        *place = if place.as_ref() == Some(word) {
            None
        } else {
            Some(word.clone())
        };
    }
}

struct NumberOf {
    key: &'static str,
    label: Text,
    scale: Scale,
    access: fn(&mut Cast) -> &mut Option<Entry>,
}

pub(super) fn number(
    key: &'static str,
    en: &str,
    de: &str,
    scale: Scale,
    access: fn(&mut Cast) -> &mut Option<Entry>,
) -> Box<dyn Question> {
    Box::new(NumberOf {
        key,
        label: Text::new(en, de),
        scale,
        access,
    })
}

impl Question for NumberOf {
    fn key(&self) -> String {
        self.key.to_owned()
    }

    fn label(&self, lang: Lang) -> String {
        self.label.get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Number(self.scale)
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let value = field(visit, side, self.access).and_then(|e| e.value);
        value.map_or_else(String::new, |v| self.printed(v, lang))
    }

    fn numbers(&self, visit: &Visit, side: Side) -> Vec<Entry> {
        field(visit, side, self.access).into_iter().collect()
    }

    fn write(&self, visit: &mut Visit, side: Side, numbers: Vec<Entry>) {
        *(self.access)(cast_mut(visit, side)) = numbers.into_iter().next_back();
    }
}
