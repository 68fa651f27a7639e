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
const WAITING: [(OrderState, usize); 4] = [
    // The lab has its package before somebody says that the plaster left.
    (OrderState::Signed, 200),
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
            // A lab may ask and accept within one second.
            let new = receipts
                .into_iter()
                .filter(|receipt| receipt.revision == number && !known.contains(receipt));
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

#[cfg(test)]
mod tests {
    use super::*;
    use plinthside_exchange::package::lab_path;
    use plinthside_exchange::{Answer, Memory, PackInputs, SecretKey, open, pack};
    use plinthside_measure::marks::Side;
    use plinthside_store::{Kdf, Options, VISIT};
    use plinthside_visit::person::{Lab, Prescriber};
    use plinthside_visit::{Clinic, Lang};

    const LAB: &str = "Kiln Row Workshop";

    fn at(hour: u32) -> When {
        let text = format!("2026-03-05T{hour:02}:00:00+01:00");
        text.parse().expect("a time")
    }

    /// An order that was handed over, without a cast, beside one that was made again.
    fn visit() -> Visit {
        let mut order = Order::new("o-2", Side::Left);
        let draft = order.draft_mut().expect("a draft");
        draft.prescription.identity.lab = LAB.into();
        draft.signature = Some(plinthside_visit::order::Signature {
            prescriber: Prescriber::default(),
            at: at(9),
            cautions: Vec::new(),
            extra: Default::default(),
        });
        let entry = |to| plinthside_visit::order::StateChange {
            to,
            at: at(9),
            by: "Ada".into(),
            revision: 1,
            reason: String::new(),
            extra: Default::default(),
        };
        order.history = vec![entry(OrderState::Signed)];
        let mut before = Order::new("o-1", Side::Left);
        before.history = vec![entry(OrderState::Remade)];
        let mut visit = Visit::new("v-1", at(9), vec![Side::Left]);
        visit.person.code = "SL-2031".into();
        visit.orders = vec![before, order];
        visit
    }

    /// Nobody has said yet that the plaster left: the lab answers what it was sent.
    #[test]
    fn an_answer_to_an_order_without_a_cast_beside_others_is_read_and_taken_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = Options::new("tablet").kdf(Kdf::LEAST);
        let path = folder.path().join("a.store");
        let mut store = Store::create(&path, "correct horse", options).expect("a store");
        let visit = visit();
        store.import(&visit.id, VISIT, &visit, "Ada").expect("kept");
        let store = Mutex::new(store);
        let (key, target) = (SecretKey::generate(), Memory::default());
        let sender = Devices(&store).sender("Tablet").expect("a practice");
        let package = pack(&PackInputs {
            visit: &visit,
            order: "o-2",
            clinic: &Clinic::default(),
            lab: &Lab {
                name: LAB.into(),
                public_key: key.public().expect("a key"),
                ..Lab::default()
            },
            sender: &sender,
            order_pdf: b"%PDF-1.7\norder\n%%EOF\n",
            bench_pdf: None,
            photographs: &[],
            with_name: false,
            at: at(9),
            lang: Lang::En,
        });
        let opened = open(&package.expect("packed").bytes, &key).expect("opened");
        let (name, bytes) = opened
            .receipt(Answer::Question, "Bo", "which strap?", at(8))
            .expect("written");
        target.put(&lab_path(LAB, &name), &bytes).expect("laid");

        let (answers, unread) = read(&store, &target).expect("read");
        assert_eq!((answers.len(), unread.len()), (1, 0));
        assert_eq!(answers[0].order, "o-2");
        let mut held = store.lock().expect("held");
        take(&mut held, &answers[0], "Ada", at(10)).expect("taken");
        let kept: Visit = held.open_record("v-1").expect("opened").value;
        let states: Vec<_> = kept.orders[1]
            .history
            .iter()
            .map(|c| c.to.clone())
            .collect();
        let handed = [OrderState::Signed, OrderState::HandedOver];
        assert_eq!(states, [&handed[..], &[OrderState::LabHold]].concat());
        assert_eq!(kept.follow_up[0].receipts[0].at, at(8));
        held.finish("v-1").expect("finished");
        drop(held);
        assert!(read(&store, &target).expect("read").0.is_empty());
    }
}
