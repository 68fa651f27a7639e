//! `plinthside rules`: tries a clinic's own rule file, or tells what rules may ask.

use super::print;
use crate::cli::RulesArgs;
use crate::error::AppError;
use plinthside_visit::rules::{FactKind, RuleSet, all_facts, kind_of};

/// Runs the command.
///
/// # Errors
/// The file can't be read, or holds an error, named with line and rule.
pub fn run(args: &RulesArgs) -> Result<(), AppError> {
    match &args.file {
        _ if args.facts => print(&facts()),
        None => print(RuleSet::shipped_text()),
        Some(path) => {
            let (_, own) = crate::rules::read(path)?;
            print(&format!(
                "{}: {} rules, none with an error; load it in the window under Settings, Rules\n",
                path.display(),
                own.rules.len()
            ))
        }
    }
}

/// Every fact with what it can be, one a line.
fn facts() -> String {
    let line = |fact: String| {
        let kind = match kind_of(&fact)? {
            FactKind::Number(unit) if unit == "1" => "a number".to_owned(),
            FactKind::Number(unit) => format!("a number, {unit}"),
            FactKind::Flag => "yes or no".to_owned(),
            FactKind::Words(words) if words.is_empty() => "words".to_owned(),
            FactKind::Words(words) => words.join(" | "),
        };
        Some(format!("{fact:<60} {kind}\n"))
    };
    all_facts().into_iter().filter_map(line).collect()
}
