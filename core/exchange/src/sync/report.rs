//! What a synchronisation did, in numbers and in words.

use std::collections::BTreeMap;

/// A step of synchronising, for a progress line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Reading what others published.
    Reading,
    /// Publishing what is new here.
    Publishing,
    /// Sending photographs.
    SendingPhotographs,
    /// Fetching photographs.
    FetchingPhotographs,
}

/// How far it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// What is being done.
    pub step: Step,
    /// Batches or photographs done in this step.
    pub done: u64,
    /// Of how many; grows when more turns up.
    pub total: u64,
    /// Bytes sent and fetched so far, all steps together.
    pub bytes: u64,
}

/// What was left out, and why: a file at the target, or something on this device.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// What kind of problem.
    pub kind: ProblemKind,
    /// The file at the target; empty where it is about this device.
    pub file: String,
    /// One sentence with what happens next.
    pub words: String,
}

/// Kinds of problems.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum ProblemKind {
    /// Cut short or changed on the way or at the target.
    Damaged,
    /// Announced but not there (yet).
    Missing,
    /// Signed by nobody of the practice.
    Forged,
    /// Another batch under this name: repeated, exchanged or out of order.
    Misplaced,
    /// Of another practice.
    Foreign,
    /// Of a device that was struck off, after the strike.
    StruckOff,
    /// Of a device that is not (yet) known to be let in.
    NotIn,
    /// Sealed with a key this device has not got (yet).
    NoKey,
    /// Written by a newer version.
    Newer,
    /// A record in it cannot be read here.
    Record,
    /// A photograph that is not what its name says.
    Photograph,
    /// A record or photograph of this device that cannot be read and was not sent.
    Unreadable,
}

/// What a synchronisation did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Report {
    /// The target.
    pub target: String,
    /// Records published.
    pub records_sent: u64,
    /// Records in which something was new.
    pub records_received: u64,
    /// Erasures passed on.
    pub erasures_sent: u64,
    /// Erasures taken in.
    pub erasures_received: u64,
    /// Files unlinked at the target for erasures.
    pub files_erased: u64,
    /// Batches written.
    pub batches_sent: u64,
    /// Batches read and applied.
    pub batches_received: u64,
    /// Photographs sent.
    pub photos_sent: u64,
    /// Photographs fetched.
    pub photos_received: u64,
    /// Photographs of finished records that still have to be sent.
    pub photos_to_send: u64,
    /// Photographs announced by others that still have to be fetched.
    pub photos_to_fetch: u64,
    /// Devices let in by this synchronisation.
    pub admitted: Vec<String>,
    /// Requests to the target.
    pub requests: u64,
    /// Bytes sent.
    pub bytes_sent: u64,
    /// Bytes fetched.
    pub bytes_received: u64,
    /// Stopped because somebody wished so; the next one goes on from here.
    pub cancelled: bool,
    /// This device is not let in yet: it reads, and publishes nothing.
    pub waiting_for: Option<String>,
    /// What was left out, and why.
    pub problems: Vec<Problem>,
}

impl Report {
    /// The report as sentences.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        let mut lines = Vec::new();
        let sent = [
            count(self.records_sent, "record", "records"),
            count(self.erasures_sent, "erasure", "erasures"),
            count(self.photos_sent, "photograph", "photographs"),
        ];
        let received = [
            count(self.records_received, "record", "records"),
            count(self.erasures_received, "erasure", "erasures"),
            count(self.photos_received, "photograph", "photographs"),
        ];
        let joined = |parts: [Option<String>; 3]| {
            let parts: Vec<String> = parts.into_iter().flatten().collect();
            if parts.is_empty() {
                "nothing new".to_owned()
            } else {
                parts.join(", ")
            }
        };
        lines.push(format!(
            "{}: sent {}; received {}.",
            self.target,
            joined(sent),
            joined(received)
        ));
        if self.cancelled {
            lines.push("Stopped on request; the next synchronisation goes on from here.".into());
        }
        if let Some(inviter) = &self.waiting_for {
            lines.push(format!("{inviter} has not let this device in yet, so nothing was sent. Synchronise on {inviter}, then here again."));
        }
        for name in &self.admitted {
            lines.push(format!("{name} has joined."));
        }
        if self.photos_to_send > 0 {
            lines.push(format!(
                "{} photograph(s) still have to be sent.",
                self.photos_to_send
            ));
        }
        if self.photos_to_fetch > 0 {
            lines.push(format!(
                "{} photograph(s) still have to be fetched.",
                self.photos_to_fetch
            ));
        }
        if self.files_erased > 0 {
            lines.push(format!(
                "{} file(s) with erased visits were unlinked at the target. Copies made of it earlier still hold them, sealed; change the practice key if such a copy may be in other hands.",
                self.files_erased
            ));
        }
        let mut kinds: BTreeMap<ProblemKind, Vec<&Problem>> = BTreeMap::new();
        for problem in &self.problems {
            kinds.entry(problem.kind).or_default().push(problem);
        }
        for problems in kinds.values() {
            lines.push(problems[0].words.clone());
            if problems.len() > 1 {
                lines.push(format!("  … and {} more of this kind.", problems.len() - 1));
            }
        }
        lines
    }
}

fn count(n: u64, one: &str, many: &str) -> Option<String> {
    match n {
        0 => None,
        1 => Some(format!("1 {one}")),
        n => Some(format!("{n} {many}")),
    }
}
