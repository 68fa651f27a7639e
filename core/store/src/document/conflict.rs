//! Where two devices disagree: shown with who and when, kept until someone chooses.

use super::node::{Item, Kind, Node};
use super::write::{Place, Writer};
use super::{Document, DocumentError, Stamp, shape};
use automerge::transaction::Transactable;
use automerge::{ChangeHash, ObjId, Prop, ReadDoc};
use serde::Serialize;
use serde_json::{Map, Value};

/// What kind of disagreement it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ConflictKind {
    /// One value was set differently on two devices.
    Changed,
    /// Removed on one device while it was changed on another. It is shown until someone chooses.
    RemovedAndChanged,
    /// Signed on one device while it was changed on another. What was signed stands; the change
    /// can become a new revision.
    ChangedWhileSigned,
    /// Two revisions carry one number. Both are kept; a later revision settles it.
    SameRevisionTwice,
}

/// One of the values to choose from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alternative {
    /// The value; null for "removed".
    pub value: Value,
    /// Who set it, where and when, as far as known.
    pub stamp: Option<Stamp>,
}

/// A disagreement between devices about one place of a record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Conflict {
    /// Keys from the root; elements of a list by their identifier or position.
    pub path: Vec<String>,
    /// What kind it is.
    pub kind: ConflictKind,
    /// The values, the one shown meanwhile first.
    pub alternatives: Vec<Alternative>,
}

impl Document {
    /// Everything the devices disagree about.
    pub fn conflicts(&self) -> Result<Vec<Conflict>, DocumentError> {
        let mut found = Vec::new();
        if self.changes() <= 1 {
            return Ok(found);
        }
        self.collect(&Node::root(&self.doc)?, "", &mut Vec::new(), &mut found);
        Ok(found)
    }

    fn collect(&self, node: &Node, name: &str, path: &mut Vec<String>, found: &mut Vec<Conflict>) {
        if node.is_removed() {
            return;
        }
        let mut report = |kind, values: Vec<(Value, &ObjId)>| {
            let alternatives = values
                .into_iter()
                .map(|(value, op)| Alternative {
                    value,
                    stamp: self.stamp(op),
                })
                .collect();
            found.push(Conflict {
                path: path.clone(),
                kind,
                alternatives,
            });
        };
        if !node.rivals.is_empty() {
            let rivals = node.rivals.iter().map(|(value, op)| (value.clone(), op));
            report(
                ConflictKind::Changed,
                std::iter::once((node.json(), &node.op))
                    .chain(rivals)
                    .collect(),
            );
        }
        if let Some((_, op)) = node.removals.first() {
            let newest = newest(node);
            report(
                ConflictKind::RemovedAndChanged,
                vec![(node.json(), &newest), (Value::Null, op)],
            );
        }
        match &node.kind {
            Kind::Leaf(_) => {}
            Kind::Record {
                frozen: Some(frozen),
                ..
            } => {
                if !frozen.rivals.is_empty() {
                    let rivals = frozen.rivals.iter().map(|(value, op)| (value.clone(), op));
                    let all = std::iter::once((frozen.json(), &frozen.op))
                        .chain(rivals)
                        .collect();
                    report(ConflictKind::Changed, all);
                } else if node.live_json() != frozen.json() {
                    let newest = newest(node);
                    let both = vec![(frozen.json(), &frozen.op), (node.live_json(), &newest)];
                    report(ConflictKind::ChangedWhileSigned, both);
                }
            }
            Kind::Record { fields, .. } => {
                for (key, field) in fields {
                    path.push(key.clone());
                    self.collect(field, key, path, found);
                    path.pop();
                }
            }
            Kind::List { items, .. } => {
                if name == "revisions" {
                    for twice in same_numbers(items) {
                        let both = twice.iter().map(|i| (i.node.json(), &i.node.op)).collect();
                        report(ConflictKind::SameRevisionTwice, both);
                    }
                }
                for (index, item) in items.iter().enumerate() {
                    path.push(item.key.clone().unwrap_or_else(|| index.to_string()));
                    self.collect(&item.node, "", path, found);
                    path.pop();
                }
            }
        }
    }

    /// Settles a conflict: the chosen value is written as a change of its own, so the others stay
    /// in the history. Two revisions with one number are settled by a later revision instead, and
    /// an edit of a signed record can only be let go here.
    pub fn resolve(
        &mut self,
        conflict: &Conflict,
        choice: usize,
        stamp: &Stamp,
    ) -> Result<Vec<u8>, DocumentError> {
        if !self.conflicts()?.contains(conflict) {
            return Err(DocumentError::NoSuchChoice);
        }
        let chosen = conflict
            .alternatives
            .get(choice)
            .ok_or(DocumentError::NoSuchChoice)?
            .value
            .clone();
        let settled = match conflict.kind {
            ConflictKind::SameRevisionTwice => false,
            ConflictKind::ChangedWhileSigned => choice == 0,
            _ => true,
        };
        if !settled {
            return Err(DocumentError::Frozen {
                path: conflict.path.join("/"),
            });
        }
        let change = self.change(None, stamp, |writer| {
            let root = Node::root(writer.tx)?;
            let site = find(&root, &conflict.path).ok_or(DocumentError::NoSuchChoice)?;
            writer.settle(&site, &chosen)
        })?;
        change
            .map(|(_, bytes)| bytes)
            .ok_or(DocumentError::NoSuchChoice)
    }

    /// Who made the change an operation belongs to.
    pub(super) fn stamp(&self, op: &ObjId) -> Option<Stamp> {
        self.stamp_of(&self.doc.hash_for_opid(op)?)
    }

    pub(super) fn stamp_of(&self, hash: &ChangeHash) -> Option<Stamp> {
        let change = self.doc.get_change_meta_by_hash(hash)?;
        serde_json::from_str(change.message.as_deref()?).ok()
    }
}

/// The newest operation inside a node.
fn newest(node: &Node) -> ObjId {
    let inside: Vec<&Node> = match &node.kind {
        Kind::Leaf(_) => Vec::new(),
        Kind::Record { fields, .. } => fields.values().collect(),
        Kind::List { items, .. } => items.iter().map(|item| &item.node).collect(),
    };
    let counter = |op: &ObjId| match op {
        ObjId::Id(counter, ..) => *counter,
        ObjId::Root => 0,
    };
    inside
        .into_iter()
        .map(newest)
        .fold(node.op.clone(), |a, b| {
            if counter(&b) > counter(&a) { b } else { a }
        })
}

/// Groups of elements with one number that no later revision has settled.
fn same_numbers(items: &[Item]) -> Vec<Vec<&Item>> {
    let number = |item: &Item| {
        item.node
            .json()
            .get("number")
            .and_then(Value::as_u64)
            .unwrap_or(0)
    };
    let highest = items.iter().map(number).max();
    let last: Vec<&Item> = items
        .iter()
        .filter(|i| Some(number(i)) == highest)
        .collect();
    if last.len() > 1 {
        vec![last]
    } else {
        Vec::new()
    }
}

/// The place of a conflict: what it is, and what holds it.
struct Site<'a> {
    node: &'a Node,
    holder: Holder<'a>,
}

enum Holder<'a> {
    Nothing,
    Record(&'a [ObjId], &'a str),
    List(&'a Item),
}

fn find<'a>(root: &'a Node, path: &'a [String]) -> Option<Site<'a>> {
    let mut site = Site {
        node: root,
        holder: Holder::Nothing,
    };
    for step in path {
        site = match &site.node.kind {
            Kind::Leaf(_) => return None,
            Kind::Record { twins, fields, .. } => Site {
                node: fields.get(step)?,
                holder: Holder::Record(twins, step),
            },
            Kind::List { items, .. } => {
                let by_position = || {
                    items
                        .get(step.parse::<usize>().ok()?)
                        .filter(|i| i.key.is_none())
                };
                let item = items
                    .iter()
                    .find(|i| i.key.as_ref() == Some(step))
                    .or_else(by_position)?;
                Site {
                    node: &item.node,
                    holder: Holder::List(item),
                }
            }
        };
    }
    Some(site)
}

impl<T: Transactable + ReadDoc> Writer<'_, T> {
    fn settle(&mut self, site: &Site<'_>, chosen: &Value) -> Result<(), DocumentError> {
        if let Kind::Record {
            twins,
            frozen: Some(frozen),
            ..
        } = &site.node.kind
        {
            return self.settle_signed(site.node, twins, frozen, chosen);
        }
        if !site.node.removals.is_empty() {
            return self.settle_removed(site, chosen);
        }
        match &site.holder {
            Holder::Nothing => Err(DocumentError::NoSuchChoice),
            Holder::Record(twins, key) => {
                let stored = shape::key_to_doc(key);
                self.put(
                    Place::Put(&twins[0], Prop::Map(stored.clone())),
                    "",
                    key,
                    chosen,
                )?;
                self.delete_in(&twins[1..], &stored)
            }
            Holder::List(item) => {
                let (list, index) = &item.places[0];
                self.put(Place::Put(list, Prop::Seq(*index)), "", "", chosen)
            }
        }
    }

    fn settle_removed(&mut self, site: &Site<'_>, chosen: &Value) -> Result<(), DocumentError> {
        let (twins, key): (Vec<ObjId>, String) = match (&site.holder, &site.node.kind) {
            (Holder::Record(twins, key), _) => (twins.to_vec(), shape::removal_key(key)),
            (Holder::List(_), Kind::Record { twins, .. }) => {
                (twins.clone(), shape::REMOVED.to_owned())
            }
            _ => return Err(DocumentError::NoSuchChoice),
        };
        self.delete_in(&twins, &key)?;
        if chosen.is_null() {
            self.tx
                .put(&twins[0], key, shape::digest(&site.node.json()))?;
        }
        Ok(())
    }

    /// Puts the signed copy in force and the fields back to what it says.
    fn settle_signed(
        &mut self,
        node: &Node,
        twins: &[ObjId],
        frozen: &Node,
        chosen: &Value,
    ) -> Result<(), DocumentError> {
        if !frozen.rivals.is_empty() {
            self.put_leaf(
                Place::Put(&twins[0], Prop::Map(shape::FROZEN.to_owned())),
                chosen,
            )?;
        }
        let (live, none) = (node.live_json(), Map::new());
        let before = live.as_object().unwrap_or(&none);
        let after = chosen.as_object().ok_or(DocumentError::NoSuchChoice)?;
        self.fields("", node, &shape::differing(before, after))
    }
}
