//! Each rule of the shipped list on a whole visit: it fires where it should, at its limit, and
//! is silent just beside it. Facts are set where the clinician enters them, so that a rule that
//! reads the wrong field fails here.

mod table;

use crate::common::{after, choice, complete, day, entry, number, quantity, results, when};
use plinthside_measure::cast::{ResultName, Results};
use plinthside_measure::marks::Side;
use plinthside_visit::person::{Condition, Consent, ConsentFor};
use plinthside_visit::rules::{Case, RuleSet, Stops, check};
use plinthside_visit::source::Certainty;
use plinthside_visit::{LegDimensions, Visit};
use serde_json::Value;
use std::collections::BTreeSet;
use table::RULES;

const LEFT: Side = Side::Left;

/// A visit with its measurement, entered fact by fact.
struct Entered {
    visit: Visit,
    results: Option<Results>,
    label: Option<Side>,
}

fn entered(facts: &str) -> Entered {
    let mut e = Entered {
        visit: complete(LEFT),
        results: None,
        label: None,
    };
    for fact in facts.split(';').map(str::trim).filter(|f| !f.is_empty()) {
        let (name, value) = fact.split_once('=').expect(fact);
        e.enter(name.trim(), value.trim());
    }
    e
}

impl Entered {
    fn enter(&mut self, name: &str, value: &str) {
        let json: Value = serde_json::from_str(value).unwrap_or_else(|_| value.into());
        let side = || if value == "right" { Side::Right } else { LEFT };
        let visit = &mut self.visit;
        if let Some(path) = name.strip_prefix("order.") {
            let draft = visit.orders[0].draft_mut().unwrap();
            draft.prescription.set(path, json).unwrap();
        } else if let Some(name) = name.strip_prefix("leg.") {
            let dimension = serde_json::from_value(name.into()).unwrap();
            if visit.legs.is_empty() {
                visit.legs.push(LegDimensions::new(LEFT));
            }
            let mm = entry(json.as_f64().unwrap());
            visit.legs[0].values.insert(dimension, vec![mm]);
        } else if let Some(field) = name.strip_prefix("cast.") {
            let cast = &mut visit.casts[0];
            for part in [0, 1] {
                let mut fields = match part {
                    0 => serde_json::to_value(&cast.record).unwrap(),
                    _ => serde_json::to_value(&cast.inspection).unwrap(),
                };
                if let Some(place) = fields.get_mut(field) {
                    *place = json.clone();
                    match part {
                        0 => cast.record = serde_json::from_value(fields).unwrap(),
                        _ => cast.inspection = serde_json::from_value(fields).unwrap(),
                    }
                    return;
                }
            }
            panic!("the cast has no {field}");
        } else if let Some(name) = name.strip_prefix("measured.") {
            let name: ResultName = serde_json::from_value(name.into()).unwrap();
            let r = self.results.get_or_insert_with(|| results(LEFT));
            let (value, sd) = value.split_once('±').unwrap_or((value, "0.5"));
            let q = quantity(value.parse().unwrap(), 0.1, sd.parse().unwrap());
            r.quantities.insert(name, q);
        } else {
            match name {
                "side of the visit" => visit.sides = vec![side()],
                "side of the cast" => visit.casts[0].side = side(),
                "side written" => visit.casts[0].record.side_written = Some(side()),
                "side of the label" => self.label = Some(side()),
                "side of the measurement" => self.results = Some(results(side())),
                "minutes to photographs" => {
                    let record = &mut visit.casts[0].record;
                    let seconds = (json.as_f64().unwrap() * 60.0) as i64;
                    record.removed_at = Some(when());
                    record.photographed_at = Some(when() + chrono::TimeDelta::seconds(seconds));
                }
                "body mass" => visit.person.body_mass_kg = Some(entry(json.as_f64().unwrap())),
                "condition" => visit
                    .person
                    .conditions
                    .push(Condition::from(value.to_owned())),
                "consent to photographs" => {
                    visit
                        .person
                        .consents
                        .retain(|c| c.covers != ConsentFor::Photographs);
                    if let Some(given) = json.as_bool() {
                        visit.person.consents.push(Consent {
                            covers: ConsentFor::Photographs,
                            given,
                            at: Some(after(0)),
                            by: String::new(),
                            extra: serde_json::Map::default(),
                        });
                    }
                }
                _ => {
                    let kind = plinthside_visit::examination::reading_kind(name);
                    let kind = kind.unwrap_or_else(|| panic!("nothing is called {name}"));
                    let mut reading = match json.as_f64() {
                        Some(v) if kind.unit.is_some() => number(name, LEFT, v),
                        _ => choice(name, LEFT, value),
                    };
                    if !kind.sided {
                        reading.side = None;
                    }
                    visit.readings.push(reading);
                }
            }
        }
    }

    fn fires(&self, rule: &str) -> bool {
        let case = Case {
            results: self.results.as_ref(),
            label_side: self.label,
            ..Case::of_visit(&self.visit, LEFT, day())
        };
        check(&RuleSet::shipped().unwrap(), &case).has(rule)
    }
}

#[test]
fn every_rule_at_its_limit() {
    let set = RuleSet::shipped().unwrap();
    let mut seen = BTreeSet::new();
    for (number, level, id, fires, silent) in RULES {
        let rule = set.rule(id).unwrap_or_else(|| panic!("no rule {id}"));
        assert_eq!((rule.number, rule.level), (*number, *level), "{id}");
        for facts in *fires {
            assert!(
                entered(facts).fires(id),
                "{number} {id} must fire on: {facts}"
            );
        }
        for facts in *silent {
            assert!(
                !entered(facts).fires(id),
                "{number} {id} must be silent on: {facts}"
            );
        }
        seen.insert(*id);
    }
    for rule in set.rules.iter().filter(|r| r.number > 0) {
        assert!(seen.contains(rule.id.as_str()), "{} is not tried", rule.id);
    }
}

/// What each block stops: casting and photographs are no reason not to sign, nor the reverse.
#[test]
fn every_block_stops_what_it_should() {
    let set = RuleSet::shipped().unwrap();
    for (id, stops) in [
        ("broken-skin", Stops::Casting),
        ("possible-neuro-arthropathy", Stops::Casting),
        ("possible-thrombosis", Stops::Casting),
        ("plaster-can-burn", Stops::Casting),
        ("skive-past-half-the-heel", Stops::Signing),
        ("sides-differ", Stops::Signing),
        ("too-heavy-for-the-hinge", Stops::Signing),
        ("no-consent-for-photographs", Stops::Photographs),
    ] {
        assert_eq!(set.rule(id).unwrap().stops, stops, "{id}");
    }
}

/// Rules that rest on textbook teaching say so; those that name a paper name the right one.
#[test]
fn rules_name_their_source_and_how_certain_it_is() {
    let set = RuleSet::shipped().unwrap();
    for (id, source, certainty) in [
        (
            "dorsiflexion-below-neutral",
            "textbook",
            Certainty::Unverified,
        ),
        ("assist-may-trigger-tone", "textbook", Certainty::Unverified),
        (
            "fixed-rearfoot-posted-vertical",
            "textbook",
            Certainty::Unverified,
        ),
        (
            "weak-quadriceps-plantar-stop",
            "Mulroy 2010",
            Certainty::Unverified,
        ),
        ("uncontrolled-shank", "textbook", Certainty::Unverified),
        (
            "rigid-flatfoot-free-hinge",
            "textbook",
            Certainty::Unverified,
        ),
        (
            "flexible-flatfoot-abduction",
            "Neville 2016",
            Certainty::Seen,
        ),
        ("insensate", "Lavalette 1982", Certainty::Seen),
        ("skive-counted-twice", "Bonanno 2012", Certainty::Seen),
        (
            "hinge-turned-off-the-marks",
            "Fatone 2016",
            Certainty::Computed,
        ),
        ("plaster-can-burn", "Burghardt 2014", Certainty::Seen),
        ("swelling", "", Certainty::CommonPractice),
    ] {
        let rule = set.rule(id).unwrap();
        assert!(rule.source.cite.contains(source), "{id}");
        assert_eq!(rule.source.certainty, certainty, "{id}");
    }
    // Both sources that disagree on heat stand in the text the clinician reads.
    for id in ["plaster-can-burn", "plaster-warmth"] {
        let say = &set.rule(id).unwrap().say;
        for text in [&say.en, &say.de] {
            assert!(
                text.contains("22") && text.contains("24 °C") && text.contains("40 °C"),
                "{text}"
            );
        }
    }
}
