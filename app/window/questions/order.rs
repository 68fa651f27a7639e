//! The order: every field that is chosen or counted. A signed revision is frozen and not changed.

use super::person::read_day;
use super::{Kind, Question, Scale, item};
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::order::{
    FIELDS, Field, FieldKind, Order, Place, Revision, StrapPlace, at, json_of,
};
use plinthside_visit::{Clinic, Entry, Lang, Text, Visit};
use serde_json::Value;

/// Every field, in printing order; words the clinic uses can be tapped.
pub fn order(clinic: &Clinic) -> Vec<Box<dyn Question>> {
    FIELDS
        .iter()
        .map(|field| {
            let words = clinic.words_for(field.path);
            Box::new(OfField { field, words }) as Box<dyn Question>
        })
        .collect()
}

struct OfField {
    field: &'static Field,
    words: Vec<String>,
}

fn revision(visit: &Visit, side: Side) -> Option<&Revision> {
    visit.order(side).and_then(|order| order.revisions.last())
}

/// The order of one side, made if there is none yet.
pub fn order_mut(visit: &mut Visit, side: Side) -> &mut Order {
    let index = visit
        .orders
        .iter()
        .rposition(|o| o.side == side)
        .unwrap_or_else(|| {
            let mut order = Order::new(format!("order-{}", visit.orders.len() + 1), side);
            order.cast = visit.cast(side).map(|c| c.id.clone());
            visit.orders.push(order);
            visit.orders.len() - 1
        });
    &mut visit.orders[index]
}

impl OfField {
    fn value(&self, visit: &Visit, side: Side) -> Option<Value> {
        at(
            &json_of(&revision(visit, side)?.prescription),
            self.field.path,
        )
        .cloned()
    }

    fn set(&self, visit: &mut Visit, side: Side, value: Value) {
        // The value is made from the field's own kind, so it fits; a frozen revision stays.
        if let Some(draft) = order_mut(visit, side).draft_mut()
            && draft.prescription.set(self.field.path, value).is_ok()
        {
            draft.because.remove(self.field.path);
        }
    }
}

impl OfField {
    /// Takes a place into a list, or leaves it out with what was said of it.
    fn toggle(&self, visit: &mut Visit, side: Side, place: &str) {
        let mut items = match self.value(visit, side) {
            Some(Value::Array(items)) => items,
            _ => Vec::new(),
        };
        let before = items.len();
        items.retain(|item| item["place"] != place);
        if items.len() == before {
            items.push(serde_json::json!({ "place": place }));
        }
        self.set(visit, side, Value::Array(items));
    }
}

/// The places a list is about, as token and label.
fn places(path: &str) -> Vec<(String, Text)> {
    if path == "closure.straps" {
        StrapPlace::ALL
            .iter()
            .map(|p| labelled(p.token(), |lang| p.label(lang)))
            .collect()
    } else {
        Place::ALL
            .iter()
            .map(|p| labelled(p.token(), |lang| p.label(lang)))
            .collect()
    }
}

fn labelled<'a>(token: &str, label: impl Fn(Lang) -> &'a str) -> (String, Text) {
    (
        token.to_owned(),
        Text::new(label(Lang::En), label(Lang::De)),
    )
}

impl Question for OfField {
    fn key(&self) -> String {
        self.field.path.to_owned()
    }

    fn label(&self, lang: Lang) -> String {
        self.field.label(lang).to_owned()
    }

    fn note(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let Some(revision) = revision(visit, side) else {
            return String::new();
        };
        if revision.signature.is_some() {
            let frozen = Text::new(
                "signed: change it by an amendment",
                "unterschrieben: Änderung nur als Nachtrag",
            );
            return frozen.get(lang).to_owned();
        }
        revision
            .because
            .get(self.field.path)
            .map_or_else(String::new, |b| b.because.clone())
    }

    fn kind(&self) -> Kind {
        match self.field.kind {
            FieldKind::Number(unit) => {
                let (low, high) = match unit {
                    "deg" => (-30.0, 30.0),
                    "kg" => (0.0, 250.0),
                    _ => (0.0, 500.0),
                };
                Kind::Number(Scale {
                    low,
                    high,
                    step: 1.0,
                    unit,
                    repeats: false,
                })
            }
            FieldKind::Count => Kind::Number(Scale {
                low: 0.0,
                high: 10.0,
                step: 1.0,
                unit: "",
                repeats: false,
            }),
            FieldKind::Text | FieldKind::Date => Kind::Text,
            FieldKind::List => Kind::AnyOf,
            FieldKind::Word(_) | FieldKind::Flag => Kind::OneOf,
        }
    }

    fn type_in(&self, visit: &mut Visit, side: Side, text: &str) -> Option<Text> {
        let text = text.trim();
        let value = match self.field.kind {
            _ if text.is_empty() => Value::Null,
            FieldKind::Date => match read_day(text) {
                Some(day) => Value::String(day.to_string()),
                None => {
                    return Some(Text::new(
                        "This is no day: type day, month and year, as 4.3.2027.",
                        "Das ist kein Tag: bitte Tag, Monat und Jahr eingeben, etwa 4.3.2027.",
                    ));
                }
            },
            _ => Value::String(text.to_owned()),
        };
        self.set(visit, side, value);
        None
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let Some(revision) = revision(visit, side) else {
            return String::new();
        };
        let line = revision
            .lines(lang)
            .into_iter()
            .find(|line| line.field.path == self.field.path);
        line.map_or_else(String::new, |line| line.value)
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = self.value(visit, side);
        match self.field.kind {
            FieldKind::Word(list) => list()
                .iter()
                .map(|(token, label)| {
                    item(
                        label.get(lang),
                        now.as_ref().and_then(Value::as_str) == Some(token),
                    )
                })
                .collect(),
            FieldKind::Flag => {
                let [yes, no] = if lang == Lang::De {
                    ["ja", "nein"]
                } else {
                    ["yes", "no"]
                };
                let now = now.as_ref().and_then(Value::as_bool);
                vec![item(yes, now == Some(true)), item(no, now == Some(false))]
            }
            FieldKind::List => places(self.field.path)
                .iter()
                .map(|(token, label)| {
                    let chosen = now.as_ref().and_then(Value::as_array);
                    let chosen = chosen.is_some_and(|all| all.iter().any(|i| i["place"] == *token));
                    item(label.get(lang), chosen)
                })
                .collect(),
            FieldKind::Text => {
                let now = now.as_ref().and_then(Value::as_str);
                let words = self.words.iter();
                words.map(|word| item(word, now == Some(word))).collect()
            }
            _ => Vec::new(),
        }
    }

    fn copied(&self, visit: &Visit, side: Side) -> bool {
        revision(visit, side).is_some_and(|r| r.is_unconfirmed_copy(self.field.path))
    }

    fn confirm(&self, visit: &mut Visit, side: Side) {
        if let Some(because) = order_mut(visit, side)
            .draft_mut()
            .and_then(|draft| draft.because.get_mut(self.field.path))
        {
            because.confirmed = true;
        }
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        let chosen = match self.field.kind {
            FieldKind::Word(list) => list()
                .get(index)
                .map(|(token, _)| Value::String(token.clone())),
            FieldKind::Flag => Some(Value::Bool(index == 0)),
            FieldKind::Text => self.words.get(index).cloned().map(Value::String),
            FieldKind::List => {
                if let Some((place, _)) = places(self.field.path).get(index) {
                    self.toggle(visit, side, place);
                }
                return;
            }
            _ => None,
        };
        let Some(chosen) = chosen else { return };
        let again = self.value(visit, side).as_ref() == Some(&chosen);
        self.set(visit, side, if again { Value::Null } else { chosen });
    }

    fn numbers(&self, visit: &Visit, side: Side) -> Vec<Entry> {
        let value = self
            .value(visit, side)
            .and_then(|v| serde_json::from_value(v).ok());
        value.into_iter().collect()
    }

    fn write(&self, visit: &mut Visit, side: Side, numbers: Vec<Entry>) {
        let value = match (self.field.kind, numbers.last()) {
            // A count is a whole number, not an entry as it was typed.
            (FieldKind::Count, Some(count)) => {
                count.value.map(|v| Value::from(v.round().max(0.0) as u64))
            }
            (_, last) => last.and_then(|n| serde_json::to_value(n).ok()),
        };
        self.set(visit, side, value.unwrap_or(Value::Null));
    }
}
