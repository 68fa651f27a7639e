//! The list of visits as a model: rows are read from the store as they come into view, so a
//! hundred thousand visits cost no more than ten.

use super::desk::PAGE;
use super::{Inner, show};
use plinthside_ui::CaseRow;
use slint::{Model, ModelNotify, ModelTracker};
use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::rc::Weak;

/// So many pages are kept in memory.
const MOST_PAGES: usize = 16;

/// See the module.
pub struct CaseList {
    inner: Weak<Inner>,
    version: Cell<u64>,
    count: Cell<usize>,
    pages: RefCell<BTreeMap<usize, Vec<CaseRow>>>,
    notify: ModelNotify,
}

impl CaseList {
    /// A list over what a window shows.
    pub fn new(inner: Weak<Inner>) -> Self {
        Self {
            inner,
            version: Cell::new(0),
            count: Cell::new(0),
            pages: RefCell::default(),
            notify: ModelNotify::default(),
        }
    }

    /// Shows another state of the list. Call it while the session is not borrowed.
    pub fn refresh(&self, version: u64, count: usize) {
        if self.version.replace(version) != version {
            self.count.set(count);
            self.pages.borrow_mut().clear();
            self.notify.reset();
        }
    }
}

impl Model for CaseList {
    type Data = CaseRow;

    fn row_count(&self) -> usize {
        self.count.get()
    }

    fn row_data(&self, row: usize) -> Option<CaseRow> {
        if row >= self.count.get() {
            return None;
        }
        let (page, within) = (row / PAGE, row % PAGE);
        let mut pages = self.pages.borrow_mut();
        if !pages.contains_key(&page) {
            let inner = self.inner.upgrade()?;
            let mut session = inner.session.try_borrow_mut().ok()?;
            let rows = show::case_rows(&mut session, page);
            while pages.len() >= MOST_PAGES {
                // The page farthest from the one in view goes.
                let far = *pages.keys().max_by_key(|key| key.abs_diff(page))?;
                pages.remove(&far);
            }
            pages.insert(page, rows);
        }
        pages.get(&page)?.get(within).cloned()
    }

    fn model_tracker(&self) -> &dyn ModelTracker {
        &self.notify
    }
}
