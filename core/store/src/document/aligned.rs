//! A list whose elements kept their identifiers and order, read only where they differ.
//!
//! Asking the document for the identifier of every element is most of the cost of a small entry.
//! Where nothing was added, removed or moved, only the elements that differ are written to, so
//! only they must be proven to be the elements they are taken for.

use super::node::{Item, Node, Wanted, at_index, element_removals, key_of, node, unchanged};
use super::shape;
use automerge::{AutomergeError, ObjId, ReadDoc};
use serde_json::Value;

/// The elements of the list, those that do not differ empty; nothing where the document has other
/// elements or another order than the two states, which is then for the longer way.
pub(super) fn items(
    doc: &impl ReadDoc,
    twins: &[ObjId],
    name: &str,
    wanted: Wanted<'_>,
) -> Result<Option<Vec<Item>>, AutomergeError> {
    let (Some((Value::Array(before), Value::Array(after))), [list]) = (wanted, twins) else {
        return Ok(None);
    };
    if !shape::same_key_is_same_thing(name) || before.len() != after.len() {
        return Ok(None);
    }
    let mut items = Vec::with_capacity(before.len());
    let mut states = before.iter().zip(after);
    for item in doc.list_range(list, ..) {
        let Some((old, new)) = states.next() else {
            return Ok(None);
        };
        let key = shape::element_key(name, old);
        if key.is_none() || key != shape::element_key(name, new) {
            return Ok(None);
        }
        let index = item.index;
        let seen = at_index(doc, list, item)?;
        let made: Option<Node> = if shape::same(old, new) {
            unchanged(seen)
        } else if key_of(doc, &seen, name)? == key {
            let removals = element_removals(doc, &seen)?;
            // What was removed is compared with what it was: all of it.
            let parts = removals.is_empty().then_some((old, new));
            node(doc, seen, name, parts)?.map(|node| Node { removals, ..node })
        } else {
            None
        };
        let Some(node) = made else { return Ok(None) };
        let places = vec![(list.clone(), index)];
        items.push(Item { key, places, node });
    }
    Ok((items.len() == before.len()).then_some(items))
}
