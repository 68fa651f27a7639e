//! What a synchronisation did and is doing, in the words of the screen.

use crate::window::text::said;
use plinthside_exchange::{Progress, Report, Step};
use plinthside_ui as ui;
use plinthside_visit::{Lang, Text};
use ui::Tone;

/// A sentence for the screen.
pub fn remark(text: impl AsRef<str>, tone: Tone) -> ui::Remark {
    ui::Remark {
        text: text.as_ref().into(),
        source: Default::default(),
        tone,
    }
}

/// A step with its numbers.
pub fn progress(target: &str, progress: Option<Progress>, lang: Lang) -> String {
    let Some(progress) = progress else {
        let begins = Text::new("connecting", "wird verbunden");
        return format!("{target}: {}", begins.get(lang));
    };
    let step = match progress.step {
        Step::Reading => Text::new("reading changes", "Änderungen werden gelesen"),
        Step::Publishing => Text::new("sending changes", "Änderungen werden gesendet"),
        Step::SendingPhotographs => Text::new("sending photographs", "Fotos werden gesendet"),
        Step::FetchingPhotographs => Text::new("fetching photographs", "Fotos werden geholt"),
    };
    let (step, of) = (step.get(lang), Text::new("of", "von"));
    let (done, of, total) = (progress.done, of.get(lang), progress.total);
    format!(
        "{target}: {step}, {done} {of} {total}, {}",
        megabytes(progress.bytes, lang)
    )
}

fn megabytes(bytes: u64, lang: Lang) -> String {
    let text = format!("{:.1} MB", bytes as f64 / 1e6);
    match lang {
        Lang::En => text,
        Lang::De => text.replace('.', ","),
    }
}

/// Every sentence about a synchronisation; what has to be acted on stands out.
pub fn report(report: &Report, lang: Lang) -> Vec<ui::Remark> {
    let mut lines = report.words();
    if let (Lang::De, Some(first)) = (lang, lines.first_mut()) {
        *first = exchanged(report);
    }
    let mut problems = false;
    lines
        .into_iter()
        .map(|line| {
            problems |= report.problems.iter().any(|p| line == p.words);
            let tone = if problems { Tone::Caution } else { Tone::Plain };
            remark(said(&line, lang).trim(), tone)
        })
        .collect()
}

/// What went there and what came, in German.
fn exchanged(report: &Report) -> String {
    let count = |n: u64, one: &str, many: &str| match n {
        0 => None,
        1 => Some(format!("1 {one}")),
        n => Some(format!("{n} {many}")),
    };
    let way = |records, erasures, photos| {
        let parts = [
            count(records, "Eintrag", "Einträge"),
            count(erasures, "Löschung", "Löschungen"),
            count(photos, "Foto", "Fotos"),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        match parts.is_empty() {
            true => "nichts Neues".to_owned(),
            false => parts.join(", "),
        }
    };
    format!(
        "{}: gesendet {}; empfangen {}.",
        report.target,
        way(
            report.records_sent,
            report.erasures_sent,
            report.photos_sent
        ),
        way(
            report.records_received,
            report.erasures_received,
            report.photos_received
        )
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use plinthside_exchange::{Problem, ProblemKind};

    /// Every sentence has its German, and what has to be acted on stands out in both languages.
    #[test]
    fn a_report_is_told_in_both_languages() {
        let problem = |kind, file: &str| Problem {
            kind,
            file: file.into(),
            words: format!(
                "Batch {file} of Tablet A changed nothing: it is cut short. It will be asked for again."
            ),
        };
        let told = Report {
            target: "NAS".into(),
            records_sent: 2,
            photos_received: 1,
            photos_to_send: 3,
            photos_to_fetch: 4,
            files_erased: 1,
            cancelled: true,
            waiting_for: Some("Tablet A".into()),
            admitted: vec!["Tablet B".into()],
            problems: vec![
                problem(ProblemKind::Damaged, "changes/1"),
                problem(ProblemKind::Damaged, "changes/2"),
                problem(ProblemKind::Forged, "changes/3"),
            ],
            ..Report::default()
        };
        let [en, de] = [Lang::En, Lang::De].map(|lang| report(&told, lang));
        assert_eq!(en.len(), de.len());
        assert_eq!(de[0].text, "NAS: gesendet 2 Einträge; empfangen 1 Foto.");
        for (en, de) in en.iter().zip(&de) {
            assert_eq!(en.tone, de.tone, "{} {}", en.text, de.text);
            assert_ne!(en.text, de.text);
        }
        let acts = de.iter().filter(|line| line.tone == Tone::Caution).count();
        assert_eq!(acts, 3);
        let at = Progress {
            step: Step::SendingPhotographs,
            done: 3,
            total: 12,
            bytes: 7_400_000,
        };
        let words = progress("NAS", Some(at), Lang::De);
        assert_eq!(words, "NAS: Fotos werden gesendet, 3 von 12, 7,4 MB");
    }
}
