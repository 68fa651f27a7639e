//! What happens to an order after hand-over, written down together with its change of state.

use super::{Fitting, Receipt, ReceiptAnswer, Remake, Review, follow_up_of};
use crate::order::{Order, OrderState, Origin, SignError};
use crate::person::When;
use crate::visit::Visit;

fn state_after(receipt: &Receipt) -> OrderState {
    match receipt.answer {
        ReceiptAnswer::Accepted => OrderState::Received,
        _ => OrderState::LabHold,
    }
}

impl Visit {
    fn move_order(
        &mut self,
        order: &str,
        to: OrderState,
        at: When,
        by: &str,
        reason: &str,
    ) -> Result<(), SignError> {
        self.orders
            .iter_mut()
            .find(|o| o.id == order)
            .ok_or_else(|| SignError::NoOrder {
                order: order.to_owned(),
            })?
            .move_on(to, at, by, reason)
    }

    /// Plaster and papers have left for the lab.
    ///
    /// # Errors
    /// There is no such order, or it is not signed. Nothing is changed then.
    pub fn hand_over(&mut self, order: &str, at: When, by: &str) -> Result<(), SignError> {
        self.move_order(order, OrderState::HandedOver, at, by, "")
    }

    /// Nothing more will come of this order: the brace is worn, or was made again.
    ///
    /// # Errors
    /// There is no such order, or it was never fitted. Nothing is changed then.
    pub fn close_order(&mut self, order: &str, at: When, by: &str) -> Result<(), SignError> {
        self.move_order(order, OrderState::Closed, at, by, "")
    }

    /// The brace is no longer wanted, or not like this.
    ///
    /// # Errors
    /// There is no such order, it is fitted or past it, or the reason is blank. Nothing is changed
    /// then.
    pub fn withdraw_order(
        &mut self,
        order: &str,
        at: When,
        by: &str,
        reason: &str,
    ) -> Result<(), SignError> {
        self.move_order(order, OrderState::Withdrawn, at, by, reason)
    }

    /// The lab's answer: accepted means received; a question or a rejection holds the order until
    /// it is answered or amended.
    ///
    /// # Errors
    /// There is no such order, its state does not allow it, or a hold has no reason. Nothing is
    /// changed then.
    pub fn record_receipt(&mut self, order: &str, receipt: Receipt) -> Result<(), SignError> {
        let to = state_after(&receipt);
        self.move_order(order, to, receipt.at, &receipt.by, &receipt.reason)?;
        follow_up_of(self, order).receipts.push(receipt);
        Ok(())
    }

    /// The lab's answer as its file says it, which keeps the lab's own time; the order's state changes
    /// by our clock. What the lab asks again, or asks after it has accepted, is taken too.
    ///
    /// # Errors
    /// There is no such order, or it waits for no answer. Nothing is changed then.
    pub fn take_receipt(
        &mut self,
        order: &str,
        receipt: Receipt,
        now: When,
    ) -> Result<(), SignError> {
        let found = self.orders.iter_mut().find(|o| o.id == order);
        let found = found.ok_or_else(|| SignError::NoOrder {
            order: order.to_owned(),
        })?;
        // Read twice before it was taken once.
        if self
            .follow_up
            .iter()
            .any(|f| f.order == order && f.receipts.contains(&receipt))
        {
            return Ok(());
        }
        let said = (receipt.by.as_str(), receipt.reason.as_str());
        found.answered(state_after(&receipt), receipt.at, said, now)?;
        follow_up_of(self, order).receipts.push(receipt);
        Ok(())
    }

    /// A fitting: the first makes the order fitted, later ones are adjustments.
    ///
    /// # Errors
    /// There is no such order, or it was never received. Nothing is changed then.
    pub fn record_fitting(&mut self, order: &str, fitting: Fitting) -> Result<(), SignError> {
        let state = self
            .orders
            .iter()
            .find(|o| o.id == order)
            .map(crate::order::Order::state);
        if !matches!(state, Some(OrderState::Fitted | OrderState::Reviewed)) {
            self.move_order(order, OrderState::Fitted, fitting.at, &fitting.by, "")?;
        }
        follow_up_of(self, order).fittings.push(fitting);
        Ok(())
    }

    /// A review.
    ///
    /// # Errors
    /// There is no such order, or it was never fitted. Nothing is changed then.
    pub fn record_review(&mut self, order: &str, review: Review) -> Result<(), SignError> {
        self.move_order(order, OrderState::Reviewed, review.at, &review.by, "")?;
        follow_up_of(self, order).reviews.push(review);
        Ok(())
    }

    /// A remake with its causes.
    ///
    /// # Errors
    /// There is no such order, its state does not allow it, or no cause or reason is given.
    /// Nothing is changed then.
    pub fn record_remake(
        &mut self,
        order: &str,
        by: &str,
        remake: Remake,
    ) -> Result<(), SignError> {
        if remake.causes.is_empty() {
            return Err(SignError::NeedsReason(OrderState::Remade));
        }
        self.move_order(order, OrderState::Remade, remake.at, by, &remake.reason)?;
        follow_up_of(self, order).remakes.push(remake);
        Ok(())
    }

    /// Begins the order that replaces one made again: a draft with the same choices and without
    /// what was measured or examined for the old one. The remake names it from then on.
    ///
    /// # Errors
    /// There is no such order, it was not made again, or the new id is taken. Nothing is changed
    /// then.
    pub fn order_again(&mut self, order: &str, new_id: &str) -> Result<&mut Order, SignError> {
        let no_order = || SignError::NoOrder {
            order: order.to_owned(),
        };
        let old = self.orders.iter().find(|o| o.id == order);
        let old = old.ok_or_else(no_order)?;
        if self.orders.iter().any(|o| o.id == new_id) {
            return Err(SignError::IdTaken {
                order: new_id.to_owned(),
            });
        }
        if !old.history.iter().any(|c| c.to == OrderState::Remade) {
            return Err(SignError::CannotFollow {
                from: old.state(),
                to: OrderState::Draft,
            });
        }
        let mut new = Order::new(new_id, old.side);
        let revision = old.in_force().or(old.newest());
        if let (Some(old), Some(draft)) = (revision, new.draft_mut()) {
            draft.prescription = old.choices_only();
            let rules = old.because.iter().filter(|(_, b)| b.from == Origin::Rule);
            draft.because = rules.map(|(k, b)| (k.clone(), b.clone())).collect();
        }
        let remakes = &mut follow_up_of(self, order).remakes;
        if let Some(remake) = remakes.last_mut() {
            remake.new_order = Some(new_id.to_owned());
        }
        self.orders.push(new);
        let last = self.orders.len() - 1;
        Ok(&mut self.orders[last])
    }
}
