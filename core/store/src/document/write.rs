//! Turns "the record was A, now it is B" into the fewest changes, at the places they belong.
//!
//! Only what differs between A and B is written: a field that only the document knows (of a newer
//! version, or changed elsewhere meanwhile) is left alone. Nothing is deleted outright where
//! somebody else may be changing it: a removal leaves a mark with a digest of what was removed, and
//! holds only as long as that is still all there is.

use super::node::{Kind, Node};
use super::shape::Differing;
use super::{DocumentError, shape};
use automerge::hydrate::Value as Stored;
use automerge::transaction::Transactable;
use automerge::{ObjId, Prop, ReadDoc, ScalarValue};
use serde_json::{Map, Value};
use std::collections::HashMap;

pub(super) type Result<T = ()> = std::result::Result<T, DocumentError>;

/// Writes differences into an open transaction.
pub(crate) struct Writer<'a, T> {
    pub(super) tx: &'a mut T,
    /// Keys from the root to where it is writing, for messages.
    pub(super) path: Vec<String>,
}

/// Where a new value goes.
pub(super) enum Place<'a> {
    /// At a key or index, over what is there.
    Put(&'a ObjId, Prop),
    /// Into a list, before an index.
    Insert(&'a ObjId, usize),
}

impl<'a, T: Transactable + ReadDoc> Writer<'a, T> {
    /// A writer at the root.
    pub(crate) fn new(tx: &'a mut T) -> Self {
        Self {
            tx,
            path: Vec::new(),
        }
    }

    /// Writes a whole record into an empty document: all its parts at once.
    pub(super) fn first(&mut self, record: &Map<String, Value>) -> Result {
        let parts = self.parts("", record)?;
        self.tx.init_root_from_hydrate(&parts.into())?;
        self.freeze_if_signed(&[ObjId::Root], record)
    }

    /// Writes where two records differ into the record `node`, found under `name`, which becomes
    /// `after`.
    pub(crate) fn record(
        &mut self,
        name: &str,
        node: &Node,
        differing: &[Differing<'_>],
        after: &Map<String, Value>,
    ) -> Result {
        let Kind::Record { twins, frozen, .. } = &node.kind else {
            return Ok(());
        };
        if frozen.is_some() {
            return if differing.is_empty() {
                Ok(())
            } else {
                Err(DocumentError::Frozen { path: self.here() })
            };
        }
        self.fields(name, node, differing)?;
        self.freeze_if_signed(twins, after)
    }

    /// Writes where two records differ, signed or not.
    pub(super) fn fields(
        &mut self,
        name: &str,
        node: &Node,
        differing: &[Differing<'_>],
    ) -> Result {
        let Kind::Record { twins, fields, .. } = &node.kind else {
            return Ok(());
        };
        for &(key, old, new) in differing {
            self.path.push(key.to_owned());
            self.field(name, twins, key, fields.get(key), (old, new))?;
            self.path.pop();
        }
        Ok(())
    }

    fn field(
        &mut self,
        parent: &str,
        twins: &[ObjId],
        key: &str,
        node: Option<&Node>,
        (old, new): (Option<&Value>, Option<&Value>),
    ) -> Result {
        let stored = shape::key_to_doc(key);
        let Some(node) = node else {
            return match new {
                None | Some(Value::Null) => Ok(()),
                Some(new) => self.put(Place::Put(&twins[0], Prop::Map(stored)), parent, key, new),
            };
        };
        let holds_parts = !matches!(node.kind, Kind::Leaf(_));
        let Some(new) = new.filter(|new| !(new.is_null() && holds_parts)) else {
            self.refuse_if_signed(node)?;
            let mark = shape::digest(&node.json());
            return Ok(self.tx.put(&twins[0], shape::removal_key(key), mark)?);
        };
        let revived = node.is_removed().then(|| node.live_json());
        let old = revived.as_ref().or(old);
        if !node.removals.is_empty() {
            self.delete_in(twins, &shape::removal_key(key))?;
        }
        match (&node.kind, new) {
            (Kind::Record { .. }, Value::Object(new)) if !shape::is_whole(parent, key, new) => {
                let nothing = Map::new();
                let old = old.and_then(Value::as_object).unwrap_or(&nothing);
                self.record(key, node, &shape::differing(old, new), new)
            }
            (
                Kind::List {
                    items,
                    aligned: true,
                    ..
                },
                Value::Array(new),
            ) => self.aligned_list(key, items, elements(old), new),
            (Kind::List { twins, items, .. }, Value::Array(new)) => {
                self.list(key, twins, items, elements(old), new)
            }
            (_, new) => {
                self.refuse_if_signed(node)?;
                self.put(
                    Place::Put(&twins[0], Prop::Map(stored.clone())),
                    parent,
                    key,
                    new,
                )?;
                self.delete_in(&twins[1..], &stored)
            }
        }
    }

    /// Puts a new value, found under `name` of the record or list `parent`: all its parts at once.
    pub(super) fn put(
        &mut self,
        place: Place<'_>,
        parent: &str,
        name: &str,
        value: &Value,
    ) -> Result {
        let stored = self.stored(parent, name, value)?;
        match (place, stored) {
            (Place::Put(object, prop), Stored::Scalar(leaf)) => self.tx.put(object, prop, leaf)?,
            (Place::Insert(list, index), Stored::Scalar(leaf)) => {
                self.tx.insert(list, index, leaf)?;
            }
            (Place::Put(object, prop), parts) => {
                self.tx.batch_create_object(object, prop, &parts, false)?;
            }
            (Place::Insert(list, index), parts) => {
                self.tx.batch_create_object(list, index, &parts, true)?;
            }
        }
        Ok(())
    }

    fn parts(&self, name: &str, members: &Map<String, Value>) -> Result<HashMap<String, Stored>> {
        let there = members.iter().filter(|(_, member)| !member.is_null());
        there
            .map(|(key, member)| Ok((shape::key_to_doc(key), self.stored(name, key, member)?)))
            .collect()
    }

    /// A new value as the document holds it.
    fn stored(&self, parent: &str, name: &str, value: &Value) -> Result<Stored> {
        Ok(match value {
            Value::Object(members) if !shape::is_whole(parent, name, members) => {
                let mut parts = self.parts(name, members)?;
                if is_signed(members)? {
                    let signed = shape::as_read(parent, name, value);
                    parts.insert(shape::FROZEN.to_owned(), frozen(&signed).into());
                }
                Stored::Map(parts.into())
            }
            Value::Array(elements) => {
                let keyed = self.keys(name, elements)?.is_some();
                let element = |element| match keyed {
                    true => self.stored(name, "", element),
                    false => Ok(shape::leaf_to_doc(element).into()),
                };
                let elements: Vec<Stored> = elements.iter().map(element).collect::<Result<_>>()?;
                Stored::List(elements.into())
            }
            leaf => shape::leaf_to_doc(leaf).into(),
        })
    }

    /// Puts a scalar or a whole value.
    pub(super) fn put_leaf(&mut self, place: Place<'_>, value: &Value) -> Result {
        let value = shape::leaf_to_doc(value);
        match place {
            Place::Put(object, prop) => self.tx.put(object, prop, value)?,
            Place::Insert(list, index) => self.tx.insert(list, index, value)?,
        }
        Ok(())
    }

    /// Deletes a stored key wherever one of the twins has it.
    pub(super) fn delete_in(&mut self, twins: &[ObjId], stored: &str) -> Result {
        for twin in twins {
            if self.tx.get(twin, stored)?.is_some() {
                self.tx.delete(twin, stored)?;
            }
        }
        Ok(())
    }

    pub(super) fn refuse_if_signed(&self, node: &Node) -> Result {
        if node.holds_signed() {
            Err(DocumentError::Frozen { path: self.here() })
        } else {
            Ok(())
        }
    }

    /// A record that has just been signed keeps a copy of itself: what was signed can be read
    /// whatever is still to arrive from elsewhere.
    pub(super) fn freeze_if_signed(
        &mut self,
        twins: &[ObjId],
        after: &Map<String, Value>,
    ) -> Result {
        if is_signed(after)? {
            let signed = Node::of_record(self.tx, twins.to_vec())?.live_json();
            self.tx.put(&twins[0], shape::FROZEN, frozen(&signed))?;
        }
        Ok(())
    }

    pub(super) fn here(&self) -> String {
        self.path.join("/")
    }
}

fn elements(list: Option<&Value>) -> &[Value] {
    list.and_then(Value::as_array).map_or(&[], Vec::as_slice)
}

/// The signed copy, as text: a signed record is whole.
fn frozen(signed: &Value) -> ScalarValue {
    ScalarValue::Str(format!("{}{signed}", shape::WHOLE).into())
}

/// Whether a record carries a signature; an amendment needs a reason to.
fn is_signed(record: &Map<String, Value>) -> Result<bool> {
    if record.get(shape::SIGNATURE).is_none_or(Value::is_null) {
        return Ok(false);
    }
    let number = record.get("number").and_then(Value::as_u64).unwrap_or(1);
    let reason = record.get("reason").and_then(Value::as_str);
    if number > 1 && reason.is_none_or(|reason| reason.trim().is_empty()) {
        return Err(DocumentError::NoReason { number });
    }
    Ok(true)
}
