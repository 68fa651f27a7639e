//! What an opened record held when it was last on the disk, kept so that an entry costs what it
//! changes: the record is written as text, and only members whose text differs become values.

use crate::document::DocumentError;
use crate::error::{Result, StoreError};
use serde::Serialize;
use serde_json::ser::{CompactFormatter, Formatter, Serializer};
use serde_json::{Map, Value};
use std::io::{self, Write};

/// A member with a value here means that its whole record is signed: see `document::shape`.
const SIGNATURE: &str = "signature";

/// A record's text, one member a line, and the same as a value.
#[derive(Debug, Clone)]
pub(crate) struct Snapshot {
    text: String,
    members: Map<String, Value>,
    /// Room for the next text.
    spare: Vec<u8>,
}

/// What differs between a snapshot and a record: whole members, as they were and as they are.
#[derive(Debug)]
pub(crate) struct Changed {
    text: String,
    pub before: Value,
    pub after: Value,
}

impl Snapshot {
    pub(crate) fn of<T: Serialize>(id: &str, record: &T) -> Result<Self> {
        let text = text_of(id, record, Vec::with_capacity(8192))?;
        let members = lines(&text)
            .map(member)
            .collect::<serde_json::Result<_>>()
            .map_err(|e| shape(id, &e))?;
        Ok(Self {
            text,
            members,
            spare: Vec::new(),
        })
    }

    /// What differs now. The old values are lent: give them back with [`Snapshot::put_back`] or
    /// replace them with [`Snapshot::accept`].
    pub(crate) fn changed<T: Serialize>(&mut self, id: &str, record: &T) -> Result<Changed> {
        let text = text_of(id, record, std::mem::take(&mut self.spare))?;
        // Whether a record is signed depends on members that may be the same.
        let whole = self.members.get(SIGNATURE).is_some_and(|s| !s.is_null());
        let parse = |line| key(line).map_err(|e| shape(id, &e));
        let old = differing(&self.text, &text, whole).map(parse);
        let old: Vec<(String, &str)> = old.collect::<Result<_>>()?;
        let new = differing(&text, &self.text, whole).map(parse);
        let mut after = Map::new();
        for (key, text) in new.collect::<Result<Vec<_>>>()? {
            let old_text = old.iter().find(|(old, _)| *old == key);
            let known = old_text.map(|(_, text)| *text).zip(self.members.get(&key));
            after.insert(key, value(text, known).map_err(|e| shape(id, &e))?);
        }
        let mut before = Map::with_capacity(old.len());
        for (key, _) in old {
            if let Some(value) = self.members.get_mut(&key) {
                before.insert(key, value.take());
            }
        }
        Ok(Changed {
            text,
            before: Value::Object(before),
            after: Value::Object(after),
        })
    }

    /// The change was not written: the snapshot is as it was.
    pub(crate) fn put_back(&mut self, changed: Changed) {
        self.spare = changed.text.into_bytes();
        if let Value::Object(before) = changed.before {
            self.members.extend(before);
        }
    }

    /// The change is on the disk.
    pub(crate) fn accept(&mut self, changed: Changed) {
        self.spare = std::mem::replace(&mut self.text, changed.text).into_bytes();
        let (Value::Object(before), Value::Object(after)) = (changed.before, changed.after) else {
            return;
        };
        for key in before.keys().filter(|key| !after.contains_key(*key)) {
            self.members.shift_remove(key);
        }
        self.members.extend(after);
    }
}

fn shape(id: &str, error: &serde_json::Error) -> StoreError {
    StoreError::Shape {
        id: id.to_owned(),
        why: error.to_string(),
    }
}

/// JSON without white space, but a line break before each member of the record and a carriage
/// return before each element of its lists. Strings never hold either: JSON escapes them.
fn text_of<T: Serialize>(id: &str, record: &T, mut bytes: Vec<u8>) -> Result<String> {
    bytes.clear();
    let mut serializer = Serializer::with_formatter(&mut bytes, Marked::default());
    record
        .serialize(&mut serializer)
        .map_err(|e| shape(id, &e))?;
    if bytes.first() != Some(&b'{') {
        return Err(DocumentError::NotARecord.into());
    }
    String::from_utf8(bytes).map_err(|e| StoreError::Shape {
        id: id.to_owned(),
        why: e.to_string(),
    })
}

/// The members of a record's text.
fn lines(text: &str) -> impl Iterator<Item = &str> {
    let inside = text.strip_suffix('}').unwrap_or(text).split('\n').skip(1);
    inside.map(|line| line.strip_suffix(',').unwrap_or(line))
}

/// Members of `text` that `other` does not have alike; or all of them.
fn differing<'a>(text: &'a str, other: &'a str, all: bool) -> impl Iterator<Item = &'a str> {
    let mut beside = lines(other);
    lines(text).filter(move |line| {
        // Mostly at the same place; else wherever it is.
        all || beside.next() != Some(*line) && !lines(other).any(|there| there == *line)
    })
}

/// Key and text of a member.
fn key(line: &str) -> serde_json::Result<(String, &str)> {
    let mut keys = serde_json::Deserializer::from_str(line).into_iter::<String>();
    let key = keys.next().unwrap_or_else(|| Ok(String::new()))?;
    let value = line.get(keys.byte_offset() + 1..).unwrap_or_default();
    Ok((key, value))
}

fn member(line: &str) -> serde_json::Result<(String, Value)> {
    let (key, text) = key(line)?;
    Ok((key, serde_json::from_str(text)?))
}

/// A member's value; elements of a list that read as they did are copied, not read again.
fn value(text: &str, known: Option<(&str, &Value)>) -> serde_json::Result<Value> {
    let (true, Some((old_text, Value::Array(old)))) = (text.starts_with('['), known) else {
        return serde_json::from_str(text);
    };
    let mut beside = elements(old_text).zip(old);
    let element = |text| match beside.next() {
        Some((there, value)) if there == text => Ok(value.clone()),
        _ => serde_json::from_str(text),
    };
    let elements = elements(text).map(element);
    Ok(Value::Array(elements.collect::<serde_json::Result<_>>()?))
}

/// The elements of a list's text.
fn elements(text: &str) -> impl Iterator<Item = &str> {
    let inside = text.strip_suffix(']').unwrap_or(text).split('\r').skip(1);
    inside.map(|element| element.strip_suffix(',').unwrap_or(element))
}

/// Compact, with a mark before each member of the record and each element of its lists.
#[derive(Default)]
struct Marked {
    depth: usize,
}

impl Formatter for Marked {
    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.depth += 1;
        CompactFormatter.begin_object(writer)
    }

    fn end_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.depth -= 1;
        CompactFormatter.end_object(writer)
    }

    fn begin_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.depth += 1;
        CompactFormatter.begin_array(writer)
    }

    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.depth -= 1;
        CompactFormatter.end_array(writer)
    }

    fn begin_object_key<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        CompactFormatter.begin_object_key(writer, first)?;
        if self.depth == 1 {
            writer.write_all(b"\n")?;
        }
        Ok(())
    }

    fn begin_array_value<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        CompactFormatter.begin_array_value(writer, first)?;
        if self.depth == 2 {
            writer.write_all(b"\r")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::Snapshot;
    use serde_json::{Value, json};

    #[test]
    fn only_members_that_differ_and_nothing_lost_when_put_back() {
        let old = json!({"a": {"b": "x\ny\"}"}, "list": [1, {"c": 2.5}], "\"k\\": 1, "gone": null});
        let new = json!({"\"k\\": 2, "a": {"b": "x\ny\"}"}, "list": [1, {"c": 2.5}], "new": []});
        let mut snapshot = Snapshot::of("r", &old).expect("text");
        assert_eq!(Value::Object(snapshot.members.clone()), old);
        let changed = snapshot.changed("r", &new).expect("text");
        assert_eq!(changed.before, json!({"\"k\\": 1, "gone": null}));
        assert_eq!(changed.after, json!({"\"k\\": 2, "new": []}));
        snapshot.put_back(changed);
        assert_eq!(Value::Object(snapshot.members.clone()), old);
        let changed = snapshot.changed("r", &new).expect("text");
        snapshot.accept(changed);
        assert_eq!(Value::Object(snapshot.members.clone()), new);
        let changed = snapshot.changed("r", &new).expect("text");
        assert_eq!((changed.before, changed.after), (json!({}), json!({})));
        assert!(Snapshot::of("r", &[1]).is_err());
    }

    #[test]
    fn elements_of_a_list_are_read_where_they_differ() {
        let old = json!({"list": [{"id": "a,", "x": [1, 2]}, {"id": "b]\r"}, "c,"], "none": []});
        for list in [
            json!([{"id": "a,", "x": [1, 3]}, {"id": "b]\r"}, "c,"]),
            json!([{"id": "b]\r"}, "c,", {"id": "a,", "x": [1, 2]}, []]),
            json!([]),
            json!("[\r1]"),
        ] {
            let mut new = old.clone();
            new["list"] = list;
            new["none"] = json!([[], {}, null]);
            let mut snapshot = Snapshot::of("r", &old).expect("text");
            let changed = snapshot.changed("r", &new).expect("text");
            assert_eq!((&changed.before, &changed.after), (&old, &new));
            snapshot.accept(changed);
            let changed = snapshot.changed("r", &old).expect("text");
            assert_eq!((changed.before, changed.after), (new, old.clone()));
        }
    }

    #[test]
    fn a_signed_record_is_compared_whole() {
        let old = json!({"signature": {"by": "A"}, "note": "n"});
        let mut new = old.clone();
        new["note"] = "m".into();
        let mut snapshot = Snapshot::of("r", &old).expect("text");
        let changed = snapshot.changed("r", &new).expect("text");
        assert_eq!((changed.before, changed.after), (old, new));
    }
}
