//! Labs' answers, read where packages were left for them.

use plinthside_exchange::{Devices, ExchangeError, Holder, Target, read_receipts};
use plinthside_store::Filter;
use plinthside_visit::Visit;
use plinthside_visit::follow_up::Receipt;
use plinthside_visit::order::{Order, OrderState};

/// So many visits are looked after at once.
const MOST: usize = 50;

/// States of visits, as the list of cases has them, with an order that a lab may answer.
const WAITING: [&str; 8] = [
    "handed_over",
    "lab_hold",
    "handed_over lab_hold",
    "draft handed_over",
    "draft lab_hold",
    "handed_over signed",
    "handed_over received",
    "lab_hold received",
];

/// A lab's answer that its visit does not hold yet.
pub struct Answered {
    /// The visit.
    pub visit: String,
    /// The order.
    pub order: String,
    /// What the lab says.
    pub receipt: Receipt,
}

/// Reads the answers to orders that wait for one; and in words those that cannot be read.
///
/// # Errors
/// The target does not answer, or the store is locked.
pub fn read<H: Holder>(
    store: &H,
    target: &dyn Target,
) -> Result<(Vec<Answered>, Vec<String>), ExchangeError> {
    let (mut answers, mut unread) = (Vec::new(), Vec::new());
    let visits = store.with(waiting)?;
    if visits.is_empty() {
        return Ok((answers, unread));
    }
    let sender = Devices(store).sender("")?;
    for visit in visits {
        for (order, lab, code) in visit.orders.iter().filter_map(|order| asked(&visit, order)) {
            let (receipts, told) = read_receipts(target, &sender, &lab, &code)?;
            unread.extend(told);
            let number = order.in_force().map_or(0, |revision| revision.number);
            let known = visit.follow_up(&order.id);
            let known = known.map_or(&[][..], |follow_up| &follow_up.receipts);
            let new = receipts.into_iter().filter(|receipt| {
                receipt.revision == number
                    && !known
                        .iter()
                        .any(|k| (k.revision, k.at) == (receipt.revision, receipt.at))
            });
            answers.extend(new.map(|receipt| Answered {
                visit: visit.id.clone(),
                order: order.id.clone(),
                receipt,
            }));
        }
    }
    Ok((answers, unread))
}

/// Visits with an order that a lab may answer.
fn waiting(store: &mut plinthside_store::Store) -> Vec<Visit> {
    let mut visits = Vec::new();
    for state in WAITING {
        let filter = Filter::State(state.to_owned());
        // What cannot be read now is read with the next synchronisation.
        for case in store.cases(&filter, 0, MOST).unwrap_or_default() {
            let value = store.read(&case.id).ok();
            visits.extend(value.and_then(|value| serde_json::from_value(value).ok()));
        }
    }
    visits
}

/// An order that waits for its lab: with the lab and the code of the cast.
fn asked<'a>(visit: &Visit, order: &'a Order) -> Option<(&'a Order, String, String)> {
    if !matches!(order.state(), OrderState::HandedOver | OrderState::LabHold) {
        return None;
    }
    let lab = &order.in_force()?.prescription.identity.lab;
    let cast = order.cast.as_ref();
    let cast = cast.and_then(|id| visit.casts.iter().find(|cast| cast.id == *id))?;
    let code = cast.code.as_deref()?.trim();
    (!lab.is_empty() && !code.is_empty()).then(|| (order, lab.clone(), code.to_owned()))
}
