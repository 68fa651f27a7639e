//! A visit in words, line by line: every answer as its screen shows it, and what was done beside
//! the questions. What changed between two states of a visit is what differs in these lines.

use super::questions::{examination, inspection, person, position};
use plinthside_measure::marks::Side;
use plinthside_visit::person::When;
use plinthside_visit::{Lang, Text, Visit, format};

/// One line.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// What it is about: one key a line of a visit.
    pub key: String,
    /// Its name, with the side where the visit is about both.
    pub label: String,
    /// What it says.
    pub value: String,
}

/// A line of one state beside the other's; empty where there is none.
#[derive(Debug, Clone, PartialEq)]
pub struct Differing {
    /// Its name.
    pub label: String,
    /// Before.
    pub before: String,
    /// After.
    pub after: String,
}

/// Every line of a visit that says something.
pub fn lines(visit: &Visit, lang: Lang) -> Vec<Line> {
    let mut all = Vec::new();
    let first = visit.sides.first().copied().unwrap_or(Side::Left);
    for question in person() {
        let value = question.shown(visit, first, lang);
        push(&mut all, question.key(), question.title(lang), value);
    }
    let both = visit.sides.len() > 1;
    for side in &visit.sides {
        let mut of_side = Vec::new();
        for question in [examination(), position(), inspection()]
            .into_iter()
            .flatten()
        {
            let value = question.shown(visit, *side, lang);
            push(&mut of_side, question.key(), question.label(lang), value);
        }
        cast_lines(&mut of_side, visit, *side, lang);
        order_lines(&mut of_side, visit, *side, lang);
        let word = match side {
            Side::Left => Text::new("left", "links"),
            Side::Right => Text::new("right", "rechts"),
        };
        for line in &mut of_side {
            line.key = format!("{side}/{}", line.key);
            if both {
                line.label = format!("{}, {}", line.label, word.get(lang));
            }
        }
        all.append(&mut of_side);
    }
    all
}

/// What differs between two states of a visit, in the order of the work.
pub fn between(before: &[Line], after: &[Line]) -> Vec<Differing> {
    let value = |lines: &[Line], key: &str| {
        let line = lines.iter().find(|l| l.key == key);
        line.map_or_else(String::new, |l| l.value.clone())
    };
    let changed = after.iter().filter_map(|line| {
        let before = value(before, &line.key);
        (before != line.value).then(|| Differing {
            label: line.label.clone(),
            before,
            after: line.value.clone(),
        })
    });
    let gone = before
        .iter()
        .filter(|line| value(after, &line.key).is_empty());
    let gone = gone.map(|line| Differing {
        label: line.label.clone(),
        before: line.value.clone(),
        after: String::new(),
    });
    changed.chain(gone).collect()
}

fn push(all: &mut Vec<Line>, key: String, label: String, value: String) {
    if !value.is_empty() {
        all.push(Line { key, label, value });
    }
}

/// A moment of the day it belongs to.
pub fn moment(at: When, lang: Lang) -> String {
    let day = format::long_date(at.date_naive(), lang);
    format!("{day}, {}", at.format("%H:%M"))
}

fn cast_lines(all: &mut Vec<Line>, visit: &Visit, side: Side, lang: Lang) {
    let Some(cast) = visit.cast(side) else { return };
    let mut say = |key: &str, en: &str, de: &str, value: String| {
        push(
            all,
            format!("cast/{key}"),
            Text::new(en, de).get(lang).into(),
            value,
        );
    };
    let at = |when: Option<When>| when.map_or_else(String::new, |at| moment(at, lang));
    let count = |n: usize| if n == 0 { String::new() } else { n.to_string() };
    say("material", "Plaster", "Gips", cast.record.material.clone());
    say(
        "dipped",
        "First slab dipped",
        "Erste Longuette getaucht",
        at(cast.record.dipped_at),
    );
    say(
        "off",
        "Cast off",
        "Abdruck abgenommen",
        at(cast.record.removed_at),
    );
    say(
        "code",
        "Code of the cast",
        "Code des Abdrucks",
        cast.code.clone().unwrap_or_default(),
    );
    say(
        "photographs",
        "Photographs",
        "Fotos",
        count(cast.sources.photographs.len()),
    );
    say(
        "taps",
        "Marks on photographs",
        "Punkte auf Fotos",
        count(cast.sources.taps.len()),
    );
    let measured = usize::from(cast.measurement.is_some());
    say("measured", "Measurements", "Messungen", count(measured));
    let decision = cast
        .decision
        .as_ref()
        .map(|d| d.call.text().get(lang).to_owned());
    say(
        "decision",
        "Decision on the cast",
        "Entscheidung zum Abdruck",
        decision.unwrap_or_default(),
    );
}

fn order_lines(all: &mut Vec<Line>, visit: &Visit, side: Side, lang: Lang) {
    let Some(order) = visit.order(side) else {
        return;
    };
    if let Some(revision) = order.newest() {
        for line in revision.lines(lang) {
            let label = match lang {
                Lang::En => format!("Order: {}", line.field.label(lang)),
                Lang::De => format!("Auftrag: {}", line.field.label(lang)),
            };
            push(all, format!("order/{}", line.field.path), label, line.value);
        }
    }
    let mut say = |key: &str, en: &str, de: &str, value: String| {
        push(
            all,
            format!("order/{key}"),
            Text::new(en, de).get(lang).into(),
            value,
        );
    };
    let number = order.newest().map_or(1, |r| r.number);
    let state = format!("{}, {number}", order.state().label(lang));
    say(
        "state",
        "State and revision of the order",
        "Stand und Revision des Auftrags",
        state,
    );
    let Some(follow_up) = visit.follow_up(&order.id) else {
        return;
    };
    let count = |n: usize| if n == 0 { String::new() } else { n.to_string() };
    let entering = follow_up
        .draft
        .about
        .as_ref()
        .map(|e| e.label(lang).to_owned());
    say(
        "entering",
        "Being entered",
        "Wird eingetragen",
        entering.unwrap_or_default(),
    );
    say(
        "answers",
        "Answers of the lab",
        "Antworten der Werkstatt",
        count(follow_up.receipts.len()),
    );
    say(
        "fittings",
        "Fittings",
        "Anproben",
        count(follow_up.fittings.len()),
    );
    say(
        "reviews",
        "Reviews",
        "Kontrollen",
        count(follow_up.reviews.len()),
    );
    let due = follow_up.review_due.map(|day| format::long_date(day, lang));
    say(
        "due",
        "Next review",
        "Nächste Kontrolle",
        due.unwrap_or_default(),
    );
}
