//! Printing from the screens: a thread with the clinic's queue, which lies in the store that this
//! side of the program has. What it tells is the list of jobs, each with what it waits for.

use super::handing::Source;
use super::text::{models, said};
use super::{Desk, Inner};
use crate::clock;
use crate::error::AppError;
use crate::lent::{Keeper, far_store};
use crate::printing::{self, Sheet, Target, now_ms};
use crate::visits::Foot;
use plinthside_measure::mat::sheet::Paper as MatPaper;
use plinthside_paper::{LabelSize, Paper};
use plinthside_print::{Job, PrintDocument, Queue, Shelf, Stage, Wait};
use plinthside_store::Store;
use plinthside_ui::{self as ui, Backend, PaperKind};
use plinthside_visit::{Clinic, Lang, Text};
use slint::ComponentHandle;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::Duration;

/// Between two looks at the printers while something waits.
const PAUSE: Duration = Duration::from_secs(2);
/// So many jobs are shown.
const SHOWN: usize = 12;

/// What is wanted of the printing thread.
pub enum Want {
    /// Print a paper of one foot.
    Paper {
        /// What it is made of.
        source: Box<Source>,
        /// Which.
        paper: PaperKind,
        /// On which printer of the clinic.
        printer: String,
        /// Who prints.
        by: String,
    },
    /// Print a mat at true scale.
    Mat {
        /// The clinic whose printer it is.
        clinic: Box<Clinic>,
        /// Its paper.
        paper: MatPaper,
        /// On which printer of the clinic.
        printer: String,
        /// Who prints.
        by: String,
    },
    /// Cancel a job.
    Cancel(String),
    /// Print a failed or unsure job again.
    Again(String),
    /// Call it done.
    Settle(String),
}

/// What the thread tells.
pub struct Told {
    /// Every job, the newest first.
    pub jobs: Vec<JobLine>,
    /// Why the last thing wanted was not done; empty if it was.
    pub problem: String,
}

/// A job for the screen.
#[derive(Debug, Clone, PartialEq)]
pub struct JobLine {
    /// Its identifier.
    pub id: String,
    title: String,
    printer: String,
    stage: Stage,
    waits_for: Option<Wait>,
}

/// The thread; it ends when this is dropped.
pub struct Press {
    wants: Sender<Want>,
    told: Receiver<Told>,
    keeper: Keeper,
}

impl Press {
    /// Starts the thread; `nudge` is called from it whenever there is something to answer or take.
    #[must_use]
    pub fn new(nudge: impl Fn() + Send + Clone + 'static) -> Self {
        let (wants, wanted) = channel();
        let (tell, told) = channel();
        let (store, keeper) = far_store(nudge.clone());
        std::thread::spawn(move || {
            let tell = |told: Told| {
                let heard = tell.send(told).is_ok();
                nudge();
                heard
            };
            match printing::queue(store) {
                Ok(queue) => run(queue, &wanted, &tell),
                Err(problem) => {
                    // A store that was closed at once needs no answer.
                    let _ = tell(Told {
                        jobs: Vec::new(),
                        problem: problem.to_string(),
                    });
                }
            }
        });
        Self {
            wants,
            told,
            keeper,
        }
    }

    /// Wants something printed or changed.
    pub fn want(&self, want: Want) {
        // The thread ends only with this.
        let _ = self.wants.send(want);
    }

    /// Answers what the queue asks of the store, and takes what the thread has told last.
    pub fn take(&self, store: &mut Store) -> Option<Told> {
        self.keeper.answer(store);
        self.told.try_iter().last()
    }
}

fn run<S: Shelf>(mut queue: Queue<S>, wanted: &Receiver<Want>, tell: &impl Fn(Told) -> bool) {
    let mut before = None;
    loop {
        let lines = lines(&queue);
        if before.as_ref() != Some(&lines) {
            before = Some(lines.clone());
            let told = Told {
                jobs: lines,
                problem: String::new(),
            };
            if !tell(told) {
                return;
            }
        }
        let want = if queue.busy() {
            match wanted.recv_timeout(PAUSE) {
                Ok(want) => Some(want),
                Err(RecvTimeoutError::Timeout) => None,
                Err(RecvTimeoutError::Disconnected) => return,
            }
        } else {
            match wanted.recv() {
                Ok(want) => Some(want),
                Err(_) => return,
            }
        };
        let done = match want {
            Some(want) => act(&mut queue, want),
            None => Ok(()),
        };
        let done = done.and_then(|()| Ok(queue.advance(now_ms())?));
        if let Err(problem) = done {
            before = Some(self::lines(&queue));
            let told = Told {
                jobs: self::lines(&queue),
                problem: problem.to_string(),
            };
            if !tell(told) {
                return;
            }
        }
    }
}

fn act<S: Shelf>(queue: &mut Queue<S>, want: Want) -> Result<(), AppError> {
    match want {
        Want::Paper {
            source,
            paper,
            printer,
            by,
        } => {
            let target = printing::find(&source.clinic, &printer)?.asked();
            let document = set(&source, paper, &printer, &target)?;
            printing::add(queue, &document, &target, 1, &by)?;
        }
        Want::Mat {
            clinic,
            paper,
            printer,
            by,
        } => {
            let target = printing::find(&clinic, &printer)?.asked();
            let document = printing::mat(&paper.layout(), clinic.lang, &target, clock::today())?;
            printing::add(queue, &document, &target, 1, &by)?;
        }
        Want::Cancel(id) => queue.cancel(&id, now_ms())?,
        Want::Again(id) => queue.again(&id, now_ms())?,
        Want::Settle(id) => queue.settle(&id, now_ms())?,
    }
    Ok(())
}

/// Sets a paper for a printer: a label at the size that the printer holds.
fn set(
    source: &Source,
    paper: PaperKind,
    printer: &str,
    target: &Target,
) -> Result<PrintDocument, AppError> {
    let holds = source.clinic.printers.iter().find(|p| p.name == printer);
    let size = holds.map_or("", |p| p.label.as_str());
    let sheet = match paper {
        PaperKind::Label if size.is_empty() => Sheet::Label(LabelSize::W62H100),
        PaperKind::Label => Sheet::Label(size.parse()?),
        PaperKind::Order => Sheet::Order(Paper::A4),
        PaperKind::BenchSheet => Sheet::Bench(Paper::A4),
        PaperKind::PackingList => Sheet::Packing(Paper::A4),
        PaperKind::Leaflet => Sheet::Leaflet(Paper::A4),
    };
    let foot = Foot {
        clinic: &source.clinic,
        visit: &source.visit,
        side: source.side,
    };
    printing::sheet(&foot, sheet, target, clock::today())
}

fn lines<S: Shelf>(queue: &Queue<S>) -> Vec<JobLine> {
    let line = |job: &Job| JobLine {
        id: job.id.clone(),
        title: job.title().to_owned(),
        printer: job.printer.to_string(),
        stage: job.stage.clone(),
        waits_for: job.waits_for.clone(),
    };
    queue.jobs().iter().rev().take(SHOWN).map(line).collect()
}

/// Printing as the screens have it.
#[derive(Default)]
pub struct Prints {
    /// Jobs, the newest first.
    pub jobs: Vec<JobLine>,
    /// What went wrong last.
    pub problem: String,
    /// The printer of labels and the printer of sheets that were chosen, by name.
    chosen: [String; 2],
}

impl Prints {
    /// Takes what the thread has told.
    pub fn take(&mut self, told: Told) {
        self.jobs = told.jobs;
        if !told.problem.is_empty() {
            self.problem = told.problem;
        }
    }

    /// Chooses another printer for labels, or for sheets.
    pub fn choose(&mut self, clinic: &Clinic, labels: bool, index: usize) {
        if let Some(name) = able(clinic, labels).get(index) {
            self.chosen[usize::from(!labels)] = (*name).to_owned();
        }
    }

    /// The printer for labels, or for sheets: the chosen one, else the first that holds them.
    pub fn printer(&self, clinic: &Clinic, labels: bool) -> Option<String> {
        let able = able(clinic, labels);
        let chosen = &self.chosen[usize::from(!labels)];
        let found = able.iter().find(|name| *name == chosen).or(able.first());
        found.map(|name| (*name).to_owned())
    }

    /// Printers and jobs for the screen.
    pub fn view(&self, clinic: &Clinic, labels: bool, lang: Lang) -> ui::PrintingView {
        let now = self.printer(clinic, labels);
        let printers = able(clinic, labels).into_iter().map(|name| ui::ChoiceItem {
            text: name.into(),
            note: Default::default(),
            chosen: now.as_deref() == Some(name),
        });
        let job = |job: &JobLine| {
            let known = clinic
                .printers
                .iter()
                .find(|p| job.printer.contains(&p.address));
            ui::PrintJob {
                title: job.title.as_str().into(),
                printer: known
                    .map_or(job.printer.as_str(), |p| p.name.as_str())
                    .into(),
                status: job.words(lang).into(),
                waits: job.waits(),
                decide: matches!(job.stage, Stage::Failed { .. } | Stage::Unsure { .. }),
                done: job.stage == Stage::Done,
            }
        };
        ui::PrintingView {
            printers: models(printers.collect()),
            jobs: models(self.jobs.iter().map(job).collect()),
            problem: said(&self.problem, lang).into(),
        }
    }
}

/// Printers that hold labels, or sheets; without one of labels, any may print a label on a sheet.
fn able(clinic: &Clinic, labels: bool) -> Vec<&str> {
    let holds = |labels: bool| {
        let printers = clinic.printers.iter();
        let able = printers.filter(move |p| p.label.is_empty() != labels);
        able.map(|p| p.name.as_str()).collect::<Vec<_>>()
    };
    let able = holds(labels);
    if labels && able.is_empty() {
        holds(false)
    } else {
        able
    }
}

impl JobLine {
    /// Whether it is still to be printed.
    fn waits(&self) -> bool {
        matches!(
            self.stage,
            Stage::Queued | Stage::Claimed | Stage::Created { .. } | Stage::Sent { .. }
        )
    }

    /// Where it stands and what it waits for, in words.
    fn words(&self, lang: Lang) -> String {
        let (text, why) = match (&self.stage, &self.waits_for) {
            (Stage::Done, _) => (Text::new("printed", "gedruckt"), None),
            (Stage::Cancelled, _) => (Text::new("cancelled", "abgebrochen"), None),
            (Stage::Failed { why }, _) => (Text::new("not printed", "nicht gedruckt"), Some(why)),
            (Stage::Unsure { why }, _) => (
                Text::new(
                    "look at the printer, then print it again or call it done",
                    "am Drucker nachsehen, dann noch einmal drucken oder für fertig erklären",
                ),
                Some(why),
            ),
            (_, Some(Wait::Network { why })) => (
                Text::new(
                    "waits for the printer to answer",
                    "wartet, bis der Drucker antwortet",
                ),
                Some(why),
            ),
            (_, Some(Wait::Printer { why })) => (
                Text::new(
                    "waits for somebody at the printer",
                    "wartet auf jemanden am Drucker",
                ),
                Some(why),
            ),
            (_, Some(Wait::Media { why })) => {
                (Text::new("waits for paper", "wartet auf Papier"), Some(why))
            }
            (_, Some(Wait::Printing)) => {
                (Text::new("the printer has it", "der Drucker hat ihn"), None)
            }
            _ => (
                Text::new("waits for its turn", "wartet, bis er an der Reihe ist"),
                None,
            ),
        };
        let text = text.get(lang);
        why.map_or_else(
            || text.to_owned(),
            |why| format!("{text}: {}", said(why, lang)),
        )
    }
}

impl Inner {
    /// The printing thread lives as long as the store is open.
    pub(super) fn want_press(&self) {
        let open = matches!(self.session.borrow().desk, Desk::Open(_));
        let mut press = self.press.borrow_mut();
        if !open {
            *press = None;
        } else if press.is_none() {
            let weak = self.app.clone();
            *press = Some(Press::new(move || {
                // Fails only when the window is gone.
                let _ =
                    weak.upgrade_in_event_loop(|app| app.global::<Backend>().invoke_work_done());
            }));
        }
    }

    /// Wants something printed, or a job changed.
    pub(super) fn want_print(&self, want: Option<Want>) {
        if let (Some(press), Some(want)) = (&*self.press.borrow(), want) {
            press.want(want);
        }
    }

    /// Answers what the printing thread asks of the store and takes what it tells; `true` if there
    /// is something new to show.
    pub(super) fn take_printed(&self) -> bool {
        let mut session = self.session.borrow_mut();
        let told = {
            let press = self.press.borrow();
            let (Some(press), Some(records)) = (&*press, session.records()) else {
                return false;
            };
            press.take(records.store())
        };
        let Some(told) = told else { return false };
        session.prints.take(told);
        true
    }
}
