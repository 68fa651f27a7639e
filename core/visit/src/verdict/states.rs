//! Judgement of words: cracks, and marks that did not transfer.

use super::{Call, Evidence, Finding, State, StateCheck, Tolerances, token};
use crate::cast_record::{Crack, Inspection};
use crate::words::{Lang, Text};
use plinthside_measure::cast::Results;
use plinthside_measure::marks::MarkName;

/// Marks every cast for a hinged brace needs; a malleolus may be marked at its lower pole instead.
const NEEDED: [(&str, Option<&str>); 6] = [
    (
        MarkName::MALLEOLUS_MEDIAL,
        Some(MarkName::MALLEOLUS_MEDIAL_LOWER),
    ),
    (
        MarkName::MALLEOLUS_LATERAL,
        Some(MarkName::MALLEOLUS_LATERAL_LOWER),
    ),
    (MarkName::MTP_1, None),
    (MarkName::MTP_5, None),
    (MarkName::HEEL_UPPER, None),
    (MarkName::HEEL_LOWER, None),
];

pub(super) fn judge(evidence: &Evidence<'_>, tolerances: &Tolerances) -> Vec<Finding> {
    let mut findings = Vec::new();
    for state in &tolerances.state {
        let (word, detail) = match state.check {
            StateCheck::Crack => match evidence.inspection.and_then(|i| i.crack.as_ref()) {
                Some(crack) => (crack.token().to_owned(), crack_label(crack)),
                None => continue,
            },
            StateCheck::Marks => match marks(evidence) {
                Some((word, detail)) => (word.to_owned(), detail),
                None => continue,
            },
        };
        findings.push(finding(state, &word, &detail));
    }
    findings
}

fn crack_label(crack: &Crack) -> Text {
    Text::new(crack.label(Lang::En), crack.label(Lang::De))
}

fn finding(state: &State, word: &str, detail: &Text) -> Finding {
    let row = state.words.iter().find(|w| w.word == word);
    let text = |lang: Lang| format!("{}: {}", state.label.get(lang), detail.get(lang));
    Finding {
        check: token(&state.check),
        label: state.label.clone(),
        value: None,
        unit: String::new(),
        on_cast: None,
        on_leg: None,
        instrument_sd: None,
        marking_sd: None,
        patient_sd: None,
        call: row.map_or(Call::Note, |row| row.call),
        advice: None,
        text: Text::new(text(Lang::En), text(Lang::De)),
        remedy: row.map_or_else(Text::default, |row| row.remedy.clone()),
        source: Text::new(state.source.line(Lang::En), state.source.line(Lang::De)),
    }
}

/// Needed marks that are lost: noted by hand, or, where the cast was measured, not among its points.
pub(crate) fn lost_marks(
    results: Option<&Results>,
    inspection: Option<&Inspection>,
) -> Vec<&'static str> {
    let noted = |mark: &str| inspection.is_some_and(|i| i.marks_missing.iter().any(|m| m == mark));
    let unmeasured =
        |mark: &str| results.is_some_and(|r| !r.points.iter().any(|p| p.mark.as_str() == mark));
    let lost = |(mark, or): &&(&str, Option<&str>)| {
        noted(mark) || (unmeasured(mark) && or.is_none_or(unmeasured))
    };
    NEEDED.iter().filter(lost).map(|(mark, _)| *mark).collect()
}

/// Which row of the table the marks fall under; nothing known gives nothing.
fn marks(evidence: &Evidence<'_>) -> Option<(&'static str, Text)> {
    if evidence.results.is_none() && evidence.inspection.is_none() {
        return None;
    }
    let lost = lost_marks(evidence.results, evidence.inspection);
    if lost.is_empty() {
        // Without a measurement an empty list may mean that nobody looked.
        let all = Text::new("all transferred", "alle übertragen");
        return evidence.results.map(|_| ("all", all));
    }
    let names = lost.join(", ");
    let detail = Text::new(format!("lost: {names}"), format!("verloren: {names}"));
    let hinge = lost.iter().any(|m| m.starts_with("malleolus"));
    let heel = [MarkName::HEEL_UPPER, MarkName::HEEL_LOWER]
        .iter()
        .all(|m| lost.contains(m));
    let wiped = evidence.inspection.and_then(|i| i.skin_wiped) == Some(true);
    let word = match (hinge || heel, wiped) {
        (true, true) => "key_lost",
        (true, false) => "lost_on_skin",
        (false, false) if lost.len() > 1 => "lost_on_skin",
        (false, true) if lost.len() > 1 => "several_lost",
        (false, _) => "one_lost",
    };
    Some((word, detail))
}
