//! Names of files at a target and of what this device remembers of it.

use crate::seal::sha256;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Files of one practice at a target.
pub(super) struct Names(String);

impl Names {
    pub fn of(practice: &str) -> Self {
        Self(practice.to_owned())
    }
    pub fn heads(&self) -> String {
        format!("{}/heads", self.0)
    }
    pub fn head(&self, stream: &str, counter: u64) -> String {
        format!("{}/{}", self.heads(), place(stream, counter))
    }
    pub fn batch(&self, stream: &str, counter: u64) -> String {
        format!("{}/changes/{stream}/{counter:08}", self.0)
    }
    /// The place of a batch's file.
    pub fn place_of(&self, file: &str) -> Option<String> {
        let rest = file.strip_prefix(&format!("{}/changes/", self.0))?;
        Some(rest.replacen('/', "-", 1))
    }
    pub fn photo(&self, name: &str) -> String {
        format!("{}/photos/{name}", self.0)
    }
    pub fn wanted(&self) -> String {
        format!("{}/wanted", self.0)
    }
    pub fn want(&self, what: &str) -> String {
        format!("{}/{what}", self.wanted())
    }
}

/// A batch's place: its stream and counter in one word.
pub(super) fn place(stream: &str, counter: u64) -> String {
    format!("{stream}-{counter:08}")
}

/// Stream and counter of a place.
pub(super) fn placed(name: &str) -> Option<(&str, u64)> {
    let (stream, counter) = name.rsplit_once('-')?;
    let device = device_of(stream);
    let plain =
        |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_hexdigit() || b == b'.');
    (plain(stream) && device.len() == 16 && counter.len() == 8).then_some(())?;
    Some((stream, counter.parse().ok()?))
}

/// The device that publishes a stream.
pub(super) fn device_of(stream: &str) -> &str {
    stream.split('.').next().unwrap_or_default()
}

/// What is remembered of one target lies under its address, whatever it is called.
pub(super) fn at(address: &str) -> String {
    format!("exchange/at/{}/", &sha256(address.as_bytes())[..16])
}

pub(super) const STREAMS: &str = "exchange/stream/";
/// `has/RECORD/PLACE`: batches a record stands in, at whichever target. Kept, as `in/` is: what
/// stands in a batch never changes.
pub(super) fn has(id: &str, place: &str) -> String {
    format!("exchange/has/{id}/{place}")
}
/// `in/PLACE`: what stands in a batch.
pub(super) fn inside(place: &str) -> String {
    format!("exchange/in/{place}")
}
/// `gone/PLACE`: batches published anew: whoever notes it has all that stood in them.
pub(super) fn gone(place: &str) -> String {
    format!("exchange/gone/{place}")
}
pub(super) const WANT: &str = "exchange/want/";

/// How far a stream has been read.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Position {
    /// The next batch.
    pub next: u64,
    /// Earlier ones that could not be read, and how often that was tried.
    #[serde(default)]
    pub holes: BTreeMap<u64, u32>,
}

impl Position {
    /// The last batch up to which something was taken in.
    pub fn upto(&self) -> u64 {
        self.next.saturating_sub(1)
    }
}

/// What stands in a batch, for publishing it anew.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(super) struct Inside {
    #[serde(default)]
    pub records: Vec<String>,
    #[serde(default)]
    pub photos: Vec<(String, Vec<String>)>,
    #[serde(default)]
    pub erased: Vec<(String, String)>,
    /// Batches it said were published anew.
    #[serde(default)]
    pub replaces: Vec<String>,
}

/// This device at one target.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(super) struct Here {
    /// Its stream there.
    pub stream: String,
    /// Its last batch.
    pub counter: u64,
    /// Changes up to here have been published or need not be.
    pub cursor: i64,
    /// Statements said there, by hash; keys handed over there.
    #[serde(default)]
    pub said: std::collections::BTreeSet<String>,
    /// When it last succeeded, milliseconds since 1970.
    #[serde(default)]
    pub at_ms: i64,
}
