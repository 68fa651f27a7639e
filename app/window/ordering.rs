//! The order of the open foot: filled, signed, and what the clinic keeps of it.

use super::advice;
use super::questions::order_mut;
use super::session::Session;
use super::text::sentence;
use plinthside_visit::order::{
    Order, OrderState, SignError, Signing, as_before, fillable, usual, workshop_matters,
};
use plinthside_visit::{Lang, rules};

impl Session {
    /// Fills the draft: the clinic's usual workshop matters, the choices of the order before it,
    /// then what was measured and examined. Values set by hand stay.
    pub fn fill_order(&mut self) {
        let clinic = self.clinic();
        let before = self.order_before();
        let Some(open) = &mut self.open else { return };
        let case = &open.case;
        let mut asked =
            rules::Case::of_visit(&case.visit, case.side, crate::clock::now().date_naive());
        asked.results = case.results.as_ref();
        let mut values = usual(&clinic);
        if let Some(before) = &before {
            let signed_at = before
                .newest()
                .and_then(|r| r.signature.as_ref())
                .map(|s| s.at);
            values.extend(as_before(before, signed_at, clinic.lang));
        }
        values.extend(fillable(&asked, &clinic));
        if let Some(draft) = order_mut(&mut open.case.visit, open.case.side).draft_mut() {
            // A confirmed field whose source changed is said by the rules, never overwritten.
            draft.fill(&values);
        }
    }

    /// Fills an order that nothing was chosen in yet.
    pub fn fill_new_order(&mut self) {
        let is_new = self.open.as_ref().is_some_and(|open| {
            let order = open.case.visit.order(open.case.side);
            let draft = order.and_then(|order| order.revisions.last());
            draft.is_none_or(|r| r.signature.is_none() && r.lines(self.look.lang).is_empty())
        });
        if is_new {
            self.fill_order();
        }
    }

    /// Takes the field in hand that has to be answered before signing: the next one after the field
    /// in hand, or the first. `false` if none stands in the way.
    pub fn take_up_block(&mut self) -> bool {
        let Self {
            open, tables, look, ..
        } = self;
        let Some(open) = open else { return false };
        let checks = advice::checks(&open.case, tables);
        let blocks = advice::blocks(&checks, &open.order, look.lang);
        let mut fields: Vec<usize> = blocks
            .iter()
            .filter_map(|block| usize::try_from(block.question).ok())
            .collect();
        fields.sort_unstable();
        let now = open.order.chosen();
        let next = fields.iter().find(|field| **field > now);
        let Some(field) = next.or(fields.first()).copied() else {
            return false;
        };
        open.order
            .choose_question(field, &open.case.visit, open.case.side);
        true
    }

    /// The signed order of the visit before this one, for the same foot.
    fn order_before(&mut self) -> Option<Order> {
        let open = self.open.as_ref()?;
        let (side, id) = (open.case.side, open.case.visit.previous_visit.clone()?);
        let earlier = self.try_records(|records| records.visit(&id))?;
        let order = earlier.value.order(side)?;
        (order.state() != OrderState::Withdrawn && order.newest()?.signature.is_some())
            .then(|| order.clone())
    }

    /// Signs the draft. What was typed into it can be tapped in the next one.
    pub fn sign_order(&mut self) {
        let prescriber = self.prescriber();
        let Self { open, tables, .. } = self;
        let Some(open) = open else { return };
        let Some(prescriber) = prescriber else {
            let english = "whoever works here is not among the clinic's people who prescribe; choose under Settings, People, who works now";
            open.refusal = sentence(english, self.look.lang);
            return;
        };
        let order = order_mut(&mut open.case.visit, open.case.side);
        let (id, draft) = (order.id.clone(), order.revisions.last().cloned());
        let signing = Signing {
            rules: &tables.rules,
            results: open.case.results.as_ref(),
            label_side: None,
            at: crate::clock::now(),
        };
        match open.case.visit.sign(&id, &prescriber, signing) {
            Ok(_) => {
                open.refusal.clear();
                self.screen = plinthside_ui::Screen::Label;
                if let Some(draft) = draft {
                    self.change_clinic(|clinic| clinic.remember_words(&draft));
                }
            }
            Err(refusal) => {
                let mut english = refusal.to_string();
                // The text of a rule is there in both languages.
                if let (Lang::De, SignError::Blocked(fired)) = (self.look.lang, &refusal)
                    && let Some(first) = fired.first()
                {
                    english = english.replace(&first.text.en, &first.text.de);
                }
                open.refusal = sentence(&english, self.look.lang);
            }
        }
    }

    /// Keeps the workshop matters of this order as the clinic's usual ones.
    pub fn keep_as_usual(&mut self) {
        let revision = self.open.as_ref().and_then(|open| {
            let order = open.case.visit.order(open.case.side)?;
            order.revisions.last().cloned()
        });
        if let Some(revision) = revision {
            self.change_clinic(|clinic| clinic.usual_order = workshop_matters(&revision));
        }
    }
}
