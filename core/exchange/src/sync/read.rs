//! Reading what others published.

use super::names::{Inside, Position, STREAMS, device_of, gone, has, inside, place};
use super::report::ProblemKind as Kind;
use super::{Go, Run, Step};
use crate::batch::{self, Bad, Contents, Header};
use crate::error::Result;
use crate::local::{Local, Taken, json_mark, read_mark};
use crate::practice::Standing;
use crate::seal::unhex;
use plinthside_store::Incoming;
use std::collections::BTreeSet;

/// Batches missing in a row after which a head is believed only if its batch is there: erasing
/// leaves long gaps, and a head alone is anybody's.
const MISSING_IN_A_ROW: u64 = 8;

/// What became of one batch.
enum Outcome {
    Applied,
    /// Not there.
    Missing,
    /// There, but nothing was taken in (and all of it may be later).
    Hole,
}

impl<L: Local + ?Sized> Run<'_, '_, L> {
    /// Reads every stream as far as its head; again while that brings keys or members with which
    /// more can be read.
    pub(super) fn read_all(&mut self) -> Go {
        self.look_for_strikes()?;
        let mut tried = BTreeSet::new();
        loop {
            let before = (
                self.member.practice.words.len(),
                self.member.practice.shares.len(),
            );
            self.report.problems.clear();
            for (stream, head) in self.heads.clone() {
                if device_of(&stream) != self.member.own.card.device {
                    self.read_stream(&stream, head, &mut tried)?;
                }
            }
            let practice = &self.member.practice;
            if (practice.words.len(), practice.shares.len()) == before {
                return self.forgive_replaced();
            }
            tried.clear();
        }
    }

    /// A batch that was missing and, as was read later, published anew is no problem.
    fn forgive_replaced(&mut self) -> Go {
        let mut problems = std::mem::take(&mut self.report.problems);
        let mut kept = Ok(());
        problems.retain(|problem| {
            let (Kind::Missing, Some(missing)) = (problem.kind, self.names.place_of(&problem.file))
            else {
                return true;
            };
            match self.local.mark(&gone(&missing)) {
                Ok(mark) => mark.is_none(),
                Err(error) => {
                    kept = Err(error.into());
                    true
                }
            }
        });
        self.report.problems = problems;
        kept
    }

    /// Fetches the newest batch of every stream with something new: its header names the devices
    /// its author knows to be struck off. Nothing of those is read before the strike itself is.
    fn look_for_strikes(&mut self) -> Go {
        let roster = self.member.practice.roster();
        for (stream, head) in self.heads.clone() {
            let device = device_of(&stream);
            let position: Position =
                read_mark(self.local, &format!("{STREAMS}{stream}"))?.unwrap_or_default();
            let Some(card) = roster
                .cards
                .get(device)
                .filter(|_| roster.standing(device) == Standing::In)
            else {
                continue;
            };
            if device == self.member.own.card.device || position.next > head {
                continue;
            }
            let Some(bytes) = self.look(&self.names.batch(&stream, head))? else {
                continue;
            };
            if let Ok(read) = batch::read(&bytes)
                && read.verify(&card.verify).is_ok()
            {
                for struck in read.header.struck {
                    self.suspects.insert(struck, device.to_owned());
                }
            }
            self.fetched.insert(place(&stream, head), bytes);
        }
        Ok(())
    }

    fn read_stream(&mut self, stream: &str, head: u64, tried: &mut BTreeSet<String>) -> Go {
        let device = device_of(stream);
        let name = format!("{STREAMS}{stream}");
        let mut position: Position = read_mark(self.local, &name)?.unwrap_or_default();
        position.next = position.next.max(1);
        let roster = self.member.practice.roster();
        let limit = match roster.standing(device) {
            Standing::In if self.suspects.contains_key(device) => return Ok(()),
            Standing::In => head,
            Standing::Unknown => {
                let words = format!(
                    "Files of device {device} were left unread: nobody has let it in yet as far as this device knows."
                );
                self.problem(Kind::NotIn, &self.names.head(stream, head), words);
                return Ok(());
            }
            Standing::Struck(by, upto) => {
                let upto = upto.get(stream).copied().unwrap_or(0);
                if head > upto {
                    let words = format!(
                        "{} was struck off by {}: what it published since is refused.",
                        roster.name(device),
                        roster.name(&by)
                    );
                    self.problem(Kind::StruckOff, &self.names.head(stream, head), words);
                }
                head.min(upto)
            }
        };
        let holes: Vec<u64> = position
            .holes
            .keys()
            .copied()
            .filter(|n| *n <= limit)
            .collect();
        self.to_read += holes.len() as u64 + (limit + 1).saturating_sub(position.next);
        let mut missing = 0;
        for counter in holes.into_iter().chain(position.next..=limit) {
            let whole = place(stream, counter);
            let old = counter < position.next;
            if old && !tried.insert(whole.clone()) {
                continue;
            }
            tried.insert(whole.clone());
            self.tell(Step::Reading, self.was_read, self.to_read)?;
            self.was_read += 1;
            let outcome = self.read_batch(stream, counter)?;
            let taken = matches!(outcome, Outcome::Applied);
            if matches!(outcome, Outcome::Missing) && !old {
                missing += 1;
                if missing == MISSING_IN_A_ROW && !self.is_there(stream, limit)? {
                    break;
                }
                continue;
            }
            if old && !taken {
                *position.holes.entry(counter).or_default() += 1;
            } else {
                position.holes.remove(&counter);
            }
            if !old {
                // Those missing before one that is there are holes too.
                for hole in position.next..counter {
                    position.holes.entry(hole).or_insert(1);
                }
                if !taken {
                    position.holes.insert(counter, 1);
                }
                position.next = counter + 1;
                missing = 0;
            }
            self.local.set_marks(&[json_mark(&*name, &position)])?;
        }
        // A head whose batch is not there: remembered, so that it is asked for.
        if missing > 0 {
            let short = self.mark(&format!("short/{}", place(stream, position.next)));
            let times: u32 = read_mark(self.local, &short)?.unwrap_or(0);
            self.local.set_marks(&[json_mark(short, &(times + 1))])?;
        }
        Ok(())
    }

    /// Whether the batch a head announces is there, signed by its device; it is fetched but once.
    fn is_there(&mut self, stream: &str, counter: u64) -> Go<bool> {
        let whole = place(stream, counter);
        if !self.fetched.contains_key(&whole) {
            let Some(bytes) = self.look(&self.names.batch(stream, counter))? else {
                return Ok(false);
            };
            self.fetched.insert(whole.clone(), bytes);
        }
        Ok(self.is_batch_of(&self.fetched[&whole], stream, counter))
    }

    fn read_batch(&mut self, stream: &str, counter: u64) -> Go<Outcome> {
        let whole = place(stream, counter);
        if self.local.mark(&gone(&whole))?.is_some() {
            return Ok(Outcome::Applied);
        }
        let file = self.names.batch(stream, counter);
        let fetched = self.fetched.remove(&whole);
        let Some(bytes) = fetched.map_or_else(|| self.look(&file), |bytes| Ok(Some(bytes)))? else {
            let words = format!(
                "Batch {counter} of {} is announced but not there (yet).",
                self.device_name(stream)
            );
            self.problem(Kind::Missing, &file, words);
            return Ok(Outcome::Missing);
        };
        let who = self.device_name(stream);
        let bad = |bad: Bad| match bad {
            Bad::Damaged(why) => (
                Kind::Damaged,
                format!(
                    "Batch {counter} of {who} changed nothing: {why}. It will be asked for again."
                ),
            ),
            Bad::Forged => (
                Kind::Forged,
                format!(
                    "Batch {counter} of {who} changed nothing: the signature on it is not {who}'s. Somebody may be tampering with the target."
                ),
            ),
            Bad::Newer => (
                Kind::Newer,
                format!(
                    "Batch {counter} of {who} was written by a newer version. Update this device; it is read then."
                ),
            ),
        };
        let read = match batch::read(&bytes) {
            Ok(read) => read,
            Err(why) => {
                let (kind, words) = bad(why);
                self.problem(kind, &file, words);
                return Ok(Outcome::Hole);
            }
        };
        let header = read.header.clone();
        if header.practice != self.member.practice.id {
            let words = format!(
                "Batch {counter} of {who} changed nothing: it belongs to another practice."
            );
            self.problem(Kind::Foreign, &file, words);
            return Ok(Outcome::Hole);
        }
        let roster = self.member.practice.roster();
        let verify = roster
            .cards
            .get(device_of(stream))
            .map(|card| card.verify.clone())
            .unwrap_or_default();
        if let Err(why) = read.verify(&verify) {
            let (kind, words) = bad(why);
            self.problem(kind, &file, words);
            return Ok(Outcome::Hole);
        }
        if (
            header.stream.as_str(),
            header.counter,
            header.device.as_str(),
        ) != (stream, counter, device_of(stream))
        {
            let words = format!(
                "Batch {counter} of {who} changed nothing: another batch stands under its name."
            );
            self.problem(Kind::Misplaced, &file, words);
            return Ok(Outcome::Hole);
        }
        self.take_shares(&header)?;
        let keys: Vec<_> = self
            .member
            .practice
            .keys
            .values()
            .map(|(_, key)| key)
            .collect();
        let contents = match read.contents(keys) {
            Some(Ok(contents)) => contents,
            Some(Err(why)) => {
                let (kind, words) = bad(why);
                self.problem(kind, &file, words);
                return Ok(Outcome::Hole);
            }
            None => {
                let words = format!(
                    "Batch {counter} of {who} is sealed with a practice key this device has not been given yet; it is read once another device has handed the key over."
                );
                self.problem(Kind::NoKey, &file, words);
                return Ok(Outcome::Hole);
            }
        };
        self.take_in(&header, contents, &whole, &file)
    }

    fn device_name(&self, stream: &str) -> String {
        self.member.practice.roster().name(device_of(stream))
    }

    /// An erased visit's files at this target are to be unlinked.
    fn purge(&self, id: &str) -> (String, Option<Vec<u8>>) {
        (self.mark(&format!("purge/{id}")), Some(Vec::new()))
    }

    fn take_shares(&mut self, header: &Header) -> Result<()> {
        let mut new = false;
        for share in &header.shares {
            new |= self.member.practice.take_share(share, &self.member.own);
        }
        if new {
            self.member.save(self.local)
        } else {
            Ok(())
        }
    }

    fn take_in(
        &mut self,
        header: &Header,
        contents: Contents,
        whole: &str,
        file: &str,
    ) -> Go<Outcome> {
        let words = self.member.practice.words.len();
        self.member
            .practice
            .words
            .extend(contents.words.iter().cloned());
        if self.member.practice.words.len() != words {
            self.member.save(self.local)?;
        }
        let mut marks = Vec::new();
        for (id, by) in &contents.erased {
            self.local.erase(id, by)?;
            self.report.erasures_received += 1;
            marks.push((self.mark(&format!("e/{id}")), Some(Vec::new())));
            marks.push(self.purge(id));
        }
        if !marks.is_empty() {
            self.local.set_marks(&std::mem::take(&mut marks))?;
        }
        let mut inside_it = Inside {
            erased: contents.erased.clone(),
            replaces: header.replaces.clone(),
            ..Inside::default()
        };
        let (mut records, mut heads) = (Vec::new(), Vec::new());
        for item in contents.records {
            inside_it.records.push(item.id.clone());
            marks.push((has(&item.id, whole), Some(Vec::new())));
            heads.push(unhex(&item.heads).unwrap_or_default());
            records.push(Incoming {
                id: item.id,
                kind: item.kind,
                changes: item.bytes,
            });
        }
        let mut refused = false;
        for ((record, published), taken) in
            records.iter().zip(heads).zip(self.local.receive(&records)?)
        {
            match taken {
                Taken::In { new, heads } => {
                    self.report.records_received += u64::from(new);
                    if heads == published {
                        marks.push((self.mark(&format!("r/{}", record.id)), Some(heads)));
                    }
                }
                // Whoever sent it had not heard of the erasure: one more batch to unlink.
                Taken::Erased => marks.push(self.purge(&record.id)),
                Taken::Refused(why) => {
                    refused = true;
                    self.problem(
                        Kind::Record,
                        file,
                        format!("Record {} was not taken in: {why}", record.id),
                    );
                }
            }
        }
        for photo in contents.photos {
            inside_it
                .photos
                .push((photo.sha256.clone(), photo.records.clone()));
            marks.extend(self.photo_marks(&photo.sha256, &photo.records));
            if self.all_erased(&photo.records)? {
                marks.extend(photo.records.iter().map(|id| self.purge(id)));
            } else if !self.local.has_photo(&photo.sha256)? {
                marks.push(self.want_mark(&photo.sha256, &photo.records)?);
            }
        }
        for place in &header.replaces {
            marks.push((gone(place), Some(Vec::new())));
            // Whoever published it anew unlinks its file here.
            marks.push((self.mark(&format!("anew/{place}")), Some(b"1".to_vec())));
        }
        marks.push(json_mark(inside(whole), &inside_it));
        self.local.set_marks(&marks)?;
        self.report.batches_received += 1;
        Ok(if refused {
            Outcome::Hole
        } else {
            Outcome::Applied
        })
    }
}
