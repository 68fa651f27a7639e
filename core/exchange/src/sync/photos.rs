//! Photographs: after the changes, the newest first, each sealed under a name that tells nothing.

use super::names::WANT;
use super::report::ProblemKind as Kind;
use super::{Go, Run, Step};
use crate::error::Result;
use crate::local::{Local, json_mark, read_mark};
use crate::seal::{seal, sha256, unseal};

/// Photographs sent between two announcements: what an interruption may have to announce again.
const ANNOUNCE_EVERY: usize = 16;

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

    /// Where a wanted photograph waits its turn: later announcements come first.
    pub(super) fn want_mark(&self, sha256: &str) -> Result<String> {
        let counter = self.report.batches_received + self.here.counter;
        let at = self.here.cursor.unsigned_abs() + counter;
        Ok(format!("{WANT}{:016x}/{sha256}", u64::MAX - at))
    }

    /// Sends what waits, some at once: the next are read while those before are sealed and put.
    pub(super) fn send_photos(&mut self) -> Go {
        let total = self.count("up/")?;
        let mut done = 0;
        loop {
            let queue = self.local.marks(&self.mark("up/"), ANNOUNCE_EVERY)?;
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
                    // Named before it came: it is fetched, and needs no sending then.
                    let mut marks = vec![(self.want_mark(&photo.sha)?, Some(b"0".to_vec()))];
                    marks.extend(photo.rows.into_iter().map(|row| (row, None)));
                    self.local.set_marks(&marks)?;
                }
            }
            self.send_all(&to_send, &mut done, total)?;
            if noted || !to_send.is_empty() {
                self.publish_all()?;
            }
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
    fn send_all(&mut self, photos: &[Waiting], done: &mut u64, total: u64) -> Go {
        let key = self.photo_key()?;
        let at_once = self.target.at_once().max(1);
        let mut groups = photos.chunks(at_once);
        let mut plain = self.read_photos(groups.next().unwrap_or_default())?;
        for group in photos.chunks(at_once) {
            self.tell(Step::SendingPhotographs, *done, total)?;
            let (put, read) = std::thread::scope(|scope| {
                let mut threads = Vec::new();
                for (photo, plain) in group.iter().zip(std::mem::take(&mut plain)) {
                    let file = self.photo_file(&photo.sha);
                    let (target, key) = (self.target, key.as_str());
                    threads.push(scope.spawn(move || -> Result<u64> {
                        let sealed = seal(key, &plain)?;
                        drop(plain);
                        target.put(&file, &sealed)?;
                        Ok(sealed.len() as u64)
                    }));
                }
                let read = self.read_photos(groups.next().unwrap_or_default());
                let put: Vec<Result<u64>> = threads
                    .into_iter()
                    .map(|thread| {
                        thread
                            .join()
                            .unwrap_or_else(|p| std::panic::resume_unwind(p))
                    })
                    .collect();
                (put, read)
            });
            let (mut marks, mut failed) = (Vec::new(), None);
            for (photo, put) in group.iter().zip(put) {
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
            plain = read?;
        }
        Ok(())
    }

    fn read_photos(&self, photos: &[Waiting]) -> Result<Vec<Vec<u8>>> {
        photos.iter().map(|p| self.local.photo(&p.sha)).collect()
    }

    fn photo_key(&self) -> Result<String> {
        let key = self.member.practice.current_key();
        Ok(key.ok_or(crate::ExchangeError::NoPractice)?.to_owned())
    }

    fn photo_file(&self, sha: &str) -> String {
        self.names.photo(&self.member.practice.photo_name(sha))
    }

    pub(super) fn send_photo(&mut self, sha: &str) -> Go {
        let sealed = seal(&self.photo_key()?, &self.local.photo(sha)?)?;
        self.put(&self.photo_file(sha), &sealed)
    }

    pub(super) fn fetch_photos(&mut self) -> Go {
        let queue = self.local.marks(WANT, 1_000_000)?;
        let total = queue.len() as u64;
        for (done, (name, times)) in (0..).zip(queue) {
            self.tell(Step::FetchingPhotographs, done, total)?;
            let sha = name.rsplit('/').next().unwrap_or_default().to_owned();
            let file = self.photo_file(&sha);
            if self.local.has_photo(&sha)? {
                self.local.set_marks(&[(name, None)])?;
                continue;
            }
            // Only what this target announced is asked of it.
            let Some(records) =
                read_mark::<Vec<String>>(self.local, &self.mark(&format!("p/{sha}")))?
            else {
                continue;
            };
            if self.all_erased(&records)? {
                self.local.set_marks(&[(name, None)])?;
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
                    let times: u32 = String::from_utf8_lossy(&times).parse().unwrap_or(0);
                    self.local
                        .set_marks(&[(name, Some((times + 1).to_string().into_bytes()))])?;
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
