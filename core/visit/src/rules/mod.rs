//! Rules: what deserves a suggestion, a caution or a block. Data, not code: see `data/rules.toml`.

mod condition;
mod facts;
mod file;
mod gone_past;
mod parse;
mod worked_out;

pub use condition::{Answer, Condition, Facts, Value};
pub use facts::{Case, FactKind, all_facts, kind_of};
pub use file::{Example, Level, Rule, RuleSet, Stops, Suggestion};
pub use gone_past::{GoPastError, GonePast};
pub use parse::{ConditionError, parse};
pub(crate) use worked_out::forefoot_spans_zero;

use crate::examination::reading_kind;
use crate::format;
use crate::order::Override;
use crate::words::{Lang, Text};
use facts::CaseFacts;
use serde::Serialize;

/// What the rules say about one case.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Checks {
    /// Rules that fired, heaviest first.
    pub fired: Vec<Fired>,
    /// Rules that could not be asked, and the facts they lack.
    pub cannot_tell: Vec<CannotTell>,
}

/// A rule that fired.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fired {
    /// The rule's id.
    pub rule: String,
    /// Its number in the printed list; 0 for completeness.
    pub number: u32,
    /// Its weight.
    pub level: Level,
    /// What a block stops.
    pub stops: Stops,
    /// The field of the order it is about.
    pub field: Option<String>,
    /// What the clinician reads, values filled in.
    pub text: Text,
    /// The source as printed; what is unverified says so.
    pub source: Text,
    /// What it suggests.
    pub suggest: Option<Suggestion>,
    /// The reason typed to go past a block, or in answer to a caution, if any.
    pub overridden: Option<Override>,
}

/// A rule that could not be asked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CannotTell {
    /// The rule's id.
    pub rule: String,
    /// Facts it names that are not known or can't be reckoned with.
    pub missing: Vec<String>,
}

impl Fired {
    /// Whether it stops something now: a block without a reason, or an absolute one.
    #[must_use]
    pub fn is_in_the_way_of(&self, what: Stops) -> bool {
        self.stops == what
            && match self.level {
                Level::AbsoluteBlock => true,
                Level::Block => self.overridden.is_none(),
                Level::Caution | Level::Suggest | Level::Note => false,
            }
    }
}

impl Checks {
    /// What stands in the way of something.
    pub fn in_the_way_of(&self, what: Stops) -> impl Iterator<Item = &Fired> {
        self.fired.iter().filter(move |f| f.is_in_the_way_of(what))
    }

    /// Cautions and worse, as an order prints them. What a complete order lacks is none: it has
    /// no number.
    pub fn cautions(&self) -> impl Iterator<Item = &Fired> {
        let caution = |f: &&Fired| f.level >= Level::Caution && f.number > 0;
        self.fired.iter().filter(caution)
    }

    /// Whether a rule fired.
    #[must_use]
    pub fn has(&self, rule: &str) -> bool {
        self.fired.iter().any(|f| f.rule == rule)
    }
}

/// Asks every rule about one case. Never fails; what can't be asked is named.
#[must_use]
pub fn check(rules: &RuleSet, case: &Case<'_>) -> Checks {
    let facts = CaseFacts::new(case);
    let mut checks = Checks::default();
    for rule in &rules.rules {
        match rule.when.ask(&facts) {
            Answer::True => checks.fired.push(fired(rule, &facts)),
            Answer::False => {}
            Answer::Unknown => {
                let (rule_id, named) = (rule.id.clone(), rule.when.facts());
                let unknown: Vec<_> = named.iter().filter(|f| facts.get(f).is_none()).collect();
                // All known and still no answer: the numbers can't be reckoned with.
                let lacks = if unknown.is_empty() {
                    named.iter().collect()
                } else {
                    unknown
                };
                let missing = lacks.into_iter().map(|f| (*f).to_owned()).collect();
                checks.cannot_tell.push(CannotTell {
                    rule: rule_id,
                    missing,
                });
            }
        }
    }
    checks.fired.sort_by_key(|f| std::cmp::Reverse(f.level));
    checks
}

fn fired(rule: &Rule, facts: &CaseFacts<'_>) -> Fired {
    let Case {
        visit,
        side,
        revision,
        ..
    } = facts.case;
    let overridden = visit
        .reason_for(&rule.id, *side)
        .filter(|_| rule.stops != Stops::Signing)
        .or_else(|| revision.and_then(|r| r.overrides.get(&rule.id)))
        .filter(|o| {
            matches!(rule.level, Level::Block | Level::Caution) && !o.reason.trim().is_empty()
        })
        .cloned();
    Fired {
        rule: rule.id.clone(),
        number: rule.number,
        level: rule.level,
        stops: rule.stops,
        field: rule.field.clone(),
        text: Text::new(
            filled(&rule.say.en, facts, Lang::En),
            filled(&rule.say.de, facts, Lang::De),
        ),
        source: Text::new(rule.source.line(Lang::En), rule.source.line(Lang::De)),
        suggest: rule.suggest.clone(),
        overridden,
    }
}

/// The text with each `{fact}` as its value: readings with their sign word, numbers with unit.
fn filled(text: &str, facts: &CaseFacts<'_>, lang: Lang) -> String {
    let mut out = text.to_owned();
    for name in file::placeholders(text) {
        let shown = match facts.get(name) {
            Some(Value::Number(v)) => match (reading_kind(name), kind_of(name)) {
                (Some(kind), _) => kind.printed(v, lang),
                (None, Some(FactKind::Number(unit))) if unit != "1" => {
                    format::quantity(v, &unit, lang)
                }
                _ => format::number(v, usize::from(v.fract() != 0.0), lang),
            },
            Some(Value::Words(words)) => words.join(", "),
            Some(Value::Flag(_)) | None => "?".to_owned(),
        };
        out = out.replace(&format!("{{{name}}}"), &shown);
    }
    out
}
