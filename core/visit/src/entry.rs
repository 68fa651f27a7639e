//! A typed number, kept as typed together with what is wrong with it.

use crate::words::{Extra, Lang};
use serde::{Deserialize, Serialize};

/// No field of a visit holds more; beyond it sums and squares would leave the numbers.
const LARGEST: f64 = 1e9;

/// A number as the clinician typed it. In JSON a plain number when nothing is to be said about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self")]
pub struct Entry {
    /// Exactly what was typed.
    pub typed: String,
    /// The number in the unit of the field; `None` when the text could not be read.
    #[serde(default)]
    pub value: Option<f64>,
    /// What is wrong with it, if anything.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub problem: Option<Problem>,
    /// The clinician has seen the problem and stands by the value.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub confirmed: bool,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// What is wrong with a typed value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", rename_all = "snake_case", tag = "kind")]
pub enum Problem {
    /// The text is not a number.
    NotANumber,
    /// A unit was typed that does not belong to this field.
    WrongUnit {
        /// The unit typed.
        unit: String,
    },
    /// Outside the hard limits of the field.
    OutsideLimits {
        /// Lowest plausible value.
        low: f64,
        /// Highest plausible value.
        high: f64,
        /// Unit of both limits.
        unit: String,
        /// What may have been meant.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        perhaps: Vec<Guess>,
    },
    /// Unlikely beside the other values of the same person.
    Unlikely {
        /// Why, in words.
        because: String,
    },
    /// A problem named by a newer version.
    #[serde(untagged)]
    Newer(serde_json::Value),
}

impl Serialize for Problem {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Self::serialize(self, serializer)
    }
}

/// A problem this version does not know in full is kept whole as [`Problem::Newer`].
impl<'de> Deserialize<'de> for Problem {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let json = serde_json::Value::deserialize(deserializer)?;
        let known = Self::deserialize(&json).ok().filter(|known| {
            let back = serde_json::to_value(known).unwrap_or_default();
            json.as_object()
                .is_some_and(|fields| fields.keys().all(|key| back.get(key).is_some()))
        });
        Ok(known.unwrap_or(Self::Newer(json)))
    }
}

/// A guess at what was meant: asked, never applied.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Guess {
    /// The unit that may have been meant, e.g. `cm`.
    pub typed_unit: String,
    /// What the entry would then be, in the field's own unit.
    pub value: f64,
}

impl Entry {
    /// A number without anything wrong with it. NaN and infinities are kept as text only; a number
    /// larger than any field holds is kept and named.
    #[must_use]
    pub fn number(value: f64) -> Self {
        let problem = if !value.is_finite() {
            Some(Problem::NotANumber)
        } else if value.abs() > LARGEST {
            Some(Problem::OutsideLimits {
                low: -LARGEST,
                high: LARGEST,
                unit: String::new(),
                perhaps: Vec::new(),
            })
        } else {
            None
        };
        let value = value.is_finite().then_some(value);
        let typed = value.map_or_else(String::new, |v| v.to_string());
        Self {
            typed,
            value,
            problem,
            confirmed: false,
            extra: Extra::new(),
        }
    }

    /// Whether it is what [`Entry::number`] makes of `value`, which is not made for a number that
    /// nothing is wrong with: each save asks for every number of the visit.
    fn says_no_more_than(&self, value: f64) -> bool {
        if self.problem.is_none() && value.abs() <= LARGEST {
            !self.confirmed && self.extra.is_empty() && self.typed == value.to_string()
        } else {
            *self == Self::number(value)
        }
    }

    /// The number, if it can be used: readable, and inside the limits or confirmed. A number larger
    /// than any field holds is never used, confirmed or not.
    #[must_use]
    pub fn usable(&self) -> Option<f64> {
        self.value
            .filter(|v| v.abs() <= LARGEST && (self.problem.is_none() || self.confirmed))
    }
}

impl From<f64> for Entry {
    fn from(value: f64) -> Self {
        Self::number(value)
    }
}

impl Problem {
    /// The problem as one sentence with its remedy.
    #[must_use]
    pub fn sentence(&self, lang: Lang) -> String {
        match (self, lang) {
            (Self::NotANumber, Lang::En) => "This is not a number: type digits only.".into(),
            (Self::NotANumber, Lang::De) => {
                "Das ist keine Zahl: bitte nur Ziffern eingeben.".into()
            }
            (Self::WrongUnit { unit }, Lang::En) => {
                format!("The unit {unit} does not belong to this field.")
            }
            (Self::WrongUnit { unit }, Lang::De) => {
                format!("Die Einheit {unit} passt nicht zu diesem Feld.")
            }
            (
                Self::OutsideLimits {
                    low,
                    high,
                    unit,
                    perhaps,
                },
                lang,
            ) => {
                let mut s = match lang {
                    Lang::En => format!(
                        "Outside {low} to {high}{}{unit}.",
                        if unit.is_empty() { "" } else { " " }
                    ),
                    Lang::De => format!(
                        "Außerhalb von {low} bis {high}{}{unit}.",
                        if unit.is_empty() { "" } else { " " }
                    ),
                };
                for guess in perhaps {
                    s += &match lang {
                        Lang::En => format!(
                            " Meant in {} ({:.0} {unit})?",
                            guess.typed_unit, guess.value
                        ),
                        Lang::De => format!(
                            " In {} gemeint ({:.0} {unit})?",
                            guess.typed_unit, guess.value
                        ),
                    };
                }
                s
            }
            (Self::Unlikely { because }, _) => because.clone(),
            (Self::Newer(_), Lang::En) => {
                "A newer version of the program questions this value.".into()
            }
            (Self::Newer(_), Lang::De) => {
                "Eine neuere Programmversion beanstandet diesen Wert.".into()
            }
        }
    }
}

impl Serialize for Entry {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.value {
            Some(value) if self.says_no_more_than(value) => serializer.serialize_f64(value),
            _ => Self::serialize(self, serializer),
        }
    }
}

impl<'de> Deserialize<'de> for Entry {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(untagged)]
        enum Form {
            Plain(f64),
            #[serde(deserialize_with = "Entry::deserialize")]
            Full(Entry),
        }
        Ok(match Form::deserialize(deserializer)? {
            Form::Plain(value) => Self::number(value),
            Form::Full(entry) => entry,
        })
    }
}
