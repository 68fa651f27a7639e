//! The change of a reading since an earlier one, against the measurement error.

use super::bands::{MeasurementError, Norms, Scope};
use crate::examination::{Reading, reading_kind};
use crate::format;
use crate::words::{Lang, Text};

/// A change since an earlier reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Now less before.
    pub difference: f64,
    /// Whether the same person took both.
    pub scope: Scope,
    /// What a change must exceed; `None` where nothing is published.
    pub limit: Option<f64>,
    /// Whether it exceeds it.
    pub beyond_error: Option<bool>,
    /// It in words.
    pub text: Text,
}

impl Norms {
    /// The change of a reading since an earlier one, against the measurement error.
    ///
    /// # Errors
    /// In words why the two can't be compared: another method, another side, no number.
    pub fn change(&self, earlier: &Reading, now: &Reading) -> Result<Change, Text> {
        if earlier.kind != now.kind || earlier.side != now.side {
            return Err(Text::new(
                "Two different readings: nothing to compare.",
                "Zwei verschiedene Werte: nichts zu vergleichen.",
            ));
        }
        if earlier.method != now.method {
            return Err(Text::new(
                "Taken by different methods: a change can't be told from the method.",
                "Mit verschiedenen Methoden gemessen: eine Änderung ist nicht von der Methode zu trennen.",
            ));
        }
        if now.is_unconfirmed_copy() {
            return Err(Text::new(
                "Copied from the last visit and not taken again.",
                "Vom letzten Besuch übernommen und nicht erneut gemessen.",
            ));
        }
        let (Some(before), Some(after)) = (earlier.mean(), now.mean()) else {
            return Err(Text::new(
                "One of them has no number.",
                "Einer hat keine Zahl.",
            ));
        };
        let same = !now.by.is_empty() && earlier.by == now.by;
        let scope = if same { Scope::Within } else { Scope::Between };
        let size = |e: &MeasurementError| e.mdc95().or(e.total_error);
        // Where nothing is published for one person reading again, two persons' error is the
        // safe side, and the text says whose it is.
        let error = [scope, Scope::Between]
            .into_iter()
            .filter_map(|s| self.error_for(&now.kind, &now.method, s))
            .find(|e| size(e).is_some());
        let limit = error.and_then(size);
        let difference = after - before;
        Ok(Change {
            difference,
            scope,
            limit,
            beyond_error: limit.map(|limit| beyond(difference, limit)),
            text: change_text(&now.kind, difference, limit, error),
        })
    }
}

/// Decimals as typed: 34.6 − 30 is 4.6 and not more.
fn beyond(difference: f64, limit: f64) -> bool {
    difference.abs() > limit + 1e-9
}

fn change_text(
    kind: &str,
    difference: f64,
    limit: Option<f64>,
    error: Option<&MeasurementError>,
) -> Text {
    let unit = reading_kind(kind)
        .and_then(|k| k.unit.clone())
        .unwrap_or_default();
    let unit = if matches!(unit.as_str(), "1" | "score") {
        String::new()
    } else {
        unit
    };
    let in_lang = |lang: Lang| {
        let q = |v: f64| format!("{}{}", format::number(v, 1, lang), format::unit(&unit));
        let sign = if difference > 0.0 { "+" } else { "" };
        let source = error.map(|e| e.source.line(lang)).unwrap_or_default();
        let source = match (error.map(|e| e.scope), lang) {
            (Some(Scope::Between), Lang::En) => format!("between persons; {source}"),
            (Some(Scope::Between), Lang::De) => format!("zwischen Personen; {source}"),
            _ => source,
        };
        match (limit, lang) {
            (Some(limit), Lang::En) if beyond(difference, limit) => {
                format!(
                    "changed by {sign}{}, more than the measurement error of {} ({source})",
                    q(difference),
                    q(limit)
                )
            }
            (Some(limit), Lang::De) if beyond(difference, limit) => {
                format!(
                    "geändert um {sign}{}, mehr als der Messfehler von {} ({source})",
                    q(difference),
                    q(limit)
                )
            }
            (Some(limit), Lang::En) => {
                format!(
                    "{sign}{}, inside the measurement error of {}: no change can be claimed ({source})",
                    q(difference),
                    q(limit)
                )
            }
            (Some(limit), Lang::De) => {
                format!(
                    "{sign}{}, innerhalb des Messfehlers von {}: keine Änderung belegbar ({source})",
                    q(difference),
                    q(limit)
                )
            }
            (None, Lang::En) => format!(
                "{sign}{}; no measurement error is published for this method",
                q(difference)
            ),
            (None, Lang::De) => format!(
                "{sign}{}; für diese Methode ist kein Messfehler veröffentlicht",
                q(difference)
            ),
        }
    };
    Text::new(in_lang(Lang::En), in_lang(Lang::De))
}
