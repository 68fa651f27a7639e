//! Photographs: after the changes, the newest first, each sealed under a name that tells nothing.

use super::names::WANT;
use super::report::ProblemKind as Kind;
use super::{Go, Run, Step};
use crate::error::Result;
use crate::local::{Local, json_mark, read_mark};
use crate::seal::{seal, sha256, unseal};

/// Photographs sent between two announcements: what an interruption may have to announce again.
const ANNOUNCE_EVERY: usize = 16;

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

    pub(super) fn send_photos(&mut self) -> Go {
        let total = self.count("up/")?;
        let mut done = 0;
        loop {
            let queue = self.local.marks(&self.mark("up/"), ANNOUNCE_EVERY)?;
            let mut sent = 0;
            for (name, record) in &queue {
                self.tell(Step::SendingPhotographs, done, total)?;
                let sha = name.rsplit('/').next().unwrap_or_default().to_owned();
                let record = String::from_utf8_lossy(record).into_owned();
                let known = self.mark(&format!("p/{sha}"));
                let mut records: Vec<String> = read_mark(self.local, &known)?.unwrap_or_default();
                let there = !records.is_empty();
                if !records.contains(&record) {
                    records.push(record);
                }
                if !there {
                    if !self.local.has_photo(&sha)? {
                        // Named before it came: it is fetched, and needs no sending then.
                        let want = (self.want_mark(&sha)?, Some(b"0".to_vec()));
                        self.local.set_marks(&[(name.clone(), None), want])?;
                        continue;
                    }
                    self.send_photo(&sha)?;
                    self.report.photos_sent += 1;
                }
                done += 1;
                sent += 1;
                let mut marks = self.photo_marks(&sha, &records);
                marks.push((name.clone(), None));
                marks.push(json_mark(self.mark(&format!("announce/{sha}")), &records));
                self.local.set_marks(&marks)?;
            }
            if sent > 0 {
                self.publish_all()?;
            }
            if queue.len() < ANNOUNCE_EVERY {
                return Ok(());
            }
        }
    }

    pub(super) fn send_photo(&mut self, sha: &str) -> Go {
        let key = self
            .member
            .practice
            .current_key()
            .ok_or(crate::ExchangeError::NoPractice)?;
        let sealed = seal(key, &self.local.photo(sha)?)?;
        self.put(
            &self.names.photo(&self.member.practice.photo_name(sha)),
            &sealed,
        )
    }

    pub(super) fn fetch_photos(&mut self) -> Go {
        let queue = self.local.marks(WANT, 1_000_000)?;
        let total = queue.len() as u64;
        for (done, (name, times)) in (0..).zip(queue) {
            self.tell(Step::FetchingPhotographs, done, total)?;
            let sha = name.rsplit('/').next().unwrap_or_default().to_owned();
            let file = self.names.photo(&self.member.practice.photo_name(&sha));
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
