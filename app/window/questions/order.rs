//! The order: every field that is chosen or counted. A signed revision is frozen and not changed.

use super::{Kind, Question, Scale, item};
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::order::{FIELDS, Field, FieldKind, Order, Revision, at, json_of};
use plinthside_visit::{Entry, Lang, Text, Visit};
use serde_json::Value;

/// The fields that are answered by a tap or a number, in printing order.
pub fn order() -> Vec<Box<dyn Question>> {
    let asked = |f: &&Field| {
        matches!(
            f.kind,
            FieldKind::Word(_) | FieldKind::Flag | FieldKind::Number(_)
        )
    };
    FIELDS
        .iter()
        .filter(asked)
        .map(|f| Box::new(OfField(f)) as Box<dyn Question>)
        .collect()
}

struct OfField(&'static Field);

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
        at(&json_of(&revision(visit, side)?.prescription), self.0.path).cloned()
    }

    fn set(&self, visit: &mut Visit, side: Side, value: Value) {
        // The value is made from the field's own kind, so it fits; a frozen revision stays.
        if let Some(draft) = order_mut(visit, side).draft_mut()
            && draft.prescription.set(self.0.path, value).is_ok()
        {
            draft.because.remove(self.0.path);
        }
    }
}

impl Question for OfField {
    fn key(&self) -> String {
        self.0.path.to_owned()
    }

    fn label(&self, lang: Lang) -> String {
        self.0.label(lang).to_owned()
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
            .get(self.0.path)
            .map_or_else(String::new, |b| b.because.clone())
    }

    fn kind(&self) -> Kind {
        match self.0.kind {
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
            _ => Kind::OneOf,
        }
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let Some(revision) = revision(visit, side) else {
            return String::new();
        };
        let line = revision
            .lines(lang)
            .into_iter()
            .find(|line| line.field.path == self.0.path);
        line.map_or_else(String::new, |line| line.value)
    }

    fn choices(&self, visit: &Visit, side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = self.value(visit, side);
        match self.0.kind {
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
            _ => Vec::new(),
        }
    }

    fn choose(&self, visit: &mut Visit, side: Side, index: usize) {
        let chosen = match self.0.kind {
            FieldKind::Word(list) => list()
                .get(index)
                .map(|(token, _)| Value::String(token.clone())),
            FieldKind::Flag => Some(Value::Bool(index == 0)),
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
        let value = numbers.last().and_then(|n| serde_json::to_value(n).ok());
        self.set(visit, side, value.unwrap_or(Value::Null));
    }
}
