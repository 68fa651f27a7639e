//! Signing, amending, and what may follow what.

use super::{Order, OrderState, Revision, Signature, StateChange};
use crate::person::{Prescriber, When};
use crate::rules::{Case, Checks, Fired, RuleSet, Stops, check};
use crate::visit::Visit;
use crate::words::{Extra, Lang};
use plinthside_measure::cast::Results;
use plinthside_measure::marks::Side;
use std::collections::BTreeMap;

/// Why an order's state was not changed. Nothing was changed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SignError {
    /// No such order.
    #[error("this visit has no order {order}")]
    NoOrder {
        /// The id asked for.
        order: String,
    },
    /// The id of a new order is in use.
    #[error("this visit has an order {order} already; choose another id")]
    IdTaken {
        /// The id asked for.
        order: String,
    },
    /// Nothing to sign.
    #[error("revision {revision} is signed already; amend it to change it")]
    SignedAlready {
        /// Its number.
        revision: u32,
    },
    /// Nothing signed yet.
    #[error("the order is still a draft: change it as it is, or sign it first")]
    StillDraft,
    /// Prescriber incomplete.
    #[error("the prescriber's {missing} is missing; complete it in the clinic's settings")]
    Prescriber {
        /// What is missing.
        missing: &'static str,
    },
    /// Rules stand in the way.
    #[error("{} still to settle before signing; first: {}", .0.len(), .0.first().map_or("", |f| f.text.get(Lang::En)))]
    Blocked(Vec<Fired>),
    /// The state can't follow.
    #[error("an order that is {} can't become {}", .from.label(Lang::En), .to.label(Lang::En))]
    CannotFollow {
        /// State now.
        from: OrderState,
        /// State asked for.
        to: OrderState,
    },
    /// A reason is needed.
    #[error("{} needs a reason", .0.label(Lang::En))]
    NeedsReason(OrderState),
    /// Nothing was answered yet.
    #[error("nothing is entered yet; answer the first question")]
    Unanswered,
    /// Time runs backwards.
    #[error("{at} lies before the last entry of {last}; check the clock of this device")]
    Earlier {
        /// Time given.
        at: When,
        /// Time of the last entry.
        last: When,
    },
}

/// Everything signing looks at beside the visit.
#[derive(Debug, Clone, Copy)]
pub struct Signing<'a> {
    /// The rules in force.
    pub rules: &'a RuleSet,
    /// What was measured on the cast.
    pub results: Option<&'a Results>,
    /// The side printed on the bound label.
    pub label_side: Option<Side>,
    /// When.
    pub at: When,
}

impl OrderState {
    /// States that may follow this one. A question or error found after hand-over goes by a hold
    /// and an amendment: a signed order never turns back into a draft.
    #[must_use]
    pub fn next(&self) -> &'static [OrderState] {
        use OrderState::{
            Closed, Draft, Fitted, HandedOver, LabHold, Other, Received, Remade, Reviewed, Signed,
            Withdrawn,
        };
        match self {
            Draft => &[Signed, Withdrawn],
            Signed => &[HandedOver, Signed, Withdrawn],
            HandedOver => &[Received, LabHold, Signed, Withdrawn],
            LabHold => &[Received, Signed, Withdrawn],
            Received => &[Fitted, LabHold, Signed, Remade, Withdrawn],
            Fitted => &[Reviewed, Remade, Closed],
            Reviewed => &[Reviewed, Remade, Closed],
            Remade => &[Closed],
            Closed | Withdrawn | Other(_) => &[],
        }
    }

    fn needs_reason(&self) -> bool {
        matches!(self, Self::LabHold | Self::Remade | Self::Withdrawn)
    }
}

impl Order {
    /// A new order: a first draft revision, nothing chosen.
    #[must_use]
    pub fn new(id: impl Into<String>, side: Side) -> Self {
        let revision = Revision {
            number: 1,
            prescription: super::Prescription::default(),
            because: BTreeMap::new(),
            overrides: BTreeMap::new(),
            reason: String::new(),
            signature: None,
            extra: Extra::new(),
        };
        Self {
            id: id.into(),
            side,
            cast: None,
            revisions: vec![revision],
            history: Vec::new(),
            extra: Extra::new(),
        }
    }

    /// The state now.
    #[must_use]
    pub fn state(&self) -> OrderState {
        self.history
            .last()
            .map_or(OrderState::Draft, |change| change.to.clone())
    }

    /// The newest revision, signed or not.
    #[must_use]
    pub fn newest(&self) -> Option<&Revision> {
        self.revisions.last()
    }

    /// The revision in force: the last signed one.
    #[must_use]
    pub fn in_force(&self) -> Option<&Revision> {
        self.revisions.iter().rfind(|r| r.signature.is_some())
    }

    /// The draft to change; `None` once it is signed.
    pub fn draft_mut(&mut self) -> Option<&mut Revision> {
        self.revisions.last_mut().filter(|r| r.signature.is_none())
    }

    /// Starts a new revision of a signed order; the signed one stays as it is and in force until
    /// the new one is signed.
    ///
    /// # Errors
    /// The order is still a draft, is fitted or past it, or the reason is blank.
    pub fn amend(&mut self, reason: &str) -> Result<&mut Revision, SignError> {
        let state = self.state();
        let last = self.revisions.last().filter(|r| r.signature.is_some());
        let Some(last) = last else {
            return Err(SignError::StillDraft);
        };
        if reason.trim().is_empty() {
            return Err(SignError::NeedsReason(OrderState::Signed));
        }
        if !state.next().contains(&OrderState::Signed) {
            return Err(SignError::CannotFollow {
                from: state,
                to: OrderState::Signed,
            });
        }
        let next = Revision {
            number: last.number + 1,
            reason: reason.to_owned(),
            signature: None,
            // A reason typed to go past a block was typed for that revision.
            overrides: BTreeMap::new(),
            ..last.clone()
        };
        self.revisions.push(next);
        self.draft_mut().ok_or(SignError::StillDraft)
    }

    /// Gives an amendment up: the signed revision stays the only one. A first draft stays.
    pub fn drop_amendment(&mut self) {
        if self.revisions.len() > 1 && self.draft_mut().is_some() {
            self.revisions.pop();
        }
    }

    /// Moves the order on: handed over, received, on hold, fitted, reviewed, made again, closed,
    /// withdrawn. Signing has its own way, [`Visit::sign`].
    ///
    /// # Errors
    /// The state can't follow the present one, lacks its reason, or lies before it in time.
    pub fn move_on(
        &mut self,
        to: OrderState,
        at: When,
        by: &str,
        reason: &str,
    ) -> Result<(), SignError> {
        if to == OrderState::Signed {
            return Err(SignError::CannotFollow {
                from: self.state(),
                to,
            });
        }
        self.record(to, at, by, reason)
    }

    fn record(
        &mut self,
        to: OrderState,
        at: When,
        by: &str,
        reason: &str,
    ) -> Result<(), SignError> {
        let from = self.state();
        if !from.next().contains(&to) {
            return Err(SignError::CannotFollow { from, to });
        }
        if to.needs_reason() && reason.trim().is_empty() {
            return Err(SignError::NeedsReason(to));
        }
        if let Some(last) = self.history.last().map(|c| c.at).filter(|last| at < *last) {
            return Err(SignError::Earlier { at, last });
        }
        self.note(to, at, by, reason);
        Ok(())
    }

    /// What the lab answered by file. It may ask, or say the same, more than once, and its clock is
    /// not ours: an entry stands neither before the one it follows nor after `now`.
    pub(crate) fn answered(
        &mut self,
        to: OrderState,
        at: When,
        (by, reason): (&str, &str),
        now: When,
    ) -> Result<(), SignError> {
        let from = match self.state() {
            // Whoever answers an order has been handed it.
            OrderState::Signed => OrderState::HandedOver,
            from => from,
        };
        if from != to && !from.next().contains(&to) {
            return Err(SignError::CannotFollow { from, to });
        }
        let last = self.history.last().map(|c| c.at);
        let at = last.map_or(at.min(now), |last| at.min(now).max(last));
        if self.state() != from {
            self.note(from, at, by, "");
        }
        self.note(to, at, by, reason);
        Ok(())
    }

    fn note(&mut self, to: OrderState, at: When, by: &str, reason: &str) {
        let revision = if to == OrderState::Signed {
            self.newest()
        } else {
            self.in_force()
        };
        let revision = revision.or(self.newest()).map_or(0, |r| r.number);
        self.history.push(StateChange {
            to,
            at,
            by: by.to_owned(),
            revision,
            reason: reason.to_owned(),
            extra: Extra::new(),
        });
    }
}

impl Visit {
    /// What the rules say about one order of this visit.
    ///
    /// # Errors
    /// There is no such order.
    pub fn checks(&self, order: &str, signing: Signing<'_>) -> Result<Checks, SignError> {
        let order =
            self.orders
                .iter()
                .find(|o| o.id == order)
                .ok_or_else(|| SignError::NoOrder {
                    order: order.to_owned(),
                })?;
        let cast = order
            .cast
            .as_deref()
            .and_then(|id| self.casts.iter().find(|c| c.id == id));
        // What was stored with the cast counts even if it was not handed over.
        let stored = cast
            .and_then(|c| c.measurement.as_ref())
            .and_then(|m| m.read().ok().flatten());
        let case = Case {
            visit: self,
            side: order.side,
            cast,
            results: signing.results.or(stored.as_ref()),
            order: Some(order),
            revision: order.newest(),
            label_side: signing.label_side,
            today: signing.at.date_naive(),
        };
        Ok(check(signing.rules, &case))
    }

    /// Signs the draft of an order: from then on it is frozen. The cautions in force go with it.
    ///
    /// # Errors
    /// Nothing to sign, the prescriber is incomplete, or rules stand in the way: each is listed,
    /// with the field to go to. Nothing is changed then.
    pub fn sign(
        &mut self,
        order: &str,
        prescriber: &Prescriber,
        signing: Signing<'_>,
    ) -> Result<Checks, SignError> {
        let checks = self.checks(order, signing)?;
        for (missing, value) in [
            ("name", &prescriber.name),
            ("registration", &prescriber.registration),
        ] {
            if value.trim().is_empty() {
                return Err(SignError::Prescriber { missing });
            }
        }
        let no_order = || SignError::NoOrder {
            order: order.to_owned(),
        };
        let order = self
            .orders
            .iter_mut()
            .find(|o| o.id == order)
            .ok_or_else(no_order)?;
        if order.draft_mut().is_none() {
            let revision = order.newest().map_or(0, |r| r.number);
            return Err(SignError::SignedAlready { revision });
        }
        let blocks: Vec<Fired> = checks.in_the_way_of(Stops::Signing).cloned().collect();
        if !blocks.is_empty() {
            return Err(SignError::Blocked(blocks));
        }
        order.record(OrderState::Signed, signing.at, &prescriber.name, "")?;
        let side = order.side;
        let gone_past = self.gone_past.iter().filter(|g| g.side == side);
        let gone_past = gone_past.map(|g| (g.rule.clone(), g.given.clone()));
        let cautions = checks.cautions().map(|f| f.rule.clone()).collect();
        if let Some(draft) = order.draft_mut() {
            draft.overrides.extend(gone_past);
            draft.signature = Some(Signature {
                prescriber: prescriber.clone(),
                at: signing.at,
                cautions,
                extra: Extra::new(),
            });
        }
        Ok(checks)
    }
}
