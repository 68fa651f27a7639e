//! Every text of the screens goes through `@tr` and has its German wording.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn slint_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            slint_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "slint") {
            found.push(path);
        }
    }
}

/// A quoted string from its opening quote on, and what follows it.
fn quoted(text: &str) -> Option<(&str, &str)> {
    let text = text.trim_start().strip_prefix('"')?;
    let end = text.find('"')?;
    Some((&text[..end], &text[end + 1..]))
}

/// (context, text, plural) of every `@tr(…)` in a file.
fn translatable(source: &str) -> Vec<(String, String, Option<String>)> {
    source
        .match_indices("@tr(")
        .map(|(at, _)| {
            let (mut first, mut rest) =
                quoted(&source[at + 4..]).expect("@tr begins with a string");
            let mut context = String::new();
            if let Some(after) = rest.trim_start().strip_prefix("=>") {
                context = first.to_owned();
                (first, rest) = quoted(after).expect("a context is followed by a string");
            }
            let plural = rest
                .trim_start()
                .strip_prefix('|')
                .and_then(quoted)
                .map(|(p, _)| p.to_owned());
            (context, first.to_owned(), plural)
        })
        .collect()
}

/// (context, msgid) → wordings, of a .po file with every string on one line.
fn wordings(po: &str) -> Vec<((String, String), Vec<String>)> {
    let string = |line: &str| quoted(line).map(|(s, _)| s.to_owned()).unwrap_or_default();
    let mut all: Vec<((String, String), Vec<String>)> = Vec::new();
    let mut context = String::new();
    for line in po.lines().map(str::trim) {
        if let Some(rest) = line.strip_prefix("msgctxt ") {
            context = string(rest);
        } else if let Some(rest) = line.strip_prefix("msgid ") {
            all.push(((std::mem::take(&mut context), string(rest)), Vec::new()));
        } else if line.starts_with("msgstr") {
            let wording = line
                .split_once(' ')
                .map(|(_, s)| string(s))
                .unwrap_or_default();
            if let Some(last) = all.last_mut() {
                last.1.push(wording);
            }
        }
    }
    all
}

#[test]
fn german_is_complete_and_nothing_is_left_over() {
    let mut files = Vec::new();
    slint_files(&root(), &mut files);
    let used: Vec<_> = files
        .iter()
        .flat_map(|f| translatable(&std::fs::read_to_string(f).expect("a text file")))
        .collect();
    assert!(used.len() > 60, "only {} texts found", used.len());
    let po = std::fs::read_to_string(root().join("lang/de/LC_MESSAGES/plinthside-ui.po"))
        .expect("the German wordings");
    let german = wordings(&po);
    let mut wrong = Vec::new();
    for (context, text, plural) in &used {
        let needed = if plural.is_some() { 2 } else { 1 };
        match german
            .iter()
            .find(|(key, _)| *key == (context.clone(), text.clone()))
        {
            None => wrong.push(format!("missing: {context:?} {text:?}")),
            Some((_, w)) if w.len() != needed || w.iter().any(String::is_empty) => {
                wrong.push(format!("empty: {text:?}"))
            }
            Some((_, w)) => {
                for hole in ["{0}", "{1}", "{2}", "{n}"] {
                    if text.contains(hole) && !w.iter().all(|w| w.contains(hole)) && hole != "{n}" {
                        wrong.push(format!("{text:?} lacks {hole} in German"));
                    }
                }
            }
        }
    }
    let known: BTreeSet<_> = used.into_iter().map(|(c, t, _)| (c, t)).collect();
    for (key, _) in german {
        if !key.1.is_empty() && !known.contains(&key) {
            wrong.push(format!("no longer used: {key:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A text that a person reads is never a bare string.
#[test]
fn no_text_goes_around_the_translation() {
    let mut files = Vec::new();
    slint_files(&root().join("parts"), &mut files);
    slint_files(&root().join("screens"), &mut files);
    let mut bare = Vec::new();
    for file in files {
        let source = std::fs::read_to_string(&file).expect("a text file");
        for line in source.lines() {
            let line = line.trim();
            for property in [
                "text: ",
                "label: ",
                "accessible-label: ",
                "heading: ",
                "title: ",
            ] {
                let Some((string, _)) = line.strip_prefix(property).and_then(quoted) else {
                    continue;
                };
                // Signs need no translation; a language is named in itself.
                if !matches!(string, "English" | "Deutsch")
                    && string.chars().filter(|c| c.is_alphabetic()).count() > 1
                {
                    bare.push(format!("{}: {line}", file.display()));
                }
            }
        }
    }
    assert!(bare.is_empty(), "{}", bare.join("\n"));
}
