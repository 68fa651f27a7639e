//! Keep, lab can correct, re-mark, or cast again: the cast beside the patient's own dimensions
//! and readings, by the tolerance table.
//!
//! The judgement is on the cast *as marked*: it uses the value and the instrument's ±. What the
//! marking adds stands beside it and has its own remedy, *re-mark*. Another photograph is asked for
//! only where the camera alone leaves the judgement open.

mod evidence;
mod own;
mod states;
mod tolerances;

pub use evidence::Evidence;
pub use own::OwnLimit;
pub(crate) use states::lost_marks;
pub use tolerances::{Call, Check, Limit, Range, State, StateCheck, StateWord, Tolerances};

use crate::format;
use crate::words::{Lang, Text};
use evidence::Compared;
use plinthside_measure::cast::Source as MeasuredBy;
use plinthside_measure::quantity::NORMAL_95;
use serde::{Deserialize, Serialize};

/// The judgement of a cast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// The judgement of the whole, the clinician decides.
    pub call: Call,
    /// It in words, with the finding that made it.
    pub text: Text,
    /// Every quantity judged, worst first.
    pub findings: Vec<Finding>,
    /// What could not be judged and what is missing for it.
    pub not_judged: Vec<Text>,
}

/// One quantity judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// The row of the table.
    pub check: String,
    /// Its name.
    pub label: Text,
    /// The value judged; none for words.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: String,
    /// What the cast measures, where it is compared with the leg.
    pub on_cast: Option<f64>,
    /// What the leg measures, or what was intended.
    pub on_leg: Option<f64>,
    /// Standard deviation from camera or ruler alone.
    pub instrument_sd: Option<f64>,
    /// Standard deviation from the placing of the marks alone.
    pub marking_sd: Option<f64>,
    /// Standard deviation of the patient's own reading, from its repeats.
    pub patient_sd: Option<f64>,
    /// The judgement.
    pub call: Call,
    /// What would make the judgement surer.
    pub advice: Option<Advice>,
    /// The finding in words, with the amount.
    pub text: Text,
    /// What to do.
    pub remedy: Text,
    /// Where the limit comes from, as printed.
    pub source: Text,
}

/// What would make a judgement surer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Advice {
    /// The camera alone leaves it open.
    AnotherPhotograph,
    /// The ruler alone leaves it open.
    MeasureAgain,
    /// The placing of the marks leaves it open.
    ReMark,
    /// The reading on the patient leaves it open.
    RepeatReading,
}

impl Advice {
    /// The advice in words.
    #[must_use]
    pub fn text(self) -> Text {
        match self {
            Self::AnotherPhotograph => Text::new(
                "another photograph would settle it",
                "ein weiteres Foto würde es klären",
            ),
            Self::MeasureAgain => Text::new("measure it again", "noch einmal messen"),
            Self::ReMark => Text::new(
                "find the landmarks again first: the marking alone can explain it",
                "zuerst die Punkte erneut tasten: die Markierung allein kann es erklären",
            ),
            Self::RepeatReading => Text::new(
                "repeat the reading on the patient first: its spread alone can explain it",
                "zuerst den Wert am Patienten wiederholen: seine Streuung allein kann es erklären",
            ),
        }
    }
}

/// Judges a cast. Never fails: what is missing is named in [`Verdict::not_judged`].
#[must_use]
pub fn verdict(evidence: &Evidence<'_>, tolerances: &Tolerances) -> Verdict {
    let mut not_judged = Vec::new();
    let mut findings = states::judge(evidence, tolerances);
    for limit in &tolerances.limit {
        match evidence.compared(limit.check) {
            Ok(compared) => findings.push(judge(limit, &compared, evidence)),
            Err(missing) => not_judged.push(missing.for_limit(&limit.label)),
        }
    }
    findings.sort_by_key(|f| std::cmp::Reverse(f.call));
    let call = findings.iter().map(overall).max().unwrap_or(Call::Note);
    let text = sentence(call, &findings);
    Verdict {
        call,
        text,
        findings,
        not_judged,
    }
}

/// A finding's weight for the whole: casting again is not called for while the marks themselves
/// may be the reason.
fn overall(finding: &Finding) -> Call {
    match (finding.call, finding.advice) {
        (Call::Recast, Some(Advice::ReMark)) => Call::ReMark,
        (call, _) => call,
    }
}

fn judge(limit: &Limit, c: &Compared, evidence: &Evidence<'_>) -> Finding {
    let (mut call, mut note) = (limit.call(c.value), None);
    if c.report_only {
        call = Call::Note;
    }
    if limit.check == Check::FootToLegDifferenceDeg
        && call == Call::Correct
        && let Some(text) = evidence.past_passive_dorsiflexion()
    {
        (call, note) = (limit.beyond, Some(text));
    }
    let advice = (call != Call::Note)
        .then(|| advice(limit, c, evidence))
        .flatten();
    let remedy = match call {
        Call::Keep => Text::default(),
        Call::Correct if limit.correct.is_some() => limit.remedy_correct.clone(),
        _ => note.unwrap_or_else(|| limit.remedy_beyond.clone()),
    };
    Finding {
        check: token(&limit.check),
        label: limit.label.clone(),
        value: Some(c.value),
        unit: limit.unit.clone(),
        on_cast: c.on_cast,
        on_leg: c.on_leg,
        instrument_sd: c.instrument_sd,
        marking_sd: c.marking_sd,
        patient_sd: c.patient_sd,
        call,
        advice,
        text: amount(limit, c),
        remedy,
        source: Text::new(limit.source.line(Lang::En), limit.source.line(Lang::De)),
    }
}

/// What would make the judgement surer: another photograph where the camera alone leaves it open or
/// makes more than a quarter of an uncertainty that does; else the marks, else the patient's reading.
/// Marking is wide (2 to 3 mm), so it is named only where it decides between worst and not worst.
fn advice(limit: &Limit, c: &Compared, evidence: &Evidence<'_>) -> Option<Advice> {
    let call = limit.call(c.value);
    let reaches = |sd: f64, differs: &dyn Fn(Call) -> bool| {
        [-NORMAL_95, NORMAL_95]
            .iter()
            .any(|z| differs(limit.call(c.value + z * sd)))
    };
    let worst = |other: Call| (other == limit.beyond) != (call == limit.beyond);
    let instrument = c.instrument_sd.unwrap_or(0.0);
    let total = instrument.hypot(c.marking_sd.unwrap_or(0.0));
    let photograph = match evidence.results.map(|r| r.source) {
        Some(MeasuredBy::Ruler) => Advice::MeasureAgain,
        _ => Advice::AnotherPhotograph,
    };
    if reaches(instrument, &|other| other != call) {
        return Some(photograph);
    }
    if reaches(total, &worst) {
        let camera_counts = instrument * instrument > total * total / 4.0;
        return Some(if camera_counts {
            photograph
        } else {
            Advice::ReMark
        });
    }
    reaches(total.hypot(c.patient_sd.unwrap_or(0.0)), &worst).then_some(Advice::RepeatReading)
}

/// The amount in words: "Bimalleolar breadth: 8 mm narrower than on the leg (66 mm, leg 74 mm)".
fn amount(limit: &Limit, c: &Compared) -> Text {
    let ends = limit.ends();
    let in_lang = |lang| {
        let words = if c.value < 0.0 {
            &limit.under
        } else {
            &limit.over
        };
        let shown = |v: f64| format::against(v, &ends, &limit.unit, lang);
        let value = match words {
            // Magnitude and a word instead of a sign; limits are symmetric in sign there.
            Some(words) => {
                let sign = if c.value < 0.0 { -1.0 } else { 1.0 };
                let ends: Vec<f64> = ends.iter().map(|e| e * sign).collect();
                let magnitude = format::against(c.value.abs(), &ends, &limit.unit, lang);
                format!("{magnitude} {}", words.get(lang))
            }
            None => shown(c.value),
        };
        let beside = match (c.on_cast, c.on_leg, lang) {
            (Some(cast), Some(leg), lang) => {
                let q = |v| format::quantity(v, &limit.unit, lang);
                let against = c.against.get(lang);
                let cast_word = if lang == Lang::De { "Abdruck" } else { "cast" };
                format!(" ({cast_word} {}, {against} {})", q(cast), q(leg))
            }
            _ => String::new(),
        };
        format!("{}: {value}{beside}", limit.label.get(lang))
    };
    Text::new(in_lang(Lang::En), in_lang(Lang::De))
}

fn sentence(call: Call, findings: &[Finding]) -> Text {
    let reason = findings.iter().find(|f| overall(f) == call);
    let head = call.text();
    let in_lang = |lang: Lang| match reason {
        Some(f) if call > Call::Keep => {
            let mut s = format!("{}: {}", head.get(lang), f.text.get(lang));
            if let Some(advice) = f.advice {
                s += &format!("; {}", advice.text().get(lang));
            }
            if !f.remedy.get(lang).is_empty() {
                s += &format!("; {}", f.remedy.get(lang));
            }
            s + "."
        }
        _ => format!("{}.", head.get(lang)),
    };
    Text::new(in_lang(Lang::En), in_lang(Lang::De))
}

impl Call {
    /// The judgement in words.
    #[must_use]
    pub fn text(self) -> Text {
        match self {
            Self::Note => Text::new("Nothing could be judged", "Nichts konnte beurteilt werden"),
            Self::Keep => Text::new("Keep", "Behalten"),
            Self::Correct => Text::new("Lab can correct", "Werkstatt kann korrigieren"),
            Self::ReMark => Text::new("Re-mark", "Neu markieren"),
            Self::Recast => Text::new("Recast", "Neu abformen"),
        }
    }
}

/// The word a serialisable name is written as.
pub(crate) fn token<T: Serialize>(name: &T) -> String {
    match serde_json::to_value(name) {
        Ok(serde_json::Value::String(s)) => s,
        _ => String::new(),
    }
}
