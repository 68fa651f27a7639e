//! `plinthside print`: files to printers, the jobs of the queue, the clinic's printers.

use super::print;
use crate::cli::{PrintArgs, PrintCommand, PrinterArgs, QueueArgs};
use crate::error::AppError;
use crate::files;
use crate::printing::{self, StoreShelf, Target, now_ms};
use crate::records::{Place, Records};
use plinthside_paper::LabelSize;
use plinthside_print::{
    About, Address, Folder, Job, PrintDocument, Printer, Queue, QueueError, Shelf, ShelfError,
    Stage, Wait,
};
use plinthside_store::Store;
use plinthside_visit::Clinic;
use plinthside_visit::person::ClinicPrinter;
use serde_json::json;
use std::sync::Mutex;
use std::time::{Duration, Instant};

/// How long a command waits for a printer that does not take its job on.
const PATIENCE: Duration = Duration::from_secs(8);
/// How long it waits for one that has the job and is stopped.
const PATIENCE_STOPPED: Duration = Duration::from_mins(2);
/// Between two looks at a job.
const PAUSE: Duration = Duration::from_millis(200);

/// Runs the command.
///
/// # Errors
/// No such printer or job, a file that can't be printed, or a printer that doesn't take it.
pub fn run(args: &PrintArgs) -> Result<(), AppError> {
    match &args.command {
        None => file(args),
        Some(PrintCommand::Add(printer)) => add(printer, &args.queue),
        Some(PrintCommand::Remove { name }) => remove(name, &args.queue),
        Some(PrintCommand::Printers) => printers(&args.queue),
        Some(PrintCommand::Ask { printer, trust }) => ask(printer, *trust, &args.queue),
        Some(PrintCommand::Jobs) => change(&args.queue, |_| Ok(None)),
        Some(PrintCommand::Resume) => change(&args.queue, |queue| {
            let waiting = queue.jobs().iter().filter(|job| !job.has_ended());
            Ok(Some(waiting.map(|job| job.id.clone()).collect()))
        }),
        Some(PrintCommand::Cancel { job }) => change(&args.queue, |queue| {
            queue.cancel(job, now_ms())?;
            Ok(Some(vec![job.clone()]))
        }),
        Some(PrintCommand::Again { job }) => change(&args.queue, |queue| {
            queue.again(job, now_ms())?;
            Ok(Some(vec![job.clone()]))
        }),
        Some(PrintCommand::Done { job }) => change(&args.queue, |queue| {
            queue.settle(job, now_ms())?;
            Ok(None)
        }),
    }
}

/// A document to a printer, by the queue of the clinic's store.
///
/// # Errors
/// No such printer, or one that doesn't take it; the job stays in the queue where it can wait.
pub fn send(
    records: Records,
    to: &str,
    copies: u32,
    by: &str,
    make: impl FnOnce(&Target) -> Result<PrintDocument, AppError>,
) -> Result<(), AppError> {
    let target = printing::find(records.clinic(), to)?.asked();
    let document = make(&target)?;
    let store = Mutex::new(records.into_store());
    let mut queue = printing::queue(store)?;
    let id = printing::add(&mut queue, &document, &target, copies, by)?;
    follow(&mut queue, &[id])
}

fn file(args: &PrintArgs) -> Result<(), AppError> {
    let (Some(path), Some(to)) = (&args.file, &args.to) else {
        return Err(AppError::Request(
            "name a file and, with --to, a printer".into(),
        ));
    };
    let (mut queue, clinic) = open(&args.queue)?;
    let mut target = printing::find(&clinic, to)?;
    target.trusted |= args.trust;
    let target = target.asked();
    let document = printing::from_file(path, args.dpi, &target)?;
    let id = printing::add(&mut queue, &document, &target, args.copies, &args.by)?;
    if args.queue.no_wait {
        return list(queue.jobs(), args.queue.json);
    }
    let done = follow(&mut queue, &[id]);
    if args.queue.json {
        list(queue.jobs(), true)?;
    }
    done
}

/// Changes jobs, then follows those it returns, and shows all.
fn change(
    args: &QueueArgs,
    act: impl FnOnce(&mut Queue<Either>) -> Result<Option<Vec<String>>, QueueError>,
) -> Result<(), AppError> {
    let (mut queue, _) = open(args)?;
    let followed = match act(&mut queue)? {
        Some(jobs) if !args.no_wait => follow(&mut queue, &jobs),
        _ => Ok(()),
    };
    list(queue.jobs(), args.json)?;
    followed
}

/// Takes jobs on until each has ended or has waited long enough.
fn follow<S: Shelf>(queue: &mut Queue<S>, jobs: &[String]) -> Result<(), AppError> {
    let mut said = vec![String::new(); jobs.len()];
    let mut since = Instant::now();
    loop {
        queue.advance(now_ms())?;
        let mut waiting = None;
        for (id, said) in jobs.iter().zip(&mut said) {
            let Some(job) = queue.job(id) else { continue };
            let status = job.status();
            if *said != status {
                eprintln!("{} ({}): {status}", job.title(), job.id);
                (*said, since) = (status, Instant::now());
            }
            if !job.has_ended() {
                waiting = Some(job);
            }
        }
        let Some(job) = waiting else { break };
        let patience = match (&job.stage, &job.waits_for) {
            (_, Some(Wait::Printing)) => Duration::MAX,
            (Stage::Sent { .. }, _) => PATIENCE_STOPPED,
            _ => PATIENCE,
        };
        if since.elapsed() > patience {
            return Err(AppError::Request(format!(
                "print job {} {}; it is kept, and `plinthside print resume` takes it on",
                job.id,
                job.status()
            )));
        }
        std::thread::sleep(PAUSE);
    }
    let failed = jobs.iter().filter_map(|id| queue.job(id));
    match failed
        .filter(|job| matches!(job.stage, Stage::Failed { .. } | Stage::Unsure { .. }))
        .last()
    {
        Some(job) => Err(AppError::Request(format!(
            "print job {}: {}",
            job.id,
            job.status()
        ))),
        None => Ok(()),
    }
}

fn list(jobs: &[Job], as_json: bool) -> Result<(), AppError> {
    if as_json {
        let jobs: Vec<_> = jobs
            .iter()
            .map(|job| {
                json!({
                    "id": job.id, "title": job.title(), "printer": job.printer, "by": job.by,
                    "copies": job.copies, "stage": job.stage, "waits_for": job.waits_for,
                    "status": job.status(),
                })
            })
            .collect();
        return print(&files::json_text(&jobs)?);
    }
    if jobs.is_empty() {
        return print("No print jobs.\n");
    }
    let line = |job: &Job| {
        let copies = match job.copies {
            1 => String::new(),
            n => format!(" × {n}"),
        };
        let (id, title, printer, status) = (&job.id, job.title(), &job.printer, job.status());
        format!("{id}  {title}{copies}  {printer}  {status}\n")
    };
    print(&jobs.iter().map(line).collect::<String>())
}

fn place(args: &QueueArgs) -> Result<Place, AppError> {
    Place::new(args.store.clone(), args.passphrase_file.clone())
}

fn open(args: &QueueArgs) -> Result<(Queue<Either>, Clinic), AppError> {
    if let Some(folder) = &args.queue {
        let shelf = Folder::open(folder).map_err(QueueError::from)?;
        return Ok((Queue::open(Either::Folder(shelf))?, Clinic::default()));
    }
    let records = place(args)?.open()?;
    let clinic = records.clinic().clone();
    let shelf = StoreShelf(Mutex::new(records.into_store()));
    Ok((Queue::open(Either::Store(Box::new(shelf)))?, clinic))
}

fn ask(wanted: &str, trust: bool, args: &QueueArgs) -> Result<(), AppError> {
    // An address needs no store to be asked.
    let address: Result<Address, _> = wanted.parse();
    let named = args.store.is_some() || args.passphrase_file.is_some();
    let (address, trusted) = match address {
        Ok(address) if !named => (address, trust),
        _ => {
            let target = printing::find(place(args)?.open()?.clinic(), wanted)?;
            (target.address, target.trusted || trust)
        }
    };
    let (address, about) = Printer::discover(&address, trusted)?;
    if args.json {
        return print(&files::json_text(&json!({
            "address": address, "name": about.name, "uuid": about.uuid,
            "accepting": about.accepting, "trouble": about.trouble(), "formats": about.formats,
            "raster_dpi": about.raster_dpi, "media_supported": about.media_names,
            "media_ready": about.media_ready.iter().map(ToString::to_string).collect::<Vec<_>>(),
        }))?);
    }
    print(&words(&address, &about))
}

fn words(address: &Address, about: &About) -> String {
    let sizes = |sizes: &[plinthside_print::Media]| {
        let sizes: Vec<String> = sizes.iter().map(ToString::to_string).collect();
        if sizes.is_empty() {
            "it does not say".into()
        } else {
            sizes.join(", ")
        }
    };
    let dpi: Vec<String> = about.raster_dpi.iter().map(ToString::to_string).collect();
    format!(
        "{}\naddress   {address}\nstate     {}\ntakes     {}\nraster    {} dots per inch\nholds     {}\n",
        about.name,
        about.trouble().unwrap_or_else(|| "ready".into()),
        about.formats.join(", "),
        dpi.join(", "),
        sizes(&about.media_ready),
    )
}

fn printers(args: &QueueArgs) -> Result<(), AppError> {
    let records = place(args)?.open()?;
    let printers = &records.clinic().printers;
    if args.json {
        return print(&files::json_text(printers)?);
    }
    if printers.is_empty() {
        return print("No printers yet; `plinthside print add NAME ADDRESS` takes one in.\n");
    }
    let line = |p: &ClinicPrinter| {
        let label = if p.label.is_empty() {
            String::new()
        } else {
            format!("  labels {} mm", p.label)
        };
        format!("{}  {}  {} dpi{label}\n", p.name, p.address, p.dpi)
    };
    print(&printers.iter().map(line).collect::<String>())
}

fn add(args: &PrinterArgs, queue: &QueueArgs) -> Result<(), AppError> {
    let mut records = place(queue)?.open()?;
    printing::dots(args.dpi)?;
    if !args.label.is_empty() {
        args.label.parse::<LabelSize>()?;
    }
    let mut address: Address = args.address.parse()?;
    match Printer::discover(&address, args.trust) {
        Ok((found, about)) => {
            eprint!("{}", words(&found, &about));
            address = found;
        }
        Err(problem) => eprintln!("Added with the address as typed, unchecked: {problem}."),
    }
    let printer = ClinicPrinter {
        name: args.name.trim().to_owned(),
        address: address.to_string(),
        trusted: args.trust,
        dpi: args.dpi,
        label: args.label.clone(),
        ..ClinicPrinter::default()
    };
    if printer.name.is_empty() {
        return Err(AppError::Request("give the printer a name".into()));
    }
    let mut clinic = records.clinic().clone();
    match clinic.printers.iter_mut().find(|p| p.name == printer.name) {
        Some(old) => *old = printer,
        None => clinic.printers.push(printer),
    }
    records.set_clinic(clinic, &args.by)
}

fn remove(name: &str, args: &QueueArgs) -> Result<(), AppError> {
    let mut records = place(args)?.open()?;
    let mut clinic = records.clinic().clone();
    let before = clinic.printers.len();
    clinic.printers.retain(|p| p.name != name.trim());
    if clinic.printers.len() == before {
        return Err(AppError::Request(format!(
            "the clinic has no printer called {name}; `plinthside print printers` lists them"
        )));
    }
    records.set_clinic(clinic, "command line")
}

/// A shelf in a store or in a folder.
enum Either {
    Store(Box<StoreShelf<Mutex<Store>>>),
    Folder(Folder),
}

impl Shelf for Either {
    fn names(&self) -> Result<Vec<String>, ShelfError> {
        match self {
            Self::Store(shelf) => shelf.names(),
            Self::Folder(shelf) => shelf.names(),
        }
    }

    fn read(&self, name: &str) -> Result<Option<Vec<u8>>, ShelfError> {
        match self {
            Self::Store(shelf) => shelf.read(name),
            Self::Folder(shelf) => shelf.read(name),
        }
    }

    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ShelfError> {
        match self {
            Self::Store(shelf) => shelf.write(name, bytes),
            Self::Folder(shelf) => shelf.write(name, bytes),
        }
    }

    fn remove(&mut self, name: &str) -> Result<(), ShelfError> {
        match self {
            Self::Store(shelf) => shelf.remove(name),
            Self::Folder(shelf) => shelf.remove(name),
        }
    }
}
