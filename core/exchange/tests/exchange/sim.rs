//! A device and a target in memory for the simulator: the production protocol runs over both.
//!
//! A record is a set of edits (who, which); merging is union, so what is lost or kept shows
//! exactly. Every call may be where the device is killed: what the call did stays done, the run is
//! dropped, and the next begins anew from what the device remembers.

use plinthside_exchange::{ExchangeError, Local, Result, Taken, Target, TargetError, Whole};
use plinthside_store::{Changed, Incoming, StoreError};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use sha2::{Digest, Sha256};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::io::BufRead;
use std::sync::{Arc, Mutex};

type Edits = BTreeSet<(u32, u32)>;

#[derive(Default, Clone)]
pub struct Disk {
    pub records: BTreeMap<String, Edits>,
    pub erased: BTreeMap<String, String>,
    pub photos: BTreeMap<String, Vec<u8>>,
    pub names: BTreeMap<String, BTreeSet<String>>,
    /// Records and photographs that cannot be read.
    pub damaged: BTreeSet<String>,
    marks: BTreeMap<String, Vec<u8>>,
    changed: BTreeMap<String, i64>,
    seq: i64,
}

pub struct Device {
    pub number: u32,
    pub disk: RefCell<Disk>,
    /// Calls until the device is killed, or its disk is full.
    pub fuse: RefCell<Option<u32>>,
}

pub fn sha(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect()
}

fn damaged(what: &str) -> ExchangeError {
    let what = what.into();
    StoreError::Damaged { what }.into()
}

fn killed() -> ExchangeError {
    TargetError::Failed {
        target: "device".into(),
        why: "killed".into(),
    }
    .into()
}

impl Device {
    pub fn new(number: u32) -> Self {
        Self {
            number,
            disk: RefCell::default(),
            fuse: RefCell::new(None),
        }
    }

    fn burn(&self) -> Result<()> {
        match self.fuse.borrow_mut().as_mut() {
            Some(0) => Err(killed()),
            Some(left) => {
                *left -= 1;
                Ok(())
            }
            None => Ok(()),
        }
    }

    pub fn edit(&self, id: &str, edit: u32) -> bool {
        let mut disk = self.disk.borrow_mut();
        if disk.erased.contains_key(id) {
            return false;
        }
        disk.records
            .entry(id.into())
            .or_default()
            .insert((self.number, edit));
        disk.touch(id);
        true
    }

    pub fn photo(&self, id: &str, bytes: &[u8]) {
        let mut disk = self.disk.borrow_mut();
        if disk.erased.contains_key(id) {
            return;
        }
        disk.photos.insert(sha(bytes), bytes.to_vec());
        // The record names it by an edit of its own, so that the name travels with the record.
        let key = u32::from_str_radix(&sha(bytes)[..7], 16).expect("hex") | 1 << 31;
        disk.names
            .entry(format!("{key}"))
            .or_default()
            .insert(sha(bytes));
        disk.records
            .entry(id.into())
            .or_default()
            .insert((key, u32::MAX));
        disk.touch(id);
    }

    /// The practice keys this device holds.
    pub fn keys(&self) -> Vec<age::x25519::Identity> {
        let json = self.mark("exchange/practice").expect("mark").expect("in");
        let json: serde_json::Value = serde_json::from_slice(&json).expect("json");
        let keys = json["keys"].as_object().expect("keys").values();
        keys.map(|key| key[1].as_str().expect("key").parse().expect("a key"))
            .collect()
    }

    pub fn erase_here(&self, id: &str) {
        let mut disk = self.disk.borrow_mut();
        disk.records.remove(id);
        disk.erased
            .insert(id.into(), format!("device {}", self.number));
        disk.touch(id);
    }
}

impl Disk {
    fn touch(&mut self, id: &str) {
        self.seq += 1;
        self.changed.insert(id.into(), self.seq);
    }
}

fn encode(edits: &Edits, names: &BTreeMap<String, BTreeSet<String>>) -> Vec<u8> {
    let photos: Vec<(&u32, &BTreeSet<String>)> = edits
        .iter()
        .filter(|(_, e)| *e == u32::MAX)
        .filter_map(|(k, _)| Some((k, names.get(&k.to_string())?)))
        .collect();
    serde_json::to_vec(&(edits, photos)).expect("json")
}

fn heads(edits: &Edits) -> Vec<u8> {
    Sha256::digest(serde_json::to_vec(edits).expect("json")).to_vec()
}

impl Local for Device {
    fn copy_id(&self) -> Result<String> {
        Ok(format!("copy {}", self.number))
    }
    fn mark(&self, name: &str) -> Result<Option<Vec<u8>>> {
        Ok(self.disk.borrow().marks.get(name).cloned())
    }
    fn marks(&self, prefix: &str, limit: usize) -> Result<Vec<(String, Vec<u8>)>> {
        let disk = self.disk.borrow();
        let rows = disk
            .marks
            .range(prefix.to_owned()..)
            .take_while(|(name, _)| name.starts_with(prefix));
        Ok(rows
            .take(limit)
            .map(|(n, v)| (n.clone(), v.clone()))
            .collect())
    }
    fn set_marks(&self, marks: &[(String, Option<Vec<u8>>)]) -> Result<()> {
        self.burn()?;
        let all = &mut self.disk.borrow_mut().marks;
        for (name, value) in marks {
            match value {
                Some(value) => all.insert(name.clone(), value.clone()),
                None => all.remove(name),
            };
        }
        Ok(())
    }
    fn changed_since(&self, seq: i64, limit: usize) -> Result<Vec<Changed>> {
        let disk = self.disk.borrow();
        let mut all: Vec<Changed> = disk
            .changed
            .iter()
            .filter(|(_, at)| **at > seq)
            .map(|(id, at)| Changed {
                seq: *at,
                id: id.clone(),
                erased_by: disk.erased.get(id).cloned(),
            })
            .collect();
        all.sort_by_key(|c| c.seq);
        all.truncate(limit);
        Ok(all)
    }
    fn whole(&self, id: &str) -> Result<Option<Whole>> {
        if self.disk.borrow().damaged.contains(id) {
            return Err(damaged(id));
        }
        let disk = self.disk.borrow();
        Ok(disk.records.get(id).map(|edits| Whole {
            kind: "visit".into(),
            heads: heads(edits),
            bytes: encode(edits, &disk.names),
        }))
    }
    fn receive(&self, records: &[Incoming]) -> Result<Vec<Taken>> {
        self.burn()?;
        let mut disk = self.disk.borrow_mut();
        let taken = records.iter().map(|record| {
            if disk.erased.contains_key(&record.id) {
                return Taken::Erased;
            }
            let Ok((edits, photos)) =
                serde_json::from_slice::<(Edits, Vec<(u32, BTreeSet<String>)>)>(&record.changes)
            else {
                return Taken::Refused("no record".into());
            };
            for (key, names) in photos {
                disk.names.entry(key.to_string()).or_default().extend(names);
            }
            let mine = disk.records.entry(record.id.clone()).or_default();
            let before = mine.len();
            mine.extend(edits);
            let (new, heads) = (mine.len() != before, heads(mine));
            if new {
                disk.touch(&record.id);
            }
            Taken::In { new, heads }
        });
        Ok(taken.collect())
    }
    fn erase(&self, id: &str, by: &str) -> Result<()> {
        self.burn()?;
        let mut disk = self.disk.borrow_mut();
        if !disk.erased.contains_key(id) {
            disk.records.remove(id);
            disk.erased.insert(id.into(), by.into());
            disk.touch(id);
        }
        Ok(())
    }
    fn photos_of(&self, id: &str) -> Result<Vec<String>> {
        let disk = self.disk.borrow();
        let edits = disk.records.get(id).cloned().unwrap_or_default();
        Ok(edits
            .iter()
            .filter(|(_, e)| *e == u32::MAX)
            .filter_map(|(k, _)| disk.names.get(&k.to_string()))
            .flatten()
            .cloned()
            .collect())
    }
    fn visited_ms(&self, _: &str) -> Result<Option<i64>> {
        Ok(None)
    }
    fn has_photo(&self, sha256: &str) -> Result<bool> {
        Ok(self.disk.borrow().photos.contains_key(sha256))
    }
    fn photo(&self, sha256: &str) -> Result<Vec<u8>> {
        if self.disk.borrow().damaged.contains(sha256) {
            return Err(damaged(sha256));
        }
        self.disk
            .borrow()
            .photos
            .get(sha256)
            .cloned()
            .ok_or_else(killed)
    }
    fn add_photo(&self, bytes: &[u8]) -> Result<()> {
        self.burn()?;
        self.disk
            .borrow_mut()
            .photos
            .insert(sha(bytes), bytes.to_vec());
        Ok(())
    }
}

/// Records in a sealed batch, as whoever holds the practice's keys reads it; nothing where it was
/// torn.
pub fn records_in(batch: &[u8], keys: &[age::x25519::Identity]) -> Option<Vec<String>> {
    let mut rest = batch;
    for _ in 0..3 {
        rest = &rest[rest.iter().position(|b| *b == b'\n')? + 1..];
    }
    let keys = keys.iter().map(|key| key as &dyn age::Identity);
    let opened = age::Decryptor::new(rest).ok()?.decrypt(keys).ok()?;
    let mut line = String::new();
    std::io::BufReader::new(opened).read_line(&mut line).ok()?;
    let json: serde_json::Value = serde_json::from_str(&line).ok()?;
    let records = json["records"].as_array()?.iter();
    Some(
        records
            .map(|r| r["id"].as_str().expect("id").to_owned())
            .collect(),
    )
}

pub type Files = BTreeMap<String, Arc<[u8]>>;

/// A folder that misbehaves as folders, servers and lines do.
#[derive(Clone)]
pub struct Unreliable {
    pub files: Arc<Mutex<Files>>,
    pub older: Arc<Mutex<Files>>,
    dice: Arc<Mutex<StdRng>>,
    /// Chance of a fault in a request, per thousand.
    pub faults: u32,
}

impl Unreliable {
    pub fn new(seed: u64, faults: u32) -> Self {
        Self {
            files: Arc::default(),
            older: Arc::default(),
            dice: Arc::new(Mutex::new(StdRng::seed_from_u64(seed))),
            faults,
        }
    }

    fn unlucky(&self) -> bool {
        self.dice.lock().expect("lock").random_range(0..1000) < self.faults
    }

    fn broken(what: &str) -> TargetError {
        TargetError::Unreachable {
            target: "simulated".into(),
            why: what.into(),
        }
    }
}

impl Target for Unreliable {
    fn list(&self, folder: &str) -> std::result::Result<Vec<String>, TargetError> {
        if self.unlucky() {
            return Err(Self::broken("503"));
        }
        let stale = self.unlucky() || self.unlucky();
        let files = if stale {
            self.older.lock()
        } else {
            self.files.lock()
        }
        .expect("lock");
        let folder = format!("{folder}/");
        Ok(files
            .keys()
            .filter_map(|n| n.strip_prefix(&folder))
            .filter(|n| !n.contains('/'))
            .map(str::to_owned)
            .collect())
    }
    fn get(&self, name: &str) -> std::result::Result<Vec<u8>, TargetError> {
        if self.unlucky() {
            return Err(Self::broken("dropped in mid-body"));
        }
        let found = self
            .files
            .lock()
            .expect("lock")
            .get(name)
            .map(|b| b.to_vec());
        found.ok_or_else(|| TargetError::NotFound {
            target: "simulated".into(),
            name: name.into(),
        })
    }
    fn put(&self, name: &str, bytes: &[u8]) -> std::result::Result<(), TargetError> {
        if self.unlucky() {
            // Full, or dropped: half of it is there all the same, or all of it without a word.
            let half = if self.unlucky() {
                bytes.len()
            } else {
                bytes.len() / 2
            };
            self.files
                .lock()
                .expect("lock")
                .insert(name.into(), bytes[..half].into());
            return Err(TargetError::Full {
                target: "simulated".into(),
            });
        }
        let mut files = self.files.lock().expect("lock");
        *self.older.lock().expect("lock") = files.clone();
        files.insert(name.into(), bytes.into());
        Ok(())
    }
    fn delete(&self, name: &str) -> std::result::Result<(), TargetError> {
        if self.unlucky() {
            return Err(Self::broken("connection reset"));
        }
        self.files.lock().expect("lock").remove(name);
        Ok(())
    }
    fn describe(&self) -> String {
        "simulated".into()
    }
}
