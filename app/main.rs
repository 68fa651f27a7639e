//! The `plinthside` command: reads the command line, runs it, turns an error into one sentence.

use plinthside::cli::{Cli, run};
use std::process::ExitCode;

/// Exit status 0: done; 1: refused with a sentence; 2: wrong use (clap's own).
fn main() -> ExitCode {
    match run(Cli::read()) {
        Ok(()) => ExitCode::SUCCESS,
        // A reader that has had enough (`| head`) is no failure of ours.
        Err(error) if error.is_broken_pipe() => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("plinthside: {error}");
            ExitCode::FAILURE
        }
    }
}
