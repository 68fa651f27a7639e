//! What is being entered about an order after hand-over, kept in the visit until it is recorded:
//! nothing entered waits in memory for a last button.

use super::{Adjustment, Fitting, FollowUp, Problem, Receipt, ReceiptAnswer, Remake, RemakeCause};
use super::{Review, follow_up_of};
use crate::entry::Entry;
use crate::examination::Reading;
use crate::order::{OrderState, SignError, Spot};
use crate::person::When;
use crate::visit::Visit;
use crate::words::{Extra, Lang, words};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

words! {
    /// What can be recorded about an order that has left the clinic.
    Event {
        HandOver = "hand_over", "Handed over", "Übergeben";
        Receipt = "receipt", "The lab's answer", "Antwort der Werkstatt";
        Fitting = "fitting", "Fitting", "Anprobe";
        Review = "review", "Review", "Kontrolle";
        Remake = "remake", "Made again", "Neuanfertigung";
        Withdrawal = "withdrawal", "Withdrawn", "Zurückgezogen";
        Closing = "closing", "Closed", "Abgeschlossen";
    }
}

/// An event as far as it is entered. Only the fields of its kind are asked for.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Draft {
    /// What is being entered; none if nothing is.
    pub about: Option<Event>,
    /// The lab's answer.
    pub answer: Option<ReceiptAnswer>,
    /// Who at the lab.
    pub lab_person: String,
    /// Question, rejection, remake or withdrawal: why.
    pub reason: String,
    /// Comfort as the patient states it, 0 to 10.
    pub comfort: Option<Entry>,
    /// Pain, 0 to 10.
    pub pain: Option<Entry>,
    /// Hours worn a day.
    pub wear_hours_per_day: Option<Entry>,
    /// Places that press.
    pub pressure: Vec<Spot>,
    /// Problems.
    pub problems: Vec<Problem>,
    /// What was adjusted.
    pub adjustments: Vec<Adjustment>,
    /// Wear-in plan: hours on each day from the first.
    pub wear_in_hours: Vec<f64>,
    /// Readings taken again.
    pub readings: Vec<Reading>,
    /// Why the brace is made again.
    pub causes: Vec<RemakeCause>,
    /// Words.
    pub note: String,
    /// The next review.
    pub review_due: Option<NaiveDate>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Draft {
    /// Whether nothing is being entered.
    #[must_use]
    pub fn is_none(&self) -> bool {
        *self == Self::default()
    }

    /// The reason, for a remake the causes in words where none was typed.
    fn why(&self) -> String {
        let labels: Vec<&str> = self.causes.iter().map(|c| c.label(Lang::En)).collect();
        match self.reason.trim() {
            "" => labels.join(", "),
            typed => typed.to_owned(),
        }
    }
}

impl OrderState {
    /// What can be recorded about an order in this state, the usual next thing first.
    #[must_use]
    pub fn events(&self) -> &'static [Event] {
        use Event::{Closing, Fitting, HandOver, Receipt, Remake, Review, Withdrawal};
        match self {
            Self::Signed => &[HandOver, Withdrawal],
            Self::HandedOver | Self::LabHold => &[Receipt, Withdrawal],
            Self::Received => &[Fitting, Receipt, Remake, Withdrawal],
            Self::Fitted | Self::Reviewed => &[Review, Fitting, Remake, Closing],
            Self::Remade => &[Closing],
            Self::Draft | Self::Closed | Self::Withdrawn | Self::Other(_) => &[],
        }
    }
}

impl Visit {
    /// What followed an order, if anything did.
    #[must_use]
    pub fn follow_up(&self, order: &str) -> Option<&FollowUp> {
        self.follow_up.iter().find(|f| f.order == order)
    }

    /// Begins to enter an event, or goes on with it; another one that was begun gives way.
    pub fn begin_event(&mut self, order: &str, about: Event) {
        let draft = &mut follow_up_of(self, order).draft;
        if draft.about.as_ref() != Some(&about) {
            *draft = Draft {
                about: Some(about),
                ..Draft::default()
            };
        }
    }

    /// The event being entered about an order, to be changed.
    pub fn draft_event_mut(&mut self, order: &str) -> Option<&mut Draft> {
        let follow_up = self.follow_up.iter_mut().find(|f| f.order == order)?;
        Some(&mut follow_up.draft).filter(|draft| draft.about.is_some())
    }

    /// Gives up what is being entered.
    pub fn drop_event(&mut self, order: &str) {
        if let Some(draft) = self.draft_event_mut(order) {
            *draft = Draft::default();
        }
    }

    /// Records what was entered, with its change of the order's state.
    ///
    /// # Errors
    /// Nothing is being entered, the order's state does not allow it, or something it needs is
    /// missing. Nothing is changed then.
    pub fn record_event(&mut self, order: &str, at: When, by: &str) -> Result<(), SignError> {
        let draft = self.draft_event_mut(order).cloned().unwrap_or_default();
        let (by_text, extra) = (by.to_owned(), draft.extra.clone());
        let due = draft.review_due;
        match &draft.about {
            Some(Event::HandOver) => self.hand_over(order, at, by),
            Some(Event::Receipt) => {
                let revision = self.orders.iter().find(|o| o.id == order);
                let revision = revision.and_then(|o| o.in_force()).map_or(0, |r| r.number);
                let answer = draft.answer.clone().ok_or(SignError::Unanswered)?;
                let receipt = Receipt {
                    answer,
                    at,
                    by: draft.lab_person.clone(),
                    revision,
                    reason: draft.reason.clone(),
                    extra,
                };
                self.record_receipt(order, receipt)
            }
            Some(Event::Fitting) => {
                let fitting = Fitting {
                    at,
                    by: by_text,
                    comfort: draft.comfort,
                    pressure: draft.pressure,
                    problems: draft.problems,
                    adjustments: draft.adjustments,
                    wear_in_hours: draft.wear_in_hours,
                    extra,
                };
                self.record_fitting(order, fitting)
            }
            Some(Event::Review) => {
                let review = Review {
                    at,
                    by: by_text,
                    readings: draft.readings,
                    pain: draft.pain,
                    wear_hours_per_day: draft.wear_hours_per_day,
                    problems: draft.problems,
                    pressure: draft.pressure,
                    note: draft.note,
                    extra,
                };
                self.record_review(order, review)
            }
            Some(Event::Remake) => {
                let remake = Remake {
                    at,
                    reason: draft.why(),
                    causes: draft.causes,
                    new_order: None,
                    extra,
                };
                self.record_remake(order, by, remake)
            }
            Some(Event::Withdrawal) => self.withdraw_order(order, at, by, &draft.reason),
            Some(Event::Closing) => self.close_order(order, at, by),
            Some(Event::Other(_)) | None => Err(SignError::Unanswered),
        }?;
        let follow_up = follow_up_of(self, order);
        follow_up.draft = Draft::default();
        follow_up.review_due = due.or(follow_up.review_due);
        Ok(())
    }
}
