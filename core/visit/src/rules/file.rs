//! Rule files: shipped or a clinic's own, each rule tried on its own examples when it is read.

use super::condition::{Answer, Condition, Facts, Value};
use super::facts::{FactKind, kind_of};
use super::parse::parse;
use crate::data::{DataError, DataFile};
use crate::order;
use crate::source::{Certainty, Source};
use crate::words::Text;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use toml::Spanned;

const RULES: &str = include_str!("../../data/rules.toml");
const COMPLETENESS: &str = include_str!("../../data/completeness.toml");

/// The one rule without override: identity. Every clinical block can be gone past with a reason.
const IDENTITY_RULE: &str = "sides-differ";

/// How much weight a rule has, in rising order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Worth knowing.
    Note,
    /// A value the order could hold.
    Suggest,
    /// Something that may harm.
    Caution,
    /// Stops until a reason is typed.
    Block,
    /// Stops for good: identity only.
    AbsoluteBlock,
}

/// What a block stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stops {
    /// Signing the order.
    #[default]
    Signing,
    /// Casting; nothing else.
    Casting,
    /// Taking photographs; nothing else.
    Photographs,
}

/// A value a rule suggests for a field of the order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Suggestion {
    /// Path of the field.
    pub field: String,
    /// Its value.
    pub value: serde_json::Value,
}

/// One rule, read and checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Key, stable over editions: overrides name it.
    pub id: String,
    /// Number in the printed list; 0 for completeness.
    pub number: u32,
    /// Its weight.
    pub level: Level,
    /// What a block stops.
    pub stops: Stops,
    /// When it fires.
    pub when: Condition,
    /// What the clinician reads; `{fact}` stands for a value.
    pub say: Text,
    /// The field of the order it is about.
    pub field: Option<String>,
    /// What it suggests.
    pub suggest: Option<Suggestion>,
    /// Where it comes from.
    pub source: Source,
    /// Examples it was tried on.
    pub examples: Vec<Example>,
}

impl Rule {
    /// Whether a clinic may switch it off: any rule but completeness and identity.
    #[must_use]
    pub fn is_switchable(&self) -> bool {
        self.number > 0 && self.level != Level::AbsoluteBlock
    }
}

/// A case a rule was tried on.
#[derive(Debug, Clone, PartialEq)]
pub struct Example {
    /// Whether the rule fires on it.
    pub fires: bool,
    /// The facts known in it.
    pub given: BTreeMap<String, Value>,
}

impl Facts for BTreeMap<String, Value> {
    fn get(&self, fact: &str) -> Option<Value> {
        self.get(fact).cloned()
    }
}

/// A set of rules.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleSet {
    /// The rules, in the order of the file.
    pub rules: Vec<Rule>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFile {
    schema: Spanned<u32>,
    rule: Vec<Spanned<RawRule>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawRule {
    id: Spanned<String>,
    number: u32,
    level: Level,
    #[serde(default)]
    blocks: Stops,
    when: Spanned<String>,
    say: Spanned<Text>,
    #[serde(default)]
    field: Option<Spanned<String>>,
    #[serde(default)]
    suggest: Option<Spanned<Suggestion>>,
    source: Spanned<Source>,
    examples: Spanned<Vec<Spanned<RawExample>>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawExample {
    fires: bool,
    given: BTreeMap<String, serde_json::Value>,
}

impl RuleSet {
    /// The rules the program ships: the clinical list and completeness.
    ///
    /// # Errors
    /// None in a released program: a test reads them.
    pub fn shipped() -> Result<Self, DataError> {
        let mut set = Self::parse("rules.toml", RULES)?;
        set.rules
            .extend(Self::parse("completeness.toml", COMPLETENESS)?.rules);
        Ok(set)
    }

    /// The shipped clinical rules as a file, for a clinic that begins its own from them.
    #[must_use]
    pub fn shipped_text() -> &'static str {
        RULES
    }

    /// A clinic's own rules.
    ///
    /// # Errors
    /// Names line and rule: text that is not TOML, an unknown field, a condition that can't be
    /// read or names no fact, a rule without reason, source or examples, or one that fails one.
    pub fn parse(name: &str, text: &str) -> Result<Self, DataError> {
        let file = DataFile { name, text };
        let raw: RawFile = file.parse()?;
        if *raw.schema.get_ref() != 1 {
            let problem = format!("schema {} is not known, expected 1", raw.schema.get_ref());
            return Err(file.error(raw.schema.span().start, None, problem));
        }
        let mut rules: Vec<Rule> = Vec::with_capacity(raw.rule.len());
        for raw in raw.rule {
            let rule = read(&file, raw.into_inner(), &rules)?;
            rules.push(rule);
        }
        Ok(Self { rules })
    }

    /// Takes a clinic's rules in: one with a shipped id replaces it, others are added. What stops
    /// for good (identity) stays as shipped.
    pub fn merge(&mut self, own: Self) {
        for rule in own.rules {
            match self.rules.iter_mut().find(|r| r.id == rule.id) {
                Some(shipped) if shipped.level == Level::AbsoluteBlock => {}
                Some(shipped) => *shipped = rule,
                None => self.rules.push(rule),
            }
        }
    }

    /// Leaves out rules that a clinic has switched off. Completeness and what stops for good stay.
    pub fn switch_off(&mut self, ids: &[String]) {
        self.rules
            .retain(|rule| !rule.is_switchable() || !ids.contains(&rule.id));
    }

    /// A rule by its id.
    #[must_use]
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.iter().find(|rule| rule.id == id)
    }
}

fn read(file: &DataFile<'_>, raw: RawRule, before: &[Rule]) -> Result<Rule, DataError> {
    let id = raw.id.get_ref().clone();
    let fail = |at: usize, problem: String| file.error(at, Some(&id), problem);
    if id.is_empty() || before.iter().any(|r| r.id == id) {
        return Err(fail(
            raw.id.span().start,
            "the id is empty or stands in the file twice".into(),
        ));
    }
    if raw.level == Level::AbsoluteBlock && id != IDENTITY_RULE {
        let problem = format!("only “{IDENTITY_RULE}” stops for good; use level = \"block\"");
        return Err(fail(raw.id.span().start, problem));
    }
    let when = parse(raw.when.get_ref()).map_err(|e| {
        // The condition's text stands in the file as it is unless it holds escapes.
        let span = raw.when.span();
        let inside = file
            .text
            .get(span.clone())
            .and_then(|t| t.find(raw.when.get_ref().as_str()));
        fail(
            inside.map_or(span.start, |at| span.start + at + e.at),
            e.problem,
        )
    })?;
    let say_at = raw.say.span().start;
    let say = raw.say.into_inner();
    if say.en.trim().is_empty() || say.de.trim().is_empty() {
        return Err(fail(say_at, "say needs a reason in both languages".into()));
    }
    for text in [&say.en, &say.de] {
        for name in placeholders(text) {
            if kind_of(name).is_none() {
                return Err(fail(
                    say_at,
                    format!("say names “{{{name}}}”, but there is no such fact"),
                ));
            }
        }
    }
    let source_at = raw.source.span().start;
    let source = raw.source.into_inner();
    if source.cite.is_empty() && source.certainty != Certainty::CommonPractice {
        return Err(fail(
            source_at,
            "source needs a citation, or certainty = \"common_practice\"".into(),
        ));
    }
    if let Some(field) = &raw.field
        && order::field(field.get_ref()).is_none()
    {
        let problem = format!("an order has no field “{}”", field.get_ref());
        return Err(fail(field.span().start, problem));
    }
    let suggest_at = raw.suggest.as_ref().map(|s| s.span().start);
    let suggest = raw.suggest.map(Spanned::into_inner);
    if let (Some(s), Some(at)) = (&suggest, suggest_at) {
        order::Prescription::default()
            .set(&s.field, s.value.clone())
            .map_err(|e| fail(at, e.to_string()))?;
    }
    let allowed = match raw.level {
        Level::Suggest => suggest.is_some(),
        Level::Caution => true,
        Level::Note | Level::Block | Level::AbsoluteBlock => suggest.is_none(),
    };
    if !allowed {
        let problem = "a rule of level suggest needs suggest = { field, value }, a caution may have one, others have none";
        return Err(fail(suggest_at.unwrap_or(say_at), problem.into()));
    }
    let examples_at = raw.examples.span().start;
    let mut examples = Vec::new();
    for raw in raw.examples.into_inner() {
        let at = raw.span().start;
        let raw = raw.into_inner();
        let given = raw
            .given
            .into_iter()
            .map(|(fact, value)| {
                let value = example_value(&fact, &value)
                    .ok_or_else(|| fail(at, format!("“{fact}” is no fact or can't be {value}")))?;
                Ok((fact, value))
            })
            .collect::<Result<BTreeMap<_, _>, DataError>>()?;
        if (when.ask(&given) == Answer::True) != raw.fires {
            let does = if raw.fires { "does not fire" } else { "fires" };
            return Err(fail(
                at,
                format!("the rule {does} on this example of its own"),
            ));
        }
        examples.push(Example {
            fires: raw.fires,
            given,
        });
    }
    let both = examples.iter().any(|e| e.fires) && examples.iter().any(|e| !e.fires);
    if !both {
        let problem = "a rule needs an example it fires on and one it does not";
        return Err(fail(examples_at, problem.into()));
    }
    Ok(Rule {
        id,
        number: raw.number,
        level: raw.level,
        stops: raw.blocks,
        when,
        say,
        field: raw.field.map(Spanned::into_inner),
        suggest,
        source,
        examples,
    })
}

fn example_value(fact: &str, value: &serde_json::Value) -> Option<Value> {
    match (kind_of(fact)?, value) {
        (FactKind::Number(_), v) => v.as_f64().map(Value::Number),
        (FactKind::Flag, v) => v.as_bool().map(Value::Flag),
        (FactKind::Words(list), v) => {
            let word = v.as_str()?.to_owned();
            (list.is_empty() || list.contains(&word)).then(|| Value::Words(vec![word]))
        }
    }
}

/// The facts named in `{…}`.
pub(super) fn placeholders(text: &str) -> impl Iterator<Item = &str> {
    text.split('{')
        .skip(1)
        .filter_map(|rest| rest.split_once('}').map(|(name, _)| name))
}
