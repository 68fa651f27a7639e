//! Where it presses, how long it is worn at first, when it is looked at again.

use super::{draft, draft_mut};
use crate::window::places;
use crate::window::questions::person::read_day;
use crate::window::questions::{Kind, Question, item};
use chrono::{Days, NaiveDate};
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::follow_up::LeafletText;
use plinthside_visit::order::{Place, Spot};
use plinthside_visit::{Lang, Text, Visit, format};

/// Places that press, on a drawing.
pub struct Pressure;

impl Question for Pressure {
    fn key(&self) -> String {
        "follow.pressure".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Where it presses", "Wo es drückt")
            .get(lang)
            .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::AnyOf
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let spots = draft(visit, side).map_or(&[][..], |d| &d.pressure);
        let words: Vec<&str> = spots.iter().map(|s| s.place.label(lang)).collect();
        words.join(", ")
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let spots = draft(visit, side).map_or(&[][..], |d| &d.pressure);
        let chosen = |place: &Place| spots.iter().any(|s| s.place == *place);
        let all = Place::ALL.iter();
        all.map(|p| item(p.label(lang), chosen(p))).collect()
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        let Some(place) = Place::ALL.get(index) else {
            return;
        };
        let spots = &mut draft_mut(visit, side).pressure;
        let before = spots.len();
        spots.retain(|s| s.place != *place);
        if spots.len() == before {
            let at = places::of(place);
            spots.push(Spot {
                place: place.clone(),
                drawing: at.drawing.to_owned(),
                across: Some(at.across(side)),
                down: Some(at.down()),
                note: String::new(),
                extra: Default::default(),
            });
        }
    }

    fn places(&self, _visit: &Visit, side: Side) -> Vec<ui::PlacesView> {
        places::drawings(side)
    }
}

/// The wear-in plan.
pub struct WearIn;

impl WearIn {
    /// The shipped plans: usual, and for a foot that feels little.
    fn plans() -> [Vec<f64>; 2] {
        // Tests read the shipped text; without it hours can still be typed.
        LeafletText::shipped().map_or_else(|_| Default::default(), |text| text.wear_in_plans())
    }

    fn written(hours: &[f64], lang: Lang) -> String {
        let decimals = |h: f64| usize::from(h.fract() != 0.0);
        let all = hours.iter().map(|h| format::number(*h, decimals(*h), lang));
        all.collect::<Vec<_>>().join(" · ")
    }
}

impl Question for WearIn {
    fn key(&self) -> String {
        "follow.wear_in_hours".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Wear-in plan", "Eingewöhnen")
            .get(lang)
            .to_owned()
    }

    fn title(&self, lang: Lang) -> String {
        Text::new(
            "Wear-in plan: hours on each day",
            "Eingewöhnen: Stunden an jedem Tag",
        )
        .get(lang)
        .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Text
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let hours = draft(visit, side).map_or(&[][..], |d| &d.wear_in_hours);
        Self::written(hours, lang)
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = draft(visit, side).map_or(&[][..], |d| &d.wear_in_hours);
        let names = [
            Text::new("usual", "üblich"),
            Text::new(
                "slow, for a foot that feels little",
                "langsam, für einen Fuß, der wenig spürt",
            ),
        ];
        let plans = Self::plans().into_iter().zip(names);
        plans
            .filter(|(plan, _)| !plan.is_empty())
            .map(|(plan, name)| {
                let text = format!("{}: {}", name.get(lang), Self::written(&plan, lang));
                item(&text, now == plan.as_slice())
            })
            .collect()
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        if let Some(plan) = Self::plans().get(index) {
            draft_mut(visit, side).wear_in_hours.clone_from(plan);
        }
    }

    fn type_in(&self, visit: &mut Visit, side: Side, text: &str) -> Option<Text> {
        // A comma is a decimal sign here and there; a space or a dot in the middle parts the days.
        let parts = text.split(|c: char| c.is_whitespace() || matches!(c, '·' | ';'));
        let hours: Result<Vec<f64>, _> = parts
            .map(|p| p.trim_matches(',').replace(',', "."))
            .filter(|p| !p.is_empty())
            .map(|p| p.parse::<f64>())
            .collect();
        match hours {
            Ok(hours) if hours.iter().all(|h| (0.0..=24.0).contains(h)) => {
                draft_mut(visit, side).wear_in_hours = hours;
                None
            }
            _ => Some(Text::new(
                "Type the hours of each day with spaces between, as 1 2 3 4 6 8; no day has more than 24.",
                "Bitte die Stunden jedes Tages mit Leerzeichen eingeben, etwa 1 2 3 4 6 8; kein Tag hat mehr als 24.",
            )),
        }
    }
}

/// The day of the next review.
pub struct Due;

/// Days until the next review, as it is often asked for.
const DUE_DAYS: [(u64, &str, &str); 5] = [
    (7, "in a week", "in einer Woche"),
    (14, "in two weeks", "in zwei Wochen"),
    (42, "in six weeks", "in sechs Wochen"),
    (91, "in three months", "in drei Monaten"),
    (182, "in six months", "in sechs Monaten"),
];

fn due_day(index: usize) -> Option<NaiveDate> {
    let (days, ..) = DUE_DAYS.get(index)?;
    crate::clock::today().checked_add_days(Days::new(*days))
}

impl Question for Due {
    fn key(&self) -> String {
        "follow.review_due".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Next review", "Nächste Kontrolle")
            .get(lang)
            .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Text
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let day = draft(visit, side).and_then(|d| d.review_due);
        day.map_or_else(String::new, |day| format::long_date(day, lang))
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = draft(visit, side).and_then(|d| d.review_due);
        let all = DUE_DAYS.iter().enumerate();
        all.map(|(i, (_, en, de))| {
            let chosen = now.is_some() && now == due_day(i);
            item(Text::new(*en, *de).get(lang), chosen)
        })
        .collect()
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        draft_mut(visit, side).review_due = due_day(index);
    }

    fn type_in(&self, visit: &mut Visit, side: Side, text: &str) -> Option<Text> {
        match read_day(text) {
            _ if text.trim().is_empty() => draft_mut(visit, side).review_due = None,
            Some(day) => draft_mut(visit, side).review_due = Some(day),
            None => {
                return Some(Text::new(
                    "This is no day: type day, month and year, as 4.3.2027.",
                    "Das ist kein Tag: bitte Tag, Monat und Jahr eingeben, etwa 4.3.2027.",
                ));
            }
        }
        None
    }
}
