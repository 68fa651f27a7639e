//! Rows of an order: name, value, why.

use crate::language::Words;
use plinthside_visit::{Entry, Revision};
use serde::Serialize;

/// One row of a section.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Row {
    name: String,
    /// `None`: nothing was chosen, and that is said.
    value: Option<String>,
    /// Why it holds what it holds.
    because: Option<String>,
}

/// One section of the order.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Section {
    title: String,
    /// Stands in the left column.
    left: bool,
    pub(super) rows: Vec<Row>,
}

/// Collects the rows of one section.
pub(super) struct Rows<'a> {
    rows: Vec<Row>,
    revision: &'a Revision,
    words: Words,
}

impl<'a> Rows<'a> {
    pub(super) fn new(revision: &'a Revision, words: Words) -> Self {
        Self {
            rows: Vec::new(),
            revision,
            words,
        }
    }

    /// A row that is always there; without a value it reads “not chosen”.
    pub(super) fn always(&mut self, name: &str, value: Option<String>, paths: &[&str]) {
        let value = value.filter(|v| !v.trim().is_empty());
        let because = paths
            .iter()
            .find_map(|path| self.revision.because.get(*path))
            .filter(|_| value.is_some())
            .map(|b| {
                let from = b.from.label(self.words.0);
                let source = if b.source.is_empty() {
                    String::new()
                } else {
                    format!(" ({})", b.source)
                };
                if b.because.is_empty() {
                    format!("{from}{source}")
                } else {
                    format!("{}{source}", b.because)
                }
            });
        self.rows.push(Row {
            name: self.words.say(name),
            value,
            because,
        });
    }

    /// A row that is there only with a value.
    pub(super) fn given(&mut self, name: &str, value: Option<String>, paths: &[&str]) {
        if value.as_ref().is_some_and(|v| !v.trim().is_empty()) {
            self.always(name, value, paths);
        }
    }

    /// A length, where there is one.
    pub(super) fn mm(&mut self, name: &str, value: Option<&Entry>, path: &str) {
        self.given(name, value.map(|e| self.words.entry(e, " mm")), &[path]);
    }

    /// A text, where there is one.
    pub(super) fn text(&mut self, name: &str, value: &str) {
        self.given(name, Some(value.to_owned()), &[]);
    }

    /// The section, under its title.
    pub(super) fn section(self, title: &str) -> Section {
        Section {
            left: ["Motion", "Hinge line", "Correction"].contains(&title),
            title: self.words.say(title),
            rows: self.rows,
        }
    }
}

/// Parts of a value, joined where there are any.
pub(super) fn joined(parts: impl IntoIterator<Item = Option<String>>) -> Option<String> {
    let parts: Vec<String> = parts
        .into_iter()
        .flatten()
        .filter(|p| !p.trim().is_empty())
        .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// Text that is not empty.
pub(super) fn some(text: &str) -> Option<String> {
    (!text.trim().is_empty()).then(|| text.trim().to_owned())
}

/// Yes or no, where it was said.
pub(super) fn yes_no(value: Option<bool>, words: Words) -> Option<String> {
    value.map(|v| if v { words.say("yes") } else { words.say("no") })
}
