//! What can go wrong on paper.

use thiserror::Error;

/// Why a document could not be made; each sentence says what to do next.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PaperError {
    /// A value that no page can show.
    #[error("{what} is not a number that can be printed; measure or enter it again")]
    NotANumber {
        /// What the value belongs to.
        what: String,
    },
    /// Something does not fit on the paper at true scale.
    #[error("{what} needs {needs_mm:.0} mm and the largest page gives {has_mm:.0} mm; {remedy}")]
    DoesNotFit {
        /// What does not fit.
        what: String,
        /// Room it needs, mm.
        needs_mm: f64,
        /// Room there is, mm.
        has_mm: f64,
        /// What to do instead.
        remedy: &'static str,
    },
    /// A request outside what can be printed.
    #[error("{0}")]
    Request(String),
    /// A template failed; a fault of the program, kept in words for the report.
    #[error("the page could not be set ({0}); please report this, the data is not lost")]
    Typesetting(String),
    /// A picture could not be packed as PNG.
    #[error("the picture could not be written as PNG ({0})")]
    Png(String),
}
