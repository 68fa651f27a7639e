//! A practice: its keys, its devices, and how a device comes in and goes.
//!
//! A practice key (age, X25519) seals what is published; every member holds it. A device key
//! (Ed25519) signs; only its device holds it. Striking a device off makes a new practice key that
//! is handed to every other member, sealed to each member's own key.

mod devices;
mod joining;
mod roster;

pub use devices::{Device, Devices, Targets};
pub use joining::Invitation;
pub(crate) use joining::admit_joiners;
pub use roster::Card;
pub(crate) use roster::{Roster, Share, Standing, Word};

use crate::error::{ExchangeError, Result};
use crate::local::{Local, json_mark, read_mark};
use crate::seal::{SecretKey, Signing, hex, random, seal, sha256, unseal};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

const DEVICE_MARK: &str = "exchange/device";
const PRACTICE_MARK: &str = "exchange/practice";

/// This device's own keys.
#[derive(Clone, Serialize, Deserialize)]
pub(crate) struct OwnKeys {
    /// The copy of the store they were made for: another copy must not use them.
    pub copy: String,
    pub card: Card,
    pub signing: Signing,
    pub identity: SecretKey,
    /// Who showed the code this device joined with.
    #[serde(default)]
    pub invited_by: String,
    /// Devices this one was before its store was restored: nobody else looks after their files.
    #[serde(default)]
    pub before: Vec<String>,
}

impl OwnKeys {
    fn new(copy: String, name: &str) -> Result<Self> {
        let (signing, identity) = (Signing::generate()?, SecretKey::generate());
        let card = Card {
            device: hex(&random::<8>()?),
            name: name.to_owned(),
            verify: signing.public(),
            recipient: identity.public()?,
        };
        Ok(Self {
            copy,
            card,
            signing,
            identity,
            invited_by: String::new(),
            before: Vec::new(),
        })
    }
}

/// A practice as this device knows it.
#[derive(Clone, Serialize, Deserialize)]
pub(crate) struct Practice {
    /// Identifier, 16 hexadecimal digits.
    pub id: String,
    /// Never published: names of photographs and receipt tokens are made from it.
    pub secret: String,
    /// Practice keys held, by their public half.
    pub keys: BTreeMap<String, (u64, SecretKey)>,
    /// Keys handed out, by anybody.
    pub shares: Vec<Share>,
    /// Statements known.
    pub words: BTreeSet<Word>,
}

impl Practice {
    fn found(own: &OwnKeys) -> Result<Self> {
        let mut practice = Self {
            id: hex(&random::<8>()?),
            secret: hex(&random::<32>()?),
            keys: BTreeMap::new(),
            shares: Vec::new(),
            words: BTreeSet::from([Word::Admit {
                card: own.card.clone(),
                by: own.card.device.clone(),
            }]),
        };
        practice.new_key()?;
        Ok(practice)
    }

    pub fn roster(&self) -> Roster {
        Roster::of(&self.words)
    }

    /// Makes a new practice key and hands it to every member.
    pub fn new_key(&mut self) -> Result<()> {
        let key = SecretKey::generate();
        let newest = self
            .shares
            .iter()
            .map(|s| s.generation)
            .chain(self.keys.values().map(|k| k.0))
            .max();
        self.keys
            .insert(key.public()?, (newest.unwrap_or(0) + 1, key));
        self.hand_over()
    }

    fn shared_with(&self, key: &str) -> BTreeSet<&str> {
        self.shares
            .iter()
            .filter(|s| s.key == key)
            .map(|s| s.device.as_str())
            .collect()
    }

    /// Hands every key held to every member that has not got it.
    pub fn hand_over(&mut self) -> Result<()> {
        let roster = self.roster();
        let mut new = Vec::new();
        for (public, (generation, secret)) in &self.keys {
            let have = self.shared_with(public);
            for card in roster
                .live()
                .filter(|card| !have.contains(card.device.as_str()))
            {
                let bytes = serde_json::to_vec(secret)
                    .map_err(|e| ExchangeError::Sealing { why: e.to_string() })?;
                new.push(Share {
                    key: public.clone(),
                    generation: *generation,
                    device: card.device.clone(),
                    sealed: STANDARD.encode(seal(&card.recipient, &bytes)?),
                });
            }
        }
        self.shares.extend(new);
        Ok(())
    }

    /// Takes in a key handed over; says whether anything was new.
    pub fn take_share(&mut self, share: &Share, own: &OwnKeys) -> bool {
        if self
            .shares
            .iter()
            .any(|s| (&s.key, &s.device) == (&share.key, &share.device))
        {
            return false;
        }
        if share.device == own.card.device {
            let secret = STANDARD
                .decode(&share.sealed)
                .ok()
                .and_then(|sealed| unseal([&own.identity], &sealed));
            let secret = secret.and_then(|bytes| serde_json::from_slice::<SecretKey>(&bytes).ok());
            let Some(secret) = secret.filter(|s| s.public().is_ok_and(|p| p == share.key)) else {
                return false;
            };
            self.keys
                .insert(share.key.clone(), (share.generation, secret));
        }
        self.shares.push(share.clone());
        true
    }

    /// The key to seal with: the newest that every member has and no struck device.
    pub fn current_key(&self) -> Option<&str> {
        let roster = self.roster();
        let fits = |public: &str| {
            let have = self.shared_with(public);
            roster
                .live()
                .all(|card| have.contains(card.device.as_str()))
                && !roster
                    .struck
                    .keys()
                    .any(|device| have.contains(device.as_str()))
        };
        let newest = self.keys.iter().filter(|(public, _)| fits(public));
        newest
            .max_by(|a, b| (a.1.0, b.0).cmp(&(b.1.0, a.0)))
            .map(|(public, _)| public.as_str())
    }

    /// Brings keys in line with who is in: hands over what is missing, makes a new key where none
    /// is right. Says whether anything changed.
    pub fn settle(&mut self) -> Result<bool> {
        let before = self.shares.len();
        self.hand_over()?;
        if self.current_key().is_none() {
            self.new_key()?;
        }
        Ok(self.shares.len() != before)
    }

    /// Name of a photograph's file: whoever does not know the practice's secret cannot tell which.
    pub fn photo_name(&self, sha256_hex: &str) -> String {
        let name = sha256(format!("photo\0{}\0{sha256_hex}", self.secret).as_bytes());
        format!("{}/{}", &name[..2], &name[2..42])
    }
}

/// This device in its practice.
pub(crate) struct Member {
    pub own: OwnKeys,
    pub practice: Practice,
}

impl Member {
    pub fn read(local: &(impl Local + ?Sized)) -> Result<Option<Self>> {
        let own: Option<OwnKeys> = read_mark(local, DEVICE_MARK)?;
        let practice: Option<Practice> = read_mark(local, PRACTICE_MARK)?;
        Ok(own
            .zip(practice)
            .map(|(own, practice)| Self { own, practice }))
    }

    /// This device's membership; a copy of another device's store has none.
    pub fn require(local: &(impl Local + ?Sized)) -> Result<Self> {
        let mut member = Self::read(local)?.ok_or(ExchangeError::NoPractice)?;
        if member.own.copy == local.copy_id()? {
            return Ok(member);
        }
        let roster = member.practice.roster();
        if roster
            .live()
            .any(|card| card.device != member.own.card.device)
        {
            return Err(ExchangeError::ACopy);
        }
        // The backup of a practice of one device: nobody could let it in but itself.
        let old = member.own.card.device.clone();
        let mut own = OwnKeys::new(local.copy_id()?, &member.own.card.name)?;
        own.before = std::mem::take(&mut member.own.before);
        own.before.push(old.clone());
        member.own = own;
        member.practice.words.insert(Word::Admit {
            card: member.own.card.clone(),
            by: old,
        });
        member.practice.settle()?;
        // It begins streams of its own, and reads what it published before as anybody's.
        joining::forget_targets(local)?;
        member.save(local)?;
        Ok(member)
    }

    pub fn save(&self, local: &(impl Local + ?Sized)) -> Result<()> {
        local.set_marks(&[
            json_mark(DEVICE_MARK, &self.own),
            json_mark(PRACTICE_MARK, &self.practice),
        ])
    }

    pub fn sender(&self) -> Result<Sender> {
        let practice = &self.practice;
        let current = practice
            .current_key()
            .and_then(|public| practice.keys.get_key_value(public));
        let newest = || {
            practice
                .keys
                .iter()
                .max_by_key(|(_, (generation, _))| *generation)
        };
        let (public, (_, secret)) = current.or_else(newest).ok_or(ExchangeError::NoPractice)?;
        Ok(Sender {
            signing: secret.signer("package"),
            reply_to: public.clone(),
            keys: practice.keys.values().map(|(_, key)| key.clone()).collect(),
            secrets: vec![practice.secret.clone()],
        })
    }
}

/// Who sends packages and reads receipts: the practice, whichever of its devices it is.
#[derive(Clone)]
pub struct Sender {
    signing: Signing,
    pub(crate) reply_to: String,
    /// Keys that answers may be sealed to, those of practices left included.
    pub(crate) keys: Vec<SecretKey>,
    /// The practice's own, then those of practices left.
    secrets: Vec<String>,
}

impl std::fmt::Debug for Sender {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Sender({})", self.signing.public())
    }
}

impl Sender {
    /// The practice's public key, hexadecimal: a lab can compare its last digits by telephone.
    #[must_use]
    pub fn public(&self) -> String {
        self.signing.public()
    }

    pub(crate) fn sign(&self, purpose: &str, message: &[u8]) -> serde_json::Value {
        serde_json::json!({
            "algorithm": "Ed25519",
            "signs": format!("\"plinthside 1\", a zero byte, \"{purpose}\", a zero byte, the file's bytes"),
            "file": "tagmanifest-sha256.txt",
            "key": self.public(),
            "signature": self.signing.sign(purpose, message),
        })
    }

    pub(crate) fn receipt_token(&self, package: &str) -> String {
        self.tokens(package).next().unwrap_or_default()
    }

    /// Whether a token is one that stood in a package of this practice or of one left.
    pub(crate) fn gave_token(&self, package: &str, token: &str) -> bool {
        self.tokens(package).any(|own| own == token)
    }

    fn tokens<'a>(&'a self, package: &'a str) -> impl Iterator<Item = String> + 'a {
        self.secrets.iter().map(move |secret| {
            sha256(format!("receipt\0{secret}\0{package}").as_bytes())[..32].to_owned()
        })
    }
}
