//! A document as a tree: every value with its rivals, ready to be read, edited or asked about.
//!
//! Two devices may create the same record or list apart. Such twins are one node here, read as
//! one: the fields of both, the elements of both.

use super::shape::{self, Differing};
use automerge::iter::ListRangeItem;
use automerge::{AutomergeError, ObjId, ObjType, Prop, ReadDoc, Value as DocValue};
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::ops::Bound;

/// One value of the record.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    /// Operation that set the value shown.
    pub op: ObjId,
    /// What it holds.
    pub kind: Kind,
    /// Values set at the same time elsewhere, none of which knew of the others.
    pub rivals: Vec<(Value, ObjId)>,
    /// Marks that say it was removed: what it held then, and the operation.
    pub removals: Removals,
}

/// Marks of removal: a digest of what was removed, and the operation.
pub(crate) type Removals = Vec<(String, ObjId)>;

/// What a node holds.
#[derive(Debug, Clone)]
pub(crate) enum Kind {
    /// A scalar or a whole value.
    Leaf(Value),
    /// A record: its twins, the one to write to first.
    Record {
        twins: Vec<ObjId>,
        fields: BTreeMap<String, Node>,
        frozen: Option<Box<Node>>,
    },
    /// A list: its twins, the one to write to first.
    List {
        twins: Vec<ObjId>,
        items: Vec<Item>,
        /// The items are only those that differ, of a list that kept its elements and their order.
        aligned: bool,
    },
}

/// One element of a list.
#[derive(Debug, Clone)]
pub(crate) struct Item {
    /// Identifier, where it has one; `2#1` is the second element numbered 2.
    pub key: Option<String>,
    /// Every place that holds it.
    pub places: Vec<(ObjId, usize)>,
    /// What it is.
    pub node: Node,
}

/// Two states of one value: only where they differ is the node needed.
pub(super) type Wanted<'a> = Option<(&'a Value, &'a Value)>;

/// A value seen at a key or index: what it is, and the operation that set it.
pub(super) type Candidate = (DocValue<'static>, ObjId);

impl Node {
    /// The whole document.
    pub(crate) fn root(doc: &impl ReadDoc) -> Result<Self, AutomergeError> {
        record(doc, vec![ObjId::Root], "", None).map(|(kind, _)| Self::plain(ObjId::Root, kind))
    }

    /// The document as far as writing the difference of two records needs it: fields that do not
    /// differ are left out, and elements of lists that do not differ are empty or left out.
    pub(crate) fn of_difference(
        doc: &impl ReadDoc,
        differing: &[Differing<'_>],
    ) -> Result<Self, AutomergeError> {
        record(doc, vec![ObjId::Root], "", Some(differing))
            .map(|(kind, _)| Self::plain(ObjId::Root, kind))
    }

    /// One record within a document, without its surroundings.
    pub(crate) fn of_record(doc: &impl ReadDoc, twins: Vec<ObjId>) -> Result<Self, AutomergeError> {
        let op = twins.first().cloned().unwrap_or(ObjId::Root);
        record(doc, twins, "", None).map(|(kind, _)| Self::plain(op, kind))
    }

    fn plain(op: ObjId, kind: Kind) -> Self {
        Self {
            op,
            kind,
            rivals: Vec::new(),
            removals: Vec::new(),
        }
    }

    /// The value as a reader sees it: of a signed record, what was signed.
    pub(crate) fn json(&self) -> Value {
        match &self.kind {
            Kind::Record {
                frozen: Some(frozen),
                ..
            } => frozen.json(),
            _ => self.live_json(),
        }
    }

    /// The value as its fields stand, signed or not.
    pub(crate) fn live_json(&self) -> Value {
        match &self.kind {
            Kind::Leaf(value) => value.clone(),
            Kind::Record { fields, .. } => {
                let shown = fields.iter().filter(|(_, node)| !node.is_removed());
                Value::Object(
                    shown
                        .map(|(key, node)| (key.clone(), node.json()))
                        .collect::<Map<_, _>>(),
                )
            }
            Kind::List { items, .. } => Value::Array(
                items
                    .iter()
                    .filter(|i| !i.node.is_removed())
                    .map(|i| i.node.json())
                    .collect(),
            ),
        }
    }

    /// Identifier of an element of a list called `list`, if it has one and it was read.
    pub(super) fn element_key(&self, list: &str) -> Option<String> {
        match &self.kind {
            Kind::Record { fields, .. } => match &fields.get(shape::list_key(list))?.kind {
                Kind::Leaf(key) => shape::key_text(key),
                _ => None,
            },
            _ => None,
        }
    }

    /// Whether it was removed, and nothing was changed in it elsewhere meanwhile.
    pub(crate) fn is_removed(&self) -> bool {
        if self.removals.is_empty() {
            return false;
        }
        let now = shape::digest(&self.json());
        self.removals.iter().any(|(then, _)| *then == now)
    }

    /// Whether it is, or holds, something signed.
    pub(crate) fn holds_signed(&self) -> bool {
        match &self.kind {
            Kind::Leaf(_) => false,
            Kind::Record { fields, frozen, .. } => {
                frozen.is_some() || fields.values().any(Self::holds_signed)
            }
            Kind::List { items, .. } => items.iter().any(|i| i.node.holds_signed()),
        }
    }
}

fn rank(op: &ObjId) -> (u64, &[u8]) {
    match op {
        ObjId::Root => (0, &[]),
        ObjId::Id(counter, actor, _) => (*counter, actor.to_bytes()),
    }
}

/// Builds the node for everything seen at one key of `twins` (or at one list index).
pub(super) fn node(
    doc: &impl ReadDoc,
    mut seen: Vec<Candidate>,
    name: &str,
    wanted: Wanted<'_>,
) -> Result<Option<Node>, AutomergeError> {
    seen.sort_by(|a, b| rank(&b.1).cmp(&rank(&a.1)));
    let Some((winner, op)) = seen.first().cloned() else {
        return Ok(None);
    };
    let same = |value: &DocValue| match (&winner, value) {
        (DocValue::Object(a), DocValue::Object(b)) => a == b,
        _ => false,
    };
    let twins = || {
        seen.iter()
            .filter(|(value, _)| same(value))
            .map(|(_, op)| op.clone())
            .collect()
    };
    let mut removals = Removals::new();
    let kind = match &winner {
        DocValue::Scalar(scalar) => Kind::Leaf(shape::leaf_from_doc(scalar)),
        DocValue::Object(ObjType::Map | ObjType::Table) => {
            let objects = wanted.and_then(|(old, new)| Some((old.as_object()?, new.as_object()?)));
            let differing = objects.map(|(old, new)| shape::differing(old, new));
            let (kind, marks) = record(doc, twins(), name, differing.as_deref())?;
            removals = marks;
            kind
        }
        DocValue::Object(ObjType::List) => list(doc, twins(), name, wanted)?,
        DocValue::Object(ObjType::Text) => Kind::Leaf(Value::String(doc.text(&op)?)),
    };
    let mut made = Node {
        removals,
        ..Node::plain(op, kind)
    };
    if seen.len() == 1 {
        return Ok(Some(made));
    }
    let shown = made.json();
    for (value, op) in seen.into_iter().skip(1).filter(|(value, _)| !same(value)) {
        let rival = match &value {
            DocValue::Scalar(scalar) => shape::leaf_from_doc(scalar),
            DocValue::Object(_) => {
                node(doc, vec![(value, op.clone())], name, None)?.map_or(Value::Null, |n| n.json())
            }
        };
        if rival != shown && !made.rivals.iter().any(|(other, _)| *other == rival) {
            made.rivals.push((rival, op));
        }
    }
    Ok(Some(made))
}

pub(super) fn owned(all: Vec<(DocValue<'_>, ObjId)>) -> impl Iterator<Item = Candidate> {
    all.into_iter().map(|(value, op)| (value.into_owned(), op))
}

/// A record found in a list or member called `name`, and the marks in it that say it was itself
/// removed from its list: all of it, or its identifier and where it differs.
fn record(
    doc: &impl ReadDoc,
    twins: Vec<ObjId>,
    name: &str,
    differing: Option<&[Differing<'_>]>,
) -> Result<(Kind, Removals), AutomergeError> {
    let wanted = differing.map(|all| {
        let keys = all.iter().map(|(key, ..)| *key);
        let keys = keys.chain([shape::list_key(name)]);
        keys.map(shape::key_to_doc).collect::<Vec<_>>()
    });
    // Automerge reads a run of keys sooner than it looks up two single ones.
    let run = wanted.as_deref().map(shape::run_of_own_and);
    let run = run.unwrap_or((Bound::Unbounded, Bound::Unbounded));
    let mut seen: BTreeMap<String, Vec<Candidate>> = BTreeMap::new();
    for twin in &twins {
        for item in doc.map_range(twin, run.clone()) {
            let is_own = shape::key_from_doc(&item.key).is_none();
            let is_among = |keys: &Vec<String>| keys.iter().any(|key| *key == item.key);
            if !is_own && !wanted.as_ref().is_none_or(is_among) {
                continue;
            }
            let all = seen.entry(item.key.to_string()).or_default();
            if item.conflict {
                all.extend(owned(doc.get_all(twin, Prop::Map(item.key.to_string()))?));
            } else {
                let op = item.id();
                all.push((item.value.into_value(), op));
            }
        }
    }
    // What was removed is compared with what it was: all of it.
    if differing.is_some() && seen.contains_key(shape::REMOVED) {
        return record(doc, twins, name, None);
    }
    let mut removals: BTreeMap<String, Removals> = BTreeMap::new();
    for (key, all) in &seen {
        if key.starts_with('-') {
            removals.insert(key.clone(), marks(all));
        }
    }
    let mut fields = BTreeMap::new();
    let mut frozen = None;
    for (key, all) in seen {
        if let Some(field) = shape::key_from_doc(&key) {
            let removals = removals
                .remove(&shape::removal_key(field))
                .unwrap_or_default();
            let states = differing.and_then(|all| all.iter().find(|(key, ..)| *key == field));
            let parts = match states {
                // What was removed is compared with what it was: all of it.
                Some(&(_, Some(old), Some(new))) if removals.is_empty() => Some((old, new)),
                _ => None,
            };
            if let Some(mut made) = node(doc, all, field, parts)? {
                made.removals.extend(removals);
                fields.insert(field.to_owned(), made);
            }
        } else if key == shape::FROZEN {
            frozen = node(doc, all, &key, None)?.map(Box::new);
        }
    }
    let removed = removals.remove(shape::REMOVED).unwrap_or_default();
    let kind = Kind::Record {
        twins,
        fields,
        frozen,
    };
    Ok((kind, removed))
}

/// The digests in marks of removal, each with its operation.
fn marks(seen: &[Candidate]) -> Removals {
    seen.iter()
        .filter_map(|(value, op)| Some((value.as_str()?.to_owned(), op.clone())))
        .collect()
}

/// Everything seen of one element of a list.
struct Group {
    key: Option<String>,
    places: Vec<(ObjId, usize)>,
    seen: Vec<Candidate>,
}

fn list(
    doc: &impl ReadDoc,
    twins: Vec<ObjId>,
    name: &str,
    wanted: Wanted<'_>,
) -> Result<Kind, AutomergeError> {
    if let Some(items) = super::aligned::items(doc, &twins, name, wanted)? {
        return Ok(Kind::List {
            twins,
            items,
            aligned: true,
        });
    }
    let mut items: Vec<Item> = Vec::new();
    // Records with one identifier, gathered before they are built so that twins become one.
    let mut groups: Vec<Group> = Vec::new();
    let mut group_of: BTreeMap<String, usize> = BTreeMap::new();
    let mut times: BTreeMap<String, usize> = BTreeMap::new();
    for twin in &twins {
        for item in doc.list_range(twin, ..) {
            let index = item.index;
            let all = at_index(doc, twin, item)?;
            let mut key = key_of(doc, &all, name)?;
            if let Some(k) = &mut key {
                if shape::same_key_is_same_thing(name) {
                    if let Some(&group) = group_of.get(k) {
                        groups[group].places.push((twin.clone(), index));
                        groups[group].seen.extend(all);
                        continue;
                    }
                    group_of.insert(k.clone(), groups.len());
                } else {
                    numbered(k, &mut times);
                }
            }
            let places = vec![(twin.clone(), index)];
            groups.push(Group {
                key,
                places,
                seen: all,
            });
        }
    }
    // Without identifiers everywhere the list is compared element by element: all of them.
    let wanted = wanted
        .filter(|_| groups.iter().all(|group| group.key.is_some()))
        .and_then(|(before, after)| Some((by_key(name, before)?, by_key(name, after)?)));
    for Group { key, places, seen } in groups {
        let parts = wanted.as_ref().zip(key.as_ref());
        let parts =
            parts.and_then(|((before, after), key)| Some((*before.get(key)?, *after.get(key)?)));
        let made = if parts.is_some_and(|(before, after)| shape::same(before, after)) {
            unchanged(seen)
        } else {
            node(doc, seen, name, parts)?
        };
        let Some(made) = made else { continue };
        // A word ticked on two devices is ticked once.
        let twin = items.iter_mut().find(|i| is_same_word(&i.node, &made));
        match twin {
            Some(first) => first.places.extend(places),
            None => items.push(Item {
                key,
                places,
                node: made,
            }),
        }
    }
    Ok(Kind::List {
        twins,
        items,
        aligned: false,
    })
}

/// Everything seen at one index.
fn at_index(
    doc: &impl ReadDoc,
    list: &ObjId,
    item: ListRangeItem<'_>,
) -> Result<Vec<Candidate>, AutomergeError> {
    if item.conflict {
        return Ok(owned(doc.get_all(list, item.index)?).collect());
    }
    let op = item.id();
    Ok(vec![(item.value.into_value(), op)])
}

/// An element that does not differ: known to be there, without its content.
fn unchanged(seen: Vec<Candidate>) -> Option<Node> {
    let twins: Vec<ObjId> = seen.into_iter().map(|(_, op)| op).collect();
    let op = twins.first()?.clone();
    let kind = Kind::Record {
        twins,
        fields: BTreeMap::new(),
        frozen: None,
    };
    Some(Node::plain(op, kind))
}

/// The elements of a list by their identifiers, if all have one.
fn by_key<'a>(name: &str, list: &'a Value) -> Option<BTreeMap<String, &'a Value>> {
    let mut times = BTreeMap::new();
    let keyed = |element: &'a Value| {
        let mut key = shape::element_key(name, element)?;
        numbered(&mut key, &mut times);
        Some((key, element))
    };
    list.as_array()?.iter().map(keyed).collect()
}

fn is_same_word(a: &Node, b: &Node) -> bool {
    let actor = |op: &ObjId| {
        if let ObjId::Id(_, actor, _) = op {
            Some(actor.clone())
        } else {
            None
        }
    };
    matches!((&a.kind, &b.kind), (Kind::Leaf(Value::String(x)), Kind::Leaf(Value::String(y))) if x == y)
        && actor(&a.op) != actor(&b.op)
}

/// Turns the n-th `k` into `k#n`, from the second on.
pub(crate) fn numbered(key: &mut String, times: &mut BTreeMap<String, usize>) {
    let n = times.entry(key.clone()).or_default();
    if *n > 0 {
        *key = format!("{key}#{n}");
    }
    *n += 1;
}

fn key_of(
    doc: &impl ReadDoc,
    all: &[Candidate],
    name: &str,
) -> Result<Option<String>, AutomergeError> {
    let Some((_, op)) = all
        .iter()
        .find(|(v, _)| matches!(v, DocValue::Object(ObjType::Map)))
    else {
        return Ok(None);
    };
    let key = shape::list_key(name);
    Ok(doc.get(op, key)?.and_then(|(value, _)| match value {
        DocValue::Scalar(s) => shape::key_text(&shape::leaf_from_doc(&s)),
        DocValue::Object(_) => None,
    }))
}
