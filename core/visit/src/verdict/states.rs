//! Judgement of words: cracks, and marks that did not transfer.

use super::{Call, Evidence, Finding, State, StateCheck, Tolerances, token};
use crate::cast_record::Crack;
use crate::words::{Lang, Text};
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

/// Which row of the table the marks fall under; nothing known gives nothing.
fn marks(evidence: &Evidence<'_>) -> Option<(&'static str, Text)> {
    let noted = evidence
        .inspection
        .map(|i| i.marks_missing.as_slice())
        .unwrap_or_default();
    let is_lost = |mark: &str| match evidence.results {
        Some(results) => !results.points.iter().any(|p| p.mark.as_str() == mark),
        None => noted.iter().any(|m| m == mark),
    };
    let mut lost: Vec<&str> = NEEDED
        .iter()
        .filter(|(mark, or)| is_lost(mark) && or.is_none_or(is_lost_alternative(evidence)))
        .map(|(mark, _)| *mark)
        .collect();
    if evidence.results.is_some() {
        // Noted by hand although measured: the clinician's word counts.
        lost.extend(
            NEEDED
                .iter()
                .map(|(m, _)| *m)
                .filter(|m| noted.iter().any(|n| n == m)),
        );
        lost.sort_unstable();
        lost.dedup();
    } else if evidence.inspection.is_none() {
        return None;
    }
    let names = lost.join(", ");
    let detail = Text::new(format!("lost: {names}"), format!("verloren: {names}"));
    if lost.is_empty() {
        return Some(("all", Text::new("all transferred", "alle übertragen")));
    }
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
        _ => "one_lost",
    };
    Some((word, detail))
}

/// A malleolus marked at its lower pole is not lost; by hand only the name noted counts.
fn is_lost_alternative<'a>(evidence: &'a Evidence<'_>) -> impl Fn(&'static str) -> bool + 'a {
    |mark| {
        evidence
            .results
            .is_none_or(|r| !r.points.iter().any(|p| p.mark.as_str() == mark))
    }
}
