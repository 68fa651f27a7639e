//! Papers and dates.

use crate::PaperError;
use chrono::NaiveDate;
use std::fmt;
use std::str::FromStr;

/// A paper size, upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Paper {
    /// ISO 216 A4, 210 × 297 mm.
    A4,
    /// US Letter, 215.9 × 279.4 mm.
    Letter,
    /// ISO 216 A3, 297 × 420 mm.
    A3,
}

impl Paper {
    /// Width and height, mm, upright.
    #[must_use]
    pub fn mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
            Self::A3 => (297.0, 420.0),
        }
    }
}

impl fmt::Display for Paper {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::A4 => "A4",
            Self::Letter => "Letter",
            Self::A3 => "A3",
        })
    }
}

impl FromStr for Paper {
    type Err = PaperError;

    fn from_str(text: &str) -> Result<Self, PaperError> {
        match text.trim().to_lowercase().as_str() {
            "a4" => Ok(Self::A4),
            "letter" => Ok(Self::Letter),
            "a3" => Ok(Self::A3),
            _ => Err(PaperError::Request(format!(
                "“{text}” is not a paper size; choose A4, Letter or A3"
            ))),
        }
    }
}

/// A date that cannot be misread: day, month in letters, year.
pub(crate) fn long_date(date: NaiveDate) -> String {
    date.format("%-d %b %Y").to_string()
}
