//! Whether the dimensions typed for one foot go together.

use crate::data::{DataError, DataFile};
use crate::examination::{Dimension, LegDimensions};
use crate::person::Sex;
use crate::source::Source;
use crate::verdict::Range;
use crate::words::{Lang, Text};
use nalgebra::{DMatrix, DVector};
use serde::Deserialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};

const DIMENSIONS: &str = include_str!("../../data/dimensions.toml");
const TOGETHER: &str = include_str!("../../data/anthropometry.toml");

/// One foot in a thousand of the survey is stranger than what is asked about.
const ASK_BELOW: f64 = 0.001;

/// A dimension of the leg: name, limits, source.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DimensionKind {
    /// Which.
    pub key: Dimension,
    /// Name on screen and paper.
    pub label: Text,
    /// `mm` or `deg`.
    pub unit: String,
    /// Hard limits for adults.
    pub adult: Range,
    /// Hard limits at any age.
    pub anyone: Range,
    /// Where the adult limits come from.
    pub source: Source,
}

impl DimensionKind {
    /// The limits for an age; unknown counts as any age.
    #[must_use]
    pub fn limits(&self, age_years: Option<u32>) -> Range {
        if age_years.is_some_and(|years| years >= 18) {
            self.adult
        } else {
            self.anyone
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DimensionFile {
    #[allow(dead_code)]
    schema: u32,
    dimension: Vec<DimensionKind>,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct TogetherFile {
    #[allow(dead_code)]
    schema: u32,
    source: Source,
    dimensions: Vec<Dimension>,
    female: Group,
    male: Group,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Group {
    #[allow(dead_code)] // printed with the source
    n: u32,
    mean_mm: Vec<f64>,
    sd_mm: Vec<f64>,
    correlation: Vec<Vec<f64>>,
}

/// What is known of the leg's dimensions.
#[derive(Debug, Clone, PartialEq)]
pub struct Anthropometry {
    /// Every dimension, in the order they are taken.
    pub dimensions: Vec<DimensionKind>,
    together: TogetherFile,
}

/// How strange a set of dimensions is.
#[derive(Debug, Clone, PartialEq)]
pub struct Together {
    /// Squared Mahalanobis distance from the survey's mean.
    pub distance2: f64,
    /// How many dimensions it is made of.
    pub of: usize,
    /// Share of the survey farther out.
    pub p: f64,
    /// The dimension that fits the others worst, and by how many of its residual sd.
    pub worst: (Dimension, f64),
    /// What that dimension would be, given the others, mm.
    pub expected_mm: f64,
}

impl Anthropometry {
    /// The dimensions and correlations the program ships.
    ///
    /// # Errors
    /// None in a released program: a test reads them.
    pub fn shipped() -> Result<Self, DataError> {
        let file = DataFile {
            name: "dimensions.toml",
            text: DIMENSIONS,
        };
        let dimensions = file.parse::<DimensionFile>()?.dimension;
        let file = DataFile {
            name: "anthropometry.toml",
            text: TOGETHER,
        };
        let together: TogetherFile = file.parse()?;
        let k = together.dimensions.len();
        for group in [&together.female, &together.male] {
            let square =
                group.correlation.len() == k && group.correlation.iter().all(|r| r.len() == k);
            if !square || group.mean_mm.len() != k || group.sd_mm.len() != k {
                return Err(file.error(
                    0,
                    None,
                    "means, sds and correlations need one entry a dimension",
                ));
            }
        }
        Ok(Self {
            dimensions,
            together,
        })
    }

    /// A dimension's name, unit and limits.
    #[must_use]
    pub fn kind(&self, dimension: Dimension) -> Option<&DimensionKind> {
        self.dimensions.iter().find(|d| d.key == dimension)
    }

    /// How the dimensions of one foot go together; needs two of them and a sex the survey has.
    #[must_use]
    pub fn together(&self, leg: &LegDimensions, sex: Option<&Sex>) -> Option<Together> {
        let group = match sex? {
            Sex::Female => &self.together.female,
            Sex::Male => &self.together.male,
            Sex::Other(_) => return None,
        };
        let known: Vec<(usize, Dimension, f64)> = self
            .together
            .dimensions
            .iter()
            .enumerate()
            .filter_map(|(i, d)| Some((i, *d, leg.get(*d)?)))
            .collect();
        let k = known.len();
        if k < 2 {
            return None;
        }
        let z = DVector::from_fn(k, |i, _| {
            let (at, _, value) = known[i];
            (value - group.mean_mm[at]) / group.sd_mm[at]
        });
        let r = DMatrix::from_fn(k, k, |i, j| group.correlation[known[i].0][known[j].0]);
        let inverse = r.try_inverse()?;
        let distance2 = (z.transpose() * &inverse * &z)[(0, 0)];
        // Residual of each given the others: (R⁻¹z)_i / (R⁻¹)_ii, with variance 1 / (R⁻¹)_ii.
        let residual = &inverse * &z;
        let strangeness = |i: usize| residual[i] / inverse[(i, i)].sqrt();
        let worst =
            (0..k).max_by(|a, b| strangeness(*a).abs().total_cmp(&strangeness(*b).abs()))?;
        let (at, dimension, value) = known[worst];
        let expected_mm = value - group.sd_mm[at] * residual[worst] / inverse[(worst, worst)];
        let p = 1.0 - ChiSquared::new(k as f64).ok()?.cdf(distance2);
        Some(Together {
            distance2,
            of: k,
            p,
            worst: (dimension, strangeness(worst)),
            expected_mm,
        })
    }

    /// A question about dimensions that hardly go together; adults only.
    #[must_use]
    pub fn question(
        &self,
        leg: &LegDimensions,
        sex: Option<&Sex>,
        age_years: Option<u32>,
    ) -> Option<Text> {
        if age_years.is_none_or(|years| years < 18) {
            return None;
        }
        let t = self.together(leg, sex).filter(|t| t.p < ASK_BELOW)?;
        let label = &self.kind(t.worst.0)?.label;
        let value = leg.get(t.worst.0)?;
        let source = |lang| self.together.source.line(lang);
        let (en, de) = (label.get(Lang::En), label.get(Lang::De));
        let expected = t.expected_mm;
        Some(Text::new(
            format!(
                "{en} {value:.0} mm hardly goes with the other dimensions (about {expected:.0} mm would): measure it again. {}",
                source(Lang::En)
            ),
            format!(
                "{de} {value:.0} mm passt kaum zu den anderen Maßen (etwa {expected:.0} mm würde passen): nachmessen. {}",
                source(Lang::De)
            ),
        ))
    }
}
