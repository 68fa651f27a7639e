//! Taking jobs to their printers, one durable step after the other.
//!
//! 1. *Queued* → *claimed* on the shelf. A crash after it leaves at most an empty job at the
//!    printer, which prints nothing and is cancelled by its name.
//! 2. The printer makes an empty job; its number goes on the shelf: *created*.
//! 3. The document is sent. A crash or a cut line here leaves a job of known number: the printer
//!    is asked whether the document came in, and nothing is sent again before it has answered.
//!    Where it began to take it and does not say that it has all of it, a person is asked.
//! 4. *Sent* on the shelf; from here the job is only followed to its end.

use crate::about::trouble_in;
use crate::job::{Job, Stage, Wait};
use crate::printer::{JobReport, JobState, Printer, Remote, RemoteError, Ticket};
use crate::queue::{Queue, QueueError};
use crate::shelf::Shelf;
use crate::{Address, Media, MediaProblem};

/// What came of one look at a job.
enum Step {
    /// Something changed: look again at once.
    On,
    /// It waits.
    Waits(Wait),
    /// It has ended.
    Ended(Stage),
}

impl<S: Shelf> Queue<S> {
    /// Takes every job as far as it goes now, over the network. Call it again, every few seconds,
    /// while [`Queue::busy`]; it may take a while, so off the screen's thread.
    ///
    /// # Errors
    /// [`QueueError::Shelf`]: a step that cannot be kept is not taken.
    pub fn advance(&mut self, now_ms: i64) -> Result<(), QueueError> {
        self.advance_with(now_ms, |job| Printer::reach(&job.printer, job.trusted))
    }

    /// Whether any job has not ended.
    #[must_use]
    pub fn busy(&self) -> bool {
        self.jobs.iter().any(|j| !j.has_ended())
    }

    /// [`Queue::advance`] with printers from elsewhere.
    ///
    /// # Errors
    /// [`QueueError::Shelf`]
    pub fn advance_with<R: Remote>(
        &mut self,
        now_ms: i64,
        mut reach: impl FnMut(&Job) -> Result<R, RemoteError>,
    ) -> Result<(), QueueError> {
        let waiting: Vec<String> = self
            .jobs
            .iter()
            .filter(|j| !j.has_ended())
            .map(|j| j.id.clone())
            .collect();
        let mut silent: Vec<(Address, Wait)> = Vec::new();
        for id in waiting {
            let Some(job) = self.job(&id).cloned() else {
                continue;
            };
            // One time-out for each printer is enough.
            if let Some((_, wait)) = silent.iter().find(|(p, _)| *p == job.printer) {
                self.wait(job, wait.clone())?;
                continue;
            }
            let wait = match reach(&job) {
                Ok(mut remote) => self.take_on(job.clone(), &mut remote, now_ms)?,
                Err(error) => {
                    let wait = Wait::Network {
                        why: error.to_string(),
                    };
                    self.wait(job.clone(), wait.clone())?;
                    Some(wait)
                }
            };
            if let Some(wait @ Wait::Network { .. }) = wait {
                silent.push((job.printer, wait));
            }
        }
        Ok(())
    }

    /// Steps until the job waits or has ended; returns what it waits for.
    fn take_on(
        &mut self,
        mut job: Job,
        remote: &mut impl Remote,
        now_ms: i64,
    ) -> Result<Option<Wait>, QueueError> {
        loop {
            match self.step(&mut job, remote, now_ms)? {
                Step::On => {}
                Step::Waits(wait) => {
                    self.wait(job, wait.clone())?;
                    return Ok(Some(wait));
                }
                Step::Ended(stage) => {
                    self.end(job, stage, now_ms)?;
                    return Ok(None);
                }
            }
        }
    }

    fn step(
        &mut self,
        job: &mut Job,
        remote: &mut impl Remote,
        now_ms: i64,
    ) -> Result<Step, QueueError> {
        match job.stage.clone() {
            Stage::Queued if job.cancel => Ok(Step::Ended(Stage::Cancelled)),
            Stage::Queued => self.send(job, remote, now_ms),
            Stage::Claimed => {
                let found = match remote.find_job(&job.name()) {
                    Ok(found) => found,
                    Err(error) => return Ok(halted(error)),
                };
                if let Some(empty) = found
                    && let Err(error) = remote.cancel_job(empty.id, &job.by)
                {
                    return Ok(halted(error));
                }
                self.start_anew(job, now_ms)
            }
            Stage::Created { job: number } => match remote.job(number, &job.name()) {
                Ok(report) => self.came_in(job, number, &report, remote, now_ms),
                Err(RemoteError::NoJob) => Ok(Step::Ended(unsure(
                    "the printer was cut off while it took the document, and no longer knows the job",
                ))),
                Err(error) => Ok(unsaid(error)),
            },
            Stage::Sent { job: number } => match remote.job(number, &job.name()) {
                Ok(report) if job.cancel && !report.has_ended() => {
                    let told = remote.cancel_job(number, &job.by);
                    match told.and_then(|()| remote.job(number, &job.name())) {
                        Ok(report) => Ok(follow(&report, remote)),
                        Err(error) => Ok(unsaid(error)),
                    }
                }
                Ok(report) => Ok(follow(&report, remote)),
                Err(RemoteError::NoJob) => Ok(Step::Ended(unsure(
                    "the printer took the document and no longer knows the job",
                ))),
                Err(error) => Ok(unsaid(error)),
            },
            ended => Ok(Step::Ended(ended)),
        }
    }

    /// Everything from a queued job to one the printer has.
    fn send(
        &mut self,
        job: &mut Job,
        remote: &mut impl Remote,
        now_ms: i64,
    ) -> Result<Step, QueueError> {
        let about = match remote.about() {
            Ok(about) => about,
            Err(error) => return Ok(halted(error)),
        };
        if !about.makes_jobs() {
            return Ok(failed(
                "this printer cannot promise to print only once; save the file and print it from the computer",
            ));
        }
        if !about.accepting {
            return Ok(Step::Waits(Wait::Printer {
                why: "the printer takes no jobs now".into(),
            }));
        }
        let Some(page) = Media::from_mm(job.contents.page_mm) else {
            return Ok(failed("the page has no size that paper can have"));
        };
        let placed = match page.on(&about) {
            Ok(placed) => placed,
            Err(problem @ MediaProblem::NotTaken { .. }) => {
                return Ok(failed(&problem.to_string()));
            }
            Err(problem) => {
                return Ok(Step::Waits(Wait::Media {
                    why: problem.to_string(),
                }));
            }
        };
        if let Some(why) = about.trouble() {
            return Ok(Step::Waits(Wait::Printer { why }));
        }
        let payload = match self.document(job)?.for_printer(&about, placed) {
            Ok(payload) => payload,
            Err(problem) => return Ok(failed(&problem.to_string())),
        };
        let ticket = Ticket {
            name: job.name(),
            by: job.by.clone(),
            media: placed.media,
            copies: job.copies,
        };
        self.turn(job, Stage::Claimed, now_ms)?;
        let number = match remote.create_job(&ticket, &about) {
            Ok(number) => number,
            Err(RemoteError::Refused(why)) => {
                return Ok(failed(&format!("the printer refused the job ({why})")));
            }
            // It may have made one all the same: found by its name.
            Err(error) => return Ok(halted(error)),
        };
        job.sent_octets = payload.bytes.len();
        self.turn(job, Stage::Created { job: number }, now_ms)?;
        match remote.send_document(number, &ticket, &payload) {
            Ok(()) => {
                self.turn(job, Stage::Sent { job: number }, now_ms)?;
                Ok(Step::On)
            }
            Err(RemoteError::Refused(why)) => {
                if let Err(error) = remote.cancel_job(number, &job.by) {
                    return Ok(halted(error));
                }
                Ok(failed(&format!("the printer refused the document ({why})")))
            }
            Err(error) => Ok(halted(error)),
        }
    }

    /// What became of a document that was being sent when the line or the power was cut.
    fn came_in(
        &mut self,
        job: &mut Job,
        number: i32,
        report: &JobReport,
        remote: &mut impl Remote,
        now_ms: i64,
    ) -> Result<Step, QueueError> {
        let untouched = report.printed.is_none_or(|n| n == 0);
        match report.state {
            JobState::Pending | JobState::Stopped if report.incomplete() && untouched => {
                if let Err(error) = remote.cancel_job(number, &job.by) {
                    return Ok(halted(error));
                }
                self.start_anew(job, now_ms)
            }
            JobState::Canceled | JobState::Aborted if report.printed == Some(0) => {
                self.start_anew(job, now_ms)
            }
            JobState::Canceled | JobState::Aborted => Ok(Step::Ended(unsure(
                "the printer was cut off while it took the document, gave up, and does not say whether it printed any of it",
            ))),
            JobState::Processing if report.incomplete() => Ok(Step::Ended(unsure(
                "the printer was cut off while it took the document and had begun to print",
            ))),
            _ if report.holds(job.sent_octets) => {
                self.turn(job, Stage::Sent { job: number }, now_ms)?;
                Ok(Step::On)
            }
            // Printers take the end of the line for the end of the document, and print half of it.
            _ => Ok(Step::Ended(unsure(
                "the printer was cut off while it took the document and cannot say whether it got all of it",
            ))),
        }
    }

    fn start_anew(&mut self, job: &mut Job, now_ms: i64) -> Result<Step, QueueError> {
        let cancelled = job.cancel;
        Self::requeue(job, now_ms);
        job.cancel = cancelled;
        self.put(job.clone())?;
        Ok(Step::On)
    }

    fn turn(&mut self, job: &mut Job, stage: Stage, now_ms: i64) -> Result<(), QueueError> {
        job.stage = stage;
        job.changed_ms = now_ms;
        self.put(job.clone())
    }

    /// Notes what a job waits for, if it is something else than before.
    fn wait(&mut self, mut job: Job, wait: Wait) -> Result<(), QueueError> {
        if job.waits_for.as_ref() == Some(&wait) {
            return Ok(());
        }
        job.waits_for = Some(wait);
        self.put(job)
    }
}

/// A job the printer has, followed.
fn follow(report: &JobReport, remote: &mut impl Remote) -> Step {
    match report.state {
        JobState::Completed => Step::Ended(Stage::Done),
        JobState::Canceled => Step::Ended(Stage::Cancelled),
        JobState::Aborted => failed(&format!(
            "the printer gave it up ({})",
            report.reasons.join(", ")
        )),
        JobState::Pending | JobState::Processing | JobState::Stopped => {
            // It has the job and has not ended it: what it warns of is what the job waits for.
            let trouble = trouble_in(&report.reasons, true).or_else(|| {
                let about = remote.about().ok()?;
                trouble_in(&about.reasons, true).or_else(|| about.trouble())
            });
            Step::Waits(match trouble {
                Some(why) => Wait::Printer { why },
                None => Wait::Printing,
            })
        }
    }
}

fn halted(error: RemoteError) -> Step {
    let why = error.to_string();
    match error {
        RemoteError::Unreachable(_) => Step::Waits(Wait::Network { why }),
        RemoteError::Busy(_) => Step::Waits(Wait::Printer { why }),
        RemoteError::Refused(_) | RemoteError::NoJob => failed(&why),
    }
}

/// What a printer that may have the document does not say: never a failure, which could be printed
/// again.
fn unsaid(error: RemoteError) -> Step {
    match error {
        RemoteError::Refused(_) | RemoteError::NoJob => Step::Ended(unsure(&format!(
            "the printer may have the document and does not say what became of it ({error})"
        ))),
        error => halted(error),
    }
}

fn failed(why: &str) -> Step {
    Step::Ended(Stage::Failed {
        why: why.to_owned(),
    })
}

fn unsure(why: &str) -> Stage {
    Stage::Unsure {
        why: why.to_owned(),
    }
}
