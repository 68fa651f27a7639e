//! Differences of lists: by identifier where every element has one, else element by element.

use super::node::{Item, Kind, Node, numbered};
use super::write::{Place, Result, Writer};
use super::{DocumentError, shape};
use automerge::transaction::Transactable;
use automerge::{ObjId, Prop, ReadDoc};
use serde_json::{Map, Value};
use std::collections::BTreeMap;

impl<T: Transactable + ReadDoc> Writer<'_, T> {
    /// Writes the difference of two lists into the list made of `twins` and `items`.
    pub(super) fn list(
        &mut self,
        name: &str,
        twins: &[ObjId],
        items: &[Item],
        before: &[Value],
        after: &[Value],
    ) -> Result {
        let keyed = items.iter().all(|i| i.key.is_some() || i.node.is_removed());
        match self.keys(name, after)? {
            Some(keys) if keyed => self.keyed_list(name, twins, items, before, after, &keys),
            _ => self.plain_list(twins, items, after),
        }
    }

    /// Writes to the elements that differ, of a list that kept its elements and their order.
    pub(super) fn aligned_list(
        &mut self,
        name: &str,
        items: &[Item],
        before: &[Value],
        after: &[Value],
    ) -> Result {
        for Item { key, places, node } in items {
            let place @ (_, index) = &places[0];
            self.path.push(key.clone().unwrap_or_default());
            self.keyed_item(name, node, place, before.get(*index), &after[*index])?;
            self.path.pop();
        }
        Ok(())
    }

    /// Identifiers of all elements, if all have one.
    pub(super) fn keys(&self, name: &str, elements: &[Value]) -> Result<Option<Vec<String>>> {
        let once = shape::same_key_is_same_thing(name);
        let mut times = BTreeMap::new();
        let mut keys: Vec<String> = Vec::with_capacity(elements.len());
        for element in elements {
            let Some(mut key) = shape::element_key(name, element) else {
                return Ok(None);
            };
            if !once {
                numbered(&mut key, &mut times);
            }
            keys.push(key);
        }
        if once {
            let mut sorted: Vec<&String> = keys.iter().collect();
            sorted.sort_unstable();
            if let Some(twice) = sorted.windows(2).find(|pair| pair[0] == pair[1]) {
                return Err(DocumentError::SameKey {
                    path: self.here(),
                    key: twice[0].clone(),
                });
            }
        }
        Ok(Some(keys))
    }

    fn keyed_list(
        &mut self,
        name: &str,
        twins: &[ObjId],
        items: &[Item],
        before: &[Value],
        after: &[Value],
        keys: &[String],
    ) -> Result {
        let before_keys = self.keys(name, before)?.unwrap_or_default();
        let old_of = |key: &String| {
            before_keys
                .iter()
                .position(|k| k == key)
                .map(|i| &before[i])
        };
        for item in items {
            if let Some(key) = &item.key
                && !keys.contains(key)
                && before_keys.contains(key)
                && !item.node.is_removed()
            {
                self.path.push(key.clone());
                self.remove_item(item)?;
                self.path.pop();
            }
        }
        let mut positions: Vec<(ObjId, usize)> =
            items.iter().map(|i| i.places[0].clone()).collect();
        let mut previous: Option<(ObjId, usize)> = None;
        for (key, new) in keys.iter().zip(after) {
            let known = items.iter().position(|i| i.key.as_ref() == Some(key));
            let old = old_of(key);
            if let Some(at) = known {
                self.path.push(key.clone());
                self.keyed_item(name, &items[at].node, &positions[at], old, new)?;
                self.path.pop();
                previous = Some(positions[at].clone());
            } else if !shape::same_member(old, Some(new)) {
                if name == "revisions" {
                    self.check_number(items, after, new)?;
                }
                let (list, index) =
                    previous.map_or((twins[0].clone(), 0), |(list, i)| (list, i + 1));
                self.put(Place::Insert(&list, index), name, "", new)?;
                for (other, i) in &mut positions {
                    if *other == list && *i >= index {
                        *i += 1;
                    }
                }
                previous = Some((list, index));
            }
        }
        Ok(())
    }

    fn keyed_item(
        &mut self,
        name: &str,
        node: &Node,
        (list, index): &(ObjId, usize),
        old: Option<&Value>,
        new: &Value,
    ) -> Result {
        let revived = node.is_removed().then(|| node.live_json());
        let old = revived.as_ref().or(old);
        if let Kind::Record { twins, .. } = &node.kind
            && !node.removals.is_empty()
        {
            self.delete_in(twins, shape::REMOVED)?;
        }
        if shape::same_member(old, Some(new)) {
            return Ok(());
        }
        match (&node.kind, new) {
            (Kind::Record { .. }, Value::Object(new)) => {
                let nothing = Map::new();
                let old = old.and_then(Value::as_object).unwrap_or(&nothing);
                self.record("", node, &shape::differing(old, new), new)
            }
            _ => self.put(Place::Put(list, Prop::Seq(*index)), name, "", new),
        }
    }

    fn remove_item(&mut self, item: &Item) -> Result {
        self.refuse_if_signed(&item.node)?;
        match &item.node.kind {
            Kind::Record { twins, .. } => {
                let mark = shape::digest(&item.node.json());
                Ok(self.tx.put(&twins[0], shape::REMOVED, mark)?)
            }
            _ => {
                let (list, index) = &item.places[0];
                Ok(self.tx.delete(list, *index)?)
            }
        }
    }

    /// A new revision carries the number after the highest there is.
    fn check_number(&self, items: &[Item], after: &[Value], new: &Value) -> Result {
        let number = |v: &Value| v.get("number").and_then(Value::as_u64).unwrap_or(0);
        // The key, as `2` or `2#1`: an element that does not differ has no content here.
        let by_key = |item: &Item| item.key.as_ref()?.split('#').next()?.parse().ok();
        let highest = items.iter().filter_map(by_key).max().unwrap_or(0);
        let earlier = after
            .iter()
            .take_while(|v| *v != new)
            .map(number)
            .max()
            .unwrap_or(0);
        let (expected, found) = (highest.max(earlier) + 1, number(new));
        if items.is_empty() || found == expected {
            return Ok(());
        }
        Err(DocumentError::RevisionNumber {
            path: self.here(),
            expected,
            found,
        })
    }

    /// Elements without identifiers: what is equal at both ends stays, the rest is replaced in
    /// place, and only then does the list grow or shrink.
    fn plain_list(&mut self, twins: &[ObjId], items: &[Item], after: &[Value]) -> Result {
        let items: Vec<&Item> = items.iter().filter(|i| !i.node.is_removed()).collect();
        let before: Vec<Value> = items.iter().map(|i| i.node.json()).collect();
        let shorter = before.len().min(after.len());
        let head = (0..shorter).take_while(|&i| before[i] == after[i]).count();
        let tail = (0..shorter - head)
            .take_while(|&i| before[before.len() - 1 - i] == after[after.len() - 1 - i])
            .count();
        let (old, new) = (
            &items[head..items.len() - tail],
            &after[head..after.len() - tail],
        );

        let mut doomed: Vec<(ObjId, usize)> = Vec::new();
        for (item, new) in old.iter().zip(new) {
            self.refuse_if_signed(&item.node)?;
            let (list, index) = &item.places[0];
            self.put_leaf(Place::Put(list, Prop::Seq(*index)), new)?;
            doomed.extend(item.places[1..].iter().cloned());
        }
        for item in old.iter().skip(new.len()) {
            self.refuse_if_signed(&item.node)?;
            doomed.extend(item.places.iter().cloned());
        }
        let before_new = (head + old.len().min(new.len()))
            .checked_sub(1)
            .map(|i| items[i].places[0].clone());
        let (list, start) = before_new.map_or((twins[0].clone(), 0), |(list, i)| (list, i + 1));
        let added = new.get(old.len()..).unwrap_or_default();
        for (offset, new) in added.iter().enumerate() {
            self.put_leaf(Place::Insert(&list, start + offset), new)?;
        }
        for (other, index) in &mut doomed {
            if *other == list && *index >= start {
                *index += added.len();
            }
        }
        doomed.sort_by_key(|(_, index)| std::cmp::Reverse(*index));
        for (list, index) in doomed {
            self.tx.delete(&list, index)?;
        }
        Ok(())
    }
}
