//! Arguments of labels, mats and printing.

use super::{SheetPaper, StoreArgs, VisitArgs};
use clap::{Args, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Where a paper goes: to a file, to a printer, or both.
#[derive(Debug, Args)]
pub struct OutArgs {
    /// Where to write it, .pdf or .png
    #[arg(long, value_name = "FILE", required_unless_present = "to")]
    pub out: Option<PathBuf>,
    /// Open the written file with the system's program
    #[arg(long, requires = "out")]
    pub open: bool,
    /// Print it: one of the clinic's printers by its name, or ipp://NAME
    #[arg(long, value_name = "PRINTER")]
    pub to: Option<String>,
    /// How often it is printed
    #[arg(long, value_name = "N", default_value_t = 1, requires = "to")]
    pub copies: u32,
}

/// Who does it.
#[derive(Debug, Args)]
pub struct ByArgs {
    /// Who does it
    #[arg(long, value_name = "NAME", default_value = "command line")]
    pub by: String,
}

/// `plinthside label`
#[derive(Debug, Args)]
pub struct LabelArgs {
    /// Which visit, and where to find it
    #[command(flatten)]
    pub visit: VisitArgs,
    /// Size, width x height in mm
    #[arg(long, default_value = "62x100", value_name = "SIZE")]
    pub size: String,
    /// Dots per inch of the label's printer: 203, 300 or 600
    #[arg(long, default_value_t = 300)]
    pub dpi: u32,
    /// Where it goes
    #[command(flatten)]
    pub out: OutArgs,
    /// Who prints it
    #[command(flatten)]
    pub by: ByArgs,
}

/// `plinthside labels`
#[derive(Debug, Args)]
pub struct LabelsArgs {
    /// Paper of the sheet
    #[arg(long, value_enum, default_value = "a4")]
    pub sheet: SheetPaper,
    /// How many labels
    #[arg(short = 'n', long = "number", default_value_t = 24)]
    pub number: u32,
    /// Name of the clinic, printed on each; without it the store's
    #[arg(long, default_value = "", value_name = "NAME")]
    pub clinic: String,
    /// Its telephone number, printed on each; without it the store's
    #[arg(long, default_value = "", value_name = "NUMBER")]
    pub telephone: String,
    /// Do not note the labels as free ones of the store; they can be bound all the same
    #[arg(long)]
    pub unrecorded: bool,
    /// Where they go
    #[command(flatten)]
    pub out: OutArgs,
    /// Who prints them
    #[command(flatten)]
    pub by: ByArgs,
    /// The store that notes them
    #[command(flatten)]
    pub store: StoreArgs,
}

/// Paper of a mat.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum MatPaper {
    /// ISO A3, landscape
    A3,
    /// ISO A4, landscape
    A4,
    /// US Letter, landscape
    Letter,
    /// Two A4 sheets side by side on a board
    TwoA4,
}

/// `plinthside mat`
#[derive(Debug, Args)]
pub struct MatArgs {
    /// Paper to print on
    #[arg(long, value_enum, default_value = "a3")]
    pub paper: MatPaper,
    /// Where to write the page(s), .pdf or .png
    #[arg(long, value_name = "FILE", required_unless_present_any = ["to", "measured"])]
    pub out: Option<PathBuf>,
    /// Open the written file with the system's program
    #[arg(long, requires = "out")]
    pub open: bool,
    /// Where to write the layout file that `measure` reads
    #[arg(long, value_name = "FILE")]
    pub layout: Option<PathBuf>,
    /// Print it: one of the clinic's printers by its name, or ipp://NAME
    #[arg(long, value_name = "PRINTER")]
    pub to: Option<String>,
    /// The printer that prints it by other means: the layout takes its measured check bars
    #[arg(long, value_name = "NAME", conflicts_with = "to")]
    pub printer: Option<String>,
    /// What the check bars of a print measure, across and along, mm: entered in the layout file, or
    /// kept for that printer's prints
    #[arg(long, num_args = 2, value_names = ["ACROSS", "ALONG"], conflicts_with = "out", allow_negative_numbers = true)]
    pub measured: Option<Vec<f64>>,
    /// Standard deviation of that measurement, mm
    #[arg(long, value_name = "MM", default_value_t = crate::mats::RULE_SD_MM)]
    pub sd: f64,
    /// Who does it
    #[command(flatten)]
    pub by: ByArgs,
    /// The clinic's store, for its printers and what their prints measure
    #[command(flatten)]
    pub store: StoreArgs,
}

/// Where print jobs are kept.
#[derive(Debug, Clone, Args)]
pub struct QueueArgs {
    /// A folder that holds the jobs instead of the clinic's store, for papers that are files
    /// already; it is not encrypted
    #[arg(long, global = true, value_name = "DIR", conflicts_with_all = ["store", "passphrase_file"])]
    pub queue: Option<PathBuf>,
    /// The clinic's store
    #[arg(long, global = true, value_name = "FILE", env = "PLINTHSIDE_STORE")]
    pub store: Option<PathBuf>,
    /// File whose first line is the passphrase, instead of being asked
    #[arg(long, global = true, value_name = "FILE")]
    pub passphrase_file: Option<PathBuf>,
    /// Queue it or change it and do not wait for the printer
    #[arg(long, global = true)]
    pub no_wait: bool,
    /// Print the jobs as JSON
    #[arg(long, global = true)]
    pub json: bool,
}

/// `plinthside print`
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct PrintArgs {
    /// What else than printing a file
    #[command(subcommand)]
    pub command: Option<PrintCommand>,
    /// PDF or PNG to print at its true size
    #[arg(required = true)]
    pub file: Option<PathBuf>,
    /// One of the clinic's printers by its name, or ipp://NAME, or only NAME
    #[arg(long, value_name = "PRINTER", required = true)]
    pub to: Option<String>,
    /// How often
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub copies: u32,
    /// Dots per inch of a PNG that does not say
    #[arg(long)]
    pub dpi: Option<f64>,
    /// Take the printer's own certificate as it is (ipps)
    #[arg(long)]
    pub trust: bool,
    /// Who prints
    #[arg(long, value_name = "NAME", default_value = "command line")]
    pub by: String,
    /// Where the job is kept
    #[command(flatten)]
    pub queue: QueueArgs,
}

/// `plinthside print …`
#[derive(Debug, Subcommand)]
pub enum PrintCommand {
    /// The print jobs and what each waits for
    Jobs,
    /// Take waiting jobs to their printers
    Resume,
    /// Cancel a job, here or at the printer
    Cancel {
        /// The job
        job: String,
    },
    /// Print a job again that failed, or that nobody can say was printed
    Again {
        /// The job
        job: String,
    },
    /// Call such a job done: somebody has seen its papers
    Done {
        /// The job
        job: String,
    },
    /// Ask a printer what it takes and holds
    Ask {
        /// One of the clinic's printers by its name, or its address
        printer: String,
        /// Take its own certificate as it is (ipps)
        #[arg(long)]
        trust: bool,
    },
    /// The clinic's printers
    Printers,
    /// Add a printer to the clinic's, or change it
    Add(PrinterArgs),
    /// Take a printer out of the clinic's
    Remove {
        /// The clinic's word for it
        name: String,
    },
}

/// `plinthside print add`
#[derive(Debug, Args)]
pub struct PrinterArgs {
    /// The clinic's word for it
    pub name: String,
    /// Its address: ipp://NAME/ipp/print, or only its name or number in the network
    pub address: String,
    /// Dots per inch: 203, 300 or 600
    #[arg(long, default_value_t = 300)]
    pub dpi: u32,
    /// Size of the labels it holds
    #[arg(long, value_name = "SIZE", default_value = "")]
    pub label: String,
    /// Take its own certificate as it is (ipps)
    #[arg(long)]
    pub trust: bool,
    /// Who says so
    #[arg(long, value_name = "NAME", default_value = "command line")]
    pub by: String,
}
