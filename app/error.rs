//! One error for the program; each sentence says what happened and what to do next.

use plinthside_measure::{cast::CastError, mat::MatError, photo::PhotoError, solve::SolveError};
use plinthside_paper::PaperError;
use std::io;
use std::path::PathBuf;
use thiserror::Error;

/// Why a command stopped.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum AppError {
    /// A file could not be read.
    #[error("{}: {source}; check the name and that you may read it", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A file is larger than any of its kind.
    #[error("{}: larger than {limit_mib} MiB, so this is not the file meant here", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// The limit.
        limit_mib: u64,
    },
    /// A text file is no text.
    #[error("{}: this is not a text file; choose the JSON file", path.display())]
    NotText {
        /// The file.
        path: PathBuf,
    },
    /// A JSON file does not have the expected form.
    #[error("{}: {source}; correct that place in the file", path.display())]
    Json {
        /// The file.
        path: PathBuf,
        /// Where and what.
        source: serde_json::Error,
    },
    /// A file could not be written; nothing half written is left.
    #[error("{}: {source}; nothing was written, check the folder and the space left", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Printing the result failed.
    #[error("the result could not be printed: {0}")]
    Print(#[source] io::Error),
    /// A result could not be put into JSON.
    #[error("the result could not be written as JSON: {0}")]
    Encode(serde_json::Error),
    /// A photograph was refused.
    #[error(transparent)]
    Photo(#[from] PhotoError),
    /// See [`crate::camera::CameraError`].
    #[error(transparent)]
    Camera(#[from] crate::camera::CameraError),
    /// A file of ours was refused; the sentence begins with its name.
    #[error("{}: {problem}", path.display())]
    Refused {
        /// The file.
        path: PathBuf,
        /// What is wrong with it and the remedy.
        problem: String,
    },
    /// A mat could not be made.
    #[error(transparent)]
    Mat(#[from] MatError),
    /// The photographs could not be measured.
    #[error(transparent)]
    Solve(#[from] SolveError),
    /// The marks do not belong to these photographs.
    #[error(transparent)]
    Marks(#[from] plinthside_measure::marks::MarksError),
    /// Ruler entries can't be used.
    #[error(transparent)]
    Ruler(#[from] plinthside_measure::ruler::RulerError),
    /// The points can't be used.
    #[error(transparent)]
    Points(#[from] plinthside_measure::cast::PointsError),
    /// The points could not be turned into results.
    #[error(transparent)]
    Cast(#[from] CastError),
    /// A page could not be made.
    #[error(transparent)]
    Paper(#[from] PaperError),
    /// A file the program ships with was refused: a fault of the program.
    #[error("{0}; please report this, nothing was lost")]
    Shipped(#[from] plinthside_visit::data::DataError),
    /// An order was not signed.
    #[error(transparent)]
    Sign(#[from] plinthside_visit::order::SignError),
    /// A typed code was refused.
    #[error(transparent)]
    Code(#[from] plinthside_paper::code::CodeError),
    /// Nothing was printed, or the queue refused.
    #[error(transparent)]
    Queue(#[from] plinthside_print::QueueError),
    /// A text that is no printer's address.
    #[error(transparent)]
    Printer(#[from] plinthside_print::AddressError),
    /// A printer did not do what it was asked.
    #[error(transparent)]
    Remote(#[from] plinthside_print::RemoteError),
    /// The window could not be opened.
    #[error(transparent)]
    Window(#[from] crate::window::WindowError),
    /// A package, a target or a device of the practice was refused.
    #[error(transparent)]
    Exchange(#[from] plinthside_exchange::ExchangeError),
    /// A target did not answer as it should.
    #[error(transparent)]
    Target(#[from] plinthside_exchange::TargetError),
    /// The store refused; what was saved before is still saved.
    #[error(transparent)]
    Store(#[from] plinthside_store::StoreError),
    /// A cast was photographed beside another label than the one to be bound.
    #[error(
        "the photographs of this cast show the label {seen}, not {code}: bind that one, or photograph the cast again without it"
    )]
    OtherLabelSeen {
        /// The label to be bound.
        code: String,
        /// The label in the photographs.
        seen: String,
    },
    /// A request that cannot be met; the sentence says why and what to do.
    #[error("{0}")]
    Request(String),
}

impl AppError {
    /// Whether only the reader of our output went away.
    #[must_use]
    pub fn is_broken_pipe(&self) -> bool {
        matches!(self, Self::Print(source) if source.kind() == io::ErrorKind::BrokenPipe)
    }
}
