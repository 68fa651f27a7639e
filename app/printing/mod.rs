//! Papers on their way to a printer: the same for commands and screens.
//!
//! [`sheet`] sets a paper of one foot for a printer, [`mat`] a mat, [`from_file`] takes a file;
//! [`queue`] opens the clinic's queue in its store, and [`Queue::advance`] takes its jobs on.
//! A printer is named in the clinic's settings ([`find`]) or by its address.

mod documents;
mod shelf;

pub use documents::{Wants, from_file, mat, of_document, sheet, stickers};
pub use shelf::StoreShelf;

use crate::clock;
use crate::error::AppError;
use plinthside_exchange::Holder;
use plinthside_paper::{LabelSize, Paper, PrinterDots};
use plinthside_print::{About, Address, PrintDocument, Printer, Queue};
use plinthside_visit::Clinic;
use plinthside_visit::person::ClinicPrinter;
use std::path::Path;

/// A paper of one foot of a visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sheet {
    /// The bag label.
    Label(LabelSize),
    /// The order.
    Order(Paper),
    /// The bench sheet at true scale.
    Bench(Paper),
    /// The packing list.
    Packing(Paper),
    /// The patient's leaflet.
    Leaflet(Paper),
}

/// A printer as the user means it.
#[derive(Debug, Clone)]
pub struct Target {
    /// The clinic's word for it, else its address.
    pub name: String,
    /// Where it answers.
    pub address: Address,
    /// Its own certificate is taken as it is.
    pub trusted: bool,
    /// Dots it lays.
    pub dots: PrinterDots,
    /// What it said of itself when it was asked; `None` until then, and where it did not answer.
    pub about: Option<About>,
}

impl Target {
    /// Asks the printer what it takes, and finds its whole address where only a name was given.
    /// One that does not answer is left as it is: the queue waits for it.
    #[must_use]
    pub fn asked(mut self) -> Self {
        if let Ok((address, about)) = Printer::discover(&self.address, self.trusted) {
            (self.address, self.about) = (address, Some(about));
        }
        self
    }
}

/// The printer that was meant: one of the clinic's by its name, else an address.
///
/// # Errors
/// Neither a printer of the clinic nor an address.
pub fn find(clinic: &Clinic, wanted: &str) -> Result<Target, AppError> {
    let wanted = wanted.trim();
    let named = |p: &&ClinicPrinter| p.name.to_lowercase() == wanted.to_lowercase();
    if let Some(printer) = clinic.printers.iter().find(named) {
        return Ok(Target {
            name: printer.name.clone(),
            address: printer.address.parse()?,
            trusted: printer.trusted,
            dots: dots(printer.dpi)?,
            about: None,
        });
    }
    let address: Address = wanted.parse()?;
    Ok(Target {
        name: address.to_string(),
        address,
        trusted: false,
        dots: PrinterDots::DPI_300,
        about: None,
    })
}

/// Dots of a printer by what people call them; 300 where nothing was said.
///
/// # Errors
/// Any other number than 203, 300 and 600.
pub fn dots(dpi: u32) -> Result<PrinterDots, AppError> {
    match dpi {
        203 => Ok(PrinterDots::DPI_203),
        0 | 300 => Ok(PrinterDots::DPI_300),
        600 => Ok(PrinterDots::DPI_600),
        other => Err(AppError::Request(format!(
            "labels are drawn for printers of 203, 300 or 600 dots per inch, not {other}"
        ))),
    }
}

/// The clinic's print queue in its store.
///
/// # Errors
/// The store can't be read.
pub fn queue<H: Holder>(store: H) -> Result<Queue<StoreShelf<H>>, AppError> {
    Ok(Queue::open(StoreShelf(store))?)
}

/// Puts a document into a queue; it is on the disk when this returns. The job's identifier.
///
/// # Errors
/// Nothing to print, or the disk refuses; nothing is queued then.
pub fn add<S: plinthside_print::Shelf>(
    queue: &mut Queue<S>,
    document: &PrintDocument,
    to: &Target,
    copies: u32,
    by: &str,
) -> Result<String, AppError> {
    let id = queue.add(document, &to.address, copies, by, now_ms())?;
    if to.trusted {
        queue.trust(&id)?;
    }
    Ok(id)
}

/// Now, as the queue counts time.
#[must_use]
pub fn now_ms() -> i64 {
    clock::now().timestamp_millis()
}

/// Hands a file to whatever the operating system opens or shares it with.
///
/// # Errors
/// The system has nothing for it.
pub fn hand_to_system(file: &Path) -> Result<(), AppError> {
    open::that_detached(file).map_err(|source| {
        AppError::Request(format!(
            "{}: the file is there, but the system could not open it ({source}); open it by hand",
            file.display()
        ))
    })
}
