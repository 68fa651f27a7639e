//! Who is in a practice: worked out from a set of statements, so that every device that knows the
//! same statements, in whatever order they came, names the same members.

use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A device as others know it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Card {
    /// Identifier, 16 hexadecimal digits.
    pub device: String,
    /// Its name among people.
    pub name: String,
    /// Key its batches are signed with.
    pub verify: String,
    /// Key that practice keys are handed to it with.
    pub recipient: String,
}

/// How far a device has published, by stream.
pub(crate) type Upto = BTreeMap<String, u64>;

/// A statement about membership. It counts when it stands in a batch that counts.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "what")]
pub(crate) enum Word {
    /// A device is let in.
    Admit { card: Card, by: String },
    /// A device is struck off: of what it published, only this counts.
    Strike {
        device: String,
        by: String,
        upto: Upto,
    },
    /// This much of a struck device had been taken in before its strike was known here: it counts
    /// too, or devices would differ for ever.
    Took {
        device: String,
        by: String,
        upto: Upto,
    },
}

/// One practice key handed to one device: sealed to that device's own key.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Share {
    /// The practice key's public half.
    pub key: String,
    /// Counts the changes of key.
    pub generation: u64,
    /// The device.
    pub device: String,
    /// The secret half, sealed (base64).
    pub sealed: String,
}

/// Standing of a device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Standing {
    Unknown,
    In,
    /// By whom, and what counts.
    Struck(String, Upto),
}

/// Members and struck devices.
#[derive(Debug, Clone, Default)]
pub(crate) struct Roster {
    pub cards: BTreeMap<String, Card>,
    pub struck: BTreeMap<String, (String, Upto)>,
}

impl Roster {
    pub fn of(words: &BTreeSet<Word>) -> Self {
        let mut roster = Self::default();
        for word in words {
            match word {
                // Of two cards for one device the first in order stands, on every device alike.
                Word::Admit { card, .. } => {
                    roster
                        .cards
                        .entry(card.device.clone())
                        .or_insert_with(|| card.clone());
                }
                Word::Strike { device, by, upto } => {
                    let entry = roster
                        .struck
                        .entry(device.clone())
                        .or_insert_with(|| (by.clone(), Upto::new()));
                    most(&mut entry.1, upto);
                }
                Word::Took { .. } => {}
            }
        }
        for word in words {
            if let Word::Took { device, upto, .. } = word
                && let Some((_, all)) = roster.struck.get_mut(device)
            {
                most(all, upto);
            }
        }
        roster
    }

    pub fn standing(&self, device: &str) -> Standing {
        match (self.cards.get(device), self.struck.get(device)) {
            (None, _) => Standing::Unknown,
            (Some(_), None) => Standing::In,
            (Some(_), Some((by, upto))) => Standing::Struck(by.clone(), upto.clone()),
        }
    }

    /// Devices that are in and not struck off.
    pub fn live(&self) -> impl Iterator<Item = &Card> {
        self.cards
            .values()
            .filter(|card| !self.struck.contains_key(&card.device))
    }

    pub fn name(&self, device: &str) -> String {
        self.cards
            .get(device)
            .map_or_else(|| format!("device {device}"), |card| card.name.clone())
    }
}

fn most(all: &mut Upto, more: &Upto) {
    for (stream, counter) in more {
        let entry = all.entry(stream.clone()).or_default();
        *entry = (*entry).max(*counter);
    }
}
