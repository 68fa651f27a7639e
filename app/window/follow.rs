//! Follow-up: what became of the latest order of one foot, what is being entered about it, and
//! the patient's leaflet.

use super::open::Open;
use super::questions::{Asking, draft, follow};
use super::session::Session;
use super::text::{models, said};
use crate::visits::Foot;
use crate::{clock, papers};
use plinthside_measure::marks::Side;
use plinthside_ui::{self as ui, Tone};
use plinthside_visit::follow_up::{self, Event, Fitting, FollowUp, ReceiptAnswer, Review};
use plinthside_visit::norms::Norms;
use plinthside_visit::order::{Order, OrderState};
use plinthside_visit::person::When;
use plinthside_visit::{Entry, Lang, Text, Visit, format};

/// What belongs to working on the follow-up of one foot.
#[derive(Default)]
pub struct Following {
    /// What is asked about the event being entered.
    asking: Option<(Event, Asking)>,
    /// Why it could not be recorded.
    refusal: String,
    /// The leaflet is open.
    reading: bool,
}

fn event(act: ui::Act) -> Option<Event> {
    match act {
        ui::Act::HandOver => Some(Event::HandOver),
        ui::Act::Receipt => Some(Event::Receipt),
        ui::Act::Fitting => Some(Event::Fitting),
        ui::Act::Review => Some(Event::Review),
        ui::Act::Remake => Some(Event::Remake),
        ui::Act::Withdrawal => Some(Event::Withdrawal),
        ui::Act::Closing => Some(Event::Closing),
        _ => None,
    }
}

fn act(event: &Event) -> Option<ui::Act> {
    match event {
        Event::HandOver => Some(ui::Act::HandOver),
        Event::Receipt => Some(ui::Act::Receipt),
        Event::Fitting => Some(ui::Act::Fitting),
        Event::Review => Some(ui::Act::Review),
        Event::Remake => Some(ui::Act::Remake),
        Event::Withdrawal => Some(ui::Act::Withdrawal),
        Event::Closing => Some(ui::Act::Closing),
        Event::Other(_) => None,
    }
}

impl Following {
    /// The questions, where something is being entered.
    pub fn asking(&mut self) -> Option<&mut Asking> {
        self.asking.as_mut().map(|(_, asking)| asking)
    }

    /// Follows the draft in the visit: it may have been begun, recorded or taken back elsewhere.
    pub fn keep_up(&mut self, visit: &Visit, side: Side) {
        let about = draft(visit, side).and_then(|d| d.about.clone());
        if self.asking.as_ref().map(|(event, _)| event) != about.as_ref() {
            self.asking = about.map(|about| {
                let questions = follow(&about, visit, side);
                (about, Asking::new(questions, visit, side))
            });
        }
    }
}

impl Session {
    /// Begins to enter something about the order, or orders again what is to be made again.
    pub fn begin_act(&mut self, act: ui::Act) {
        let by = self.person.clone();
        let Some(open) = &mut self.open else { return };
        let (visit, side) = (&mut open.case.visit, open.case.side);
        let Some(order) = visit.order(side).map(|o| o.id.clone()) else {
            return;
        };
        open.follow.refusal.clear();
        if let Some(event) = event(act) {
            visit.begin_event(&order, event);
            return;
        }
        let id = format!("order-{}", visit.orders.len() + 1);
        let again = visit.order_again(&order, &id).map(drop);
        // The old order ends with the new one's beginning.
        let again = again.and_then(|()| visit.close_order(&order, clock::now(), &by));
        match again {
            Ok(()) => {
                let visit = visit.id.clone();
                self.open_visit(&visit, Some(side), ui::Screen::Order);
            }
            Err(problem) => open.follow.refusal = problem.to_string(),
        }
    }

    /// Records what was entered about the order.
    pub fn record_act(&mut self) {
        let by = self.person.clone();
        let Some(open) = &mut self.open else { return };
        let (visit, side) = (&mut open.case.visit, open.case.side);
        let Some(order) = visit.order(side).map(|o| o.id.clone()) else {
            return;
        };
        open.follow.refusal = match visit.record_event(&order, clock::now(), &by) {
            Ok(()) => String::new(),
            Err(problem) => problem.to_string(),
        };
    }

    /// Leaves what is being entered: it is given up.
    pub fn leave_act(&mut self) {
        let Some(open) = &mut self.open else { return };
        if let Some(order) = open.case.visit.order(open.case.side).map(|o| o.id.clone()) {
            open.case.visit.drop_event(&order);
        }
        open.follow.refusal.clear();
    }

    /// Opens or closes the leaflet.
    pub fn show_leaflet(&mut self, open_it: bool) {
        if let Some(open) = &mut self.open {
            open.follow.reading = open_it;
        }
    }
}

/// How far the follow-up has come.
pub fn fill(visit: &Visit, side: Side) -> ui::Fill {
    let Some(order) = visit.order(side) else {
        return ui::Fill::Empty;
    };
    let follow_up = visit.follow_up(&order.id);
    match order.state() {
        OrderState::LabHold => ui::Fill::Attention,
        OrderState::Remade => ui::Fill::Attention,
        _ if follow_up.is_some_and(|f| overdue(f).is_some()) => ui::Fill::Attention,
        OrderState::Closed | OrderState::Withdrawn => ui::Fill::Complete,
        OrderState::HandedOver
        | OrderState::Received
        | OrderState::Fitted
        | OrderState::Reviewed => ui::Fill::Started,
        _ => ui::Fill::Empty,
    }
}

/// The day a review was due on, if it has not taken place.
fn overdue(follow_up: &FollowUp) -> Option<chrono::NaiveDate> {
    let due = follow_up.review_due?;
    let seen = follow_up.reviews.iter().any(|r| r.at.date_naive() >= due);
    (due < clock::today() && !seen).then_some(due)
}

/// The screen's state.
pub fn view(open: &Open, foot: Foot<'_>, paper: ui::PaperRow, lang: Lang) -> ui::FollowView {
    let (visit, side, following) = (&open.case.visit, open.case.side, &open.follow);
    let order = visit.order(side);
    let entering = following.asking.as_ref().and_then(|(event, _)| act(event));
    let leaflet = match following.reading {
        true => papers::leaflet_text(&foot, clock::today()).map(Some),
        false => Ok(None),
    };
    let (parts, problem) = match leaflet {
        Ok(leaflet) => (leaflet.map_or_else(Vec::new, leaflet_parts), String::new()),
        Err(problem) => (Vec::new(), said(&problem.to_string(), lang)),
    };
    ui::FollowView {
        state: order
            .map_or_else(|| no_order(lang), |o| state(o, lang))
            .into(),
        attention: models(order.map_or_else(Vec::new, |o| attention(visit, o, lang))),
        happened: models(happened(visit, side, lang)),
        acts: models(order.map_or_else(Vec::new, |o| acts(visit, o))),
        entering: entering.is_some(),
        act: entering.unwrap_or_default(),
        refusal: said(&following.refusal, lang).into(),
        reading: following.reading,
        leaflet: models(parts),
        leaflet_problem: match problem.is_empty() {
            true => paper.problem,
            false => problem.into(),
        },
        leaflet_file: paper.file,
    }
}

fn no_order(lang: Lang) -> String {
    let text = Text::new("There is no order yet", "Es gibt noch keinen Auftrag");
    text.get(lang).to_owned()
}

fn state(order: &Order, lang: Lang) -> String {
    let state = order.state();
    let state = capital(state.label(lang));
    let number = order.in_force().or(order.newest()).map_or(1, |r| r.number);
    let revision = Text::new("revision", "Revision");
    format!("{state}, {} {number}", revision.get(lang))
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

fn attention(visit: &Visit, order: &Order, lang: Lang) -> Vec<ui::Remark> {
    let remark = |text: Text| ui::Remark {
        text: text.get(lang).into(),
        source: Default::default(),
        tone: Tone::Caution,
    };
    let mut all = Vec::new();
    if order.state() == OrderState::LabHold {
        all.push(remark(Text::new(
            "The lab waits: answer it, then record that it accepted; or amend the order.",
            "Die Werkstatt wartet: beantworten und dann die Annahme festhalten, oder den Auftrag ändern.",
        )));
    }
    if let Some(due) = visit.follow_up(&order.id).and_then(overdue) {
        all.push(remark(Text::new(
            format!(
                "The review was due on {}.",
                format::long_date(due, Lang::En)
            ),
            format!(
                "Die Kontrolle war am {} fällig.",
                format::long_date(due, Lang::De)
            ),
        )));
    }
    all
}

fn acts(visit: &Visit, order: &Order) -> Vec<ui::Act> {
    let begun = visit.follow_up(&order.id);
    let begun = begun.is_some_and(|f| f.remakes.iter().any(|r| r.new_order.is_some()));
    let again = (order.state() == OrderState::Remade && !begun).then_some(ui::Act::OrderAgain);
    let state = order.state();
    let events = state.events().iter().filter_map(act);
    again.into_iter().chain(events).collect()
}

/// Everything that happened to the orders of one side, the newest first.
fn happened(visit: &Visit, side: Side, lang: Lang) -> Vec<ui::Happened> {
    let mut all: Vec<(When, ui::Happened)> = Vec::new();
    for order in visit.orders.iter().filter(|o| o.side == side) {
        let follow_up = visit.follow_up(&order.id);
        for change in &order.history {
            let mut details = vec![match lang {
                Lang::En => format!("revision {}", change.revision),
                Lang::De => format!("Revision {}", change.revision),
            }];
            if !change.reason.is_empty() {
                details.push(change.reason.clone());
            }
            details.extend(by(&change.by, lang));
            if let Some(more) = follow_up.and_then(|f| of_event(f, &change.to, change.at, lang)) {
                details = more;
            }
            let tone = match change.to {
                OrderState::LabHold | OrderState::Remade | OrderState::Withdrawn => Tone::Caution,
                _ => Tone::Plain,
            };
            all.push((
                change.at,
                line(
                    capital(change.to.label(lang)),
                    change.at,
                    details,
                    tone,
                    lang,
                ),
            ));
        }
        // A later fitting leaves the order's state as it is.
        let known: Vec<When> = order.history.iter().map(|c| c.at).collect();
        let fittings = follow_up.map_or(&[][..], |f| &f.fittings);
        for fitting in fittings.iter().filter(|f| !known.contains(&f.at)) {
            let what = Event::Fitting.label(lang).to_owned();
            let details = of_fitting(fitting, lang);
            all.push((
                fitting.at,
                line(what, fitting.at, details, Tone::Plain, lang),
            ));
        }
    }
    all.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
    all.into_iter().map(|(_, line)| line).collect()
}

fn line(what: String, at: When, details: Vec<String>, tone: Tone, lang: Lang) -> ui::Happened {
    let day = format::long_date(at.date_naive(), lang);
    ui::Happened {
        what: what.into(),
        at: format!("{day}, {}", at.format("%H:%M")).into(),
        detail: details.join(" · ").into(),
        tone,
    }
}

fn by(name: &str, lang: Lang) -> Option<String> {
    let by = Text::new("by", "von");
    (!name.is_empty()).then(|| format!("{} {name}", by.get(lang)))
}

/// What was recorded with a change of state.
fn of_event(follow_up: &FollowUp, to: &OrderState, at: When, lang: Lang) -> Option<Vec<String>> {
    match to {
        OrderState::Received | OrderState::LabHold => {
            let receipt = follow_up.receipts.iter().find(|r| r.at == at)?;
            let mut details = vec![receipt.answer.label(lang).to_owned()];
            if receipt.answer != ReceiptAnswer::Accepted || !receipt.reason.is_empty() {
                details.push(receipt.reason.clone());
            }
            details.extend(by(&receipt.by, lang));
            Some(details)
        }
        OrderState::Fitted => {
            let fitting = follow_up.fittings.iter().find(|f| f.at == at)?;
            Some(of_fitting(fitting, lang))
        }
        OrderState::Reviewed => {
            let review = follow_up.reviews.iter().find(|r| r.at == at)?;
            Some(of_review(review, lang))
        }
        OrderState::Remade => {
            let remake = follow_up.remakes.iter().find(|r| r.at == at)?;
            let causes = remake.causes.iter().map(|c| c.label(lang).to_owned());
            let mut details: Vec<String> = causes.collect();
            if !details.contains(&remake.reason) {
                details.push(remake.reason.clone());
            }
            Some(details)
        }
        _ => None,
    }
}

fn listed<'a>(label: Text, words: impl Iterator<Item = &'a str>, lang: Lang) -> Option<String> {
    let words: Vec<&str> = words.collect();
    (!words.is_empty()).then(|| format!("{}: {}", label.get(lang), words.join(", ")))
}

fn valued(label: Text, entry: Option<&Entry>, unit: &str, lang: Lang) -> Option<String> {
    let value = format::quantity(entry?.value?, unit, lang);
    Some(format!("{} {value}", label.get(lang)))
}

fn presses(spots: &[plinthside_visit::order::Spot], lang: Lang) -> Option<String> {
    let label = Text::new("presses", "drückt");
    listed(label, spots.iter().map(|s| s.place.label(lang)), lang)
}

fn problems(problems: &[follow_up::Problem], lang: Lang) -> Option<String> {
    let label = Text::new("problems", "Mängel");
    listed(label, problems.iter().map(|p| p.label(lang)), lang)
}

fn of_fitting(fitting: &Fitting, lang: Lang) -> Vec<String> {
    let comfort = Text::new("comfort", "Tragekomfort");
    let adjusted = Text::new("adjusted", "angepasst");
    let adjustments = fitting.adjustments.iter().map(|a| a.label(lang));
    [
        valued(comfort, fitting.comfort.as_ref(), "", lang),
        presses(&fitting.pressure, lang),
        problems(&fitting.problems, lang),
        listed(adjusted, adjustments, lang),
        by(&fitting.by, lang),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn of_review(review: &Review, lang: Lang) -> Vec<String> {
    let pain = Text::new("pain", "Schmerz");
    let worn = Text::new("worn a day", "täglich getragen");
    let readings = review.readings.iter().filter_map(|r| {
        let kind = plinthside_visit::examination::reading_kind(&r.kind)?;
        Some(format!(
            "{} {}",
            kind.label.get(lang),
            kind.printed(r.mean()?, lang)
        ))
    });
    let mut details: Vec<String> = [
        valued(pain, review.pain.as_ref(), "", lang),
        valued(worn, review.wear_hours_per_day.as_ref(), "h", lang),
        problems(&review.problems, lang),
        presses(&review.pressure, lang),
    ]
    .into_iter()
    .flatten()
    .chain(readings)
    .collect();
    if !review.note.is_empty() {
        details.push(review.note.clone());
    }
    details.extend(by(&review.by, lang));
    details
}

/// The change of the reading in hand since the visit, against its measurement error.
pub fn compared(open: &Open, key: &str, norms: &Norms, lang: Lang) -> Vec<ui::Remark> {
    let (visit, side) = (&open.case.visit, open.case.side);
    let now = draft(visit, side).and_then(|d| d.readings.iter().find(|r| r.kind == key));
    let (Some(before), Some(now)) = (visit.reading(key, side), now) else {
        return Vec::new();
    };
    let text = match norms.change(before, now) {
        Ok(change) => change.text,
        Err(why) => why,
    };
    vec![ui::Remark {
        text: text.get(lang).into(),
        source: Default::default(),
        tone: Tone::Chosen,
    }]
}

fn leaflet_parts(leaflet: follow_up::Leaflet) -> Vec<ui::LeafletPart> {
    let tone = |tone| match tone {
        follow_up::Tone::Plain => Tone::Plain,
        follow_up::Tone::Caution => Tone::Caution,
        follow_up::Tone::Stop => Tone::Stop,
    };
    let parts = leaflet.sections.into_iter().map(|section| ui::LeafletPart {
        heading: section.heading.into(),
        lines: models(section.lines.into_iter().map(Into::into).collect()),
        plan: models(
            section
                .plan
                .into_iter()
                .map(|(label, value)| ui::Fact {
                    label: label.into(),
                    value: value.into(),
                })
                .collect(),
        ),
        bullets: section.bullets,
        tone: tone(section.tone),
    });
    parts.collect()
}
