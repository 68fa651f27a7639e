//! The queue: jobs on a shelf, in the order they were queued.

use crate::document::{Contents, DocumentProblem, Images};
use crate::job::{Job, Stage, Wait};
use crate::shelf::{Shelf, ShelfError};
use crate::{Address, PrintDocument};

/// Ended jobs that are remembered; their papers are not.
const REMEMBERED: usize = 200;
/// Ending of a job's own entry on the shelf.
const JOB: &str = ".job";

/// Why the queue did not do it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum QueueError {
    /// The shelf failed.
    #[error(transparent)]
    Shelf(#[from] ShelfError),
    /// The document cannot be printed.
    #[error("{0}; nothing was queued")]
    Document(#[from] DocumentProblem),
    /// No such job.
    #[error("there is no print job {0}")]
    NoJob(String),
    /// The job is in no state for this.
    #[error("print job {id} {status}; it cannot be {wanted}")]
    NotNow {
        /// The job.
        id: String,
        /// Where it stands.
        status: String,
        /// What was asked.
        wanted: &'static str,
    },
    /// The operating system gave no random bytes.
    #[error("the operating system gave no random numbers; restart the device and try again")]
    NoRandomness,
}

/// Print jobs, kept on a shelf.
#[derive(Debug)]
pub struct Queue<S> {
    pub(crate) shelf: S,
    pub(crate) jobs: Vec<Job>,
}

impl<S: Shelf> Queue<S> {
    /// Takes up what is on the shelf. An entry that cannot be read is left there and passed over;
    /// papers without a job were never queued and are removed.
    ///
    /// # Errors
    /// [`QueueError::Shelf`]
    pub fn open(mut shelf: S) -> Result<Self, QueueError> {
        let names = shelf.names()?;
        let mut jobs: Vec<Job> = Vec::new();
        for name in names.iter().filter(|n| n.ends_with(JOB)) {
            if let Some(bytes) = shelf.read(name)? {
                jobs.extend(serde_json::from_slice::<Job>(&bytes));
            }
        }
        jobs.sort_by(|a, b| (a.queued_ms, &a.id).cmp(&(b.queued_ms, &b.id)));
        for name in &names {
            let owner = name.split('.').next().unwrap_or_default();
            if !name.ends_with(JOB) && !names.contains(&format!("{owner}{JOB}")) {
                shelf.remove(name)?;
            }
        }
        Ok(Self { shelf, jobs })
    }

    /// Every job, the first queued first.
    #[must_use]
    pub fn jobs(&self) -> &[Job] {
        &self.jobs
    }

    /// One job.
    #[must_use]
    pub fn job(&self, id: &str) -> Option<&Job> {
        self.jobs.iter().find(|j| j.id == id)
    }

    /// Queues a document and returns the job's identifier; it is on the shelf when this returns.
    /// Papers first, then the job: a crash in between leaves papers that belong to no job.
    ///
    /// # Errors
    /// [`QueueError`]; nothing is queued then.
    pub fn add(
        &mut self,
        document: &PrintDocument,
        printer: &Address,
        copies: u32,
        by: &str,
        now_ms: i64,
    ) -> Result<String, QueueError> {
        document.check()?;
        let mut random = [0_u8; 6];
        getrandom::fill(&mut random).map_err(|_| QueueError::NoRandomness)?;
        let id: String = random.iter().map(|b| format!("{b:02x}")).collect();
        if let Some(pdf) = &document.pdf {
            self.shelf.write(&pdf_name(&id), pdf)?;
        }
        for (set, images) in document.images.iter().enumerate() {
            for (page, png) in images.pages.iter().enumerate() {
                self.shelf.write(&page_name(&id, set, page), png)?;
            }
        }
        let job = Job {
            id: id.clone(),
            printer: printer.clone(),
            trusted: false,
            by: by.to_owned(),
            copies: copies.max(1),
            queued_ms: now_ms,
            changed_ms: now_ms,
            stage: Stage::Queued,
            waits_for: Some(Wait::Turn),
            cancel: false,
            contents: Contents {
                title: document.title.clone(),
                page_mm: document.page_mm,
                pdf: document.pdf.is_some(),
                images: document
                    .images
                    .iter()
                    .map(|i| (i.dpi, i.pages.len()))
                    .collect(),
            },
            sent_octets: 0,
            tries: 1,
        };
        self.keep(&job)?;
        self.jobs.push(job);
        Ok(id)
    }

    /// Takes the certificate of this job's printer as it is.
    ///
    /// # Errors
    /// [`QueueError`]
    pub fn trust(&mut self, id: &str) -> Result<(), QueueError> {
        let mut job = self.found(id)?.clone();
        job.trusted = true;
        self.put(job)
    }

    /// Cancels a job: at once if the printer does not have it yet, else as soon as it answers.
    ///
    /// # Errors
    /// [`QueueError::NotNow`] for a job that has ended.
    pub fn cancel(&mut self, id: &str, now_ms: i64) -> Result<(), QueueError> {
        let mut job = self.found(id)?.clone();
        if job.has_ended() {
            return Err(not_now(&job, "cancelled"));
        }
        if job.stage == Stage::Queued {
            return self.end(job, Stage::Cancelled, now_ms);
        }
        job.cancel = true;
        self.put(job)
    }

    /// Queues a failed or unsure job again, as a person has decided.
    ///
    /// # Errors
    /// [`QueueError::NotNow`] for a job in any other state, or whose papers are gone.
    pub fn again(&mut self, id: &str, now_ms: i64) -> Result<(), QueueError> {
        let mut job = self.found(id)?.clone();
        if !matches!(job.stage, Stage::Failed { .. } | Stage::Unsure { .. }) {
            return Err(not_now(&job, "printed again"));
        }
        Self::requeue(&mut job, now_ms);
        self.put(job)
    }

    /// Calls an unsure or failed job done: somebody has seen its papers.
    ///
    /// # Errors
    /// [`QueueError::NotNow`] for a job in any other state.
    pub fn settle(&mut self, id: &str, now_ms: i64) -> Result<(), QueueError> {
        let job = self.found(id)?.clone();
        if !matches!(job.stage, Stage::Failed { .. } | Stage::Unsure { .. }) {
            return Err(not_now(&job, "called done"));
        }
        self.end(job, Stage::Done, now_ms)
    }

    /// Forgets a job that has ended, with its papers.
    ///
    /// # Errors
    /// [`QueueError::NotNow`] for a job that is still to be printed.
    pub fn forget(&mut self, id: &str) -> Result<(), QueueError> {
        let job = self.found(id)?.clone();
        if !job.has_ended() {
            return Err(not_now(&job, "forgotten"));
        }
        self.drop_papers(&job)?;
        self.shelf.remove(&format!("{id}{JOB}"))?;
        self.jobs.retain(|j| j.id != id);
        Ok(())
    }

    /// The document of a job, read from the shelf.
    pub(crate) fn document(&self, job: &Job) -> Result<PrintDocument, QueueError> {
        let gone = || ShelfError(format!("the papers of job {} are gone", job.id));
        let read = |name: String| self.shelf.read(&name)?.ok_or_else(gone);
        let pdf = job
            .contents
            .pdf
            .then(|| read(pdf_name(&job.id)))
            .transpose()?;
        let mut images = Vec::new();
        for (set, (dpi, pages)) in job.contents.images.iter().enumerate() {
            let pages = (0..*pages).map(|page| read(page_name(&job.id, set, page)));
            images.push(Images {
                dpi: *dpi,
                pages: pages.collect::<Result<_, _>>()?,
            });
        }
        Ok(PrintDocument {
            title: job.contents.title.clone(),
            page_mm: job.contents.page_mm,
            pdf,
            images,
        })
    }

    pub(crate) fn requeue(job: &mut Job, now_ms: i64) {
        job.stage = Stage::Queued;
        job.waits_for = Some(Wait::Turn);
        job.cancel = false;
        job.changed_ms = now_ms;
        job.tries += 1;
    }

    /// Puts a changed job on the shelf, then into memory.
    pub(crate) fn put(&mut self, job: Job) -> Result<(), QueueError> {
        self.keep(&job)?;
        if let Some(old) = self.jobs.iter_mut().find(|j| j.id == job.id) {
            *old = job;
        }
        Ok(())
    }

    /// Ends a job. What was printed or cancelled loses its papers; the others may be wanted again.
    pub(crate) fn end(
        &mut self,
        mut job: Job,
        stage: Stage,
        now_ms: i64,
    ) -> Result<(), QueueError> {
        job.waits_for = matches!(stage, Stage::Unsure { .. }).then_some(Wait::Decision);
        let over = matches!(stage, Stage::Done | Stage::Cancelled);
        job.stage = stage;
        job.changed_ms = now_ms;
        self.put(job.clone())?;
        if over {
            self.drop_papers(&job)?;
        }
        let over: Vec<String> = self
            .jobs
            .iter()
            .filter(|j| matches!(j.stage, Stage::Done | Stage::Cancelled))
            .map(|j| j.id.clone())
            .collect();
        for id in &over[..over.len().saturating_sub(REMEMBERED)] {
            self.forget(id)?;
        }
        Ok(())
    }

    fn drop_papers(&mut self, job: &Job) -> Result<(), QueueError> {
        if job.contents.pdf {
            self.shelf.remove(&pdf_name(&job.id))?;
        }
        for (set, (_, pages)) in job.contents.images.iter().enumerate() {
            for page in 0..*pages {
                self.shelf.remove(&page_name(&job.id, set, page))?;
            }
        }
        Ok(())
    }

    fn keep(&mut self, job: &Job) -> Result<(), QueueError> {
        let bytes = serde_json::to_vec(job).map_err(|e| ShelfError(e.to_string()))?;
        Ok(self.shelf.write(&format!("{}{JOB}", job.id), &bytes)?)
    }

    fn found(&self, id: &str) -> Result<&Job, QueueError> {
        self.job(id).ok_or_else(|| QueueError::NoJob(id.to_owned()))
    }
}

fn not_now(job: &Job, wanted: &'static str) -> QueueError {
    QueueError::NotNow {
        id: job.id.clone(),
        status: job.status(),
        wanted,
    }
}

fn pdf_name(id: &str) -> String {
    format!("{id}.pdf")
}

fn page_name(id: &str, set: usize, page: usize) -> String {
    format!("{id}.{set}-{page}.png")
}
