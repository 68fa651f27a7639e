//! Photographs: after the changes, the newest first, each sealed under a name that tells nothing.

use super::names::WANT;
use super::report::ProblemKind as Kind;
use super::{Go, Run, Step};
use crate::error::Result;
use crate::local::{Local, json_mark, read_mark};
use crate::seal::{seal, sha256, unseal};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// Photographs sent between two announcements: what an interruption may have to announce again.
const ANNOUNCE_EVERY: usize = 16;

/// A photograph to fetch.
#[derive(Default, Serialize, Deserialize)]
pub(super) struct Want {
    /// How often it was looked for in vain.
    pub times: u32,
    /// Records that name it.
    records: Vec<String>,
}

impl Want {
    /// What an earlier version noted is read as never looked for.
    pub fn read(bytes: &[u8]) -> Self {
        serde_json::from_slice(bytes).unwrap_or_default()
    }
}

/// A photograph in the queue.
struct Waiting {
    sha: String,
    /// Where it stands in the queue, once for each record that came to name it.
    rows: Vec<String>,
    records: Vec<String>,
    /// The target has it already; only records that name it are new.
    there: bool,
}

impl<L: Local + ?Sized> Run<'_, '_, L> {
    /// Marks of a photograph that lies at the target: which records name it, and the other way.
    pub(super) fn photo_marks(
        &self,
        sha256: &str,
        records: &[String],
    ) -> Vec<(String, Option<Vec<u8>>)> {
        let mut marks = vec![json_mark(self.mark(&format!("p/{sha256}")), &records)];
        marks.extend(
            records
                .iter()
                .map(|id| (self.mark(&format!("vp/{id}/{sha256}")), Some(Vec::new()))),
        );
        marks
    }

    /// A photograph to fetch, where it waits its turn: those of the newest visits come first.
    pub(super) fn want_mark(
        &self,
        sha256: &str,
        records: &[String],
    ) -> Result<(String, Option<Vec<u8>>)> {
        let mut at = 0;
        for id in records {
            at = at.max(self.local.visited_ms(id)?.unwrap_or(0));
        }
        let order = u64::MAX - u64::try_from(at).unwrap_or(0);
        let want = Want {
            times: 0,
            records: records.to_vec(),
        };
        Ok(json_mark(format!("{WANT}{order:016x}/{sha256}"), &want))
    }

    /// Sends what waits, some at once: the next are read while those before are sealed and put.
    pub(super) fn send_photos(&mut self) -> Go {
        let total = self.count("up/")?;
        let (mut done, mut left) = (0, BTreeSet::new());
        loop {
            let mut queue = self
                .local
                .marks(&self.mark("up/"), ANNOUNCE_EVERY + left.len())?;
            queue.retain(|(row, _)| !left.contains(row));
            let last = queue.len() < ANNOUNCE_EVERY;
            let (mut to_send, mut noted) = (Vec::new(), false);
            for photo in self.by_photograph(queue)? {
                if photo.there {
                    self.local.set_marks(&self.sent_marks(&photo))?;
                    noted = true;
                    done += 1;
                } else if self.local.has_photo(&photo.sha)? {
                    to_send.push(photo);
                } else {
                    // Erased; or named before it came: it is fetched, and needs no sending then.
                    let mut marks = Vec::new();
                    if !self.all_erased(&photo.records)? {
                        marks.push(self.want_mark(&photo.sha, &photo.records)?);
                    }
                    marks.extend(photo.rows.into_iter().map(|row| (row, None)));
                    self.local.set_marks(&marks)?;
                }
            }
            let unread = self.send_all(&to_send, &mut done, total)?;
            if noted || !to_send.is_empty() {
                self.publish_all()?;
            }
            left.extend(unread);
            if last {
                return Ok(());
            }
        }
    }

    /// Rows of the queue put together by photograph, the newest first.
    fn by_photograph(&self, queue: Vec<(String, Vec<u8>)>) -> Result<Vec<Waiting>> {
        let mut all: Vec<Waiting> = Vec::new();
        for (row, record) in queue {
            let sha = row.rsplit('/').next().unwrap_or_default().to_owned();
            let record = String::from_utf8_lossy(&record).into_owned();
            let at = match all.iter().position(|photo| photo.sha == sha) {
                Some(at) => at,
                None => {
                    let known = self.mark(&format!("p/{sha}"));
                    let records: Vec<String> = read_mark(self.local, &known)?.unwrap_or_default();
                    all.push(Waiting {
                        there: !records.is_empty(),
                        rows: Vec::new(),
                        records,
                        sha,
                    });
                    all.len() - 1
                }
            };
            let photo = &mut all[at];
            photo.rows.push(row);
            if !photo.records.contains(&record) {
                photo.records.push(record);
            }
        }
        Ok(all)
    }

    fn sent_marks(&self, photo: &Waiting) -> Vec<(String, Option<Vec<u8>>)> {
        let mut marks = self.photo_marks(&photo.sha, &photo.records);
        marks.extend(photo.rows.iter().map(|row| (row.clone(), None)));
        let announce = self.mark(&format!("announce/{}", photo.sha));
        marks.push(json_mark(announce, &photo.records));
        marks
    }

    /// Sends as many at once as the target takes. What arrived is noted even if another failed.
    /// Returns the rows of those that cannot be read here.
    fn send_all(&mut self, photos: &[Waiting], done: &mut u64, total: u64) -> Go<Vec<String>> {
        let key = self.photo_key()?;
        let at_once = self.target.at_once().max(1);
        let mut groups = photos.chunks(at_once);
        let mut plain = self.read_photos(groups.next().unwrap_or_default());
        let mut unread = Vec::new();
        for group in photos.chunks(at_once) {
            self.tell(Step::SendingPhotographs, *done, total)?;
            let mut to_put = Vec::new();
            for (photo, plain) in group.iter().zip(std::mem::take(&mut plain)) {
                match self.readable(plain)? {
                    Some(plain) => to_put.push((photo, plain)),
                    None => unread.extend(photo.rows.iter().cloned()),
                }
            }
            let (put, read) = std::thread::scope(|scope| {
                let mut threads = Vec::new();
                for (photo, plain) in to_put {
                    let file = self.photo_file(&photo.sha);
                    let (target, key) = (self.target, key.as_str());
                    let put = scope.spawn(move || -> Result<u64> {
                        let sealed = seal(key, &plain)?;
                        drop(plain);
                        target.put(&file, &sealed)?;
                        Ok(sealed.len() as u64)
                    });
                    threads.push((photo, put));
                }
                let read = self.read_photos(groups.next().unwrap_or_default());
                let put: Vec<(&Waiting, Result<u64>)> = threads
                    .into_iter()
                    .map(|(photo, put)| {
                        let put = put.join();
                        (photo, put.unwrap_or_else(|p| std::panic::resume_unwind(p)))
                    })
                    .collect();
                (put, read)
            });
            let (mut marks, mut failed) = (Vec::new(), None);
            for (photo, put) in put {
                self.report.requests += 1;
                match put {
                    Ok(bytes) => {
                        self.report.bytes_sent += bytes;
                        self.report.photos_sent += 1;
                        *done += 1;
                        marks.extend(self.sent_marks(photo));
                    }
                    Err(error) => failed = failed.or(Some(error)),
                }
            }
            if !marks.is_empty() {
                self.local.set_marks(&marks)?;
            }
            if let Some(error) = failed {
                return Err(error.into());
            }
            plain = read;
        }
        Ok(unread)
    }

    fn read_photos(&self, photos: &[Waiting]) -> Vec<Result<Vec<u8>>> {
        photos.iter().map(|p| self.local.photo(&p.sha)).collect()
    }

    /// A photograph as read; nothing if it is damaged, which is named and keeps nothing else up.
    fn readable(&mut self, plain: Result<Vec<u8>>) -> Result<Option<Vec<u8>>> {
        match plain {
            Ok(plain) => Ok(Some(plain)),
            Err(error) if error.is_damage() => {
                let words = format!("A photograph stays on this device alone for now: {error}");
                self.problem(Kind::Unreadable, "", words);
                Ok(None)
            }
            Err(error) => Err(error),
        }
    }

    fn photo_key(&self) -> Result<String> {
        let key = self.member.practice.current_key();
        Ok(key.ok_or(crate::ExchangeError::NoPractice)?.to_owned())
    }

    fn photo_file(&self, sha: &str) -> String {
        self.names.photo(&self.member.practice.photo_name(sha))
    }

    /// Sends one photograph; `false` if it cannot be read here.
    pub(super) fn send_photo(&mut self, sha: &str) -> Go<bool> {
        let plain = self.local.photo(sha);
        let Some(plain) = self.readable(plain)? else {
            return Ok(false);
        };
        let sealed = seal(&self.photo_key()?, &plain)?;
        self.put(&self.photo_file(sha), &sealed)?;
        Ok(true)
    }

    pub(super) fn fetch_photos(&mut self) -> Go {
        let queue = self.local.marks(WANT, 1_000_000)?;
        let total = queue.len() as u64;
        for (done, (name, value)) in (0..).zip(queue) {
            self.tell(Step::FetchingPhotographs, done, total)?;
            let mut want = Want::read(&value);
            let sha = name.rsplit('/').next().unwrap_or_default().to_owned();
            let file = self.photo_file(&sha);
            let announced: Option<Vec<String>> =
                read_mark(self.local, &self.mark(&format!("p/{sha}")))?;
            let records = announced.as_ref().unwrap_or(&want.records);
            if self.local.has_photo(&sha)? || self.all_erased(records)? {
                self.local.set_marks(&[(name, None)])?;
                continue;
            }
            // Only what this target announced is asked of it.
            if announced.is_none() {
                continue;
            }
            let found = self.look(&file)?;
            let keys = self.member.practice.keys.values().map(|(_, key)| key);
            let plain = found
                .as_deref()
                .and_then(|sealed| unseal(keys, sealed))
                .filter(|plain| sha256(plain) == sha);
            match plain {
                Some(plain) => {
                    self.local.add_photo(&plain)?;
                    self.local.set_marks(&[(name, None)])?;
                    self.report.photos_received += 1;
                }
                None => {
                    let (kind, why) = match found {
                        None => (Kind::Missing, "is announced but not there (yet)"),
                        Some(_) => (
                            Kind::Photograph,
                            "is cut short, changed, or sealed with a key not given to this device yet",
                        ),
                    };
                    self.problem(
                        kind,
                        &file,
                        format!("A photograph {why}; it will be asked for again."),
                    );
                    want.times += 1;
                    self.local.set_marks(&[json_mark(name, &want)])?;
                }
            }
        }
        Ok(())
    }

    pub(super) fn all_erased(&self, records: &[String]) -> Result<bool> {
        for id in records {
            if self.local.mark(&self.mark(&format!("e/{id}")))?.is_none() {
                return Ok(false);
            }
        }
        Ok(!records.is_empty())
    }
}
