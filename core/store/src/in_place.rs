//! Brings a JSON value up to a record by writing only what differs, so that an entry costs what it
//! changes and not what the whole record would cost to build.

use serde::ser::{self, Error as _, Impossible, Serialize};
use serde::ser::{SerializeMap, SerializeSeq, SerializeStruct};
use serde_json::{Map, Value, map, to_value};
use std::fmt::{self, Display, Write as _};
use std::slice;

/// Makes `old` what `serde_json::to_value(new)` is, and adds the keys of what it wrote to `written`:
/// none is missed, not even where `new` proves to be no JSON half way.
pub(crate) fn update<T: Serialize + ?Sized>(
    old: &mut Map<String, Value>,
    new: &T,
    written: &mut Vec<String>,
) -> serde_json::Result<()> {
    if new.serialize(InPlace::Record(old, written)).is_ok() {
        return Ok(());
    }
    written.extend(old.keys().cloned());
    let Value::Object(new) = to_value(new)? else {
        return Err(serde_json::Error::custom("it is not a JSON object"));
    };
    written.extend(new.keys().cloned());
    *old = new;
    Ok(())
}

/// Brings one value up; tells whether it wrote anything.
fn part<T: Serialize + ?Sized>(old: Option<&mut Value>, new: &T) -> Result {
    let old = old.ok_or(Anew)?;
    let written = new.serialize(InPlace::Value(old));
    written.or_else(|Anew| {
        *old = to_value(new).map_err(|_| Anew)?;
        Ok(true)
    })
}

/// Writes over what is there, if that has the same shape.
enum InPlace<'a> {
    /// A record, and where the keys go of what is written in it.
    Record(&'a mut Map<String, Value>, &'a mut Vec<String>),
    Value(&'a mut Value),
    /// The key of a member, which must be the same.
    Key(&'a str),
}

impl<'a> InPlace<'a> {
    fn value(self) -> Result<&'a mut Value> {
        match self {
            Self::Value(value) => Ok(value),
            Self::Record(..) | Self::Key(_) => Err(Anew),
        }
    }

    fn text(&self) -> Option<&str> {
        match self {
            Self::Record(..) => None,
            Self::Value(old) => old.as_str(),
            Self::Key(old) => Some(old),
        }
    }

    fn scalar(self, new: Value) -> Result {
        let old = self.value()?;
        let differs = *old != new;
        if differs {
            *old = new;
        }
        Ok(differs)
    }
}

/// The value has another shape: it is made anew.
#[derive(Debug, thiserror::Error)]
#[error("another shape")]
struct Anew;

impl ser::Error for Anew {
    fn custom<T: Display>(_: T) -> Self {
        Self
    }
}

/// Whether anything was written.
type Result<T = bool> = std::result::Result<T, Anew>;

macro_rules! scalars {
    ($($method:ident($scalar:ty);)*) => {
        $(fn $method(self, new: $scalar) -> Result { self.scalar(new.into()) })*
    };
}

macro_rules! anew {
    ($($method:ident($($argument:ty),*) -> $made:ty;)*) => {
        $(fn $method(self, $(_: $argument),*) -> Result<$made> { Err(Anew) })*
    };
}

impl<'a> ser::Serializer for InPlace<'a> {
    type Ok = bool;
    type Error = Anew;
    type SerializeSeq = Elements<'a>;
    type SerializeTuple = Impossible<bool, Anew>;
    type SerializeTupleStruct = Impossible<bool, Anew>;
    type SerializeTupleVariant = Impossible<bool, Anew>;
    type SerializeMap = Members<'a>;
    type SerializeStruct = Members<'a>;
    type SerializeStructVariant = Impossible<bool, Anew>;

    scalars! {
        serialize_bool(bool);
        serialize_i8(i8);
        serialize_i16(i16);
        serialize_i32(i32);
        serialize_i64(i64);
        serialize_u8(u8);
        serialize_u16(u16);
        serialize_u32(u32);
        serialize_u64(u64);
        serialize_f64(f64);
    }

    fn serialize_str(self, new: &str) -> Result {
        let same = self.text() == Some(new);
        if same { Ok(false) } else { Err(Anew) }
    }

    /// Text such as that of a date is compared as it is written out, and not built first.
    fn collect_str<T: Display + ?Sized>(self, new: &T) -> Result {
        let mut rest = Rest(self.text().ok_or(Anew)?);
        let same = write!(rest, "{new}").is_ok() && rest.0.is_empty();
        if same { Ok(false) } else { Err(Anew) }
    }

    fn serialize_none(self) -> Result {
        self.scalar(Value::Null)
    }

    fn serialize_unit(self) -> Result {
        self.scalar(Value::Null)
    }

    fn serialize_unit_variant(self, _: &'static str, _: u32, variant: &'static str) -> Result {
        self.serialize_str(variant)
    }

    fn serialize_some<T: Serialize + ?Sized>(self, new: &T) -> Result {
        new.serialize(self)
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, new: &T) -> Result {
        new.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: &T,
    ) -> Result {
        Err(Anew)
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Elements<'a>> {
        let elements = self.value()?.as_array_mut().ok_or(Anew)?;
        Ok(Elements {
            elements: elements.iter_mut(),
            written: false,
        })
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Members<'a>> {
        let (members, keys) = match self {
            Self::Record(record, keys) => (record, Some(keys)),
            other => (other.value()?.as_object_mut().ok_or(Anew)?, None),
        };
        Ok(Members {
            members: members.iter_mut(),
            named: None,
            written: false,
            keys,
        })
    }

    fn serialize_struct(self, _: &'static str, length: usize) -> Result<Members<'a>> {
        self.serialize_map(Some(length))
    }

    anew! {
        serialize_f32(f32) -> bool;
        serialize_char(char) -> bool;
        serialize_bytes(&[u8]) -> bool;
        serialize_unit_struct(&'static str) -> bool;
        serialize_tuple(usize) -> Self::SerializeTuple;
        serialize_tuple_struct(&'static str, usize) -> Self::SerializeTupleStruct;
        serialize_tuple_variant(&'static str, u32, &'static str, usize) -> Self::SerializeTupleVariant;
        serialize_struct_variant(&'static str, u32, &'static str, usize) -> Self::SerializeStructVariant;
    }
}

/// What is still to come of a text that is compared piece by piece.
struct Rest<'a>(&'a str);

impl fmt::Write for Rest<'_> {
    fn write_str(&mut self, piece: &str) -> fmt::Result {
        self.0 = self.0.strip_prefix(piece).ok_or(fmt::Error)?;
        Ok(())
    }

    fn write_char(&mut self, piece: char) -> fmt::Result {
        self.0 = self.0.strip_prefix(piece).ok_or(fmt::Error)?;
        Ok(())
    }
}

/// The elements of a list that are still to be written.
struct Elements<'a> {
    elements: slice::IterMut<'a, Value>,
    written: bool,
}

impl SerializeSeq for Elements<'_> {
    type Ok = bool;
    type Error = Anew;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, new: &T) -> Result<()> {
        self.written |= part(self.elements.next(), new)?;
        Ok(())
    }

    fn end(mut self) -> Result {
        self.elements.next().map_or(Ok(self.written), |_| Err(Anew))
    }
}

/// The members of an object that are still to be written, in their order.
struct Members<'a> {
    members: map::IterMut<'a>,
    /// The one whose key has been found the same.
    named: Option<(&'a String, &'a mut Value)>,
    written: bool,
    /// Where the keys go of those written, in a record.
    keys: Option<&'a mut Vec<String>>,
}

impl SerializeMap for Members<'_> {
    type Ok = bool;
    type Error = Anew;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Result<()> {
        let named = self.members.next().ok_or(Anew)?;
        key.serialize(InPlace::Key(named.0))?;
        self.named = Some(named);
        Ok(())
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, new: &T) -> Result<()> {
        let (key, old) = self.named.take().ok_or(Anew)?;
        if part(Some(old), new)? {
            self.written = true;
            self.keys.iter_mut().for_each(|keys| keys.push(key.clone()));
        }
        Ok(())
    }

    fn end(mut self) -> Result {
        self.members.next().map_or(Ok(self.written), |_| Err(Anew))
    }
}

impl SerializeStruct for Members<'_> {
    type Ok = bool;
    type Error = Anew;

    fn serialize_field<T: Serialize + ?Sized>(&mut self, key: &'static str, new: &T) -> Result<()> {
        self.serialize_entry(key, new)
    }

    fn end(self) -> Result {
        SerializeMap::end(self)
    }
}

#[cfg(test)]
mod tests {
    use super::update;
    use proptest::prelude::*;
    use serde::Serialize;
    use serde_json::{Map, Value, json, to_value};
    use std::collections::BTreeMap;

    #[derive(Debug, Clone, Serialize)]
    enum Kind {
        Plain,
        Of(u8),
        Pair(u8, u8),
        Record { a: Option<i64> },
    }

    /// Text that is written out piece by piece, as a date is.
    #[derive(Debug, Clone)]
    struct Shown(u8);

    impl Serialize for Shown {
        fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
            serializer.collect_str(&format_args!("d{:a<1$}", "", usize::from(self.0)))
        }
    }

    /// Every shape serde knows.
    #[derive(Debug, Clone, Serialize)]
    struct Everything {
        shown: Shown,
        kinds: Vec<Kind>,
        #[serde(skip_serializing_if = "Option::is_none")]
        there: Option<(f64, char)>,
        numbered: BTreeMap<i32, bool>,
        nested: Option<Box<Everything>>,
        unit: (),
    }

    fn everything() -> impl Strategy<Value = Everything> {
        let kind = prop_oneof![
            Just(Kind::Plain),
            (0..2_u8).prop_map(Kind::Of),
            (0..2_u8).prop_map(|n| Kind::Pair(n, 1)),
            proptest::option::of(Just(1)).prop_map(|a| Kind::Record { a }),
        ];
        let there = prop_oneof![
            Just(None),
            Just(Some((0.5, 'a'))),
            Just(Some((f64::NAN, '"')))
        ];
        let numbered = proptest::collection::btree_map(0..3, any::<bool>(), 0..3);
        // Each of these texts begins the next.
        let shown = (0..4_u8).prop_map(Shown);
        let one = (
            shown,
            proptest::collection::vec(kind, 0..3),
            there,
            numbered,
        );
        let one = one.prop_map(|(shown, kinds, there, numbered)| Everything {
            shown,
            kinds,
            there,
            numbered,
            nested: None,
            unit: (),
        });
        let inner = proptest::option::of(one.clone());
        (one, inner).prop_map(|(outer, inner)| Everything {
            nested: inner.map(Box::new),
            ..outer
        })
    }

    /// The record must become what it would be made anew, and no key of what differed may be missed.
    fn brought_up_to(record: &mut Map<String, Value>, new: &impl Serialize) {
        let (before, mut written) = (record.clone(), Vec::new());
        update(record, new, &mut written).expect("a record");
        let anew = to_value(new).expect("a value");
        assert_eq!(Value::from(record.clone()).to_string(), anew.to_string());
        for key in before.keys().chain(record.keys()) {
            assert!(before.get(key) == record.get(key) || written.contains(key));
        }
    }

    proptest! {
        #[test]
        fn becomes_what_it_would_be_made_anew(records in proptest::collection::vec(everything(), 1..6)) {
            let mut record = Map::new();
            for new in &records {
                brought_up_to(&mut record, new);
            }
        }
    }

    #[test]
    fn only_what_differs_is_written() {
        let mut record = Map::new();
        let mut written = |new: &Value| {
            let mut written = Vec::new();
            update(&mut record, new, &mut written).expect("a record");
            written
        };
        let mut new = json!({"a": [1, 2.5, null], "b": {"c": "x", "d": true}, "e": "y", "f": 1});
        assert_eq!(written(&new), ["a", "b", "e", "f"]);
        assert!(written(&new).is_empty());
        new["b"]["d"] = false.into();
        new["f"] = 1.0.into();
        assert_eq!(written(&new), ["b", "f"]);
    }

    #[test]
    fn what_was_written_before_a_failure_is_not_missed() {
        #[derive(Serialize)]
        struct Record {
            text: &'static str,
            /// Not JSON unless it is empty.
            lists_as_keys: BTreeMap<Vec<u8>, u8>,
        }
        let record = |text, keys: &[u8]| Record {
            text,
            lists_as_keys: keys.iter().map(|key| (vec![*key], 0)).collect(),
        };
        let (mut old, mut written) = (Map::new(), Vec::new());
        update(&mut old, &record("x", &[]), &mut written).expect("a record");
        written.clear();
        assert!(update(&mut old, &record("y", &[1]), &mut written).is_err());
        update(&mut old, &record("y", &[]), &mut written).expect("a record");
        assert!(written.contains(&"text".to_owned()));
    }

    #[test]
    fn json_is_brought_up_to_json_and_back() {
        let old = json!({"a": {"b": "x"}, "list": [1, {"c": 2.5}], "gone": null, "t": true});
        for new in [
            json!({"list": [1, {"c": 2.5}], "a": {"b": "x"}, "new": []}),
            json!({"a": {"b": "y", "d": 1}, "list": [{"c": 2}], "gone": 0, "t": "true"}),
            json!({"a": [], "list": {}}),
        ] {
            let mut record = old.as_object().expect("a record").clone();
            for to in [&new, &new, &old] {
                brought_up_to(&mut record, to);
            }
        }
        for not_a_record in [json!([1]), json!(null)] {
            assert!(update(&mut Map::new(), &not_a_record, &mut Vec::new()).is_err());
        }
        let a_list_as_key = BTreeMap::from([(vec![1], 2)]);
        assert!(update(&mut Map::new(), &a_list_as_key, &mut Vec::new()).is_err());
    }
}
