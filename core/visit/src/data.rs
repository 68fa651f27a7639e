//! Data files: compiled in, or a clinic's own; a broken one is refused with its line and remedy.

use serde::de::DeserializeOwned;
use thiserror::Error;

/// Why a data file was refused. The shipped file stays in force.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{file}, line {line}{}: {problem}; mend that line, the file stays out of use until then and the shipped one in force",
    .entry.as_ref().map(|e| format!(", “{e}”")).unwrap_or_default())]
pub struct DataError {
    /// Name of the file.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// The rule, limit or list it is about, if known.
    pub entry: Option<String>,
    /// What is wrong and what is expected instead.
    pub problem: String,
}

/// A data file as text, with the means to speak of its lines.
#[derive(Debug, Clone, Copy)]
pub(crate) struct DataFile<'a> {
    pub name: &'a str,
    pub text: &'a str,
}

impl DataFile<'_> {
    pub fn parse<T: DeserializeOwned>(&self) -> Result<T, DataError> {
        toml::from_str(self.text).map_err(|e| {
            let start = e.span().map_or(0, |span| span.start);
            self.error(start, None, e.message().trim().replace('\n', "; "))
        })
    }

    pub fn error(
        &self,
        offset: usize,
        entry: Option<&str>,
        problem: impl Into<String>,
    ) -> DataError {
        let line = 1 + self
            .text
            .bytes()
            .take(offset)
            .filter(|b| *b == b'\n')
            .count();
        DataError {
            file: self.name.to_owned(),
            line,
            entry: entry.map(str::to_owned),
            problem: problem.into(),
        }
    }
}
