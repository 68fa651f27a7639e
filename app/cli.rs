//! The command line: one enum a command, each run by a function in [`crate::commands`].

mod exchange;
mod printing;
mod store;

pub use exchange::{AnswerArg, DevicesCommand, OpenArgs, PackArgs, SyncArgs};
pub use printing::{
    ByArgs, LabelArgs, LabelsArgs, MatArgs, MatPaper, OutArgs, PrintArgs, PrintCommand,
    PrinterArgs, QueueArgs,
};
pub use store::{BackupArgs, CheckArgs, EraseArgs, FiguresArgs, PassphraseArgs, SalvageArgs};

use crate::commands;
use crate::error::AppError;
use crate::records::Place;
use clap::{Args, Parser, Subcommand, ValueEnum};
use plinthside_measure::marks::Side;
use std::path::{Path, PathBuf};

/// Plaster casts for hinged ankle-foot orthoses: measured, judged, ordered and labelled at the
/// couch.
///
/// Plinthside measures, explains and warns; the licensed clinician decides. Local codes and
/// professional rules take precedence.
#[derive(Debug, Parser)]
#[command(
    version,
    propagate_version = true,
    args_conflicts_with_subcommands = true
)]
pub struct Cli {
    /// What to do; without one the window opens, or opens the sealed package named
    #[command(subcommand)]
    pub command: Option<Command>,
    /// What the window opens on.
    #[command(flatten)]
    pub window: WindowArgs,
}

/// What the window opens on.
#[derive(Debug, Args)]
pub struct WindowArgs {
    /// A sealed package to open on.
    #[arg(skip)]
    pub package: Option<PathBuf>,
    /// The store to open the window on; without it the user's own
    #[arg(long, value_name = "FILE")]
    pub store: Option<PathBuf>,
}

impl WindowArgs {
    fn place(&self) -> Result<Place, AppError> {
        Place::new(self.store.clone(), None)
    }
}

impl Cli {
    /// Reads the command line. A file in place of a command opens the window on it, as a file manager
    /// starts the program; any other slip ends the program, with the command that was meant.
    #[must_use]
    pub fn read() -> Self {
        Self::try_parse().unwrap_or_else(|slip| {
            let words: Vec<_> = std::env::args_os().skip(1).collect();
            match words.as_slice() {
                [word] if Path::new(word).is_file() => Self {
                    command: None,
                    window: WindowArgs {
                        package: std::path::absolute(word).ok(),
                        store: None,
                    },
                },
                _ => slip.exit(),
            }
        })
    }
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Show the invented clinic: open its window, or do two whole visits without a screen
    Demo(DemoArgs),
    /// Make a mat's page and layout file; enter what its check bars measure
    Mat(MatArgs),
    /// Tags and QR codes found in photographs
    Detect(DetectArgs),
    /// From photographs and marks to points, angles, their ± and a verdict
    Measure(MeasureArgs),
    /// Make, check or read cast codes; bind a label, make it void, prove the packed bag by it
    #[command(subcommand)]
    Code(CodeCommand),
    /// The bag label of a visit
    Label(LabelArgs),
    /// A sheet of pre-printed, numbered labels
    Labels(LabelsArgs),
    /// Print a file, look after the print jobs, keep the clinic's printers
    Print(PrintArgs),
    /// The order of a visit
    Order(PaperArgs),
    /// The bench sheet of a visit, at true scale
    Bench(PaperArgs),
    /// The packing list that goes into the bag
    Packing(PaperArgs),
    /// The leaflet for the patient
    Leaflet(PaperArgs),
    /// The card that lies at the couch: check lists, times, room to write when the tablet is dark
    Card(CardArgs),
    /// Take a file of visits into the store; makes the store where there is none yet
    Import(ImportArgs),
    /// Visits by patient, code, label, lab, state or words of a note
    Find(FindArgs),
    /// One visit: what it holds, who changed what when, or as it was at a time
    Show(ShowArgs),
    /// The practice in figures: remakes and why, turnaround, how well each caster repeats
    Figures(FiguresArgs),
    /// Try a clinic's own rule file; the shipped one to begin from, and what rules may ask
    Rules(RulesArgs),
    /// Write the whole store to one encrypted file
    Backup(BackupArgs),
    /// Make a store from a backup; it takes a new device identity
    Restore(BackupArgs),
    /// Check file, records, history, lists, photographs and labels
    Check(CheckArgs),
    /// Erase a visit for good; says first what goes and what stays
    Erase(EraseArgs),
    /// Change the store's passphrase
    Passphrase(PassphraseArgs),
    /// Copy what can still be read of a damaged store into a new one
    Salvage(SalvageArgs),
    /// Synchronise with a folder, a WebDAV address or a bucket
    Sync(SyncArgs),
    /// The devices of the practice: who is in, letting one join, striking a lost one off
    #[command(subcommand)]
    Devices(DevicesCommand),
    /// A sealed package of a signed order for a lab
    Pack(PackArgs),
    /// Open a sealed package with the lab's key, verify all of it, say what changed
    Open(OpenArgs),
}

/// Which store.
#[derive(Debug, Clone, Args)]
pub struct StoreArgs {
    /// The store; without it the user's own
    #[arg(long, value_name = "FILE", env = "PLINTHSIDE_STORE")]
    pub store: Option<PathBuf>,
    /// File whose first line is the passphrase, instead of being asked
    #[arg(long, value_name = "FILE")]
    pub passphrase_file: Option<PathBuf>,
}

impl StoreArgs {
    /// The store's place.
    ///
    /// # Errors
    /// The system names no folder for a program's data.
    pub fn place(&self) -> Result<Place, AppError> {
        Place::new(self.store.clone(), self.passphrase_file.clone())
    }
}

/// `plinthside import`
#[derive(Debug, Args)]
pub struct ImportArgs {
    /// File of visits: `{"clinic": …, "visits": […]}`
    pub file: PathBuf,
    /// Folder with the photographs that the visits name; without it that of the file
    #[arg(long, value_name = "DIR")]
    pub photos: Option<PathBuf>,
    /// Who takes them in
    #[arg(long, value_name = "NAME", default_value = "command line")]
    pub by: String,
    /// Print the result as JSON
    #[arg(long)]
    pub json: bool,
    /// Where they go
    #[command(flatten)]
    pub store: StoreArgs,
}

/// `plinthside find`
#[derive(Debug, Args)]
pub struct FindArgs {
    /// What to look for; typing errors are forgiven
    pub text: String,
    /// How many at most
    #[arg(short = 'n', long = "number", default_value_t = 20)]
    pub number: usize,
    /// Print the result as JSON
    #[arg(long)]
    pub json: bool,
    /// Where to look
    #[command(flatten)]
    pub store: StoreArgs,
}

/// `plinthside rules`
#[derive(Debug, Args)]
pub struct RulesArgs {
    /// The clinic's own rule file; without it the shipped one is printed
    pub file: Option<PathBuf>,
    /// List every fact that a rule may ask, and what it can be
    #[arg(long, conflicts_with = "file")]
    pub facts: bool,
}

/// `plinthside show`
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// Identifier of the visit, or the cast code on its bag
    pub visit: String,
    /// Who changed what, when
    #[arg(long, conflicts_with = "at")]
    pub history: bool,
    /// As it was at that time (`2026-05-12T10:00:00+01:00`)
    #[arg(long, value_name = "TIME")]
    pub at: Option<String>,
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
    /// Where it is
    #[command(flatten)]
    pub store: StoreArgs,
}

/// `plinthside demo`
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// Work without a window and write every output to this folder
    #[arg(long, value_name = "DIR")]
    pub headless: Option<PathBuf>,
}

/// Paper of a document.
#[derive(Debug, Clone, Copy, Default, ValueEnum)]
pub enum SheetPaper {
    /// ISO A4
    #[default]
    A4,
    /// US Letter
    Letter,
}

/// `plinthside detect`
#[derive(Debug, Args)]
pub struct DetectArgs {
    /// Mat file
    #[arg(long, value_name = "FILE")]
    pub mat: Option<PathBuf>,
    /// Photographs, JPEG or PNG
    #[arg(required = true, value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// Print the result as JSON
    #[arg(long)]
    pub json: bool,
}

/// `plinthside measure`
#[derive(Debug, Args)]
pub struct MeasureArgs {
    /// Mat file; not needed for ruler entries
    #[arg(long, value_name = "FILE")]
    pub mat: Option<PathBuf>,
    /// Marks file
    #[arg(long, value_name = "FILE")]
    pub marks: PathBuf,
    /// Tags already found, as `detect --json` prints them, instead of photographs
    #[arg(long, value_name = "FILE", conflicts_with = "photos")]
    pub tags: Option<PathBuf>,
    /// Photographs, JPEG or PNG; none where the marks file holds ruler entries
    #[arg(value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// Smallest angle at which the rays of a mark may meet, degrees
    #[arg(long, value_name = "DEG", default_value_t = 15.0)]
    pub min_rays_deg: f64,
    /// Print the result as JSON
    #[arg(long)]
    pub json: bool,
}

/// `plinthside code …`
#[derive(Debug, Subcommand)]
pub enum CodeCommand {
    /// Draw new cast codes
    New {
        /// How many
        #[arg(short = 'n', long = "number", default_value_t = 1)]
        number: u32,
        /// Print them as JSON
        #[arg(long)]
        json: bool,
    },
    /// Check a typed cast code
    Check {
        /// The code, in any spelling
        text: String,
        /// Print the result as JSON
        #[arg(long)]
        json: bool,
    },
    /// Read every QR code in a photograph
    Read {
        /// Photograph, JPEG or PNG
        photo: PathBuf,
        /// Print the result as JSON
        #[arg(long)]
        json: bool,
    },
    /// Bind a label to the cast of a visit
    Bind {
        /// Identifier of the visit
        visit: String,
        /// The label's code in any spelling, or a photograph of it
        label: String,
        /// Which foot, where the visit is about both
        #[arg(long, value_enum)]
        side: Option<SideArg>,
        /// Who binds it
        #[command(flatten)]
        by: ByArgs,
        /// The store
        #[command(flatten)]
        store: StoreArgs,
    },
    /// Make a label void for good: torn, lost, on the wrong bag
    Void {
        /// The label's code in any spelling, or a photograph of it
        label: String,
        /// Why
        #[arg(long, value_name = "TEXT")]
        why: String,
        /// Who says so
        #[command(flatten)]
        by: ByArgs,
        /// The store
        #[command(flatten)]
        store: StoreArgs,
    },
    /// Where a label stands, and what was done to it
    State {
        /// The label's code in any spelling, or a photograph of it
        label: String,
        /// Print the result as JSON
        #[arg(long)]
        json: bool,
        /// The store
        #[command(flatten)]
        store: StoreArgs,
    },
    /// Prove packed bags by their labels: what is in each, or what is wrong; kept with person and
    /// time
    Prove {
        /// A photograph of each bag's label, or its code
        #[arg(required = true, value_name = "LABEL")]
        labels: Vec<String>,
        /// The visit whose bag it should be
        #[arg(long, value_name = "VISIT")]
        visit: Option<String>,
        /// Its side, where the visit is about both
        #[arg(long, value_enum, requires = "visit")]
        side: Option<SideArg>,
        /// Print the result as JSON
        #[arg(long)]
        json: bool,
        /// Who looks
        #[command(flatten)]
        by: ByArgs,
        /// The store
        #[command(flatten)]
        store: StoreArgs,
    },
}

/// Which visit and side.
#[derive(Debug, Args)]
pub struct VisitArgs {
    /// Identifier of the visit, or the cast code on its bag
    pub visit: String,
    /// Which foot, where the visit is about both
    #[arg(long, value_enum)]
    pub side: Option<SideArg>,
    /// A file of visits it is in, instead of the store
    #[arg(long, value_name = "FILE", conflicts_with_all = ["store", "passphrase_file"])]
    pub visits: Option<PathBuf>,
    /// The store it is in
    #[command(flatten)]
    pub store: StoreArgs,
}

/// Left or right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SideArg {
    /// Left foot
    Left,
    /// Right foot
    Right,
}

impl From<Side> for SideArg {
    fn from(side: Side) -> Self {
        match side {
            Side::Left => Self::Left,
            Side::Right => Self::Right,
        }
    }
}

/// `plinthside order`, `bench` and `packing`
#[derive(Debug, Args)]
pub struct PaperArgs {
    /// Which visit, and where to find it
    #[command(flatten)]
    pub visit: VisitArgs,
    /// Paper
    #[arg(long, value_enum, default_value = "a4")]
    pub paper: SheetPaper,
    /// Where it goes
    #[command(flatten)]
    pub out: OutArgs,
    /// Who prints it
    #[command(flatten)]
    pub by: ByArgs,
}

/// `plinthside card`
#[derive(Debug, Args)]
pub struct CardArgs {
    /// Paper
    #[arg(long, value_enum, default_value = "a4")]
    pub paper: SheetPaper,
    /// Language
    #[arg(long, value_enum, default_value = "en")]
    pub language: LanguageArg,
    /// Where to write it, .pdf or .png
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
}

/// Language of a paper that belongs to no clinic.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum LanguageArg {
    /// English
    En,
    /// German
    De,
}

/// Runs a command line.
///
/// # Errors
/// Whatever stopped the command, as one sentence.
pub fn run(cli: Cli) -> Result<(), AppError> {
    match cli.command {
        None => crate::window::open_own(cli.window.place()?, cli.window.package.as_deref()),
        Some(Command::Demo(args)) => commands::demo::run(&args),
        Some(Command::Mat(args)) => commands::mat::run(&args),
        Some(Command::Detect(args)) => commands::detect::run(&args),
        Some(Command::Measure(args)) => commands::measure::run(&args),
        Some(Command::Code(command)) => commands::code::run(&command),
        Some(Command::Label(args)) => commands::label::run(&args),
        Some(Command::Labels(args)) => commands::label::labels(&args),
        Some(Command::Print(args)) => commands::print_jobs::run(&args),
        Some(Command::Order(args)) => commands::papers::order(&args),
        Some(Command::Bench(args)) => commands::papers::bench(&args),
        Some(Command::Packing(args)) => commands::papers::packing(&args),
        Some(Command::Leaflet(args)) => commands::papers::leaflet(&args),
        Some(Command::Card(args)) => commands::papers::card(&args),
        Some(Command::Import(args)) => commands::records::import(&args),
        Some(Command::Find(args)) => commands::records::find(&args),
        Some(Command::Show(args)) => commands::records::show(&args),
        Some(Command::Figures(args)) => commands::figures::run(&args),
        Some(Command::Rules(args)) => commands::rules::run(&args),
        Some(Command::Backup(args)) => commands::records::backup(&args),
        Some(Command::Restore(args)) => commands::records::restore(&args),
        Some(Command::Check(args)) => commands::records::check(&args),
        Some(Command::Erase(args)) => commands::keep::erase(&args),
        Some(Command::Passphrase(args)) => commands::keep::passphrase(&args),
        Some(Command::Salvage(args)) => commands::keep::salvage(&args),
        Some(Command::Sync(args)) => commands::exchange::sync(&args),
        Some(Command::Devices(command)) => commands::exchange::devices(&command),
        Some(Command::Pack(args)) => commands::exchange::pack(&args),
        Some(Command::Open(args)) => commands::exchange::open(&args),
    }
}
