//! Synchronising with one target. Steps, and what a crash in each leaves:
//!
//! 1. List heads. Nothing yet.
//! 2. Read batches of others, each: take in keys, statements, erasures, records; then note how far.
//!    A crash before the note takes the batch in again, which changes nothing.
//! 3. Publish, each batch: seal it and keep the bytes; put them; put the new head; note it; delete
//!    the old head. A crash leaves the bytes, which are put again as they are: a name never has two
//!    contents. Before the new head is there nobody looks at the batch.
//! 4. Send photographs, announce them; fetch those announced. A crash repeats at most one.

mod names;
mod photos;
mod publish;
mod read;
mod repair;
mod report;
mod state;

pub use report::{Problem, ProblemKind, Progress, Report, Step};
pub use state::{VisitState, visit_state};

use crate::error::{ExchangeError, Result};
use crate::local::{Local, Whole, json_mark, read_mark};
use crate::practice::{Member, Standing, admit_joiners};
use crate::seal::{hex, random};
use crate::target::{Target, TargetSpec, connect};
use names::{Here, Names, Position, STREAMS, placed};
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};

/// How to synchronise.
pub struct Sync<'a> {
    /// The target's address: what is remembered of a target lies under it.
    pub address: &'a str,
    /// Set it to stop after the file in hand.
    pub cancel: &'a AtomicBool,
    /// Told of every step.
    pub progress: &'a mut dyn FnMut(Progress),
    /// Photographs too, or changes alone (a slow line).
    pub photographs: bool,
}

/// Synchronises a store with a target, both ways.
///
/// # Errors
/// The target or the store failed, or this device may not publish. What was done until then stays
/// done; the next synchronisation goes on from there.
pub fn sync<L: Local + ?Sized>(local: &L, target: &dyn Target, how: Sync<'_>) -> Result<Report> {
    let address = how.address;
    let outcome = run(local, target, how);
    // What failed is the news, also where it cannot be noted.
    let noted = state::note_outcome(local, address, &outcome);
    outcome.and_then(|report| noted.map(|()| report))
}

/// Connects to a target and synchronises with it. What kept it from being reached is noted like any
/// other failure: it stands beside every visit that waits for it.
///
/// # Errors
/// The target can't be reached, or as [`sync`].
pub fn meet<L: Local + ?Sized>(
    local: &L,
    spec: &TargetSpec,
    how: Sync<'_>,
) -> Result<(Box<dyn Target>, Report)> {
    let target = match connect(spec) {
        Ok(target) => target,
        Err(away) => {
            let away = Err(away.into());
            // That it is away is the news, also where it cannot be noted.
            let _ = state::note_outcome(local, how.address, &away);
            return away;
        }
    };
    let report = sync(local, target.as_ref(), how)?;
    Ok((target, report))
}

fn run<L: Local + ?Sized>(local: &L, target: &dyn Target, how: Sync<'_>) -> Result<Report> {
    let member = Member::require(local)?;
    let mut run = Run {
        names: Names::of(&member.practice.id),
        at: names::at(how.address),
        report: Report {
            target: target.describe(),
            ..Report::default()
        },
        heads: BTreeMap::new(),
        here: Here::default(),
        fetched: BTreeMap::new(),
        suspects: BTreeMap::new(),
        was_read: 0,
        to_read: 0,
        local,
        target,
        member,
        how,
    };
    let done = run.run();
    match done {
        Err(Stop::Cancelled) => run.report.cancelled = true,
        Err(Stop::Failed(error)) => return Err(error),
        Ok(()) => {}
    }
    run.report.photos_to_send = run.count("up/")?;
    run.report.photos_to_fetch = run.local.marks(names::WANT, 1_000_000)?.len() as u64;
    run.report.problems.sort_unstable();
    run.report.problems.dedup();
    Ok(run.report)
}

/// How far each stream of a device was taken in here.
pub(crate) fn stream_counters(
    local: &(impl Local + ?Sized),
    device: &str,
) -> Result<BTreeMap<String, u64>> {
    let mut upto = BTreeMap::new();
    for (name, json) in local.marks(&format!("{STREAMS}{device}."), 1000)? {
        let position: Position = serde_json::from_slice(&json).unwrap_or_default();
        upto.insert(name[STREAMS.len()..].to_owned(), position.upto());
    }
    Ok(upto)
}

/// Removes all marks that begin so.
pub(crate) fn forget(local: &(impl Local + ?Sized), prefix: &str) -> Result<()> {
    loop {
        let rows = local.marks(prefix, 1000)?;
        if rows.is_empty() {
            return Ok(());
        }
        let none: Vec<_> = rows.into_iter().map(|(name, _)| (name, None)).collect();
        local.set_marks(&none)?;
    }
}

/// Forgets what is remembered of the target of an address.
pub(crate) fn forget_address(local: &(impl Local + ?Sized), address: &str) -> Result<()> {
    forget(local, &names::at(address))
}

/// Why a run ends early.
enum Stop {
    Cancelled,
    Failed(ExchangeError),
}

impl<E: Into<ExchangeError>> From<E> for Stop {
    fn from(error: E) -> Self {
        Self::Failed(error.into())
    }
}

type Go<T = ()> = Result<T, Stop>;

/// A record looked for in the store.
enum Found {
    Whole(Whole),
    /// Erased, or never finished.
    Nothing,
    /// It cannot be read; the report says so.
    Damaged,
}

/// One synchronisation under way.
struct Run<'a, 'h, L: Local + ?Sized> {
    local: &'a L,
    target: &'a dyn Target,
    member: Member,
    how: Sync<'h>,
    names: Names,
    /// Where what is remembered of this target begins.
    at: String,
    here: Here,
    /// The highest head of every stream.
    heads: BTreeMap<String, u64>,
    report: Report,
    /// Batches fetched already, by place.
    fetched: BTreeMap<String, Vec<u8>>,
    /// Batches read, and to read as far as is known, for the progress line.
    was_read: u64,
    to_read: u64,
    /// Devices that others call struck off; why, this device has yet to read.
    suspects: BTreeMap<String, String>,
}

impl<L: Local + ?Sized> Run<'_, '_, L> {
    fn run(&mut self) -> Go {
        self.here = read_mark(self.local, &self.mark("here"))?.unwrap_or_default();
        self.report.admitted = admit_joiners(self.local, &mut self.member, self.target)?;
        self.list_heads()?;
        self.read_all()?;
        if !self.may_publish()? {
            return Ok(());
        }
        self.keep_own_stream()?;
        self.settle()?;
        self.answer_wanted()?;
        self.publish_all()?;
        self.unlink_erased()?;
        if self.how.photographs {
            self.send_photos()?;
            self.publish_all()?;
            self.fetch_photos()?;
        }
        self.ask_for_missing()
    }

    fn list_heads(&mut self) -> Go {
        let mine = self.here.stream.clone();
        for name in self.list(&self.names.heads())? {
            let Some((stream, counter)) = placed(&name) else {
                continue;
            };
            let highest = self.heads.entry(stream.to_owned()).or_default();
            *highest = (*highest).max(counter);
            if stream == mine && counter < self.here.counter {
                self.delete(&self.names.head(stream, counter))?;
            }
        }
        Ok(())
    }

    fn may_publish(&mut self) -> Go<bool> {
        let roster = self.member.practice.roster();
        match roster.standing(&self.member.own.card.device) {
            // The strike itself is sealed with a key this device does not get.
            Standing::In if self.suspects.contains_key(&self.member.own.card.device) => {
                let by = roster.name(&self.suspects[&self.member.own.card.device]);
                Err(ExchangeError::StruckOff { by }.into())
            }
            Standing::In => Ok(true),
            Standing::Unknown => {
                self.report.waiting_for = Some(self.member.own.invited_by.clone());
                Ok(false)
            }
            Standing::Struck(by, _) => Err(ExchangeError::StruckOff {
                by: roster.name(&by),
            }
            .into()),
        }
    }

    /// Makes sure that this device's stream at the target is the one it remembers: begins one, or,
    /// where the target was set back or another copy of this store wrote on, begins another.
    fn keep_own_stream(&mut self) -> Go {
        let Here {
            stream, counter, ..
        } = self.here.clone();
        let head = self.heads.get(&stream).copied().unwrap_or(0);
        // The batch may be there all the same: only the listing is old, or a head was lost.
        let lost = head < counter && self.look(&self.names.batch(&stream, counter))?.is_none();
        if lost && self.heads.is_empty() {
            let target = self.target.describe();
            return Err(ExchangeError::Emptied { target }.into());
        }
        self.finish_pending()?;
        if !stream.is_empty() && !lost && head <= self.here.counter {
            if head < counter && self.here.counter == counter {
                self.put(&self.names.head(&stream, counter), &[])?;
            }
            return Ok(());
        }
        if lost {
            self.forget_target()?;
        }
        let own = &self.member.own.card.device;
        self.here = Here {
            stream: format!("{own}.{}", hex(&random::<4>()?)),
            at_ms: self.here.at_ms,
            cursor: if lost { 0 } else { self.here.cursor },
            ..Here::default()
        };
        let mark = json_mark(self.mark("here"), &self.here);
        Ok(self.local.set_marks(&[mark])?)
    }

    /// The target no longer has what it had: everything is published anew.
    fn forget_target(&mut self) -> Go {
        for part in ["r/", "p/", "e/", "anew/"] {
            forget(self.local, &self.mark(part))?;
        }
        Ok(())
    }

    /// Keys in line with who is in; and what was taken in of a struck device before its strike was
    /// known here counts for all.
    fn settle(&mut self) -> Go {
        let practice = &mut self.member.practice;
        let (words, mut changed) = (practice.words.len(), practice.settle()?);
        let roster = practice.roster();
        for (device, (_, counted)) in &roster.struck {
            let mut more = stream_counters(self.local, device)?;
            more.retain(|stream, upto| counted.get(stream).copied().unwrap_or(0) < *upto);
            if !more.is_empty() {
                let by = self.member.own.card.device.clone();
                practice.words.insert(crate::practice::Word::Took {
                    device: device.clone(),
                    by,
                    upto: more,
                });
            }
        }
        changed |= practice.words.len() != words;
        if changed {
            self.member.save(self.local)?;
        }
        Ok(())
    }

    fn mark(&self, rest: &str) -> String {
        format!("{}{rest}", self.at)
    }

    fn count(&self, prefix: &str) -> Result<u64> {
        Ok(self.local.marks(&self.mark(prefix), 1_000_000)?.len() as u64)
    }

    fn tell(&mut self, step: Step, done: u64, total: u64) -> Go {
        let bytes = self.report.bytes_sent + self.report.bytes_received;
        (self.how.progress)(Progress {
            step,
            done,
            total,
            bytes,
        });
        self.go_on()
    }

    /// Whether nobody wishes it to stop.
    fn go_on(&self) -> Go {
        match self.how.cancel.load(Ordering::Relaxed) {
            true => Err(Stop::Cancelled),
            false => Ok(()),
        }
    }

    /// A record as it is published. One that is damaged is named and keeps nothing else up.
    fn find(&mut self, id: &str) -> Result<Found> {
        match self.local.whole(id) {
            Ok(found) => Ok(found.map_or(Found::Nothing, Found::Whole)),
            Err(error) if error.is_damage() => {
                let words = format!("Record {id} stays on this device alone for now: {error}");
                self.problem(ProblemKind::Unreadable, "", words);
                Ok(Found::Damaged)
            }
            Err(error) => Err(error),
        }
    }

    fn problem(&mut self, kind: ProblemKind, file: &str, words: String) {
        self.report.problems.push(Problem {
            kind,
            file: file.to_owned(),
            words,
        });
    }

    fn get(&mut self, name: &str) -> Go<Vec<u8>> {
        self.report.requests += 1;
        let bytes = self.target.get(name)?;
        self.report.bytes_received += bytes.len() as u64;
        Ok(bytes)
    }

    /// A file, or nothing where there is none.
    fn look(&mut self, name: &str) -> Go<Option<Vec<u8>>> {
        match self.get(name) {
            Err(Stop::Failed(ExchangeError::Target(error))) if error.is_not_found() => Ok(None),
            other => other.map(Some),
        }
    }

    fn put(&mut self, name: &str, bytes: &[u8]) -> Go {
        self.report.requests += 1;
        self.report.bytes_sent += bytes.len() as u64;
        Ok(self.target.put(name, bytes)?)
    }

    fn delete(&mut self, name: &str) -> Go {
        self.report.requests += 1;
        Ok(self.target.delete(name)?)
    }

    fn list(&mut self, folder: &str) -> Go<Vec<String>> {
        self.report.requests += 1;
        Ok(self.target.list(folder)?)
    }
}
