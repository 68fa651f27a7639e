//! The tolerance table: a data file a clinic can edit.

use crate::data::{DataError, DataFile};
use crate::source::Source;
use crate::words::Text;
use serde::{Deserialize, Serialize};

const SHIPPED: &str = include_str!("../../data/tolerances.toml");

/// What a cast is judged by.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tolerances {
    /// Version of the file's shape; 1.
    pub schema: u32,
    /// Limits of numbers.
    pub limit: Vec<Limit>,
    /// Judgement of words.
    pub state: Vec<State>,
}

/// What the table can judge by number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // the names are those of the table's rows
pub enum Check {
    ForefootToRearfootDifferenceDeg,
    FootToLegDifferenceDeg,
    RockMm,
    HeelToVerticalDeg,
    BimalleolarBreadthDifferenceMm,
    HeelBreadthDifferenceMm,
    HeelToFirstMtpDifferenceMm,
    MedialMalleolusHeightDifferenceMm,
    LateralMalleolusHeightDifferenceMm,
    HingeFrontalDeg,
    HingeTransverseDeg,
    DentElsewhereMm,
    DentOnHeelArchMalleolusMm,
    WallMinMm,
    WallHeelAnkleMm,
    WallMaxMm,
    PastMtpMm,
    AboveMalleolusMm,
}

/// What the table can judge by word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum StateCheck {
    Crack,
    Marks,
}

/// The judgement of one row, in rising order of trouble.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Call {
    /// Reported, not judged.
    Note,
    /// Inside the limits.
    Keep,
    /// The lab can correct it.
    #[serde(rename = "lab_can_correct", alias = "correct")]
    Correct,
    /// Find the landmark again.
    ReMark,
    /// Cast again.
    Recast,
}

/// A range, open where an end is not given.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Range {
    /// Lowest value inside.
    pub low: Option<f64>,
    /// Highest value inside.
    pub high: Option<f64>,
}

impl Range {
    /// Whether a value lies inside; both ends belong to it, whatever binary arithmetic left in its
    /// last digits.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        let slack = 1e-9 * value.abs().max(1.0);
        self.low.is_none_or(|low| value >= low - slack)
            && self.high.is_none_or(|high| value <= high + slack)
    }

    /// The ends that are given.
    pub fn ends(&self) -> impl Iterator<Item = f64> {
        [self.low, self.high].into_iter().flatten()
    }
}

/// One row of limits.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// What is judged.
    pub check: Check,
    /// Its name on screen and paper.
    pub label: Text,
    /// `mm` or `deg`.
    pub unit: String,
    /// Kept inside this range.
    pub keep: Option<Range>,
    /// Corrected by the lab inside this one.
    pub correct: Option<Range>,
    /// What a value outside both means.
    pub beyond: Call,
    /// Words for a value above zero.
    #[serde(default)]
    pub over: Option<Text>,
    /// Words for a value below zero.
    #[serde(default)]
    pub under: Option<Text>,
    /// What the lab can do.
    #[serde(default)]
    pub remedy_correct: Text,
    /// What to do beyond.
    pub remedy_beyond: Text,
    /// Where the limits come from.
    pub source: Source,
}

/// One row of words.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct State {
    /// What is judged.
    pub check: StateCheck,
    /// Its name on screen and paper.
    pub label: Text,
    /// The judgement of each word.
    pub words: Vec<StateWord>,
    /// Where the judgement comes from.
    pub source: Source,
}

/// The judgement of one word.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StateWord {
    /// The word.
    pub word: String,
    /// Its judgement.
    pub call: Call,
    /// What to do.
    pub remedy: Text,
}

impl Limit {
    /// The judgement of one value.
    #[must_use]
    pub fn call(&self, value: f64) -> Call {
        if self.keep.is_some_and(|r| r.holds(value)) {
            Call::Keep
        } else if self.correct.is_some_and(|r| r.holds(value)) {
            Call::Correct
        } else {
            self.beyond
        }
    }

    /// Every limit the judgement changes at.
    #[must_use]
    pub fn ends(&self) -> Vec<f64> {
        [self.keep, self.correct]
            .into_iter()
            .flatten()
            .flat_map(|r| r.ends().collect::<Vec<_>>())
            .collect()
    }
}

impl Tolerances {
    /// The table the program ships.
    ///
    /// # Errors
    /// None in a released program: a test reads it.
    pub fn shipped() -> Result<Self, DataError> {
        Self::parse("tolerances.toml", SHIPPED)
    }

    /// A clinic's own table.
    ///
    /// # Errors
    /// Names the line: text that is not TOML, an unknown field or check, a check twice, limits
    /// that are not numbers, not in order, or wider for `keep` than for `correct`.
    pub fn parse(name: &str, text: &str) -> Result<Self, DataError> {
        let file = DataFile { name, text };
        let table: Self = file.parse()?;
        if table.schema != 1 {
            return Err(file.error(
                0,
                None,
                format!("schema {} is not known, expected 1", table.schema),
            ));
        }
        for (i, limit) in table.limit.iter().enumerate() {
            if let Some(problem) = limit_problem(limit, &table.limit[..i]) {
                // Rows keep their order, so the i-th header is this row's line.
                let at = text
                    .match_indices("[[limit]]")
                    .nth(i)
                    .map_or(0, |(at, _)| at);
                return Err(file.error(at, Some(&limit.label.en), problem));
            }
        }
        Ok(table)
    }
}

pub(super) fn limit_problem(limit: &Limit, before: &[Limit]) -> Option<String> {
    if before.iter().any(|other| other.check == limit.check) {
        return Some("this check stands in the file twice; keep one".into());
    }
    for (name, range) in [("keep", limit.keep), ("correct", limit.correct)] {
        let Some(range) = range else { continue };
        if range.ends().any(|end| !end.is_finite()) {
            return Some(format!("{name}: a limit is not a number"));
        }
        if let (Some(low), Some(high)) = (range.low, range.high)
            && low > high
        {
            return Some(format!("{name}: low {low} is above high {high}"));
        }
    }
    let (keep, correct) = (limit.keep?, limit.correct?);
    let low_ok = correct.low.is_none_or(|c| keep.low.is_some_and(|k| c <= k));
    let high_ok = correct
        .high
        .is_none_or(|c| keep.high.is_some_and(|k| c >= k));
    (!(low_ok && high_ok)).then(|| "correct must reach at least as far as keep on each side".into())
}
