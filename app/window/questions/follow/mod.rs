//! What is entered after the hand-over: the lab's answer, a fitting, a review, a remake. Every
//! answer goes into the draft kept in the visit; recording it is a step of its own.

mod plan;
mod words;

use super::Question;
use super::order::order_mut;
use super::readings::again;
use plan::{Due, Pressure, WearIn};
use plinthside_measure::marks::Side;
use plinthside_visit::follow_up::{
    Adjustment, Draft, Event, HoldReason, Problem, RemakeCause, WithdrawalReason,
};
use plinthside_visit::{Lang, Text, Visit};
use words::{Answer, any, number, typed};

/// The draft of the latest order of one side, if something is being entered.
pub fn draft(visit: &Visit, side: Side) -> Option<&Draft> {
    let draft = &visit.follow_up(&visit.order(side)?.id)?.draft;
    Some(draft).filter(|draft| draft.about.is_some())
}

/// The draft of the latest order of one side; a review is begun where nothing was.
pub fn draft_mut(visit: &mut Visit, side: Side) -> &mut Draft {
    let order = order_mut(visit, side).id.clone();
    if draft(visit, side).is_none() {
        visit.begin_event(&order, Event::Review);
    }
    let at = visit.follow_up.iter().position(|f| f.order == order);
    &mut visit.follow_up[at.unwrap_or_default()].draft
}

/// What is asked about one event.
pub fn follow(about: &Event, visit: &Visit, side: Side) -> Vec<Box<dyn Question>> {
    let label = |en: &str, de: &str| Text::new(en, de);
    let pressure = || Box::new(Pressure) as Box<dyn Question>;
    let problems = || {
        any(
            "follow.problems",
            label("Problems", "Beschwerden und Mängel"),
            Problem::ALL,
            Problem::label,
            |d| &mut d.problems,
        )
    };
    let due = || Box::new(Due) as Box<dyn Question>;
    match about {
        Event::Receipt => vec![
            Box::new(Answer),
            typed(
                "follow.reason",
                label(
                    "What the lab asks or says",
                    "Was die Werkstatt fragt oder sagt",
                ),
                HoldReason::ALL.iter().map(both_of(HoldReason::label)),
                |d| &mut d.reason,
            ),
            typed(
                "follow.lab_person",
                label("Who at the lab", "Wer in der Werkstatt"),
                std::iter::empty(),
                |d| &mut d.lab_person,
            ),
        ],
        Event::Fitting => vec![
            number("follow.comfort", COMFORT, 10.0, "", |d| &mut d.comfort),
            pressure(),
            problems(),
            any(
                "follow.adjustments",
                label("Adjusted", "Angepasst"),
                Adjustment::ALL,
                Adjustment::label,
                |d| &mut d.adjustments,
            ),
            Box::new(WearIn),
            due(),
        ],
        Event::Review => {
            let mut asked = vec![
                number("follow.pain", PAIN, 10.0, "", |d| &mut d.pain),
                number("follow.wear_hours_per_day", WORN, 24.0, "h", |d| {
                    &mut d.wear_hours_per_day
                }),
                problems(),
                pressure(),
            ];
            asked.extend(again(visit, side));
            asked.push(typed(
                "follow.note",
                label("Note", "Notiz"),
                std::iter::empty(),
                |d| &mut d.note,
            ));
            asked.push(due());
            asked
        }
        Event::Remake => vec![
            any(
                "follow.causes",
                label("Why it is made again", "Warum neu angefertigt wird"),
                RemakeCause::ALL,
                RemakeCause::label,
                |d| &mut d.causes,
            ),
            typed(
                "follow.reason",
                label("In words", "In Worten"),
                std::iter::empty(),
                |d| &mut d.reason,
            ),
        ],
        Event::Withdrawal => vec![typed(
            "follow.reason",
            label("Why it is withdrawn", "Warum zurückgezogen wird"),
            WithdrawalReason::ALL
                .iter()
                .map(both_of(WithdrawalReason::label)),
            |d| &mut d.reason,
        )],
        Event::HandOver | Event::Closing | Event::Other(_) => Vec::new(),
    }
}

const COMFORT: [&str; 2] = [
    "Comfort, as the patient says it: 0 none, 10 best",
    "Tragekomfort nach Angabe: 0 keiner, 10 bester",
];
const PAIN: [&str; 2] = [
    "Pain in the brace: 0 none, 10 worst",
    "Schmerz in der Orthese: 0 keiner, 10 stärkster",
];
const WORN: [&str; 2] = ["Worn on a usual day", "Getragen an einem üblichen Tag"];

fn both_of<W>(label: impl Fn(&W, Lang) -> &str) -> impl Fn(&W) -> Text {
    move |word| Text::new(label(word, Lang::En), label(word, Lang::De))
}
