//! A clinic's own rule file, as window and command take it.

use crate::error::AppError;
use crate::files;
use plinthside_visit::knowledge::OWN_RULES;
use plinthside_visit::rules::RuleSet;
use std::path::Path;

/// A rule file is a few pages of text.
const LIMIT_BYTES: u64 = 1 << 20;

/// Reads a rule file: its text and the rules in it.
///
/// # Errors
/// It can't be read, or holds an error, named with line and rule.
pub fn read(path: &Path) -> Result<(String, RuleSet), AppError> {
    let refused = |problem: String| AppError::Refused {
        path: path.to_owned(),
        problem,
    };
    let text = String::from_utf8(files::read_limited(path, LIMIT_BYTES)?)
        .map_err(|_| refused("this is no text file; choose a rule file".into()))?;
    let rules = RuleSet::parse(OWN_RULES, &text).map_err(|e| refused(e.to_string()))?;
    Ok((text, rules))
}
