//! Where a number comes from and how sure it is.

use crate::words::Lang;
use serde::{Deserialize, Serialize};

/// How well a number is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Certainty {
    /// Read in the published text itself.
    Seen,
    /// Read in another text that quotes the source.
    SecondHand,
    /// From memory; not checked against the primary source.
    Unverified,
    /// Arithmetic on stated inputs, or recomputed from open data.
    Computed,
    /// Common practice without a published source.
    CommonPractice,
    /// A clinic's own value in place of a shipped one.
    Clinic,
}

/// A citation with its certainty.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Authors, title or journal, year; empty only for common practice.
    #[serde(default)]
    pub cite: String,
    /// How well it is known.
    pub certainty: Certainty,
}

impl Source {
    /// The source as printed: an unverified one always says so.
    #[must_use]
    pub fn line(&self, lang: Lang) -> String {
        let word = match (self.certainty, lang) {
            (Certainty::Seen, _) => "",
            (Certainty::SecondHand, Lang::En) => "as quoted by others",
            (Certainty::SecondHand, Lang::De) => "nach anderen zitiert",
            (Certainty::Unverified, Lang::En) => "unverified",
            (Certainty::Unverified, Lang::De) => "ungeprüft",
            (Certainty::Computed, Lang::En) => "computed",
            (Certainty::Computed, Lang::De) => "berechnet",
            (Certainty::CommonPractice, Lang::En) => "common practice, no source",
            (Certainty::CommonPractice, Lang::De) => "übliche Praxis, ohne Quelle",
            (Certainty::Clinic, Lang::En) => "the clinic's own value",
            (Certainty::Clinic, Lang::De) => "eigener Wert der Praxis",
        };
        match (self.cite.is_empty(), word.is_empty()) {
            (true, _) => word.to_owned(),
            (false, true) => self.cite.clone(),
            (false, false) => format!("{} ({word})", self.cite),
        }
    }
}
