//! Published bands and measurement errors, and what a change or a difference amounts to.

use crate::data::{DataError, DataFile};
use crate::examination::{Reading, reading_kind};
use crate::format;
use crate::person::Sex;
use crate::source::{Certainty, Source};
use crate::verdict::Range;
use crate::words::{Lang, Text};
use plinthside_measure::marks::Side;
use serde::{Deserialize, Serialize};

const BANDS: &str = include_str!("../../data/bands.toml");
const ERRORS: &str = include_str!("../../data/errors.toml");

/// What published work found for one reading in one population.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// Key of the reading.
    pub reading: String,
    /// Who was measured.
    pub population: Text,
    /// How many.
    pub n: u32,
    /// Mean, in the reading's unit and sign.
    #[serde(default)]
    pub mean: Option<f64>,
    /// Standard deviation of people.
    #[serde(default)]
    pub sd: Option<f64>,
    /// 95 % interval of the mean.
    #[serde(default)]
    pub mean_ci: Option<Range>,
    /// Means of several studies lie between these.
    #[serde(default)]
    pub means_between: Option<Range>,
    /// Ages it holds for, completed years.
    #[serde(default)]
    pub age_years: Option<Range>,
    /// Sex it holds for.
    #[serde(default)]
    pub sex: Option<Sex>,
    /// Side it holds for.
    #[serde(default)]
    pub side: Option<Side>,
    /// What to know about it.
    #[serde(default)]
    pub note: Option<Text>,
    /// Where it stands.
    pub source: Source,
}

/// Whether the same person reads again or another does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// The same person.
    Within,
    /// Another person.
    Between,
}

/// How far two readings may differ by chance.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeasurementError {
    /// Key of the reading.
    pub reading: String,
    /// Who reads again.
    pub scope: Scope,
    /// Method it holds for; any if not given.
    #[serde(default)]
    pub method: Option<String>,
    /// Standard error of measurement.
    #[serde(default)]
    pub sem: Option<f64>,
    /// Smallest detectable change, 95 %, where the source gives it.
    #[serde(default)]
    mdc95: Option<f64>,
    /// Total error the source states instead of an SEM.
    #[serde(default)]
    pub total_error: Option<f64>,
    /// Range of the agreement coefficient found.
    #[serde(default)]
    pub icc: Option<Range>,
    /// Range of kappa found, where words were read.
    #[serde(default)]
    pub kappa: Option<Range>,
    /// What to know about it.
    #[serde(default)]
    pub note: Option<Text>,
    /// Where it stands.
    pub source: Source,
}

/// A difference between the sides that deserves a note.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SideDifference {
    /// Key of the reading.
    pub reading: String,
    /// Noted above this.
    pub above: f64,
    /// What is said.
    pub say: Text,
    /// Where it stands.
    pub source: Source,
}

/// All bands and errors.
#[derive(Debug, Clone, PartialEq)]
pub struct Norms {
    /// Bands.
    pub bands: Vec<Band>,
    /// Errors.
    pub errors: Vec<MeasurementError>,
    /// Differences between the sides.
    pub side_differences: Vec<SideDifference>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BandFile {
    #[allow(dead_code)]
    schema: u32,
    band: Vec<Band>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ErrorFile {
    #[allow(dead_code)]
    schema: u32,
    error: Vec<MeasurementError>,
    #[serde(default)]
    side_difference: Vec<SideDifference>,
}

/// MDC95 = 1.96 · √2 · SEM.
#[must_use]
pub fn mdc95(sem: f64) -> f64 {
    1.96 * std::f64::consts::SQRT_2 * sem
}

impl MeasurementError {
    /// Smallest change that is beyond chance at 95 %.
    #[must_use]
    pub fn mdc95(&self) -> Option<f64> {
        self.mdc95.or_else(|| self.sem.map(mdc95))
    }
}

/// Who a band should fit.
#[derive(Debug, Clone, Copy, Default)]
pub struct Who<'a> {
    /// Age, completed years.
    pub age_years: Option<u32>,
    /// Sex.
    pub sex: Option<&'a Sex>,
    /// Side of the reading.
    pub side: Option<Side>,
}

impl Norms {
    /// The bands and errors the program ships.
    ///
    /// # Errors
    /// None in a released program: a test reads them.
    pub fn shipped() -> Result<Self, DataError> {
        Self::parse(("bands.toml", BANDS), ("errors.toml", ERRORS))
    }

    /// A clinic's own bands and errors, each a name and a text.
    ///
    /// # Errors
    /// Names the line: text that is not TOML, an unknown field, or a reading there is none of.
    pub fn parse(bands: (&str, &str), errors: (&str, &str)) -> Result<Self, DataError> {
        let band_file = DataFile {
            name: bands.0,
            text: bands.1,
        };
        let error_file = DataFile {
            name: errors.0,
            text: errors.1,
        };
        let bands = band_file.parse::<BandFile>()?.band;
        let ErrorFile {
            error: errors,
            side_difference: side_differences,
            ..
        } = error_file.parse()?;
        check_readings(&band_file, bands.iter().map(|b| &b.reading))?;
        check_readings(&error_file, errors.iter().map(|e| &e.reading))?;
        check_readings(&error_file, side_differences.iter().map(|d| &d.reading))?;
        Ok(Self {
            bands,
            errors,
            side_differences,
        })
    }

    /// The bands that fit a person, better known ones first; what is not known excludes none.
    #[must_use]
    pub fn bands_for(&self, reading: &str, who: Who<'_>) -> Vec<&Band> {
        let fits = |b: &&Band| {
            let age = |years: u32| b.age_years.is_none_or(|r| r.holds(f64::from(years)));
            b.reading == reading
                && who.age_years.is_none_or(age)
                && who
                    .sex
                    .is_none_or(|sex| b.sex.as_ref().is_none_or(|s| s == sex))
                && who.side.is_none_or(|side| b.side.is_none_or(|s| s == side))
        };
        let mut bands: Vec<_> = self.bands.iter().filter(fits).collect();
        bands.sort_by_key(|b| b.source.certainty == Certainty::Unverified);
        bands
    }

    /// The measurement error of a reading by a method: the largest that is published for it.
    #[must_use]
    pub fn error_for(
        &self,
        reading: &str,
        method: &str,
        scope: Scope,
    ) -> Option<&MeasurementError> {
        let fits = |e: &&MeasurementError| {
            e.reading == reading
                && e.scope == scope
                && e.method
                    .as_deref()
                    .is_none_or(|m| method.is_empty() || m == method)
        };
        let size = |e: &MeasurementError| e.mdc95().or(e.total_error).unwrap_or(0.0);
        self.errors
            .iter()
            .filter(fits)
            .max_by(|a, b| size(a).total_cmp(&size(b)))
    }

    /// What deserves a note about the difference between the two sides of one reading.
    #[must_use]
    pub fn side_difference(&self, left: &Reading, right: &Reading) -> Option<&SideDifference> {
        let difference = (left.mean()? - right.mean()?).abs();
        self.side_differences
            .iter()
            .find(|d| d.reading == left.kind && left.kind == right.kind && difference > d.above)
    }
}

impl Band {
    /// From where to where it lies on a scale, in the reading's unit: the interval of its mean, else
    /// a standard deviation either way, else between the means of several studies.
    #[must_use]
    pub fn ends(&self) -> Option<(f64, f64)> {
        let one_sd = self
            .mean
            .zip(self.sd)
            .map(|(mean, sd)| (mean - sd, mean + sd));
        let between = |r: &Range| r.low.zip(r.high);
        let interval = self.mean_ci.as_ref().and_then(between);
        interval
            .or(one_sd)
            .or(self.means_between.as_ref().and_then(between))
    }

    /// How far a value lies from the population: in its standard deviations where known.
    #[must_use]
    pub fn distance_sd(&self, value: f64) -> Option<f64> {
        let (mean, sd) = (self.mean?, self.sd?);
        (sd > 0.0).then(|| (value - mean) / sd)
    }

    /// How far a value lies from this population, in words: in its standard deviations where they
    /// are published, else from its mean. Never from an ideal.
    #[must_use]
    pub fn distance_text(&self, value: f64, lang: Lang) -> Option<String> {
        let kind = reading_kind(&self.reading)?;
        let mean = self.mean?;
        let above = value >= mean;
        let toward = match (above, &kind.plus, &kind.minus) {
            (true, Some(plus), _) => plus.get(lang).to_owned(),
            (false, _, Some(minus)) => minus.get(lang).to_owned(),
            (true, ..) if lang == Lang::De => "höher".to_owned(),
            (false, ..) if lang == Lang::De => "niedriger".to_owned(),
            (true, ..) => "higher".to_owned(),
            (false, ..) => "lower".to_owned(),
        };
        let apart = kind.size((value - mean).abs(), lang);
        let words = match lang {
            Lang::En => format!("This reading lies {apart} from that mean, more {toward}"),
            Lang::De => format!("Dieser Wert liegt {apart} von diesem Mittel, mehr {toward}"),
        };
        let words = match (kind.plus.is_some() || kind.minus.is_some(), lang) {
            (true, _) => words,
            (false, Lang::En) => format!("This reading lies {apart} {toward} than that mean"),
            (false, Lang::De) => format!("Dieser Wert liegt {apart} {toward} als dieses Mittel"),
        };
        let sds = self.distance_sd(value).map(|z| {
            let z = format::number(z.abs(), 1, lang);
            match lang {
                Lang::En => format!(" ({z} of its SD)"),
                Lang::De => format!(" ({z} seiner SD)"),
            }
        });
        Some(format!("{words}{}.", sds.unwrap_or_default()))
    }

    /// The band in words with its source: never an ideal.
    #[must_use]
    pub fn text(&self, lang: Lang) -> String {
        let kind = reading_kind(&self.reading);
        let shown = |v: f64| kind.map_or_else(|| v.to_string(), |k| k.printed(v, lang));
        let mut s = format!("{} (n = {})", self.population.get(lang), self.n);
        let de = lang == Lang::De;
        if let Some(mean) = self.mean {
            s += &format!(": {} {}", if de { "Mittel" } else { "mean" }, shown(mean));
        }
        if let Some(sd) = self.sd {
            let decimals = if sd < 1.0 { 3 } else { 1 };
            s += &format!(", SD {}", format::number(sd, decimals, lang));
        }
        for (range, en, de_word) in [
            (
                self.mean_ci,
                "95 % interval of the mean",
                "95-%-Intervall des Mittels",
            ),
            (
                self.means_between,
                "means of studies",
                "Mittelwerte der Studien",
            ),
        ] {
            if let Some(Range {
                low: Some(low),
                high: Some(high),
            }) = range
            {
                let word = if de { de_word } else { en };
                let (low, high) = (format::number(low, 1, lang), format::number(high, 1, lang));
                s += &format!(", {word} {low}–{high}");
            }
        }
        if let Some(note) = &self.note {
            s += &format!("; {}", note.get(lang));
        }
        format!("{s}. {}", self.source.line(lang))
    }
}

fn check_readings<'a>(
    file: &DataFile<'_>,
    names: impl Iterator<Item = &'a String>,
) -> Result<(), DataError> {
    for name in names {
        if reading_kind(name).is_none() {
            let at = file.text.find(&format!("\"{name}\"")).unwrap_or(0);
            return Err(file.error(at, Some(name), "there is no such reading"));
        }
    }
    Ok(())
}
