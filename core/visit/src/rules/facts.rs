//! The facts a rule can name, each with its kind and where it is read from.
//!
//! | prefix | what |
//! |---|---|
//! | none | readings, by the key of the catalogue; a few worked out of several |
//! | `leg.` | the leg's own dimensions |
//! | `person.` | the patient |
//! | `cast.` | how the cast was taken and what was checked on it |
//! | `measured.` | results of the measurement, also with `_low95` and `_high95` |
//! | `order.` | fields of the order, by their path |

use super::condition::{Facts, Value};
use super::worked_out;
use crate::cast_record::{self, Cast};
use crate::examination::{Dimension, reading_kind, reading_kinds};
use crate::order::{self, FieldKind, Order, Revision};
use crate::person::{Condition as PersonCondition, ConsentFor};
use crate::visit::Visit;
use chrono::NaiveDate;
use plinthside_measure::cast::{ResultName, Results};
use plinthside_measure::marks::Side;
use plinthside_measure::quantity::Unit;
use serde_json::Value as Json;

/// What a fact holds.
#[derive(Debug, Clone, PartialEq)]
pub enum FactKind {
    /// A number in this unit.
    Number(String),
    /// Words; an empty list takes any.
    Words(Vec<String>),
    /// Yes or no.
    Flag,
}

/// What rules are asked about: one foot of one visit.
#[derive(Debug, Clone, Copy)]
pub struct Case<'a> {
    /// The visit.
    pub visit: &'a Visit,
    /// The foot.
    pub side: Side,
    /// The cast of that foot.
    pub cast: Option<&'a Cast>,
    /// What was measured on it.
    pub results: Option<&'a Results>,
    /// The order for it.
    pub order: Option<&'a Order>,
    /// The revision in question.
    pub revision: Option<&'a Revision>,
    /// The side printed on the label bound to it.
    pub label_side: Option<Side>,
    /// The day the rules are asked on.
    pub today: NaiveDate,
}

impl<'a> Case<'a> {
    /// What a visit holds about one foot: its latest cast and order.
    #[must_use]
    pub fn of_visit(visit: &'a Visit, side: Side, today: NaiveDate) -> Self {
        let order = visit.order(side);
        let cast = order
            .and_then(|o| o.cast.as_deref())
            .and_then(|id| visit.casts.iter().find(|c| c.id == id))
            .or_else(|| visit.cast(side));
        Self {
            visit,
            side,
            cast,
            results: None,
            order,
            revision: order.and_then(|o| o.revisions.last()),
            label_side: None,
            today,
        }
    }

    /// The same with what was measured on the cast.
    #[must_use]
    pub fn measured(self, results: &'a Results) -> Self {
        Self {
            results: Some(results),
            ..self
        }
    }
}

/// The facts of a case, the order and cast turned into JSON once.
pub(super) struct CaseFacts<'a> {
    pub case: &'a Case<'a>,
    prescription: Json,
    record: Json,
    inspection: Json,
}

impl<'a> CaseFacts<'a> {
    pub fn new(case: &'a Case<'a>) -> Self {
        let json = |value: Option<Result<Json, serde_json::Error>>| {
            value.and_then(Result::ok).unwrap_or_default()
        };
        Self {
            case,
            prescription: case
                .revision
                .map(|r| order::json_of(&r.prescription))
                .unwrap_or_default(),
            record: json(case.cast.map(|c| serde_json::to_value(&c.record))),
            inspection: json(case.cast.map(|c| serde_json::to_value(&c.inspection))),
        }
    }
}

impl Facts for CaseFacts<'_> {
    fn get(&self, fact: &str) -> Option<Value> {
        let case = self.case;
        if let Some(path) = fact.strip_prefix("order.") {
            return of_json(&self.prescription, path, &kind_of(fact)?);
        }
        if let Some(name) = fact.strip_prefix("leg.") {
            return case
                .visit
                .leg(case.side)?
                .get(dimension(name)?)
                .map(Value::Number);
        }
        if let Some(name) = fact.strip_prefix("measured.") {
            return measured(case.results?, name);
        }
        if let Some(name) = fact.strip_prefix("person.") {
            return person(case, name);
        }
        if let Some(name) = fact.strip_prefix("cast.") {
            if let Some(value) = worked_out::of_cast(case, name) {
                return value;
            }
            let kind = kind_of(fact)?;
            return of_json(&self.record, name, &kind)
                .or_else(|| of_json(&self.inspection, name, &kind));
        }
        worked_out::get(case, fact).or_else(|| reading(case, fact))
    }
}

/// The kind of a fact; `None` where there is no such fact.
#[must_use]
pub fn kind_of(fact: &str) -> Option<FactKind> {
    let number = |unit: &str| Some(FactKind::Number(unit.to_owned()));
    if let Some(path) = fact.strip_prefix("order.") {
        return Some(match order::field(path)?.kind {
            FieldKind::Number(unit) => FactKind::Number(unit.to_owned()),
            FieldKind::Count | FieldKind::List => FactKind::Number("1".to_owned()),
            FieldKind::Word(list) => FactKind::Words(list().into_iter().map(|(t, _)| t).collect()),
            FieldKind::Text | FieldKind::Date => FactKind::Words(Vec::new()),
            FieldKind::Flag => FactKind::Flag,
        });
    }
    if let Some(name) = fact.strip_prefix("leg.") {
        dimension(name)?;
        return number(if name.ends_with("_deg") { "deg" } else { "mm" });
    }
    if let Some(name) = fact.strip_prefix("measured.") {
        return number(match result_name(name)?.0.unit() {
            Unit::Mm => "mm",
            Unit::Deg => "deg",
        });
    }
    if let Some((_, kind)) = NAMED.iter().find(|(name, _)| *name == fact) {
        return Some(kind());
    }
    let kind = reading_kind(fact)?;
    Some(match &kind.unit {
        Some(unit) => FactKind::Number(unit.clone()),
        None => FactKind::Words(kind.words.iter().map(|w| w.word.clone()).collect()),
    })
}

/// Every fact there is, for whoever writes rules.
#[must_use]
pub fn all_facts() -> Vec<String> {
    let mut names: Vec<String> = reading_kinds().iter().map(|k| k.key.clone()).collect();
    names.extend(NAMED.iter().map(|(name, _)| (*name).to_owned()));
    names.extend(
        Dimension::ALL
            .iter()
            .map(|d| format!("leg.{}", crate::verdict::token(d))),
    );
    for name in ResultName::ALL {
        names.extend(["", "_low95", "_high95"].map(|end| format!("measured.{name}{end}")));
    }
    names.extend(order::FIELDS.iter().map(|f| format!("order.{}", f.path)));
    names
}

type Kind = fn() -> FactKind;

macro_rules! list {
    ($name:ident) => {
        || {
            FactKind::Words(
                cast_record::$name::ALL
                    .iter()
                    .map(|w| w.token().to_owned())
                    .collect(),
            )
        }
    };
}

const fn mm() -> Kind {
    || FactKind::Number("mm".to_owned())
}
const DEG: Kind = || FactKind::Number("deg".to_owned());
const ONE: Kind = || FactKind::Number("1".to_owned());
const FLAG: Kind = || FactKind::Flag;

/// Facts that are neither readings nor fields of the order.
const NAMED: &[(&str, Kind)] = &[
    ("person.age_years", || FactKind::Number("a".to_owned())),
    ("person.body_mass_kg", || FactKind::Number("kg".to_owned())),
    ("person.code", || FactKind::Words(Vec::new())),
    ("person.conditions", || {
        FactKind::Words(
            PersonCondition::ALL
                .iter()
                .map(|c| c.token().to_owned())
                .collect(),
        )
    }),
    ("person.consents_to_treatment", FLAG),
    ("person.consents_to_photographs", FLAG),
    ("person.consents_to_sharing_with_lab", FLAG),
    ("cast.position", list!(CastPosition)),
    ("cast.rearfoot_held", list!(RearfootHeld)),
    ("cast.midtarsal", list!(Midtarsal)),
    ("cast.first_ray", list!(FirstRay)),
    ("cast.skin_cover", list!(SkinCover)),
    ("cast.covering", list!(Covering)),
    ("cast.packing", list!(Packing)),
    ("cast.crack", list!(Crack)),
    ("cast.dent_place", list!(DentPlace)),
    ("cast.knee_flexion_deg", DEG),
    ("cast.foot_to_leg_intended_deg", DEG),
    ("cast.foot_to_leg_reached_deg", DEG),
    ("cast.layers_overlap", ONE),
    ("cast.water_cel", || FactKind::Number("Cel".to_owned())),
    ("cast.rock_mm", mm()),
    ("cast.wall_min_mm", mm()),
    ("cast.wall_heel_ankle_mm", mm()),
    ("cast.wall_max_mm", mm()),
    ("cast.dent_mm", mm()),
    ("cast.past_mtp_mm", mm()),
    ("cast.above_malleolus_mm", mm()),
    ("cast.minutes_to_photographs", || {
        FactKind::Number("min".to_owned())
    }),
    ("cast.marks_missing_count", ONE),
    ("cast.taken", FLAG),
    ("cast.measured", FLAG),
    ("cast.without_photographs", FLAG),
    ("side_conflict", FLAG),
    ("insensate", FLAG),
    ("tone_raised", FLAG),
    ("forefoot_angle_spans_zero", FLAG),
    ("forefoot_inverted", FLAG),
    ("forefoot_height_by_angle_mm", mm()),
    ("skive_reach_share", ONE),
    ("entries_in_question", ONE),
    ("copies_unconfirmed", ONE),
    ("order_copies_unconfirmed", ONE),
];

fn dimension(name: &str) -> Option<Dimension> {
    Dimension::ALL
        .iter()
        .copied()
        .find(|d| crate::verdict::token(d) == name)
}

/// Which number of a quantity a fact means: its value or an end of its interval.
type Pick = fn(&plinthside_measure::quantity::Quantity) -> f64;

fn result_name(name: &str) -> Option<(ResultName, Pick)> {
    let find = |n: &str| ResultName::ALL.iter().copied().find(|r| r.as_str() == n);
    if let Some(found) = find(name) {
        return Some((found, |q| q.value));
    }
    if let Some(found) = name.strip_suffix("_low95").and_then(find) {
        return Some((found, |q| q.low95));
    }
    name.strip_suffix("_high95")
        .and_then(find)
        .map(|found| (found, (|q| q.high95) as Pick))
}

fn measured(results: &Results, name: &str) -> Option<Value> {
    let (name, pick) = result_name(name)?;
    results
        .quantities
        .get(&name)
        .map(|q| Value::Number(pick(q)))
}

fn reading(case: &Case<'_>, fact: &str) -> Option<Value> {
    let reading = case.visit.reading(fact, case.side)?;
    match kind_of(fact)? {
        FactKind::Number(_) => reading.mean().map(Value::Number),
        FactKind::Words(_) | FactKind::Flag => {
            (!reading.choices.is_empty()).then(|| Value::Words(reading.choices.clone()))
        }
    }
}

fn person(case: &Case<'_>, name: &str) -> Option<Value> {
    let person = &case.visit.person;
    let consent = |what| person.consents_to(&what).map(Value::Flag);
    match name {
        "age_years" => person
            .age_years(case.today)
            .map(|years| Value::Number(f64::from(years))),
        "body_mass_kg" => person.body_mass_kg.as_ref()?.usable().map(Value::Number),
        "code" => (!person.code.is_empty()).then(|| Value::Words(vec![person.code.clone()])),
        // An empty list may mean that nobody asked.
        "conditions" => (!person.conditions.is_empty()).then(|| {
            Value::Words(
                person
                    .conditions
                    .iter()
                    .map(|c| c.token().to_owned())
                    .collect(),
            )
        }),
        "consents_to_treatment" => consent(ConsentFor::Treatment),
        "consents_to_photographs" => consent(ConsentFor::Photographs),
        "consents_to_sharing_with_lab" => consent(ConsentFor::SharingWithLab),
        _ => None,
    }
}

fn of_json(json: &Json, path: &str, kind: &FactKind) -> Option<Value> {
    let value = order::at(json, path)?;
    match (kind, value) {
        (FactKind::Number(_), Json::Array(items)) => Some(Value::Number(items.len() as f64)),
        (FactKind::Number(_), value) => order::usable_number(value).map(Value::Number),
        (FactKind::Words(_), Json::String(word)) => Some(Value::Words(vec![word.clone()])),
        (FactKind::Flag, Json::Bool(yes)) => Some(Value::Flag(*yes)),
        _ => None,
    }
}
