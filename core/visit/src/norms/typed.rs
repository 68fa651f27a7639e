//! Reads what was typed: number, unit, decimal sign; and asks when it can't be meant.

use crate::entry::{Entry, Guess, Problem};
use crate::verdict::Range;
use crate::words::Extra;

/// Units a field may be typed in, with the factor to the field's own unit.
/// The international inch and pound (25.4 mm, 0.45359237 kg exactly, 1959).
const FACTORS: &[(&str, &str, f64)] = &[
    ("mm", "mm", 1.0),
    ("mm", "cm", 10.0),
    ("mm", "m", 1000.0),
    ("mm", "in", 25.4),
    ("mm", "\"", 25.4),
    ("mm", "″", 25.4),
    ("cm", "cm", 1.0),
    ("cm", "mm", 0.1),
    ("cm", "in", 2.54),
    ("kg", "kg", 1.0),
    ("kg", "g", 0.001),
    ("kg", "lb", 0.453_592_37),
    ("kg", "st", 6.350_293_18),
    ("deg", "deg", 1.0),
    ("deg", "°", 1.0),
    ("deg", "rad", 57.295_779_513_082_32),
    ("Cel", "Cel", 1.0),
    ("Cel", "°C", 1.0),
    ("Cel", "C", 1.0),
    ("min", "min", 1.0),
    ("min", "h", 60.0),
];

/// Units a number without one may have been meant in.
const GUESSED: &[(&str, &str)] = &[
    ("mm", "cm"),
    ("mm", "in"),
    ("cm", "mm"),
    ("cm", "in"),
    ("kg", "lb"),
    ("kg", "st"),
    ("kg", "g"),
];

/// Converts between two units of one field; `None` where they don't belong together.
#[must_use]
pub fn convert(value: f64, from: &str, to: &str) -> Option<f64> {
    if to == "Cel" && matches!(from, "°F" | "F" | "[degF]") {
        return Some((value - 32.0) / 1.8);
    }
    FACTORS
        .iter()
        .find(|(own, typed, _)| *own == to && *typed == from)
        .map(|(_, _, f)| value * f)
}

/// Reads a typed value into a field of a unit with hard limits. What was typed is kept as typed.
#[must_use]
pub fn typed(text: &str, unit: &str, limits: Option<Range>) -> Entry {
    let (value, problem) = match read(text, unit) {
        Ok(value) => (Some(value), outside(value, unit, limits, has_unit(text))),
        Err(problem) => (None, Some(problem)),
    };
    let plain = value
        .map(Entry::number)
        .filter(|e| problem.is_none() && e.typed == text.trim());
    plain.unwrap_or(Entry {
        typed: text.to_owned(),
        value,
        problem,
        confirmed: false,
        extra: Extra::new(),
    })
}

fn split(text: &str) -> (&str, &str) {
    let text = text.trim();
    let end = text
        .find(|c: char| {
            !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '−' | '+' | ' ' | '\u{a0}'))
        })
        .unwrap_or(text.len());
    (text[..end].trim(), text[end..].trim())
}

fn has_unit(text: &str) -> bool {
    !split(text).1.is_empty()
}

fn read(text: &str, unit: &str) -> Result<f64, Problem> {
    let (number, typed_unit) = split(text);
    let value = decimal(number).ok_or(Problem::NotANumber)?;
    let value = if typed_unit.is_empty() || typed_unit == unit {
        value
    } else {
        convert(value, typed_unit, unit).ok_or_else(|| Problem::WrongUnit {
            unit: typed_unit.to_owned(),
        })?
    };
    if value.is_finite() {
        Ok(value)
    } else {
        Err(Problem::NotANumber)
    }
}

/// A number with a decimal point or comma and either minus sign. Both marks in one number could
/// be read two ways and are refused.
fn decimal(text: &str) -> Option<f64> {
    let marks = text.matches(['.', ',']).count();
    let digits = text.bytes().any(|b| b.is_ascii_digit());
    if marks > 1 || !digits || text.contains([' ', '\u{a0}']) {
        return None;
    }
    text.replace('−', "-").replace(',', ".").parse().ok()
}

fn outside(value: f64, unit: &str, limits: Option<Range>, unit_typed: bool) -> Option<Problem> {
    let limits = limits.filter(|l| !l.holds(value))?;
    let guess = |(_, other): &(&str, &str)| {
        let value = convert(value, other, unit)?;
        limits.holds(value).then(|| Guess {
            typed_unit: (*other).to_owned(),
            value,
        })
    };
    let perhaps = if unit_typed {
        Vec::new()
    } else {
        GUESSED
            .iter()
            .filter(|(own, _)| *own == unit)
            .filter_map(guess)
            .collect()
    };
    Some(Problem::OutsideLimits {
        low: limits.low.unwrap_or(f64::MIN),
        high: limits.high.unwrap_or(f64::MAX),
        unit: unit.to_owned(),
        perhaps,
    })
}
