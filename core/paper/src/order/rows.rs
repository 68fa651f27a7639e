//! Rows of an order: name, value, why.

use crate::words::entry;
use plinthside_visit::{Entry, Lang, Revision};
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
    title: &'static str,
    pub(super) rows: Vec<Row>,
}

/// Collects the rows of one section.
pub(super) struct Rows<'a> {
    rows: Vec<Row>,
    revision: &'a Revision,
}

impl<'a> Rows<'a> {
    pub(super) fn new(revision: &'a Revision) -> Self {
        Self {
            rows: Vec::new(),
            revision,
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
                let from = b.from.label(Lang::En);
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
            name: name.into(),
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
        self.given(name, value.map(|e| entry(e, " mm")), &[path]);
    }

    /// A text, where there is one.
    pub(super) fn text(&mut self, name: &str, value: &str) {
        self.given(name, Some(value.to_owned()), &[]);
    }

    /// The section, under its title.
    pub(super) fn section(self, title: &'static str) -> Section {
        Section {
            title,
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
pub(super) fn yes_no(value: Option<bool>) -> Option<String> {
    value.map(|v| if v { "yes" } else { "no" }.to_owned())
}
