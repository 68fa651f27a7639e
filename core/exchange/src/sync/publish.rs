//! Publishing what is new here.

use super::names::{Here, Inside, has, inside, place};
use super::{Found, Go, Run, Step};
use crate::batch::{self, Contents, Header, Item, PhotoItem};
use crate::error::{ExchangeError, Result};
use crate::local::{Local, json_mark, read_mark};
use crate::seal::sha256;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// A batch is closed when its records have this many bytes, or there are this many of them.
const BATCH_BYTES: usize = 1 << 20;
const BATCH_RECORDS: usize = 256;

type Marks = Vec<(String, Option<Vec<u8>>)>;

/// What is noted once a batch is at the target.
#[derive(Serialize, Deserialize)]
struct After {
    here: Here,
    marks: Marks,
}

impl<L: Local + ?Sized> Run<'_, '_, L> {
    /// Publishes changes, erasures, statements and keys, a batch at a time, until nothing is left.
    pub(super) fn publish_all(&mut self) -> Go {
        let changed = self.local.changed_since(self.here.cursor, 1_000_000)?.len();
        let total = changed.div_ceil(BATCH_RECORDS) as u64;
        let mut done = 0;
        loop {
            let mut contents = Contents::default();
            let mut marks = Marks::new();
            let cursor = self.collect(&mut contents, &mut marks)?;
            self.collect_announced(&mut contents, &mut marks)?;
            let said = self.collect_words(&mut contents);
            let shares = self.unsaid_shares();
            if contents.is_empty() && shares.is_empty() {
                if cursor != self.here.cursor {
                    self.here.cursor = cursor;
                    marks.push(json_mark(self.mark("here"), &self.here));
                }
                if !marks.is_empty() {
                    self.local.set_marks(&marks)?;
                }
                return match done {
                    0 => self.go_on(),
                    done => self.tell(Step::Publishing, done, done),
                };
            }
            // Large records make more batches than their number says.
            self.tell(Step::Publishing, done, total.max(done + 1))?;
            self.report.erasures_sent += contents.erased.len() as u64;
            self.report.records_sent += contents.records.len() as u64;
            self.write_batch(contents, Vec::new(), marks, cursor, said)?;
            done += 1;
        }
    }

    /// Records and erasures after the cursor that the target has not got; the cursor they lead to.
    fn collect(&mut self, contents: &mut Contents, marks: &mut Marks) -> Result<i64> {
        let mut cursor = self.here.cursor;
        let mut bytes = 0;
        let damaged = self.mark("damaged/");
        for (row, seq) in self.local.marks(&damaged, 1000)? {
            let seq = serde_json::from_slice(&seq).unwrap_or(0);
            bytes += self.collect_record(&row[damaged.len()..], seq, contents, marks)?;
        }
        loop {
            let changed = self.local.changed_since(cursor, BATCH_RECORDS)?;
            if changed.is_empty() {
                return Ok(cursor);
            }
            for change in changed {
                if bytes >= BATCH_BYTES || contents.records.len() >= BATCH_RECORDS {
                    return Ok(cursor);
                }
                cursor = change.seq;
                let id = change.id;
                if let Some(by) = change.erased_by {
                    let mark = self.mark(&format!("e/{id}"));
                    if self.local.mark(&mark)?.is_none() {
                        marks.push((mark, Some(Vec::new())));
                        marks.push((self.mark(&format!("purge/{id}")), Some(Vec::new())));
                        contents.erased.push((id, by));
                    }
                    continue;
                }
                bytes += self.collect_record(&id, cursor, contents, marks)?;
            }
        }
    }

    /// One record, and its photographs into the queue; its bytes. A damaged one is tried again with
    /// the next batch.
    fn collect_record(
        &mut self,
        id: &str,
        seq: i64,
        contents: &mut Contents,
        marks: &mut Marks,
    ) -> Result<usize> {
        let damaged = self.mark(&format!("damaged/{id}"));
        let whole = match self.find(id)? {
            Found::Whole(whole) => whole,
            Found::Nothing => {
                marks.push((damaged, None));
                return Ok(0);
            }
            Found::Damaged => {
                marks.push(json_mark(damaged, &seq));
                return Ok(0);
            }
        };
        marks.push((damaged, None));
        for photo in self.local.photos_of(id)? {
            let known = self.mark(&format!("p/{photo}"));
            if self.local.mark(&known)?.is_none() {
                let order = u64::MAX - u64::try_from(seq).unwrap_or(0);
                let row = self.mark(&format!("up/{order:016x}/{photo}"));
                marks.push((row, Some(id.to_owned().into_bytes())));
            }
        }
        let known = self.mark(&format!("r/{id}"));
        if self.local.mark(&known)?.as_ref() == Some(&whole.heads)
            || contents.records.iter().any(|item| item.id == id)
        {
            return Ok(0);
        }
        let bytes = whole.bytes.len();
        marks.push((known, Some(whole.heads.clone())));
        let item = Item::new(id.to_owned(), whole.kind, &whole.heads, whole.bytes);
        contents.records.push(item);
        Ok(bytes)
    }

    /// Photographs sent but not announced yet.
    fn collect_announced(&mut self, contents: &mut Contents, marks: &mut Marks) -> Result<()> {
        for (name, json) in self.local.marks(&self.mark("announce/"), 500)? {
            let sha256 = name.rsplit('/').next().unwrap_or_default().to_owned();
            let records: Vec<String> = serde_json::from_slice(&json).unwrap_or_default();
            contents.photos.push(PhotoItem { sha256, records });
            marks.push((name, None));
        }
        Ok(())
    }

    fn collect_words(&mut self, contents: &mut Contents) -> BTreeSet<String> {
        let mut said = BTreeSet::new();
        for word in &self.member.practice.words {
            let hash = sha256(&serde_json::to_vec(word).unwrap_or_default())[..16].to_owned();
            if !self.here.said.contains(&hash) {
                said.insert(hash);
                contents.words.push(word.clone());
            }
        }
        said
    }

    fn unsaid_shares(&self) -> Vec<crate::practice::Share> {
        let unsaid = |s: &&crate::practice::Share| !self.here.said.contains(&share_hash(s));
        self.member
            .practice
            .shares
            .iter()
            .filter(unsaid)
            .cloned()
            .collect()
    }

    /// Writes one batch: sealed and kept first, so that its name never has two contents.
    pub(super) fn write_batch(
        &mut self,
        contents: Contents,
        replaces: Vec<String>,
        mut marks: Marks,
        cursor: i64,
        said: BTreeSet<String>,
    ) -> Go {
        let mut here = self.here.clone();
        here.counter += 1;
        here.cursor = cursor;
        here.said.extend(said);
        let shares = self.unsaid_shares();
        here.said.extend(shares.iter().map(share_hash));
        let whole = place(&here.stream, here.counter);
        marks.extend(
            contents
                .records
                .iter()
                .map(|item| (has(&item.id, &whole), Some(Vec::new()))),
        );
        let inside_it = Inside {
            erased: contents.erased.clone(),
            records: contents
                .records
                .iter()
                .map(|item| item.id.clone())
                .collect(),
            photos: contents
                .photos
                .iter()
                .map(|p| (p.sha256.clone(), p.records.clone()))
                .collect(),
            replaces: replaces.clone(),
        };
        marks.push(json_mark(inside(&whole), &inside_it));
        marks.extend(
            replaces
                .iter()
                .map(|place| (super::names::gone(place), Some(Vec::new()))),
        );
        let practice = &self.member.practice;
        let key = practice
            .current_key()
            .ok_or(ExchangeError::NoPractice)?
            .to_owned();
        let header = Header {
            practice: practice.id.clone(),
            device: self.member.own.card.device.clone(),
            stream: here.stream.clone(),
            counter: here.counter,
            key: String::new(),
            sha256: String::new(),
            shares,
            replaces,
            struck: practice.roster().struck.into_keys().collect(),
        };
        let bytes = batch::write(header, &contents, &key, &self.member.own.signing)?;
        let pending = (self.mark("pending"), Some(bytes));
        self.local.set_marks(&[
            pending,
            json_mark(self.mark("after"), &After { here, marks }),
        ])?;
        self.finish_pending()
    }

    /// Puts the batch that was kept, its head, and notes both.
    pub(super) fn finish_pending(&mut self) -> Go {
        let Some(bytes) = self.local.mark(&self.mark("pending"))? else {
            return Ok(());
        };
        let Some(After { here, mut marks }) = read_mark::<After>(self.local, &self.mark("after"))?
        else {
            return Ok(());
        };
        self.put(&self.names.batch(&here.stream, here.counter), &bytes)?;
        self.put(&self.names.head(&here.stream, here.counter), &[])?;
        marks.push((self.mark("pending"), None));
        marks.push((self.mark("after"), None));
        marks.push(json_mark(self.mark("here"), &here));
        self.local.set_marks(&marks)?;
        self.heads.insert(here.stream.clone(), here.counter);
        if here.counter > 1 {
            self.delete(&self.names.head(&here.stream, here.counter - 1))?;
        }
        self.here = here;
        self.report.batches_sent += 1;
        Ok(())
    }
}

fn share_hash(share: &crate::practice::Share) -> String {
    sha256(format!("share\0{}\0{}", share.key, share.device).as_bytes())[..16].to_owned()
}
