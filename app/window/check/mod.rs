//! The check screen: results and verdict of one cast, as the screen shows them.

mod band;
pub mod canvas;
mod drawings;

use super::text::{self, models, said};
use plinthside_measure::advice::Stand;
use plinthside_measure::cast::{ResultName, Results, SideOutcome, Source};
use plinthside_measure::quantity::{PlusMinus, Quantity};
use plinthside_ui as ui;
use plinthside_visit::verdict::{Call, Finding, Limit, Tolerances, Verdict};
use plinthside_visit::{Lang, Text, format};

/// The screen's state. Without results only what the verdict could not judge is shown.
#[must_use]
pub fn view(
    results: Option<&Results>,
    verdict: &Verdict,
    tolerances: &Tolerances,
    decided: Option<Call>,
    inner: bool,
    stand: Option<&Stand>,
    lang: Lang,
) -> ui::CheckView {
    let findings: Vec<ui::Finding> = verdict
        .findings
        .iter()
        .map(|finding| {
            let limit = tolerances
                .limit
                .iter()
                .find(|l| text::token(&l.check) == finding.check);
            finding_view(finding, limit, lang)
        })
        .collect();
    let measured = |name| measured(results, name, lang);
    let empty = ui::Drawing::default;
    ui::CheckView {
        ready: results.is_some(),
        level: level(verdict.call),
        sentence: sentence(verdict, lang).into(),
        decided: decided.map_or(ui::Level::None, level),
        may_cast_again: false,
        may_take_back: false,
        rear: results.map_or_else(empty, drawings::rear),
        above: results.map_or_else(empty, |r| drawings::above(r, stand)),
        side: results.map_or_else(empty, |r| drawings::side(r, inner)),
        inner,
        rear_value: measured(ResultName::Heel),
        above_value: measured(ResultName::HingeTurnTransverse),
        side_value: measured(ResultName::FootToLeg),
        findings: models(findings),
        not_judged: models(
            verdict
                .not_judged
                .iter()
                .map(|t| t.get(lang).into())
                .collect(),
        ),
        advice: stand
            .map_or_else(String::new, |s| said(&s.to_string(), lang))
            .into(),
        remarks: models(results.map_or_else(Vec::new, |results| remarks(results, lang))),
    }
}

/// The verdict without the word that stands above it.
fn sentence(verdict: &Verdict, lang: Lang) -> String {
    let head = verdict.call.text();
    let whole = verdict.text.get(lang);
    match whole.strip_prefix(head.get(lang)) {
        Some(rest) => rest.trim_start_matches([':', '.', ' ']).to_owned(),
        None => whole.to_owned(),
    }
}

fn level(call: Call) -> ui::Level {
    match call {
        Call::Note => ui::Level::None,
        Call::Keep => ui::Level::Keep,
        Call::Correct => ui::Level::LabCanCorrect,
        Call::ReMark => ui::Level::ReMark,
        Call::Recast => ui::Level::Recast,
    }
}

/// What is shown was measured before the marks were changed to what gives no result: no verdict.
pub fn older(why: &str, lang: Lang) -> String {
    let older = Text::new(
        "This result is older than the marks, which give none as they are now:",
        "Dieses Ergebnis ist älter als die Markierungen, die so, wie sie jetzt sind, keines ergeben:",
    );
    format!("{} {}", older.get(lang), said(why, lang))
}

/// Side first (it can stop), then the sentences of the measurement.
fn remarks(results: &Results, lang: Lang) -> Vec<ui::Remark> {
    let tone = match (results.side_check.stops, results.side_check.outcome) {
        (true, _) => Some(ui::Tone::Stop),
        (false, SideOutcome::Agrees) => None,
        (false, _) => Some(ui::Tone::Caution),
    };
    let side = tone
        .into_iter()
        .flat_map(|tone| results.side_check.sentences.iter().map(move |s| (tone, s)));
    let warnings = results.warnings.iter().map(|s| (ui::Tone::Caution, s));
    side.chain(warnings)
        .map(|(tone, s)| ui::Remark {
            text: said(s, lang).into(),
            source: Default::default(),
            tone,
        })
        .collect()
}

fn measured(results: Option<&Results>, name: ResultName, lang: Lang) -> ui::Measured {
    let kind = match name {
        ResultName::Heel => ui::Kind::Heel,
        ResultName::FootToLeg => ui::Kind::FootToLeg,
        _ => ui::Kind::HingeTurn,
    };
    let Some(q) = results.and_then(|r| r.quantities.get(&name)) else {
        return ui::Measured {
            kind,
            present: false,
            ..Default::default()
        };
    };
    let PlusMinus { instrument, total } = q.plus_minus();
    ui::Measured {
        kind,
        present: true,
        value: format::quantity(q.value.abs(), unit(q), lang).into(),
        direction: direction(name, q.value),
        by_ruler: results.is_some_and(|r| r.source == Source::Ruler),
        instrument: format::plus_minus(instrument, unit(q), lang).into(),
        total: format::plus_minus(total, unit(q), lang).into(),
    }
}

fn unit(q: &Quantity) -> &'static str {
    match q.unit {
        plinthside_measure::quantity::Unit::Mm => "mm",
        plinthside_measure::quantity::Unit::Deg => "deg",
    }
}

fn direction(name: ResultName, value: f64) -> ui::Direction {
    // Shown to half degrees: below a quarter nothing points anywhere.
    if value.abs() < 0.25 {
        return ui::Direction::None;
    }
    let (plus, minus) = match name {
        ResultName::Heel => (ui::Direction::Inverted, ui::Direction::Everted),
        ResultName::FootToLeg => (ui::Direction::Dorsiflexed, ui::Direction::Plantarflexed),
        ResultName::HingeTurnTransverse => {
            (ui::Direction::LateralBehind, ui::Direction::MedialBehind)
        }
        ResultName::HingeTiltFrontal => (ui::Direction::LateralLower, ui::Direction::MedialLower),
        _ => return ui::Direction::None,
    };
    if value > 0.0 { plus } else { minus }
}

fn finding_view(f: &Finding, limit: Option<&Limit>, lang: Lang) -> ui::Finding {
    let shown = |v: f64| format::quantity(v, &f.unit, lang);
    let compared = f.on_cast.is_some();
    let value = match f.value {
        Some(v) if compared && v > 0.0 => format!("+{}", shown(v)),
        Some(v) => shown(v),
        None => String::new(),
    };
    let label = f.label.get(lang);
    ui::Finding {
        // "Bimalleolar breadth, cast against calliper": the columns say against what.
        label: if compared {
            label.split(',').next().unwrap_or(label)
        } else {
            label
        }
        .into(),
        value: value.into(),
        cast: f.on_cast.map(shown).unwrap_or_default().into(),
        other: f.on_leg.map(shown).unwrap_or_default().into(),
        origin: match (f.on_leg, f.check.as_str()) {
            (None, _) => ui::Origin::None,
            (_, "foot_to_leg_difference_deg") => ui::Origin::Intended,
            (_, "forefoot_to_rearfoot_difference_deg") => ui::Origin::Patient,
            _ => ui::Origin::Leg,
        },
        band: limit.map_or_else(Default::default, |limit| band::view(f, limit)),
        level: level(f.call),
        text: f.text.get(lang).into(),
        remedy: f.remedy.get(lang).into(),
        advice: f
            .advice
            .map_or_else(String::new, |a| a.text().get(lang).to_owned())
            .into(),
        source: f.source.get(lang).into(),
    }
}

#[cfg(test)]
mod tests;
