//! A device that edits a record, for the tests.

use automerge::ActorId;
use plinthside_store::document::{Document, DocumentError, Stamp};
use serde_json::{Value, json};

pub fn stamp(by: &str, at_ms: i64) -> Stamp {
    Stamp {
        by: by.into(),
        device: format!("tablet of {by}"),
        at_ms,
        why: String::new(),
    }
}

/// A device: a document and who holds it.
pub struct Device {
    pub doc: Document,
    pub by: &'static str,
    pub clock: i64,
}

impl Device {
    pub fn new(by: &'static str, actor: u8) -> Self {
        Self {
            doc: Document::new(ActorId::from(&[actor; 16][..])),
            by,
            clock: 1_700_000_000_000,
        }
    }

    pub fn value(&self) -> Value {
        self.doc.value().expect("value")
    }

    pub fn try_edit(&mut self, edit: impl FnOnce(&mut Value)) -> Result<Vec<u8>, DocumentError> {
        let before = self.value();
        let mut after = before.clone();
        edit(&mut after);
        self.clock += 1000;
        let (heads, stamp) = (self.doc.heads(), stamp(self.by, self.clock));
        Ok(self
            .doc
            .edit(&heads, &before, &after, &stamp)?
            .map(|(_, bytes)| bytes)
            .unwrap_or_default())
    }

    pub fn edit(&mut self, edit: impl FnOnce(&mut Value)) -> Vec<u8> {
        self.try_edit(edit).expect("edit")
    }

    pub fn meet(&mut self, other: &mut Device) {
        let (mine, theirs) = (
            self.doc.changes_since(&other.doc.heads()),
            other.doc.changes_since(&self.doc.heads()),
        );
        self.doc.apply(&theirs).expect("apply");
        other.doc.apply(&mine).expect("apply");
        assert_eq!(self.doc.heads(), other.doc.heads());
        assert_eq!(self.value(), other.value());
    }
}

pub fn pair(start: Value) -> (Device, Device) {
    let (mut a, mut b) = (Device::new("Ada", 1), Device::new("Bo", 2));
    a.edit(|v| *v = start);
    a.meet(&mut b);
    (a, b)
}

pub fn order() -> Value {
    json!({"orders": [{"id": "o", "side": "left", "revisions": [
        {"number": 1, "prescription": {"note": "a", "plastic": "PP"}, "reason": "", "signature": null}]}]})
}

pub fn revision(v: &mut Value, at: usize) -> &mut Value {
    &mut v["orders"][0]["revisions"][at]
}
