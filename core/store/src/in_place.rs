//! Brings a JSON value up to a record by writing only what differs, so that an entry costs what it
//! changes and not what the whole record would cost to build.

use serde::ser::{self, Impossible, Serialize, SerializeMap, SerializeSeq, SerializeStruct};
use serde_json::{Value, map, to_value};
use std::slice;

/// Makes `old` what `serde_json::to_value(new)` is.
pub(crate) fn update<T: Serialize + ?Sized>(old: &mut Value, new: &T) -> serde_json::Result<()> {
    if new.serialize(InPlace::Value(old)).is_err() {
        *old = to_value(new)?;
    }
    Ok(())
}

/// Writes over what is there, if that has the same shape.
enum InPlace<'a> {
    Value(&'a mut Value),
    /// The key of a member, which must be the same.
    Key(&'a str),
}

impl<'a> InPlace<'a> {
    fn value(self) -> Result<&'a mut Value> {
        match self {
            Self::Value(value) => Ok(value),
            Self::Key(_) => Err(Anew),
        }
    }
}

/// The value has another shape, or is a bare number: it is made anew.
#[derive(Debug, thiserror::Error)]
#[error("another shape")]
struct Anew;

impl ser::Error for Anew {
    fn custom<T: std::fmt::Display>(_: T) -> Self {
        Self
    }
}

type Result<T = ()> = std::result::Result<T, Anew>;

fn part<T: Serialize + ?Sized>(old: Option<&mut Value>, new: &T) -> Result {
    update(old.ok_or(Anew)?, new).map_err(|_| Anew)
}

macro_rules! anew {
    ($($method:ident($($argument:ty),*) -> $made:ty;)*) => {
        $(fn $method(self, $(_: $argument),*) -> Result<$made> { Err(Anew) })*
    };
}

impl<'a> ser::Serializer for InPlace<'a> {
    type Ok = ();
    type Error = Anew;
    type SerializeSeq = Elements<'a>;
    type SerializeTuple = Impossible<(), Anew>;
    type SerializeTupleStruct = Impossible<(), Anew>;
    type SerializeTupleVariant = Impossible<(), Anew>;
    type SerializeMap = Members<'a>;
    type SerializeStruct = Members<'a>;
    type SerializeStructVariant = Impossible<(), Anew>;

    fn serialize_str(self, new: &str) -> Result {
        let same = match self {
            Self::Value(old) => old.as_str() == Some(new),
            Self::Key(old) => old == new,
        };
        if same { Ok(()) } else { Err(Anew) }
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
        Ok(Elements(elements.iter_mut()))
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Members<'a>> {
        let members = self.value()?.as_object_mut().ok_or(Anew)?.iter_mut();
        Ok(Members {
            members,
            named: None,
        })
    }

    fn serialize_struct(self, _: &'static str, length: usize) -> Result<Members<'a>> {
        self.serialize_map(Some(length))
    }

    anew! {
        serialize_bool(bool) -> ();
        serialize_i8(i8) -> ();
        serialize_i16(i16) -> ();
        serialize_i32(i32) -> ();
        serialize_i64(i64) -> ();
        serialize_u8(u8) -> ();
        serialize_u16(u16) -> ();
        serialize_u32(u32) -> ();
        serialize_u64(u64) -> ();
        serialize_f32(f32) -> ();
        serialize_f64(f64) -> ();
        serialize_char(char) -> ();
        serialize_bytes(&[u8]) -> ();
        serialize_none() -> ();
        serialize_unit() -> ();
        serialize_unit_struct(&'static str) -> ();
        serialize_tuple(usize) -> Self::SerializeTuple;
        serialize_tuple_struct(&'static str, usize) -> Self::SerializeTupleStruct;
        serialize_tuple_variant(&'static str, u32, &'static str, usize) -> Self::SerializeTupleVariant;
        serialize_struct_variant(&'static str, u32, &'static str, usize) -> Self::SerializeStructVariant;
    }
}

/// The elements of a list that are still to be written.
struct Elements<'a>(slice::IterMut<'a, Value>);

impl SerializeSeq for Elements<'_> {
    type Ok = ();
    type Error = Anew;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, new: &T) -> Result {
        part(self.0.next(), new)
    }

    fn end(mut self) -> Result {
        self.0.next().map_or(Ok(()), |_| Err(Anew))
    }
}

/// The members of an object that are still to be written, in their order.
struct Members<'a> {
    members: map::IterMut<'a>,
    /// The one whose key has been found the same.
    named: Option<&'a mut Value>,
}

impl SerializeMap for Members<'_> {
    type Ok = ();
    type Error = Anew;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Result {
        let (there, old) = self.members.next().ok_or(Anew)?;
        self.named = Some(old);
        key.serialize(InPlace::Key(there))
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, new: &T) -> Result {
        part(self.named.take(), new)
    }

    fn end(mut self) -> Result {
        self.members.next().map_or(Ok(()), |_| Err(Anew))
    }
}

impl SerializeStruct for Members<'_> {
    type Ok = ();
    type Error = Anew;

    fn serialize_field<T: Serialize + ?Sized>(&mut self, key: &'static str, new: &T) -> Result {
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
    use serde_json::{Value, json, to_value};
    use std::collections::BTreeMap;

    #[derive(Debug, Clone, Serialize)]
    enum Kind {
        Plain,
        Of(u8),
        Pair(u8, u8),
        Record { a: Option<i64> },
    }

    /// Every shape serde knows.
    #[derive(Debug, Clone, Serialize)]
    struct Everything {
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
        let one = (proptest::collection::vec(kind, 0..3), there, numbered);
        let one = one.prop_map(|(kinds, there, numbered)| Everything {
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

    proptest! {
        #[test]
        fn becomes_what_it_would_be_made_anew(records in proptest::collection::vec(everything(), 1..6)) {
            let mut value = Value::Null;
            for record in &records {
                update(&mut value, record).expect("values");
                prop_assert_eq!(&value, &to_value(record).expect("value"));
            }
        }
    }

    #[test]
    fn json_is_brought_up_to_json_and_back() {
        let old = json!({"a": {"b": "x"}, "list": [1, {"c": 2.5}], "gone": null, "t": true});
        for new in [
            json!({"list": [1, {"c": 2.5}], "a": {"b": "x"}, "new": []}),
            json!({"a": {"b": "y", "d": 1}, "list": [{"c": 2}], "gone": 0, "t": "true"}),
            json!({"a": [], "list": {}}),
            json!([1]),
        ] {
            let mut value = old.clone();
            for to in [&new, &new, &old] {
                update(&mut value, to).expect("value");
                assert_eq!(value.to_string(), to.to_string());
            }
        }
        let mut value = Value::Null;
        assert!(update(&mut value, &BTreeMap::from([(vec![1], 2)])).is_err());
    }
}
