//! Files that are missing or damaged are asked for and published anew; files that hold an erased
//! visit are unlinked once what else stood in them has been published anew.

use super::names::{Inside, Position, STREAMS, WANT, device_of, has, inside, place, placed};
use super::{Go, Run};
use crate::batch::{self, Contents, Item, PhotoItem};
use crate::local::{Local, read_mark};
use crate::practice::Standing;
use std::collections::BTreeSet;

/// Requests answered in one synchronisation: a target that asks for everything gets it slowly.
const ANSWERED: usize = 20;

impl<L: Local + ?Sized> Run<'_, '_, L> {
    /// Answers what others ask for.
    pub(super) fn answer_wanted(&mut self) -> Go {
        let wanted = self.list(&self.names.wanted())?;
        for name in wanted.iter().take(ANSWERED) {
            if let Some(photo) = name.strip_prefix("photo.") {
                self.answer_photo(photo, name)?;
            } else if let Some((stream, counter)) = placed(name) {
                let (stream, counter) = (stream.to_owned(), counter);
                if self.is_mine_to_keep(&stream)
                    && self.publish_anew(&place(&stream, counter), None)?
                {
                    self.delete(&self.names.want(name))?;
                }
            }
        }
        Ok(())
    }

    /// Batches of this device, and of devices that will not come back for theirs.
    fn is_mine_to_keep(&self, stream: &str) -> bool {
        let device = device_of(stream);
        device == self.member.own.card.device
            || matches!(
                self.member.practice.roster().standing(device),
                Standing::Struck(..)
            )
    }

    /// Publishes anew what stood in a batch. Says whether that was needed and possible, or the
    /// batch is there whole.
    fn publish_anew(&mut self, whole: &str, without: Option<&str>) -> Go<bool> {
        let Some((stream, counter)) = placed(whole) else {
            return Ok(false);
        };
        let Some(held) = read_mark::<Inside>(self.local, &inside(whole))? else {
            return Ok(false);
        };
        let file = self.names.batch(stream, counter);
        if without.is_none()
            && let Some(bytes) = self.look(&file)?
        {
            let roster = self.member.practice.roster();
            let verify = roster
                .cards
                .get(device_of(stream))
                .map(|card| card.verify.as_str());
            if batch::read(&bytes).is_ok_and(|read| {
                read.header.counter == counter && read.verify(verify.unwrap_or_default()).is_ok()
            }) {
                return Ok(true);
            }
        }
        let mut contents = Contents::default();
        let mut marks = Vec::new();
        for id in held
            .records
            .iter()
            .filter(|id| Some(id.as_str()) != without)
        {
            if let Some(record) = self.local.whole(id)? {
                marks.push((self.mark(&format!("r/{id}")), Some(record.heads.clone())));
                contents.records.push(Item::new(
                    id.clone(),
                    record.kind,
                    &record.heads,
                    record.bytes,
                ));
            }
        }
        contents.erased = held.erased;
        contents.photos = held
            .photos
            .into_iter()
            .map(|(sha256, records)| PhotoItem { sha256, records })
            .collect();
        contents.words = self.member.practice.words.iter().cloned().collect();
        // Keys that were handed over in it are handed over again.
        self.here.said.clear();
        marks.push((inside(whole), None));
        let cursor = self.here.cursor;
        self.write_batch(
            contents,
            vec![whole.to_owned()],
            marks,
            cursor,
            BTreeSet::new(),
        )?;
        self.delete(&file)?;
        Ok(true)
    }

    fn answer_photo(&mut self, name: &str, request: &str) -> Go {
        let prefix = self.mark("p/");
        for (mark, _) in self.local.marks(&prefix, 5_000_000)? {
            let sha = &mark[prefix.len()..];
            if self.member.practice.photo_name(sha).replace('/', "") == name
                && self.local.has_photo(sha)?
            {
                self.send_photo(sha)?;
                return self.delete(&self.names.want(request));
            }
        }
        Ok(())
    }

    /// Asks for what was found missing or damaged a second time.
    pub(super) fn ask_for_missing(&mut self) -> Go {
        let mut ask = Vec::new();
        for (name, json) in self.local.marks(STREAMS, 100_000)? {
            let position: Position = serde_json::from_slice(&json).unwrap_or_default();
            let stream = &name[STREAMS.len()..];
            let again = position
                .holes
                .iter()
                .filter(|(_, times)| **times >= 2 && **times % 4 == 2);
            ask.extend(again.map(|(counter, _)| place(stream, *counter)));
        }
        let short = self.mark("short/");
        for (name, times) in self.local.marks(&short, 1000)? {
            let times: u32 = serde_json::from_slice(&times).unwrap_or(0);
            let whole = &name[short.len()..];
            let read_since = match placed(whole) {
                Some((stream, counter)) => {
                    read_mark::<Position>(self.local, &format!("{STREAMS}{stream}"))?
                        .is_some_and(|p| p.next > counter)
                }
                None => true,
            };
            if read_since {
                self.local.set_marks(&[(name, None)])?;
            } else if times >= 2 && times % 4 == 2 {
                ask.push(whole.to_owned());
            }
        }
        for (name, times) in self.local.marks(WANT, 1_000_000)? {
            let times: u32 = String::from_utf8_lossy(&times).parse().unwrap_or(0);
            if times >= 2 && times % 4 == 2 {
                let sha = name.rsplit('/').next().unwrap_or_default();
                ask.push(format!(
                    "photo.{}",
                    self.member.practice.photo_name(sha).replace('/', "")
                ));
            }
        }
        for what in ask.into_iter().take(ANSWERED) {
            self.put(&self.names.want(&what), &[])?;
        }
        Ok(())
    }

    /// Unlinks the batches and photographs that hold an erased visit.
    pub(super) fn unlink_erased(&mut self) -> Go {
        let prefix = self.mark("purge/");
        for (mark, _) in self.local.marks(&prefix, 1000)? {
            let id = mark[prefix.len()..].to_owned();
            let held = has(&id, "");
            for (row, _) in self.local.marks(&held, 100_000)? {
                let whole = row[held.len()..].to_owned();
                let mine = placed(&whole).is_some_and(|(stream, _)| self.is_mine_to_keep(stream));
                if mine && self.publish_anew(&whole, Some(&id))? {
                    self.report.files_erased += 1;
                }
                self.local.set_marks(&[(row, None)])?;
            }
            let photos = self.mark(&format!("vp/{id}/"));
            for (row, _) in self.local.marks(&photos, 100_000)? {
                let sha = row[photos.len()..].to_owned();
                let known = self.mark(&format!("p/{sha}"));
                let records: Vec<String> = read_mark(self.local, &known)?.unwrap_or_default();
                if self.all_erased(&records)? {
                    self.delete(&self.names.photo(&self.member.practice.photo_name(&sha)))?;
                    self.report.files_erased += 1;
                    self.local.set_marks(&[(row, None), (known, None)])?;
                }
            }
            self.local.set_marks(&[(mark, None)])?;
        }
        Ok(())
    }
}
