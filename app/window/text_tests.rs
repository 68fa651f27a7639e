//! Everything that is said in English has its German, and is found.

use super::*;
use plinthside_measure::marks::MarkName;
use plinthside_measure::solve::SolveError;
use plinthside_paper::CastCode;
use plinthside_print::RemoteError;
use plinthside_store::StoreError;
use plinthside_visit::phrases::fill;
use std::fs;
use std::path::{Path, PathBuf};

/// What stands in a place.
const VALUE: &str = "§";

/// Sentences that are all place: what is filled in is said instead.
const SHELLS: [&str; 3] = ["{}", "{}: {}", "{} is {}; {}"];

/// What begins a sentence in the source.
const BEGIN: [&str; 6] = [
    "#[error(\"",
    "Request(format!(\"",
    "Request(\"",
    "Err(format!(\"",
    "write!(f,\"",
    "write!(f, \"",
];

/// Source files of the crates and of the program, without tests and what is only a command.
fn sources() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut folders = vec![root.join("core"), root.join("app")];
    let mut found = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            if path.is_dir() {
                let skipped = [
                    "tests",
                    "examples",
                    "commands",
                    "data",
                    "templates",
                    "target",
                ];
                if !skipped.contains(&name.as_ref()) {
                    folders.push(path);
                }
            } else if name.ends_with(".rs")
                && !name.ends_with("tests.rs")
                && !path.ends_with("store/src/check.rs")
            {
                found.push(path);
            }
        }
    }
    found
}

/// A string literal up to its closing quote, its places empty.
fn literal(rest: &str) -> String {
    let mut text = String::new();
    let mut letters = rest.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '"' => break,
            '\\' => text.extend(letters.next()),
            '{' => {
                text += "{}";
                letters.by_ref().find(|l| *l == '}');
            }
            other => text.push(other),
        }
    }
    text
}

/// The sentences of a source file.
fn sentences(source: &str) -> Vec<String> {
    // A line that ends in a backslash goes on in the next one.
    let lines = source
        .lines()
        .map(str::trim)
        .filter(|line| !line.starts_with("//"));
    let flat: String = lines.map(|line| line.trim_end_matches('\\')).collect();
    let found = BEGIN.iter().flat_map(|begin| {
        let after = flat.match_indices(begin);
        after.map(|(at, begin)| literal(&flat[at + begin.len()..]))
    });
    found.collect()
}

fn filled(phrase: &str) -> String {
    fill(phrase, std::iter::repeat(VALUE))
}

#[test]
fn every_error_of_the_program_has_its_german() {
    let (mut seen, mut missing) = (0, Vec::new());
    for path in sources() {
        let source = fs::read_to_string(&path).expect("a source");
        for english in sentences(&source) {
            // What is no sentence is no more than a form.
            let words = english.replace("{}", " ");
            if SHELLS.contains(&english.as_str()) || words.split_whitespace().count() < 3 {
                continue;
            }
            seen += 1;
            let english = filled(&english);
            if said(&english, Lang::De) == english {
                missing.push(format!("{}: {english}", path.display()));
            }
        }
    }
    assert!(missing.is_empty(), "no German:\n{}", missing.join("\n"));
    assert!(seen > 250, "{seen}");
}

#[test]
fn every_phrase_is_found_as_itself() {
    let own = Phrases::parse(&[include_str!("../words/de.toml")]).expect("a table");
    assert!(own.table().len() > 600);
    for (english, german) in own.table() {
        let places = |text: &str| text.matches("{}").count();
        assert_eq!(places(english), places(german), "{english}");
        assert_eq!(
            said(&filled(english), Lang::De),
            filled(german),
            "{english}"
        );
        assert_eq!(said(&filled(english), Lang::En), filled(english));
        let twice = said(&filled(german), Lang::De);
        assert_eq!(twice, filled(german), "said twice");
    }
}

#[test]
fn errors_of_every_crate_in_german() {
    let remote = RemoteError::Refused("nothing prints at this address".into());
    let mistyped = "0000-0000".parse::<CastCode>().map_err(|e| e.to_string());
    let lone = SolveError::SeenOnce {
        mark: MarkName::from("heel-upper"),
        photo: "IMG_0412.jpg".into(),
    };
    let bowed = SolveError::MatNotFlat { bow_mm: 2.3 };
    let damaged = StoreError::File {
        path: "/stick/backup".into(),
        source: std::io::Error::from_raw_os_error(28),
    };
    for (english, german) in [
        (
            lone.to_string(),
            "Markierung Ferse oben ist nur in IMG_0412.jpg gesetzt; bitte in einem zweiten Foto markieren, besser noch in einem dritten",
        ),
        (
            bowed.to_string(),
            "Die Matte ist um 2,3 mm gewölbt; bitte den Bogen auf ein Brett kleben und neu fotografieren",
        ),
        (
            format!("IMG_0412.jpg: {remote}"),
            "IMG_0412.jpg: Der Drucker hat abgelehnt (unter dieser Adresse druckt nichts)",
        ),
        (
            damaged.to_string(),
            "/stick/backup: kein Platz mehr auf dem Datenträger",
        ),
        (
            mistyped.err().unwrap_or_default(),
            "Ein Abdruck-Code hat 13 Zeichen, dieser hat 8; bitte noch einmal ablesen",
        ),
        (
            StoreError::LabelOtherSide {
                code: "K7".into(),
                side: "left".into(),
                wanted: "right".into(),
            }
            .to_string(),
            "Halt: Das Etikett K7 gehört zum Fuß links dieses Besuchs, und dies ist der Fuß rechts. Abdruck und Beutel ansehen.",
        ),
    ] {
        assert_eq!(said(&english, Lang::De), german, "{english}");
    }
    assert_eq!(
        sentence("this stops nothing: no reason is needed", Lang::En),
        "This stops nothing: no reason is needed."
    );
}
