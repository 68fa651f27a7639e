//! What the rules and the published bands say about the question in hand.

use super::open::{Case, Open};
use super::questions::Asking;
use plinthside_ui as ui;
use plinthside_visit::aids::Timers;
use plinthside_visit::data::DataError;
use plinthside_visit::knowledge::Knowledge;
use plinthside_visit::norms::{Anthropometry, Norms};
use plinthside_visit::rules::{self, Checks, Fired, Level, RuleSet, Stops};
use plinthside_visit::verdict::{OwnLimit, Tolerances};
use plinthside_visit::{Clinic, Lang};
use std::collections::BTreeMap;

/// The tables a session works with: shipped, or a clinic's own.
pub struct Tables {
    /// Keep or recast.
    pub tolerances: Tolerances,
    /// Suggestions, cautions, blocks.
    pub rules: RuleSet,
    /// Published bands and errors.
    pub norms: Norms,
    /// What dimensions of a leg go together.
    pub anthropometry: Anthropometry,
    /// Stages of the plaster.
    pub timers: Timers,
    /// What of the clinic's settings they were made from.
    of: (BTreeMap<String, OwnLimit>, Vec<String>, String),
}

impl Tables {
    /// The tables the program ships.
    ///
    /// # Errors
    /// None in a released program: tests read every table.
    pub fn shipped() -> Result<Self, DataError> {
        Self::for_clinic(&Clinic::default())
    }

    /// The tables with the clinic's own limits and rules in place.
    ///
    /// # Errors
    /// As [`Tables::shipped`].
    pub fn for_clinic(clinic: &Clinic) -> Result<Self, DataError> {
        let (knowledge, _) = Knowledge::for_clinic(clinic)?;
        Ok(Self {
            tolerances: knowledge.tolerances,
            rules: knowledge.rules,
            norms: knowledge.norms,
            anthropometry: knowledge.anthropometry,
            timers: knowledge.timers,
            of: Self::made_of(clinic),
        })
    }

    fn made_of(clinic: &Clinic) -> (BTreeMap<String, OwnLimit>, Vec<String>, String) {
        (
            clinic.limits.clone(),
            clinic.rules_off.clone(),
            clinic.rule_file.clone(),
        )
    }

    /// Whether the clinic has changed nothing since they were made.
    #[must_use]
    pub fn are_of(&self, clinic: &Clinic) -> bool {
        let (limits, off, file) = &self.of;
        (limits, off, file) == (&clinic.limits, &clinic.rules_off, &clinic.rule_file)
    }
}

/// What the rules say about a case today.
pub fn checks(case: &Case, tables: &Tables) -> Checks {
    let asked = rules::Case::of_visit(&case.visit, case.side, crate::clock::now().date_naive());
    match &case.results {
        Some(results) => rules::check(&tables.rules, &asked.measured(results)),
        None => rules::check(&tables.rules, &asked),
    }
}

fn tone(level: Level) -> ui::Tone {
    match level {
        Level::Note | Level::Suggest => ui::Tone::Chosen,
        Level::Caution => ui::Tone::Caution,
        Level::Block | Level::AbsoluteBlock => ui::Tone::Stop,
    }
}

/// One fired rule for the screen.
pub fn remark(fired: &Fired, lang: Lang) -> ui::Remark {
    ui::Remark {
        text: fired.text.get(lang).into(),
        source: fired.source.get(lang).into(),
        tone: tone(fired.level),
    }
}

/// The fired rules that name a fact: by the field they are about or the facts they ask.
pub fn about(checks: &Checks, tables: &Tables, key: &str, lang: Lang) -> Vec<ui::Remark> {
    let names = |fired: &&Fired| {
        let asks = |rule: &rules::Rule| rule.when.facts().contains(key);
        fired.field.as_deref() == Some(key) || tables.rules.rule(&fired.rule).is_some_and(asks)
    };
    checks
        .fired
        .iter()
        .filter(names)
        .map(|fired| remark(fired, lang))
        .collect()
}

/// The fired rules that stop something (dipping the first slab, taking photographs).
pub fn stopping(checks: &Checks, what: Stops, lang: Lang) -> Vec<ui::Remark> {
    checks
        .in_the_way_of(what)
        .map(|fired| remark(fired, lang))
        .collect()
}

/// How many cautions and blocks of rules are in force, as the status line says it. What a complete
/// order lacks stands on the order and alarms nobody before.
pub fn count(checks: &Checks) -> i32 {
    checks.cautions().filter(|f| f.overridden.is_none()).count() as i32
}

/// What stands in the way of signing, each with the question that answers it (-1: none of them).
pub fn blocks(checks: &Checks, order: &Asking, lang: Lang) -> Vec<ui::Block> {
    let block = |fired: &Fired| ui::Block {
        text: fired.text.get(lang).into(),
        source: fired.source.get(lang).into(),
        question: fired
            .field
            .as_deref()
            .and_then(|key| order.index_of(key))
            .map_or(-1, |i| i as i32),
    };
    checks.in_the_way_of(Stops::Signing).map(block).collect()
}

/// What is known about the reading or dimension in hand besides: published bands and errors go into
/// the question, and what this person's own readings say comes back.
pub fn publish(
    view: &mut ui::QuestionView,
    key: &str,
    open: &Open,
    tables: &Tables,
    lang: Lang,
) -> Vec<ui::Remark> {
    let Case { visit, side, .. } = &open.case;
    let day = visit
        .at
        .map_or_else(crate::clock::today, |at| at.date_naive());
    let said = |text: String, tone| ui::Remark {
        text: text.into(),
        source: Default::default(),
        tone,
    };
    let person = &visit.person;
    if key.starts_with("leg.") {
        let age_years = person.age_years(day);
        let question = visit.leg(*side).and_then(|leg| {
            let sex = person.sex.as_ref();
            tables.anthropometry.question(leg, sex, age_years)
        });
        let question = question.map(|text| said(text.get(lang).to_owned(), ui::Tone::Caution));
        return question.into_iter().collect();
    }
    let earlier = open.earlier.as_deref();
    let about = tables.norms.about(visit, (key, *side), earlier, day, lang);
    view.published = about.bands.into_iter().next().unwrap_or_default().into();
    view.error = about.error.unwrap_or_default().into();
    if let Some((low, high)) = about.ends {
        (view.band_low, view.band_high) = (low as f32, high as f32);
    }
    let since = about.change.map(|change| match lang {
        Lang::En => format!("Since the visit before: {}", change.text.get(lang)),
        Lang::De => format!("Seit dem Besuch davor: {}", change.text.get(lang)),
    });
    [about.worked_out, since, about.other_side]
        .into_iter()
        .flatten()
        .map(|text| said(text, ui::Tone::Chosen))
        .collect()
}
