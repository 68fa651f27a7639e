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

/// A quantity at its usual grain: whole millimetres, half degrees, others to one decimal.
#[must_use]
pub fn quantity(value: f64, of: &str, lang: Lang) -> String {
    let (value, decimals) = match of {
        "mm" => (value, 0),
        "deg" => {
            let half = (value * 2.0).round() / 2.0;
            (half, usize::from(half.fract() != 0.0))
        }
        _ => (value, usize::from(value.fract().abs() > 0.05)),
    };
    format!("{}{}", number(value, decimals, lang), unit(of))
}

/// A quantity beside limits: one decimal where the usual grain would put it on the wrong side.
#[must_use]
pub fn against(value: f64, limits: &[f64], of: &str, lang: Lang) -> String {
    let grain = if of == "deg" {
        (value * 2.0).round() / 2.0
    } else {
        value.round()
    };
    let misleads = |limit: &f64| {
        (value <= *limit) != (grain <= *limit) || (value >= *limit) != (grain >= *limit)
    };
    if limits.iter().any(misleads) {
        format!("{}{}", number(value, 1, lang), unit(of))
    } else {
        quantity(value, of, lang)
    }
}
