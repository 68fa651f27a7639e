//! Numbers as they are printed: whole millimetres and degrees with their ±.

use crate::PaperError;
use crate::language::Words;
use plinthside_measure::cast::{ResultName, Results};
use plinthside_measure::quantity::Quantity;

/// Nearest whole number with a true minus sign, never “−0”.
pub(crate) fn whole(value: f64) -> String {
    let n = value.round() as i64;
    let sign = if n < 0 { "−" } else { "" };
    format!("{sign}{}", n.abs())
}

/// A ± in whole units, rounded up: never smaller than it is, never 0.
pub(crate) fn whole_up(value: f64) -> String {
    format!("{}", (value - 1e-9).ceil().max(1.0) as i64)
}

/// One printed quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Printed {
    /// `3° inverted`, `79 mm`.
    pub(crate) value: String,
    /// `± 1` from the camera or ruler alone.
    pub(crate) instrument: String,
    /// `± 10` with the marking.
    pub(crate) total: String,
    /// What the word adds in brackets: `the ± spans zero`.
    pub(crate) note: String,
}

pub(crate) fn printed(
    name: &str,
    q: &Quantity,
    word: Option<&str>,
    words: Words,
) -> Result<Printed, PaperError> {
    finite(
        name,
        &[q.value, q.instrument_sd, q.total_sd, q.low95, q.high95],
    )?;
    let half = q.plus_minus();
    let unit = q.unit.sign();
    let (word, note) = match word.and_then(|w| w.split_once(" (")) {
        Some((word, note)) => (Some(word), note.trim_end_matches(')')),
        None => (word, ""),
    };
    // At a whole 0 no direction is named.
    let value = match word {
        Some(word) if q.value.round() != 0.0 && !word.is_empty() => {
            format!("{}{unit} {}", whole(q.value.abs()), words.say(word))
        }
        _ => format!("{}{unit}", whole(q.value)),
    };
    Ok(Printed {
        value,
        instrument: format!("± {}", whole_up(half.instrument)),
        total: format!("± {}", whole_up(half.total)),
        note: if note.is_empty() {
            String::new()
        } else {
            words.say(note)
        },
    })
}

/// A named result as printed; `None` where the marks do not give it.
pub(crate) fn result(
    results: &Results,
    name: ResultName,
    words: Words,
) -> Result<Option<Printed>, PaperError> {
    let word = results.words.get(&name).map(String::as_str);
    results
        .quantities
        .get(&name)
        .map(|q| printed(name.label(), q, word, words))
        .transpose()
}

pub(crate) fn finite(what: &str, values: &[f64]) -> Result<(), PaperError> {
    // A page is a few hundred millimetres; far beyond, a value is a fault and not a measurement.
    if values.iter().all(|v| v.abs() < 1e6) {
        Ok(())
    } else {
        Err(PaperError::NotANumber { what: what.into() })
    }
}
