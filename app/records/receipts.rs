//! Labs' answers, read where packages were left for them and written into their visits.

use crate::error::AppError;
use plinthside_exchange::{Devices, ExchangeError, Holder, Target, TargetError, read_receipts};
use plinthside_store::{Filter, Store, StoreError};
use plinthside_visit::follow_up::Receipt;
use plinthside_visit::order::{Order, OrderState};
use plinthside_visit::{Visit, When};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, PoisonError};

/// States with an order that a lab may answer, and of how many visits in them its answer is looked
/// for, those changed last first: a lab that has accepted asks soon or not at all.
const WAITING: [(OrderState, usize); 3] = [
    (OrderState::HandedOver, usize::MAX),
    (OrderState::LabHold, usize::MAX),
    (OrderState::Received, 200),
];
/// So many rows of the list are read in one go.
const PAGE: usize = 200;

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
    let visits = store.with(waiting)??;
    if visits.is_empty() {
        return Ok((answers, unread));
    }
    let sender = Devices(store).sender("")?;
    let target = ListedOnce::new(target);
    for id in visits {
        // What cannot be read now is read with the next synchronisation.
        let read = store.with(move |store| store.read(&id).ok())?;
        let visit = read.and_then(|value| serde_json::from_value::<Visit>(value).ok());
        let Some(visit) = visit else { continue };
        for (order, lab, code) in visit.orders.iter().filter_map(|order| asked(&visit, order)) {
            let (receipts, told) = read_receipts(&target, &sender, &lab, &code)?;
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

/// Writes an answer into its visit; one that is in unfinished work waits.
///
/// # Errors
/// The visit is open elsewhere or gone, its order waits for no answer, or the disk refuses.
pub fn take(store: &mut Store, answered: &Answered, by: &str, now: When) -> Result<(), AppError> {
    let mut visit = store.open_record::<Visit>(&answered.visit)?;
    let receipt = answered.receipt.clone();
    visit.value.take_receipt(&answered.order, receipt, now)?;
    store.save(&mut visit, by, "")?;
    Ok(store.finish(&answered.visit)?)
}

/// Visits with an order that a lab may answer.
fn waiting(store: &mut Store) -> Result<BTreeSet<String>, StoreError> {
    let mut visits = BTreeSet::new();
    for (state, most) in WAITING {
        let filter = Filter::Holding(state.token().to_owned());
        let mut seen = 0;
        while seen < most {
            let page = store.cases(&filter, seen, PAGE)?;
            seen += PAGE;
            let last = page.len() < PAGE;
            visits.extend(page.into_iter().map(|case| case.id));
            if last {
                break;
            }
        }
    }
    Ok(visits)
}

/// An order that waits for its lab: with the lab and the code its package is named by.
fn asked<'a>(visit: &Visit, order: &'a Order) -> Option<(&'a Order, String, String)> {
    let state = order.state();
    if !WAITING.iter().any(|(waiting, _)| *waiting == state) {
        return None;
    }
    let lab = &order.in_force()?.prescription.identity.lab;
    let cast = order.cast.as_ref();
    let cast = cast.and_then(|id| visit.casts.iter().find(|cast| cast.id == *id));
    let code = match cast {
        Some(cast) => cast.code.as_deref()?.trim().to_owned(),
        None => format!("{}-{}", visit.person.code.trim(), order.id),
    };
    (!lab.is_empty() && !code.is_empty()).then(|| (order, lab.clone(), code))
}

/// A target whose folders are listed once each, however many orders went to one lab.
struct ListedOnce<'a> {
    target: &'a dyn Target,
    lists: Mutex<BTreeMap<String, Vec<String>>>,
}

impl<'a> ListedOnce<'a> {
    fn new(target: &'a dyn Target) -> Self {
        let lists = Mutex::default();
        Self { target, lists }
    }
}

impl Target for ListedOnce<'_> {
    fn list(&self, folder: &str) -> Result<Vec<String>, TargetError> {
        let mut lists = self.lists.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(names) = lists.get(folder) {
            return Ok(names.clone());
        }
        let names = self.target.list(folder)?;
        lists.insert(folder.to_owned(), names.clone());
        Ok(names)
    }

    fn get(&self, name: &str) -> Result<Vec<u8>, TargetError> {
        self.target.get(name)
    }

    fn put(&self, name: &str, bytes: &[u8]) -> Result<(), TargetError> {
        self.target.put(name, bytes)
    }

    fn delete(&self, name: &str) -> Result<(), TargetError> {
        self.target.delete(name)
    }

    fn describe(&self) -> String {
        self.target.describe()
    }
}
