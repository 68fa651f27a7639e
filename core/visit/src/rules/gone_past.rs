//! Going past a block with a typed reason: clinical blocks fall to one, identity to none. A caution
//! needs none, but may be answered with one, which is printed beside it.

use super::{Fired, Level, Stops};
use crate::order::Override;
use crate::person::When;
use crate::visit::Visit;
use crate::words::Extra;
use plinthside_measure::marks::Side;
use serde::{Deserialize, Serialize};

/// A block of casting or photographs gone past, for one foot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GonePast {
    /// The rule's id.
    pub rule: String,
    /// The foot.
    pub side: Side,
    /// Reason, person, time.
    #[serde(flatten)]
    pub given: Override,
}

/// Why a block stands. Nothing was changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum GoPastError {
    /// Identity can't be overridden.
    #[error(
        "left and right must agree before anything goes on; correct the side, no reason overrides this"
    )]
    Absolute,
    /// A note or a suggestion.
    #[error("this stops nothing: no reason is needed")]
    StopsNothing,
    /// Blank.
    #[error("a reason is needed to override this: type why")]
    NoReason,
    /// There is no draft to note it in.
    #[error("there is no draft of an order for this foot: begin or amend the order first")]
    NoDraft,
}

impl Visit {
    /// Goes past a block for one foot. A block of signing is noted in the draft it stands before,
    /// the others in the visit; signing copies them into the order, so that paper shows all.
    ///
    /// # Errors
    /// It is a mere note or an absolute block, the reason is blank, or there is no draft to sign.
    pub fn go_past(
        &mut self,
        block: &Fired,
        side: Side,
        by: &str,
        at: When,
        reason: &str,
    ) -> Result<(), GoPastError> {
        match block.level {
            Level::AbsoluteBlock => return Err(GoPastError::Absolute),
            Level::Block | Level::Caution => {}
            Level::Note | Level::Suggest => return Err(GoPastError::StopsNothing),
        }
        if reason.trim().is_empty() {
            return Err(GoPastError::NoReason);
        }
        let given = Override {
            reason: reason.trim().to_owned(),
            by: by.to_owned(),
            at,
            extra: Extra::new(),
        };
        let rule = block.rule.clone();
        match block.stops {
            Stops::Signing => {
                let order = self.orders.iter_mut().rfind(|o| o.side == side);
                let draft = order
                    .and_then(|o| o.draft_mut())
                    .ok_or(GoPastError::NoDraft)?;
                draft.overrides.insert(rule, given);
            }
            Stops::Casting | Stops::Photographs => {
                self.gone_past.push(GonePast { rule, side, given });
            }
        }
        Ok(())
    }

    /// Takes a reason back: the block stands again. A signed order keeps what it was signed with.
    pub fn take_back(&mut self, rule: &str, side: Side) {
        self.gone_past.retain(|g| g.rule != rule || g.side != side);
        let order = self.orders.iter_mut().rfind(|o| o.side == side);
        if let Some(draft) = order.and_then(|o| o.draft_mut()) {
            draft.overrides.remove(rule);
        }
    }

    /// The reason last typed for a rule of casting or photographs.
    pub(super) fn reason_for(&self, rule: &str, side: Side) -> Option<&Override> {
        self.gone_past
            .iter()
            .rfind(|g| g.rule == rule && g.side == side)
            .map(|g| &g.given)
    }
}
