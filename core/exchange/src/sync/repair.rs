//! Files that are missing or damaged are asked for and published anew; files that hold an erased
//! visit are unlinked once what else stood in them has been published anew.
//!
//! What stands in a batch never changes, so `has/` and `in/` are kept; `anew/PLACE` notes for one
//! target that a batch was published anew there (`0`) and its file unlinked (`1`). A crash between
//! the two unlinks again.

use super::names::{Inside, Position, STREAMS, WANT, device_of, gone, has, inside, place, placed};
use super::photos::Want;
use super::{Found, Go, Run};
use crate::batch::{self, Contents, Item, PhotoItem};
use crate::local::{Local, read_mark};
use crate::practice::Standing;
use std::collections::{BTreeMap, BTreeSet};

/// Requests answered in one synchronisation: a target that asks for everything gets it slowly.
const ANSWERED: usize = 20;

impl<L: Local + ?Sized> Run<'_, '_, L> {
    /// Answers what others ask for. What cannot be answered here is left to others and counts for
    /// nothing.
    pub(super) fn answer_wanted(&mut self) -> Go {
        let wanted = self.list(&self.names.wanted())?;
        let photos = match wanted.iter().any(|name| name.starts_with("photo.")) {
            true => self.photos_by_name()?,
            false => BTreeMap::new(),
        };
        let (mut answered, mut known) = (0, Vec::new());
        for name in wanted {
            self.go_on()?;
            if answered + known.len() >= ANSWERED {
                break;
            }
            let done = if let Some(photo) = name.strip_prefix("photo.") {
                match photos.get(photo) {
                    Some(sha) => self.send_photo(sha)?,
                    None => false,
                }
            } else {
                let Some((stream, counter)) = placed(&name) else {
                    continue;
                };
                let whole = place(stream, counter);
                if !self.is_mine_to_keep(stream) {
                    continue;
                }
                if self.was_published_anew(&whole)? {
                    known.push((name, whole));
                    continue;
                }
                self.is_whole(&whole)? || self.publish_anew(&whole)?
            };
            if done {
                self.delete(&self.names.want(&name))?;
                answered += 1;
            }
        }
        self.say_again(known)
    }

    /// Says again which batches were published anew: who asks has not read it, and the batch that
    /// said it may itself be gone.
    fn say_again(&mut self, known: Vec<(String, String)>) -> Go {
        if known.is_empty() {
            return Ok(());
        }
        let (names, places): (Vec<_>, Vec<_>) = known.into_iter().unzip();
        let cursor = self.here.cursor;
        self.write_batch(
            Contents::default(),
            places.clone(),
            Vec::new(),
            cursor,
            BTreeSet::new(),
        )?;
        for (name, whole) in names.iter().zip(&places) {
            self.unlink_file(whole)?;
            self.delete(&self.names.want(name))?;
        }
        Ok(())
    }

    /// Batches of this device, also of what it was before its store was restored, and of devices
    /// that will not come back for theirs.
    fn is_mine_to_keep(&self, stream: &str) -> bool {
        let (device, own) = (device_of(stream), &self.member.own);
        device == own.card.device
            || own.before.iter().any(|before| before == device)
            || matches!(
                self.member.practice.roster().standing(device),
                Standing::Struck(..)
            )
    }

    fn anew(&self, whole: &str) -> String {
        self.mark(&format!("anew/{whole}"))
    }

    /// Whether what stood in a batch was published anew at this target, or, as far as is remembered,
    /// at any.
    fn was_published_anew(&self, whole: &str) -> Go<bool> {
        let held = self.local.mark(&inside(whole))?.is_some();
        let anywhere = !held && self.local.mark(&gone(whole))?.is_some();
        Ok(anywhere || self.local.mark(&self.anew(whole))?.is_some())
    }

    /// Whether a batch is there and as its device signed it.
    fn is_whole(&mut self, whole: &str) -> Go<bool> {
        let Some((stream, counter)) = placed(whole) else {
            return Ok(false);
        };
        let Some(bytes) = self.look(&self.names.batch(stream, counter))? else {
            return Ok(false);
        };
        Ok(self.is_batch_of(&bytes, stream, counter))
    }

    /// Whether bytes are the batch of that place, signed by its device.
    pub(super) fn is_batch_of(&self, bytes: &[u8], stream: &str, counter: u64) -> bool {
        let roster = self.member.practice.roster();
        let verify = roster.cards.get(device_of(stream)).map(|card| &card.verify);
        batch::read(bytes).is_ok_and(|read| {
            (read.header.stream.as_str(), read.header.counter) == (stream, counter)
                && verify.is_some_and(|verify| read.verify(verify).is_ok())
        })
    }

    /// Publishes anew what stood in a batch and unlinks it. `false` if that is not known here or a
    /// record of it cannot be read: then its file may be the last good copy.
    fn publish_anew(&mut self, whole: &str) -> Go<bool> {
        if !self.was_published_anew(whole)? {
            let Some(held) = read_mark::<Inside>(self.local, &inside(whole))? else {
                return Ok(false);
            };
            let mut contents = Contents::default();
            let mut marks = vec![(self.anew(whole), Some(b"0".to_vec()))];
            for id in &held.records {
                match self.find(id)? {
                    Found::Nothing => {}
                    Found::Damaged => return Ok(false),
                    Found::Whole(record) => {
                        marks.push((self.mark(&format!("r/{id}")), Some(record.heads.clone())));
                        let (kind, bytes) = (record.kind, record.bytes);
                        let item = Item::new(id.clone(), kind, &record.heads, bytes);
                        contents.records.push(item);
                    }
                }
            }
            contents.erased = held.erased;
            let photos = held.photos.into_iter();
            contents.photos = photos
                .map(|(sha256, records)| PhotoItem { sha256, records })
                .collect();
            contents.words = self.member.practice.words.iter().cloned().collect();
            // Keys that were handed over in it are handed over again, and what it said was
            // published anew is said again.
            self.here.said.clear();
            let mut replaces = held.replaces;
            replaces.push(whole.to_owned());
            let cursor = self.here.cursor;
            self.write_batch(contents, replaces, marks, cursor, BTreeSet::new())?;
        }
        self.unlink_file(whole)?;
        Ok(true)
    }

    fn unlink_file(&mut self, whole: &str) -> Go {
        if let Some((stream, counter)) = placed(whole) {
            self.delete(&self.names.batch(stream, counter))?;
            let anew = self.anew(whole);
            self.local.set_marks(&[(anew, Some(b"1".to_vec()))])?;
        }
        Ok(())
    }

    /// Photographs that lie at this target, by the names that requests have.
    fn photos_by_name(&self) -> Go<BTreeMap<String, String>> {
        let prefix = self.mark("p/");
        let mut names = BTreeMap::new();
        for (mark, _) in self.local.marks(&prefix, 5_000_000)? {
            let sha = &mark[prefix.len()..];
            if self.local.has_photo(sha)? {
                names.insert(self.photo_request(sha), sha.to_owned());
            }
        }
        Ok(names)
    }

    fn photo_request(&self, sha: &str) -> String {
        self.member.practice.photo_name(sha).replace('/', "")
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
        for (name, value) in self.local.marks(WANT, 1_000_000)? {
            let times = Want::read(&value).times;
            if times >= 2 && times % 4 == 2 {
                let sha = name.rsplit('/').next().unwrap_or_default();
                ask.push(format!("photo.{}", self.photo_request(sha)));
            }
        }
        for what in ask.into_iter().take(ANSWERED) {
            self.go_on()?;
            self.put(&self.names.want(&what), &[])?;
        }
        Ok(())
    }

    /// Unlinks the batches and photographs that hold an erased visit. One is remembered until all
    /// its batches are gone: another device's are its own to unlink, unless it is struck off one
    /// day, and those of another target are unlinked there.
    pub(super) fn unlink_erased(&mut self) -> Go {
        let prefix = self.mark("purge/");
        for (mark, _) in self.local.marks(&prefix, 1_000_000)? {
            let id = mark[prefix.len()..].to_owned();
            let (held, mut left) = (has(&id, ""), false);
            for (row, _) in self.local.marks(&held, 100_000)? {
                self.go_on()?;
                left |= !self.unlink_batch(&row[held.len()..])?;
            }
            let photos = self.mark(&format!("vp/{id}/"));
            for (row, _) in self.local.marks(&photos, 100_000)? {
                self.go_on()?;
                let sha = row[photos.len()..].to_owned();
                let known = self.mark(&format!("p/{sha}"));
                let records: Vec<String> = read_mark(self.local, &known)?.unwrap_or_default();
                if self.all_erased(&records)? {
                    self.delete(&self.names.photo(&self.member.practice.photo_name(&sha)))?;
                    self.report.files_erased += 1;
                    self.local.set_marks(&[(row, None), (known, None)])?;
                }
            }
            if !left {
                self.local.set_marks(&[(mark, None)])?;
            }
        }
        Ok(())
    }

    /// Unlinks one batch; says whether it is gone.
    fn unlink_batch(&mut self, whole: &str) -> Go<bool> {
        let Some((stream, _)) = placed(whole) else {
            return Ok(true);
        };
        if self.local.mark(&self.anew(whole))?.as_deref() == Some(b"1") {
            return Ok(true);
        }
        if self.heads.contains_key(stream) && self.is_mine_to_keep(stream) {
            let unlinked = self.publish_anew(whole)?;
            self.report.files_erased += u64::from(unlinked);
            return Ok(unlinked);
        }
        Ok(self.local.mark(&gone(whole))?.is_some())
    }
}
