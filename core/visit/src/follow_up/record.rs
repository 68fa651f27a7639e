//! What happens to an order after hand-over, written down together with its change of state.

use super::{Fitting, FollowUp, Receipt, ReceiptAnswer, Remake, Review};
use crate::order::{OrderState, SignError};
use crate::visit::Visit;

impl Visit {
    /// The follow-up of one order, begun if there is none.
    fn follow_up_of(&mut self, order: &str) -> &mut FollowUp {
        let at = self
            .follow_up
            .iter()
            .position(|f| f.order == order)
            .unwrap_or_else(|| {
                self.follow_up.push(FollowUp {
                    order: order.to_owned(),
                    ..FollowUp::default()
                });
                self.follow_up.len() - 1
            });
        &mut self.follow_up[at]
    }

    fn move_order(
        &mut self,
        order: &str,
        to: OrderState,
        at: crate::person::When,
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

    /// The lab's answer: accepted means received; a question or a rejection holds the order until
    /// it is answered or amended.
    ///
    /// # Errors
    /// There is no such order, its state does not allow it, or a hold has no reason. Nothing is
    /// changed then.
    pub fn record_receipt(&mut self, order: &str, receipt: Receipt) -> Result<(), SignError> {
        let to = match receipt.answer {
            ReceiptAnswer::Accepted => OrderState::Received,
            _ => OrderState::LabHold,
        };
        self.move_order(order, to, receipt.at, &receipt.by, &receipt.reason)?;
        self.follow_up_of(order).receipts.push(receipt);
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
        self.follow_up_of(order).fittings.push(fitting);
        Ok(())
    }

    /// A review.
    ///
    /// # Errors
    /// There is no such order, or it was never fitted. Nothing is changed then.
    pub fn record_review(&mut self, order: &str, review: Review) -> Result<(), SignError> {
        self.move_order(order, OrderState::Reviewed, review.at, &review.by, "")?;
        self.follow_up_of(order).reviews.push(review);
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
        self.follow_up_of(order).remakes.push(remake);
        Ok(())
    }
}
