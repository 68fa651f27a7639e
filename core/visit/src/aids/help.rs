//! Help for each step, a data file beside the check lists it points to.

use crate::data::{DataError, DataFile};
use crate::source::Source;
use crate::words::Text;
use serde::Deserialize;

const SHIPPED: &str = include_str!("../../data/help.toml");

/// Help for every step.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Help {
    /// Version of the file's shape; 1.
    pub schema: u32,
    /// The steps, in the order of the work.
    pub step: Vec<StepHelp>,
}

/// Help for one step.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepHelp {
    /// Key of the step.
    pub id: String,
    /// What is said, in order.
    pub lines: Vec<HelpLine>,
    /// Keys of the check lists that belong to it.
    #[serde(default)]
    pub lists: Vec<String>,
}

/// One thing said.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HelpLine {
    /// In words.
    pub say: Text,
    /// Where it comes from; none where it is about the program itself.
    #[serde(default)]
    pub source: Option<Source>,
}

impl Help {
    /// The help that the program ships.
    ///
    /// # Errors
    /// None in a released program: a test reads it.
    pub fn shipped() -> Result<Self, DataError> {
        let file = DataFile {
            name: "help.toml",
            text: SHIPPED,
        };
        file.parse()
    }

    /// Help for a step, by its key.
    #[must_use]
    pub fn step(&self, id: &str) -> Option<&StepHelp> {
        self.step.iter().find(|step| step.id == id)
    }
}
