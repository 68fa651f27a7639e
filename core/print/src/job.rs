//! A job, where it stands and what it waits for.

use crate::Address;
use crate::document::Contents;
use serde::{Deserialize, Serialize};
use std::fmt;

/// How far a job has come. Each is on the shelf before the next step is taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "at")]
pub enum Stage {
    /// Not yet at the printer.
    Queued,
    /// The printer may have an empty job of this name; nothing can have been printed.
    Claimed,
    /// The printer has a job of this number, and may have its document.
    Created {
        /// The printer's number.
        job: i32,
    },
    /// The printer has the document and prints it when it can.
    Sent {
        /// The printer's number.
        job: i32,
    },
    /// Printed.
    Done,
    /// Cancelled here or at the printer.
    Cancelled,
    /// Ended without being printed whole. It can be queued again.
    Failed {
        /// Why, in words.
        why: String,
    },
    /// Nobody can say whether it was printed: look, then queue it again or call it done.
    Unsure {
        /// Why, in words.
        why: String,
    },
}

/// What a job waits for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "for")]
pub enum Wait {
    /// For its turn to be looked at.
    Turn,
    /// For the printer to answer.
    Network {
        /// What the network said.
        why: String,
    },
    /// For somebody at the printer: paper, a jam, a cover.
    Printer {
        /// What to do, in words.
        why: String,
    },
    /// For paper of the right size.
    Media {
        /// What to load, in words.
        why: String,
    },
    /// For the printer to finish it.
    Printing,
    /// For a person to say what became of it.
    Decision,
}

impl fmt::Display for Wait {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Turn => f.write_str("waits for its turn"),
            Self::Network { why } => write!(f, "waits: {why}"),
            Self::Printer { why } => write!(f, "waits: {why}"),
            Self::Media { why } => write!(f, "waits for paper: {why}"),
            Self::Printing => f.write_str("the printer has it"),
            Self::Decision => f.write_str(
                "waits for you: look at the printer, then print it again or call it done",
            ),
        }
    }
}

/// One job of the queue.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Job {
    /// Identifier, also part of the name the printer shows.
    pub id: String,
    /// Where it is to be printed.
    pub printer: Address,
    /// The printer's own certificate is taken as it is.
    pub trusted: bool,
    /// Who prints.
    pub by: String,
    /// How often.
    pub copies: u32,
    /// When it was queued, milliseconds since 1970.
    pub queued_ms: i64,
    /// When its stage last changed, milliseconds since 1970.
    pub changed_ms: i64,
    /// How far it has come.
    pub stage: Stage,
    /// What it waits for, unless it has ended.
    pub waits_for: Option<Wait>,
    /// To be cancelled as soon as the printer answers.
    pub cancel: bool,
    pub(crate) contents: Contents,
    /// Octets of the document as it was last sent.
    #[serde(default)]
    pub(crate) sent_octets: usize,
    /// How often it was queued again: each try has a name of its own at the printer.
    pub(crate) tries: u32,
}

impl Job {
    /// What people call the document.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.contents.title
    }

    /// Whether nothing more will happen to it by itself.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        matches!(
            self.stage,
            Stage::Done | Stage::Cancelled | Stage::Failed { .. } | Stage::Unsure { .. }
        )
    }

    /// Name of the job at the printer. It carries no title: titles can name a patient, and a
    /// printer shows its jobs to everybody.
    #[must_use]
    pub fn name(&self) -> String {
        format!("Plinthside {}-{}", self.id, self.tries)
    }

    /// Where it stands, in words.
    #[must_use]
    pub fn status(&self) -> String {
        match (&self.stage, &self.waits_for) {
            (Stage::Done, _) => "printed".into(),
            (Stage::Cancelled, _) => "cancelled".into(),
            (Stage::Failed { why }, _) => format!("not printed: {why}"),
            (Stage::Unsure { why }, _) => format!("{why}; {}", Wait::Decision),
            (_, Some(wait)) => wait.to_string(),
            (_, None) => Wait::Turn.to_string(),
        }
    }
}
