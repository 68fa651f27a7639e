//! Numbers as the clinician reads them.

use crate::words::Lang;

/// A number with `decimals`, the decimal sign of the language and a true minus sign; never "−0".
#[must_use]
pub fn number(value: f64, decimals: usize, lang: Lang) -> String {
    let plain = format!("{:.decimals$}", value.abs());
    let zero = plain.bytes().all(|b| matches!(b, b'0' | b'.'));
    let plain = if lang == Lang::De {
        plain.replace('.', ",")
    } else {
        plain
    };
    if value < 0.0 && !zero {
        format!("−{plain}")
    } else {
        plain
    }
}

/// The unit as printed after a number, with its space.
#[must_use]
pub fn unit(unit: &str) -> String {
    match unit {
        "deg" => "°".into(),
        "" => String::new(),
        "Cel" => " °C".into(),
        other => format!(" {other}"),
    }
}

/// The grain lengths and angles are shown at: halves. Whole would print a typed 6.5 as another
/// number, tenths would promise what no mark holds.
fn grain(value: f64, of: &str) -> f64 {
    match of {
        "mm" | "deg" => (value * 2.0).round() / 2.0,
        _ => (value * 10.0).round() / 10.0,
    }
}

/// A quantity at its usual grain: half millimetres and degrees, others to one decimal.
#[must_use]
pub fn quantity(value: f64, of: &str, lang: Lang) -> String {
    let value = grain(value, of);
    let decimals = usize::from(value.fract() != 0.0);
    format!("{}{}", number(value, decimals, lang), unit(of))
}

/// A ± at the grain of what it stands beside, rounded up: never smaller than it is, never 0.
#[must_use]
pub fn plus_minus(half: f64, of: &str, lang: Lang) -> String {
    let step = match of {
        "mm" | "deg" => 0.5,
        _ => 0.1,
    };
    quantity(((half - 1e-9) / step).ceil().max(1.0) * step, of, lang)
}

/// A quantity beside limits: one decimal where the usual grain would put it on the wrong side.
#[must_use]
pub fn against(value: f64, limits: &[f64], of: &str, lang: Lang) -> String {
    let grain = grain(value, of);
    let misleads = |limit: &f64| {
        (value <= *limit) != (grain <= *limit) || (value >= *limit) != (grain >= *limit)
    };
    if limits.iter().any(misleads) {
        format!("{}{}", number(value, 1, lang), unit(of))
    } else {
        quantity(value, of, lang)
    }
}

/// A date in words nobody can read two ways.
#[must_use]
pub fn long_date(date: chrono::NaiveDate, lang: Lang) -> String {
    use chrono::Datelike;
    match lang {
        Lang::En => date.format("%-d %B %Y").to_string(),
        Lang::De => {
            let month = MONTHS_DE[date.month0() as usize];
            format!("{}. {month} {}", date.day(), date.year())
        }
    }
}

const MONTHS_DE: [&str; 12] = [
    "Januar",
    "Februar",
    "März",
    "April",
    "Mai",
    "Juni",
    "Juli",
    "August",
    "September",
    "Oktober",
    "November",
    "Dezember",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plus_minus_is_rounded_up_and_never_0() {
        for (half, of, shown) in [
            (0.0, "deg", "0.5°"),
            (0.2, "deg", "0.5°"),
            (0.5, "mm", "0.5 mm"),
            (0.51, "mm", "1 mm"),
            (9.9, "deg", "10°"),
            (0.21, "kg", "0.3 kg"),
        ] {
            assert_eq!(plus_minus(half, of, Lang::En), shown);
        }
    }
}
