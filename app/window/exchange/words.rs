//! What a synchronisation did and is doing, in the words of the screen.

use plinthside_exchange::{Problem, ProblemKind, Progress, Report, Step};
use plinthside_ui as ui;
use plinthside_visit::{Lang, Text};
use std::collections::BTreeMap;
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
    let lines = match lang {
        Lang::En => report.words(),
        Lang::De => german(report),
    };
    let mut problems = false;
    lines
        .into_iter()
        .map(|line| {
            problems |= report
                .problems
                .iter()
                .any(|p| line == p.words || line == german_problem(p));
            remark(
                line.trim(),
                if problems { Tone::Caution } else { Tone::Plain },
            )
        })
        .collect()
}

fn german(report: &Report) -> Vec<String> {
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
    let mut lines = vec![format!(
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
    )];
    if report.cancelled {
        lines.push("Auf Wunsch angehalten; der nächste Abgleich macht hier weiter.".into());
    }
    if let Some(inviter) = &report.waiting_for {
        lines.push(format!("{inviter} hat dieses Gerät noch nicht eingelassen, darum wurde nichts gesendet. Bitte auf {inviter} abgleichen, dann hier noch einmal."));
    }
    let joined = report.admitted.iter();
    lines.extend(joined.map(|name| format!("{name} ist beigetreten.")));
    if report.photos_to_send > 0 {
        let n = report.photos_to_send;
        lines.push(format!("Noch zu senden: {n} Foto(s)."));
    }
    if report.photos_to_fetch > 0 {
        let n = report.photos_to_fetch;
        lines.push(format!("Noch zu holen: {n} Foto(s)."));
    }
    if report.files_erased > 0 {
        let n = report.files_erased;
        lines.push(format!("{n} Datei(en) mit gelöschten Terminen wurden am Ziel entfernt. Frühere Kopien davon enthalten sie noch, versiegelt; den Praxisschlüssel wechseln, falls eine solche Kopie in anderen Händen sein kann."));
    }
    let mut kinds: BTreeMap<ProblemKind, Vec<&Problem>> = BTreeMap::new();
    for problem in &report.problems {
        kinds.entry(problem.kind).or_default().push(problem);
    }
    for problems in kinds.values() {
        lines.push(german_problem(problems[0]));
        if problems.len() > 1 {
            lines.push(format!("… und {} weitere dieser Art.", problems.len() - 1));
        }
    }
    lines
}

fn german_problem(problem: &Problem) -> String {
    let file = &problem.file;
    let why = match problem.kind {
        ProblemKind::Damaged => {
            "ist abgeschnitten oder verändert; nichts davon wurde übernommen. Das Gerät, das sie schrieb, schreibt sie beim nächsten Abgleich neu."
        }
        ProblemKind::Missing => {
            "ist angekündigt, aber nicht da. Später noch einmal abgleichen; fehlt sie weiter, wird sie neu angefordert."
        }
        ProblemKind::Forged => {
            "ist von niemandem in der Praxis unterschrieben; nichts davon wurde übernommen. Bitte klären, wer dort noch schreiben kann."
        }
        ProblemKind::Misplaced => {
            "ist ein anderer Stapel unter diesem Namen, wiederholt oder vertauscht; nichts davon wurde übernommen. Bitte klären, wer dort Dateien bewegt."
        }
        ProblemKind::Foreign => {
            "gehört einer anderen Praxis; nichts davon wurde übernommen. Bitte die Adresse des Ziels prüfen."
        }
        ProblemKind::StruckOff => {
            "kommt von einem ausgeschlossenen Gerät; nichts davon wurde übernommen. Bitte das Passwort des Ziels ändern."
        }
        ProblemKind::NotIn => {
            "kommt von einem Gerät, das hier noch nicht bekannt ist. Auf dem Gerät abgleichen, das es eingelassen hat, dann hier."
        }
        ProblemKind::NoKey => {
            "ist mit einem Schlüssel versiegelt, den dieses Gerät noch nicht hat. Auf einem anderen Gerät abgleichen, dann hier."
        }
        ProblemKind::Newer => {
            "stammt von einer neueren Fassung des Programms. Bitte dieses Gerät aktualisieren."
        }
        ProblemKind::Record => "enthält einen Eintrag, der hier nicht gelesen werden kann.",
        ProblemKind::Photograph => {
            "ist nicht das Foto, das ihr Name nennt; es wurde nicht übernommen und wird neu angefordert."
        }
        _ => "konnte nicht übernommen werden.",
    };
    format!("{file} {why}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every sentence has its German, and what has to be acted on stands out in both languages.
    #[test]
    fn a_report_is_told_in_both_languages() {
        let problem = |kind, file: &str| Problem {
            kind,
            file: file.into(),
            words: format!("{file} changed nothing: it was cut short. Synchronise there again."),
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
