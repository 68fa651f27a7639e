//! Everything there is to say about one reading beside its value.

use super::bands::{MeasurementError, Norms, Scope, Who};
use super::change::Change;
use super::scores::{
    FPI_ITEMS, calculated_neutral_deg, calculated_neutral_label, foot_posture, foot_posture_of,
    foot_posture_source,
};
use crate::examination::{Reading, reading_kind};
use crate::format;
use crate::verdict::Range;
use crate::visit::Visit;
use crate::words::Lang;
use chrono::NaiveDate;
use plinthside_measure::marks::Side;

/// What belongs to one reading on the screen.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct About {
    /// What published work found and how far this reading lies from it, one line each with its
    /// source, better known ones first.
    pub bands: Vec<String>,
    /// From where to where the first of them lies, in the reading's unit.
    pub ends: Option<(f64, f64)>,
    /// The measurement error of the method, with its source.
    pub error: Option<String>,
    /// The other side's reading, the difference, and what is published about it.
    pub other_side: Option<String>,
    /// The change since the visit before; none where the two can't be compared.
    pub change: Option<Change>,
    /// What is worked out of it and the readings that belong to it.
    pub worked_out: Option<String>,
}

impl Norms {
    /// What there is to say about a reading of a visit, taken or still to be taken; `earlier` is
    /// the visit before.
    #[must_use]
    pub fn about(
        &self,
        visit: &Visit,
        (kind, side): (&str, Side),
        earlier: Option<&Visit>,
        today: NaiveDate,
        lang: Lang,
    ) -> About {
        let who = Who {
            age_years: visit.person.age_years(today),
            sex: visit.person.sex.as_ref(),
            side: Some(side),
        };
        let reading = visit.reading(kind, side);
        let method = reading.map_or("", |r| r.method.as_str());
        let error = self
            .error_for(kind, method, Scope::Within)
            .or_else(|| self.error_for(kind, method, Scope::Between));
        let mean = reading.and_then(Reading::mean);
        let before = earlier.and_then(|visit| visit.reading(kind, side));
        let bands = self.bands_for(kind, who);
        About {
            ends: bands.first().and_then(|b| b.ends()),
            bands: bands
                .iter()
                .map(|b| match mean.and_then(|v| b.distance_text(v, lang)) {
                    Some(distance) => format!("{} {distance}", b.text(lang)),
                    None => b.text(lang),
                })
                .collect(),
            other_side: reading.and_then(|reading| self.other_side(visit, reading, lang)),
            error: error.and_then(|e| error_text(e, lang)),
            change: before
                .zip(reading)
                .and_then(|(before, now)| self.change(before, now).ok()),
            worked_out: worked_out(visit, kind, side, lang),
        }
    }
}

/// Score and figure that several readings make together.
fn worked_out(visit: &Visit, kind: &str, side: Side, lang: Lang) -> Option<String> {
    let mean = |kind| visit.reading(kind, side)?.mean();
    match kind {
        "foot_posture_index" => {
            let total = mean(kind).filter(|total| total.fract() == 0.0 && total.abs() <= 12.0)?;
            Some(posture(total as i8, lang))
        }
        item if FPI_ITEMS.contains(&item) => {
            foot_posture_of(visit, side).map(|total| posture(total, lang))
        }
        "rearfoot_inversion_deg" | "rearfoot_eversion_deg" => {
            let (inversion, eversion) = (
                mean("rearfoot_inversion_deg")?,
                mean("rearfoot_eversion_deg")?,
            );
            let neutral = calculated_neutral_deg(inversion, eversion).round();
            let shown = reading_kind("rearfoot_inversion_deg")?.printed(neutral, lang);
            let said = match lang {
                Lang::En => "Neutral by calculation",
                Lang::De => "Rechnerische Neutralstellung",
            };
            let label = calculated_neutral_label();
            Some(format!("{said} {shown}: {}", label.get(lang)))
        }
        _ => None,
    }
}

fn posture(total: i8, lang: Lang) -> String {
    let (band, source) = (foot_posture(total), foot_posture_source());
    format!(
        "Foot Posture Index {total}: {}. {}",
        band.label(lang),
        source.line(lang)
    )
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
