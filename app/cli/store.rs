//! Arguments of the commands that look after the store as a whole, and of `erase`.

use super::{ByArgs, StoreArgs};
use chrono::NaiveDate;
use clap::Args;
use std::path::PathBuf;

/// `plinthside backup` and `plinthside restore`
#[derive(Debug, Args)]
pub struct BackupArgs {
    /// The backup
    pub file: PathBuf,
    /// The store
    #[command(flatten)]
    pub store: StoreArgs,
}

/// `plinthside check`
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Make lists and search again from the records first
    #[arg(long)]
    pub rebuild: bool,
    /// Print the result as JSON
    #[arg(long)]
    pub json: bool,
    /// The store
    #[command(flatten)]
    pub store: StoreArgs,
}

/// `plinthside figures`
#[derive(Debug, Args)]
pub struct FiguresArgs {
    /// First day of the visits that count (`2026-01-01`)
    #[arg(long, value_name = "DAY")]
    pub from: Option<NaiveDate>,
    /// Last day of the visits that count
    #[arg(long, value_name = "DAY")]
    pub to: Option<NaiveDate>,
    /// Print the result as JSON
    #[arg(long)]
    pub json: bool,
    /// The store
    #[command(flatten)]
    pub store: StoreArgs,
}

/// `plinthside erase`
#[derive(Debug, Args)]
pub struct EraseArgs {
    /// Identifier of the visit, or the cast code on its bag
    pub visit: String,
    /// Erase it without asking for the patient's code
    #[arg(long)]
    pub yes_erase: bool,
    /// Who erases it
    #[command(flatten)]
    pub by: ByArgs,
    /// The store
    #[command(flatten)]
    pub store: StoreArgs,
}

/// `plinthside passphrase`
#[derive(Debug, Args)]
pub struct PassphraseArgs {
    /// File whose first line is the new passphrase, instead of being asked twice
    #[arg(long, value_name = "FILE")]
    pub new_passphrase_file: Option<PathBuf>,
    /// Who changes it
    #[command(flatten)]
    pub by: ByArgs,
    /// The store; `--passphrase-file` holds the passphrase of today
    #[command(flatten)]
    pub store: StoreArgs,
}

/// `plinthside salvage`
#[derive(Debug, Args)]
pub struct SalvageArgs {
    /// The damaged store; it is not changed
    pub store: PathBuf,
    /// The new store; it opens with the passphrase of the damaged one
    pub new: PathBuf,
    /// File whose first line is the passphrase, instead of being asked
    #[arg(long, value_name = "FILE")]
    pub passphrase_file: Option<PathBuf>,
}
