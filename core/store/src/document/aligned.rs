//! A list whose elements kept their identifiers and order, read only where they differ.
//!
//! Asking the document for the identifier of every element is most of the cost of a small entry.
//! Where nothing was added, removed or moved, only the elements that differ are written to, so
//! only they must be proven to be the elements they are taken for.

use super::node::{Item, Wanted, node, owned};
use super::shape;
use automerge::{AutomergeError, ObjId, ReadDoc};
use serde_json::Value;

/// The elements of the list that differ; nothing where the document has other elements or another
/// order than the two states, which is then for the longer way.
pub(super) fn items(
    doc: &impl ReadDoc,
    twins: &[ObjId],
    name: &str,
    wanted: Wanted<'_>,
) -> Result<Option<Vec<Item>>, AutomergeError> {
    let (Some((Value::Array(before), Value::Array(after))), [list]) = (wanted, twins) else {
        return Ok(None);
    };
    let field = shape::list_key(name);
    let alike = |(old, new): (&Value, &Value)| {
        let key = old.get(field).filter(|key| shape::is_key(key));
        key.is_some() && key == new.get(field)
    };
    let known = shape::same_key_is_same_thing(name)
        && before.len() == after.len()
        && before.iter().zip(after).all(alike)
        && before.len() == doc.length(list);
    if !known {
        return Ok(None);
    }
    let mut items = Vec::new();
    for (index, (old, new)) in before.iter().zip(after).enumerate() {
        if shape::same(old, new) {
            continue;
        }
        let key = shape::element_key(name, old);
        let seen = owned(doc.get_all(list, index)?).collect();
        let node = node(doc, seen, name, Some((old, new)))?;
        let Some(node) = node.filter(|node| node.element_key(name) == key) else {
            return Ok(None);
        };
        let places = vec![(list.clone(), index)];
        items.push(Item { key, places, node });
    }
    Ok(Some(items))
}
