//! Arguments of `sync`, `devices`, `pack` and `open`.

use super::{SideArg, StoreArgs};
use clap::{Args, Subcommand, ValueEnum};
use std::path::PathBuf;

/// `plinthside sync`
#[derive(Debug, Args)]
pub struct SyncArgs {
    /// The target's kept name, or its address: a folder, https://… (WebDAV) or s3://…
    pub target: String,
    /// User name or access key, where the target asks for one
    #[arg(long, value_name = "NAME", requires = "secret_file")]
    pub user: Option<String>,
    /// File whose first line is the password or secret
    #[arg(long, value_name = "FILE", requires = "user")]
    pub secret_file: Option<PathBuf>,
    /// A certificate (PEM) to trust beside the system's
    #[arg(long, value_name = "FILE")]
    pub certificate: Option<PathBuf>,
    /// Keep the target, credentials included, in the store under this name
    #[arg(long, value_name = "NAME")]
    pub keep_as: Option<String>,
    /// Changes alone, for a slow line
    #[arg(long)]
    pub without_photographs: bool,
    /// Print the result as JSON
    #[arg(long)]
    pub json: bool,
    /// The store
    #[command(flatten)]
    pub store: StoreArgs,
}

/// `plinthside devices …`
#[derive(Debug, Subcommand)]
pub enum DevicesCommand {
    /// Who is in
    List {
        /// The store
        #[command(flatten)]
        store: StoreArgs,
    },
    /// Show a code that lets another device join
    Invite {
        /// The target both devices reach
        #[arg(long, value_name = "TARGET")]
        at: String,
        /// The store
        #[command(flatten)]
        store: StoreArgs,
    },
    /// Join with a code shown on a device that is in
    Join {
        /// The code
        code: String,
        /// The target both devices reach
        #[arg(long, value_name = "TARGET")]
        at: String,
        /// The store
        #[command(flatten)]
        store: StoreArgs,
    },
    /// Strike a lost device off: its later changes are refused, the practice key changes
    StrikeOff {
        /// Its identifier, as `devices list` prints it
        device: String,
        /// The store
        #[command(flatten)]
        store: StoreArgs,
    },
    /// Change the practice key: who copied the target's files and learns the old one reads nothing new
    ChangeKey {
        /// The store
        #[command(flatten)]
        store: StoreArgs,
    },
}

/// `plinthside pack`
#[derive(Debug, Args)]
pub struct PackArgs {
    /// Identifier of the visit, or the cast code on its bag
    pub visit: String,
    /// Which foot, where the visit is about both
    #[arg(long, value_enum)]
    pub side: Option<SideArg>,
    /// The lab, as the clinic's settings call it
    #[arg(long, value_name = "NAME")]
    pub lab: String,
    /// Its public key (age1…), instead of the one in the settings
    #[arg(long, value_name = "KEY")]
    pub key: Option<String>,
    /// Send the patient's name and date of birth too; without it the lab sees the code alone
    #[arg(long)]
    pub with_name: bool,
    /// Where to write it
    #[arg(long, value_name = "FILE", required_unless_present = "at")]
    pub out: Option<PathBuf>,
    /// Lay it for the lab at a target: one kept by its name, a folder or an address
    #[arg(long, value_name = "TARGET")]
    pub at: Option<String>,
    /// The store
    #[command(flatten)]
    pub store: StoreArgs,
}

/// What a lab answers.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum AnswerArg {
    /// It is being made
    Accepted,
    /// Something has to be answered first
    Question,
    /// It will not be made
    Rejected,
}

/// `plinthside open`
#[derive(Debug, Args)]
pub struct OpenArgs {
    /// The package
    pub package: PathBuf,
    /// The lab's key file, as age-keygen writes it
    #[arg(long, value_name = "FILE")]
    pub key: PathBuf,
    /// Folder where packages are opened
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Also write an answer for the clinic beside the package
    #[arg(long, value_enum)]
    pub answer: Option<AnswerArg>,
    /// Who answers
    #[arg(long, default_value = "", value_name = "NAME")]
    pub by: String,
    /// What is asked, or why it is rejected
    #[arg(long, default_value = "", value_name = "TEXT")]
    pub reason: String,
}
