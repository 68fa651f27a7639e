//! Everything there is to say about one reading.

use super::bands::{MeasurementError, Norms, Scope, Who};
use super::change::Change;
use crate::examination::{Method, Reading, reading_kind};
use crate::format;
use crate::verdict::Range;
use crate::visit::Visit;
use crate::words::{Lang, Text};
use chrono::NaiveDate;
use plinthside_measure::marks::Side;

/// One reading as screen and paper show it.
#[derive(Debug, Clone, PartialEq)]
pub struct About {
    /// Name of the reading.
    pub label: String,
    /// Its value with sign word and, from two repeats on, their spread.
    pub value: String,
    /// How it was taken: plane, reference, method, weight-bearing, who.
    pub how: String,
    /// What published work found and how far this reading lies from it, one line each with its
    /// source, better known ones first.
    pub bands: Vec<String>,
    /// The measurement error of the method, with its source.
    pub error: Option<String>,
    /// The other side's reading, the difference, and what is published about it.
    pub other_side: Option<String>,
    /// The change since the earlier reading, or why it can't be told.
    pub change: Option<Result<Change, Text>>,
    /// What is wrong with what was typed.
    pub problems: Vec<String>,
    /// Copied from the last visit and not confirmed.
    pub unconfirmed_copy: bool,
}

impl Norms {
    /// What there is to say about a reading of a visit; `earlier` is the same reading of the visit
    /// before.
    #[must_use]
    pub fn about(
        &self,
        visit: &Visit,
        reading: &Reading,
        earlier: Option<&Reading>,
        today: NaiveDate,
        lang: Lang,
    ) -> About {
        let who = Who {
            age_years: visit.person.age_years(today),
            sex: visit.person.sex.as_ref(),
            side: reading.side,
        };
        let error = self
            .error_for(&reading.kind, &reading.method, Scope::Within)
            .or_else(|| self.error_for(&reading.kind, &reading.method, Scope::Between));
        let mean = reading.mean();
        About {
            label: reading_kind(&reading.kind)
                .map_or_else(|| reading.kind.clone(), |k| k.label.get(lang).to_owned()),
            value: value(reading, lang),
            how: how(reading, lang),
            bands: self
                .bands_for(&reading.kind, who)
                .iter()
                .map(|b| match mean.and_then(|v| b.distance_text(v, lang)) {
                    Some(distance) => format!("{} {distance}", b.text(lang)),
                    None => b.text(lang),
                })
                .collect(),
            other_side: self.other_side(visit, reading, lang),
            error: error.and_then(|e| error_text(e, lang)),
            change: earlier.map(|earlier| self.change(earlier, reading)),
            problems: reading
                .repeats
                .iter()
                .filter(|e| !e.confirmed)
                .filter_map(|e| {
                    Some(format!(
                        "“{}”: {}",
                        e.typed,
                        e.problem.as_ref()?.sentence(lang)
                    ))
                })
                .collect(),
            unconfirmed_copy: reading.is_unconfirmed_copy(),
        }
    }
}

impl Norms {
    fn other_side(&self, visit: &Visit, reading: &Reading, lang: Lang) -> Option<String> {
        let side = match reading.side? {
            Side::Left => Side::Right,
            Side::Right => Side::Left,
        };
        let other = visit.reading(&reading.kind, side)?;
        let kind = reading_kind(&reading.kind)?;
        let (here, there) = (reading.mean()?, other.mean()?);
        if other.method != reading.method {
            return Some(match lang {
                Lang::En => "The other side was taken by another method: not compared.".to_owned(),
                Lang::De => "Die andere Seite wurde mit anderer Methode gemessen: kein Vergleich."
                    .to_owned(),
            });
        }
        let shown = kind.printed(there, lang);
        let differ = kind.size((here - there).abs(), lang);
        let mut text = match (side, lang) {
            (Side::Left, Lang::En) => format!("left {shown}: {differ} apart"),
            (Side::Right, Lang::En) => format!("right {shown}: {differ} apart"),
            (Side::Left, Lang::De) => format!("links {shown}: {differ} Unterschied"),
            (Side::Right, Lang::De) => format!("rechts {shown}: {differ} Unterschied"),
        };
        if let Some(noted) = self.side_difference(reading, other) {
            text += &format!("; {}. {}", noted.say.get(lang), noted.source.line(lang));
        }
        Some(text)
    }
}

/// The value in words: sign word, spread of the repeats, chosen words, free text.
fn value(reading: &Reading, lang: Lang) -> String {
    let kind = reading_kind(&reading.kind);
    if let Some(mean) = reading.mean() {
        let shown = kind.map_or_else(|| mean.to_string(), |k| k.printed(mean, lang));
        let spread = reading.sd().map(|sd| {
            format!(
                " (SD {}, n = {})",
                format::number(sd, 1, lang),
                reading
                    .repeats
                    .iter()
                    .filter(|e| e.usable().is_some())
                    .count()
            )
        });
        return shown + &spread.unwrap_or_default();
    }
    let label = |choice: &String| {
        let word = kind.and_then(|k| k.words.iter().find(|w| &w.word == choice));
        word.map_or_else(|| choice.clone(), |w| w.label.get(lang).to_owned())
    };
    let words: Vec<String> = reading.choices.iter().map(label).collect();
    if words.is_empty() {
        reading.text.clone()
    } else {
        words.join(", ")
    }
}

fn how(reading: &Reading, lang: Lang) -> String {
    let kind = reading_kind(&reading.kind);
    let reference = kind
        .and_then(|k| k.reference.as_ref())
        .map(|t| t.get(lang).to_owned());
    let plane = kind.and_then(|k| k.plane.as_ref());
    let parts = [
        plane.map_or_else(String::new, |p| p.label(lang).to_owned()),
        reference.unwrap_or_default(),
        reading
            .mover
            .as_ref()
            .map(|m| m.label(lang).to_owned())
            .unwrap_or_default(),
        Method::from(reading.method.clone()).label(lang).to_owned(),
        reading
            .weight_bearing
            .as_ref()
            .map(|w| w.label(lang).to_owned())
            .unwrap_or_default(),
        reading.by.clone(),
    ];
    parts
        .into_iter()
        .filter(|p| !p.is_empty())
        .collect::<Vec<_>>()
        .join("; ")
}

fn error_text(error: &MeasurementError, lang: Lang) -> Option<String> {
    let de = lang == Lang::De;
    let unit = reading_kind(&error.reading)
        .and_then(|k| k.unit.clone())
        .unwrap_or_default();
    let unit = if unit == "1" || unit == "score" {
        String::new()
    } else {
        format::unit(&unit)
    };
    let n = |v: f64| format::number(v, if v < 0.1 { 3 } else { 1 }, lang);
    let size = match (error.mdc95(), error.total_error, &error.icc) {
        (Some(mdc), _, _) if de => format!("kleinste erkennbare Änderung {}{unit}", n(mdc)),
        (Some(mdc), _, _) => format!("smallest detectable change {}{unit}", n(mdc)),
        (None, Some(total), _) if de => format!("Gesamtfehler bis {}{unit}", n(total)),
        (None, Some(total), _) => format!("total error up to {}{unit}", n(total)),
        (None, None, Some(icc)) => format!("ICC {}", coefficient(icc, lang)?),
        (None, None, None) => format!("kappa {}", coefficient(error.kappa.as_ref()?, lang)?),
    };
    let scope = match (error.scope, de) {
        (Scope::Within, false) => "same person",
        (Scope::Between, false) => "between persons",
        (Scope::Within, true) => "gleiche Person",
        (Scope::Between, true) => "zwischen Personen",
    };
    let note = error
        .note
        .as_ref()
        .map(|t| format!("; {}", t.get(lang)))
        .unwrap_or_default();
    Some(format!(
        "{size} ({scope}){note}. {}",
        error.source.line(lang)
    ))
}

/// A range of agreement coefficients; one number where both ends are the same.
fn coefficient(range: &Range, lang: Lang) -> Option<String> {
    let ends: Vec<String> = range.ends().map(|e| format::number(e, 2, lang)).collect();
    if ends.first() == ends.last() {
        ends.first().cloned()
    } else {
        Some(ends.join("–"))
    }
}
