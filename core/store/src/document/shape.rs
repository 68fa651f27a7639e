//! Which parts of a record merge field by field, and which only make sense whole.
//!
//! A record (a JSON object) merges field by field; a list of records with identifiers merges by
//! identifier; a list of anything else unites its elements. Three kinds of object are *whole*:
//! half of one and half of another would be a value nobody entered. They are kept as one scalar
//! (JSON text behind [`WHOLE`]), so that two devices changing one is a visible conflict.

use automerge::ScalarValue;
use serde_json::{Map, Number, Value};
use sha2::{Digest, Sha256};
use std::ops::Bound;

/// Prefix of a scalar that holds a whole value as JSON text.
pub(crate) const WHOLE: &str = "json:";
/// Key of the frozen copy inside a signed record.
pub(crate) const FROZEN: &str = "=";
/// A record with a value here is signed: frozen from then on.
pub(crate) const SIGNATURE: &str = "signature";

/// Fields whose objects are whole.
const WHOLE_FIELDS: [&str; 3] = ["measurement", SIGNATURE, "results"];
/// Fields whose members are whole.
const WHOLE_MEMBERS: [&str; 2] = ["because", "overrides"];
/// What tells an element of a named list from its neighbours, where it is not `id`.
const LIST_KEYS: [(&str, &str); 3] = [
    ("legs", "side"),
    ("revisions", "number"),
    ("follow_up", "order"),
];

/// Whether an object found under `field` of the record `parent` is kept whole.
pub(crate) fn is_whole(parent: &str, field: &str, object: &Map<String, Value>) -> bool {
    WHOLE_FIELDS.contains(&field) || WHOLE_MEMBERS.contains(&parent) || object.contains_key("typed")
}

/// Name of the member that identifies the elements of a list.
pub(crate) fn list_key(list: &str) -> &'static str {
    LIST_KEYS
        .iter()
        .find(|(name, _)| *name == list)
        .map_or("id", |(_, key)| key)
}

/// Whether equal identifiers made on two devices mean the same thing. Two revisions with one
/// number are two revisions.
pub(crate) fn same_key_is_same_thing(list: &str) -> bool {
    list != "revisions"
}

/// Identifier of a list element, if it has one.
pub(crate) fn element_key(list: &str, element: &Value) -> Option<String> {
    key_text(element.get(list_key(list))?)
}

/// Whether a value can identify an element.
pub(crate) fn is_key(key: &Value) -> bool {
    key.is_number() || key.as_str().is_some_and(|text| !text.is_empty())
}

/// An identifier as text.
pub(crate) fn key_text(key: &Value) -> Option<String> {
    is_key(key).then(|| match key {
        Value::String(text) => text.clone(),
        number => number.to_string(),
    })
}

/// Every member of `a` with that of the same key in `b`: quickly where they stand in the same order.
fn beside<'a>(
    a: &'a Map<String, Value>,
    b: &'a Map<String, Value>,
) -> impl Iterator<Item = (&'a str, &'a Value, Option<&'a Value>)> {
    let mut others = b.iter();
    a.iter().map(move |(key, value)| {
        let other = match others.next() {
            Some((there, other)) if there == key => Some(other),
            _ => b.get(key),
        };
        (key.as_str(), value, other)
    })
}

/// Whether two values are equal: quickly where their members stand in the same order.
pub(crate) fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Object(a), Value::Object(b)) => {
            let mut members = beside(a, b);
            a.len() == b.len()
                && members.all(|(_, value, other)| other.is_some_and(|other| same(value, other)))
        }
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
        }
        _ => a == b,
    }
}

/// Whether two members are equal, or both not there.
pub(crate) fn same_member(a: Option<&Value>, b: Option<&Value>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => same(a, b),
        (a, b) => a.is_none() && b.is_none(),
    }
}

/// A member that two records do not have alike: its key, what it was and what it is.
pub(crate) type Differing<'a> = (&'a str, Option<&'a Value>, Option<&'a Value>);

/// Where two records differ.
pub(crate) fn differing<'a>(
    before: &'a Map<String, Value>,
    after: &'a Map<String, Value>,
) -> Vec<Differing<'a>> {
    let kept = beside(after, before).map(|(key, new, old)| (key, old, Some(new)));
    let gone = beside(before, after)
        .filter(|(.., new)| new.is_none())
        .map(|(key, old, _)| (key, Some(old), None));
    kept.chain(gone).filter(differs).collect()
}

/// Where two records differ among the members `keys`, outside of which they are known not to.
pub(crate) fn differing_in<'a>(
    keys: &'a [String],
    before: &'a Map<String, Value>,
    after: &'a Map<String, Value>,
) -> Vec<Differing<'a>> {
    let members = keys
        .iter()
        .map(|key| (key.as_str(), before.get(key), after.get(key)));
    members.filter(differs).collect()
}

fn differs((_, old, new): &Differing<'_>) -> bool {
    !same_member(*old, *new)
}

/// Map key as stored: the store's own keys start with `-` or `=`.
pub(crate) fn key_to_doc(key: &str) -> String {
    if key.is_empty() || key.starts_with(['-', '=', '\\']) {
        format!("\\{key}")
    } else {
        key.to_owned()
    }
}

/// Map key as the record has it; `None` for the store's own.
pub(crate) fn key_from_doc(key: &str) -> Option<&str> {
    match key.as_bytes().first() {
        Some(b'-' | b'=') | None => None,
        Some(b'\\') => Some(&key[1..]),
        Some(_) => Some(key),
    }
}

/// The run of stored keys that holds all of the store's own, and these.
pub(crate) fn run_of_own_and(keys: &[String]) -> (Bound<String>, Bound<String>) {
    let all = || keys.iter().map(String::as_str).chain([REMOVED, FROZEN]);
    let end = |key: Option<&str>| Bound::Included(key.unwrap_or_default().to_owned());
    (end(all().min()), end(all().max()))
}

/// Key, inside a list element, of the mark that says the element was removed.
pub(crate) const REMOVED: &str = "-";

/// Key, inside a record, of the mark that says its field `key` was removed.
pub(crate) fn removal_key(key: &str) -> String {
    if key.is_empty() {
        "-\\".to_owned()
    } else {
        format!("-{key}")
    }
}

/// A leaf as the document stores it.
pub(crate) fn leaf_to_doc(value: &Value) -> ScalarValue {
    match value {
        Value::Null => ScalarValue::Null,
        Value::Bool(b) => ScalarValue::Boolean(*b),
        Value::Number(n) => match (n.as_i64(), n.as_u64()) {
            (Some(i), _) => ScalarValue::Int(i),
            (_, Some(u)) => ScalarValue::Uint(u),
            _ => ScalarValue::F64(n.as_f64().unwrap_or_default()),
        },
        Value::String(s) if !s.starts_with(WHOLE) => ScalarValue::Str(s.into()),
        whole => ScalarValue::Str(format!("{WHOLE}{whole}").into()),
    }
}

/// A leaf as JSON. What this version does not know becomes null, and stays in the document.
pub(crate) fn leaf_from_doc(value: &ScalarValue) -> Value {
    match value {
        ScalarValue::Boolean(b) => Value::Bool(*b),
        ScalarValue::Int(i) | ScalarValue::Timestamp(i) => Value::from(*i),
        ScalarValue::Uint(u) => Value::from(*u),
        ScalarValue::F64(f) => Number::from_f64(*f).map_or(Value::Null, Value::Number),
        ScalarValue::Str(s) => s
            .strip_prefix(WHOLE)
            .and_then(|json| serde_json::from_str(json).ok())
            .unwrap_or_else(|| Value::String(s.to_string())),
        _ => Value::Null,
    }
}

/// Short digest of a value, independent of the order of its members.
pub(crate) fn digest(value: &Value) -> String {
    let mut hash = Sha256::new();
    feed(value, &mut hash);
    hash.finalize()[..12]
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect()
}

fn feed(value: &Value, hash: &mut Sha256) {
    match value {
        Value::Array(items) => {
            hash.update(b"[");
            for item in items {
                feed(item, hash);
            }
            hash.update(b"]");
        }
        Value::Object(members) => {
            let mut members: Vec<_> = members.iter().collect();
            members.sort_by_key(|(key, _)| key.as_str());
            hash.update(b"{");
            for (key, member) in members {
                hash.update(Value::String(key.clone()).to_string());
                feed(member, hash);
            }
            hash.update(b"}");
        }
        leaf => hash.update(format!("{leaf},")),
    }
}

/// A value as it will read once it is stored: a field that is null is one that is not there.
pub(crate) fn as_read(parent: &str, name: &str, value: &Value) -> Value {
    match value {
        Value::Object(members) if !is_whole(parent, name, members) => members
            .iter()
            .filter(|(_, member)| !member.is_null())
            .map(|(key, member)| (key.clone(), as_read(name, key, member)))
            .collect(),
        Value::Array(elements) if elements.iter().all(|e| element_key(name, e).is_some()) => {
            elements
                .iter()
                .map(|element| as_read(name, "", element))
                .collect()
        }
        leaf => leaf.clone(),
    }
}
