//! What the program is built from, under which licences: the third-party notices as they are
//! shipped, grouped by licence, and the licence texts that lie beside the program.

use plinthside_ui::Licence;
use std::collections::BTreeMap;

const NOTICES: &str = include_str!("../../THIRD-PARTY.md");

/// The texts that are shipped whole: the program's own licences and the fonts'.
const TEXTS: [(&str, &str, &str); 3] = [
    ("Plinthside", "MIT", include_str!("../../LICENSE-MIT")),
    (
        "Plinthside",
        "Apache-2.0",
        include_str!("../../LICENSE-APACHE"),
    ),
    (
        "Atkinson Hyperlegible Next",
        "OFL-1.1",
        include_str!("../../ui/fonts/OFL.txt"),
    ),
];

/// Everything for the screen: own licences with their text, the notices, then each licence with
/// what comes under it.
#[must_use]
pub fn licences() -> Vec<Licence> {
    let row = |name: &str, terms: &str, text: &str| Licence {
        name: name.into(),
        terms: terms.into(),
        text: text.into(),
    };
    let texts = TEXTS
        .iter()
        .map(|(name, terms, text)| row(name, terms, text));
    let notices = notices().map(|(name, terms)| row(&name, &terms, ""));
    let groups = groups().into_iter().map(|(licence, crates)| {
        row(
            licence,
            &format!("{}: {}", crates.len(), crates.join(", ")),
            "",
        )
    });
    texts.chain(notices).chain(groups).collect()
}

/// The notices in words: what is named in bold, and what is said of it.
fn notices() -> impl Iterator<Item = (String, String)> {
    let head = NOTICES.split("## ").next().unwrap_or_default();
    head.split("\n* ").skip(1).map(|notice| {
        let notice = notice.replace("**", "").replace('`', "");
        let words = notice.split_whitespace().collect::<Vec<_>>().join(" ");
        let (name, terms) = words.split_once(" (").unwrap_or((&words, ""));
        (name.to_owned(), format!("({terms}"))
    })
}

/// Every crate under its licence.
fn groups() -> BTreeMap<&'static str, Vec<String>> {
    let mut groups: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for line in NOTICES.lines() {
        let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        if let [name, version, licence] = cells[..]
            && name != "crate"
            && !name.starts_with("---")
        {
            groups
                .entry(licence)
                .or_default()
                .push(format!("{name} {version}"));
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::window::tests::{demo_window, picture, tap};

    #[test]
    fn every_crate_of_the_notices_is_there_under_its_licence() {
        let listed: usize = groups().values().map(Vec::len).sum();
        let lines = NOTICES.lines().filter(|l| l.starts_with("| ")).count();
        assert!(listed > 100);
        assert_eq!(listed, lines - 1, "every line but the heading");
        let slint = notices().find(|(name, _)| name == "Slint").expect("Slint");
        assert!(slint.1.contains("Royalty-free"));
    }

    #[test]
    fn the_licences_can_be_read_in_the_program() {
        let folder = tempfile::tempdir().expect("a folder");
        let window = demo_window(folder.path());
        tap(&window, "Settings");
        tap(&window, "About");
        picture(&window, "about-1");
        tap(&window, "Plinthside, Apache-2.0");
        picture(&window, "about-2");
    }
}
