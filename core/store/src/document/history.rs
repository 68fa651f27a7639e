//! Who changed what, when: read from the changes themselves.

use super::node::Node;
use super::{Document, DocumentError, Heads, Stamp, shape};
use automerge::legacy::{Key, ObjectId, OpId, OpType};
use automerge::{Change, ChangeHash, ObjType, ReadDoc};
use serde::Serialize;
use serde_json::Value;
use std::collections::{BTreeMap, HashMap, HashSet};

/// One change, as a person reads it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HistoryEntry {
    /// Identifier of the change.
    #[serde(serialize_with = "as_text")]
    pub change: ChangeHash,
    /// The changes it was made on.
    #[serde(skip)]
    pub deps: Vec<ChangeHash>,
    /// Who, where, when, why.
    pub stamp: Option<Stamp>,
    /// What became different.
    pub differences: Vec<Difference>,
}

fn as_text<S: serde::Serializer>(hash: &ChangeHash, s: S) -> Result<S::Ok, S::Error> {
    s.collect_str(hash)
}

/// One value that a change made different.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// Keys from the root, as [`super::Conflict::path`].
    pub path: Vec<String>,
    /// Before; null if it was not there.
    pub before: Value,
    /// After; null if it was removed.
    pub after: Value,
}

/// What is known of an object while the changes are read again.
struct Object {
    parent: Option<(ObjectId, String)>,
}

/// The changes read so far.
#[derive(Default)]
struct Replay {
    objects: HashMap<ObjectId, Object>,
    values: HashMap<OpId, Value>,
    ids: HashMap<ObjectId, String>,
}

impl Document {
    /// Every change, in an order in which each follows those it knew of, whatever the clocks said.
    #[must_use]
    pub fn history(&self) -> Vec<HistoryEntry> {
        let mut replay = Replay::default();
        self.doc
            .get_changes(&[])
            .iter()
            .map(|change| self.entry(change, &mut replay))
            .collect()
    }

    /// The newest state that holds no change made after `at_ms`, by the clocks of those who made
    /// the changes.
    #[must_use]
    pub fn heads_at(&self, at_ms: i64) -> Heads {
        let mut included: HashSet<ChangeHash> = HashSet::new();
        let mut heads: HashSet<ChangeHash> = HashSet::new();
        for change in self.doc.get_changes_meta(&[]) {
            let time = change
                .message
                .as_deref()
                .and_then(|m| serde_json::from_str::<Stamp>(m).ok());
            let time = time.map_or(change.timestamp.saturating_mul(1000), |stamp| stamp.at_ms);
            if time <= at_ms && change.deps.iter().all(|dep| included.contains(dep)) {
                change.deps.iter().for_each(|dep| {
                    heads.remove(dep);
                });
                included.insert(change.hash);
                heads.insert(change.hash);
            }
        }
        let mut heads: Heads = heads.into_iter().collect();
        heads.sort_unstable();
        heads
    }

    /// Number of changes.
    #[must_use]
    pub fn changes(&self) -> u64 {
        self.doc.stats().num_changes
    }

    fn entry(&self, change: &Change, replay: &mut Replay) -> HistoryEntry {
        let expanded = change.decode();
        let mut differences: BTreeMap<Vec<String>, (Value, Value)> = BTreeMap::new();
        for (counter, op) in (expanded.start_op.get()..).zip(&expanded.operations) {
            let id = OpId::new(counter, &expanded.actor_id);
            let step = match &op.key {
                Key::Map(key) => key.to_string(),
                Key::Seq(_) => String::new(),
            };
            match &op.action {
                OpType::Make(ObjType::Map | ObjType::List | ObjType::Table | ObjType::Text) => {
                    let parent = Some((op.obj.clone(), step));
                    replay.objects.insert(ObjectId::Id(id), Object { parent });
                }
                OpType::Put(value) => {
                    let value = shape::leaf_from_doc(value);
                    if matches!(step.as_str(), "id" | "side" | "number") {
                        let text = value
                            .as_str()
                            .map_or_else(|| value.to_string(), str::to_owned);
                        replay.ids.entry(op.obj.clone()).or_insert(text);
                    }
                    let before = op.pred.iter().find_map(|p| replay.values.get(p)).cloned();
                    replay.note(
                        &mut differences,
                        &op.obj,
                        &step,
                        before.unwrap_or(Value::Null),
                        value.clone(),
                    );
                    replay.values.insert(id, value);
                }
                OpType::Delete => {
                    let before = op.pred.iter().find_map(|p| replay.values.get(p)).cloned();
                    if let Some(before) = before {
                        replay.note(&mut differences, &op.obj, &step, before, Value::Null);
                    }
                }
                _ => {}
            }
        }
        let differences = differences
            .into_iter()
            .filter(|(_, (before, after))| before != after)
            .map(|(path, (before, after))| Difference {
                path,
                before,
                after,
            })
            .collect();
        HistoryEntry {
            change: change.hash(),
            deps: change.deps().to_vec(),
            stamp: self.stamp_of(&change.hash()),
            differences,
        }
    }

    /// The record as it stood at a time, by the clocks of those who changed it.
    pub fn value_at_time(&self, at_ms: i64) -> Result<Value, DocumentError> {
        Ok(Node::root(&self.doc.fork_at(&self.heads_at(at_ms))?)?.json())
    }
}

impl Replay {
    fn note(
        &self,
        differences: &mut BTreeMap<Vec<String>, (Value, Value)>,
        object: &ObjectId,
        step: &str,
        before: Value,
        after: Value,
    ) {
        let mut path = self.path(object);
        // The store's own keys: a mark of removal reads as the removal, the signed copy not at all.
        let (before, after) = match step.strip_prefix('-') {
            Some(removed) => {
                if !removed.is_empty() {
                    path.push(removed.to_owned());
                }
                if after.is_null() {
                    (Value::from("removed"), Value::Null)
                } else {
                    (Value::Null, Value::from("removed"))
                }
            }
            None if step == shape::FROZEN => return,
            None => {
                path.push(shape::key_from_doc(step).unwrap_or(step).to_owned());
                (before, after)
            }
        };
        let slot = differences
            .entry(path)
            .or_insert_with(|| (before, Value::Null));
        slot.1 = after;
    }

    fn path(&self, object: &ObjectId) -> Vec<String> {
        let mut path = Vec::new();
        let mut at = object;
        while let Some(Object {
            parent: Some((above, step)),
        }) = self.objects.get(at)
        {
            let name = if step.is_empty() {
                self.ids.get(at).cloned().unwrap_or_default()
            } else {
                step.clone()
            };
            if !name.is_empty() {
                path.push(name);
            }
            at = above;
        }
        path.reverse();
        path
    }
}
