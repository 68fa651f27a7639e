//! Joining: a code shown on a member, typed or scanned on the newcomer.
//!
//! 1. The member makes a code of 128 random bits and leaves a welcome (the practice, its keys, its
//!    members) at the target, sealed to the code, under a name made from it. A crash leaves a
//!    welcome nobody has the code of.
//! 2. The newcomer opens the welcome with the code and leaves its card, sealed to the code.
//! 3. The member, at its next synchronisation, lets the card in, says so in a batch, and removes
//!    both files: a code lets in one device.
//!
//! A code counts for a day. It is withdrawn before when the member shows another or strikes a
//! device off; its welcome is removed at once, or with the next synchronisation there.

use super::roster::{Card, Share, Word};
use super::{Member, OwnKeys, Practice};
use crate::error::{ExchangeError, Result};
use crate::local::{Local, json_mark, read_mark};
use crate::seal::{random, seal_to_code, sha256, signed, unseal_with_code};
use crate::sync::forget;
use crate::target::Target;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

const INVITES: &str = "exchange/invite/";
const SYMBOLS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CODE_SYMBOLS: usize = 26;
const JOIN: &str = "join";

/// How long a code counts.
const COUNTS: Duration = Duration::from_hours(24);
/// How long a withdrawn one is remembered for a target that has not been met since.
const REMEMBERED: Duration = Duration::from_hours(30 * 24);

/// A code shown here, as it is kept.
#[derive(Serialize, Deserialize)]
struct Shown {
    secret: String,
    /// When, milliseconds since 1970.
    at_ms: u64,
    /// Where its welcome lies.
    target: String,
    #[serde(default)]
    withdrawn: bool,
}

impl Shown {
    /// What an earlier version kept is a code alone: long ago.
    fn read(bytes: &[u8]) -> Option<Self> {
        serde_json::from_slice(bytes).ok().or_else(|| {
            Some(Self {
                secret: String::from_utf8(bytes.to_vec()).ok()?,
                at_ms: 0,
                target: String::new(),
                withdrawn: true,
            })
        })
    }

    fn is_older_than(&self, age: Duration) -> bool {
        u128::from(now_ms().saturating_sub(self.at_ms)) > age.as_millis()
    }
}

fn now_ms() -> u64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    since.map_or(0, |since| {
        u64::try_from(since.as_millis()).unwrap_or(u64::MAX)
    })
}

/// A code to show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Invitation {
    /// The code in groups, to read aloud and type.
    pub text: String,
    /// What a QR code holds.
    pub qr: String,
    /// The target where the welcome waits.
    pub target: String,
}

#[derive(Serialize, Deserialize)]
struct Welcome {
    practice: String,
    secret: String,
    keys: BTreeMap<String, (u64, crate::seal::SecretKey)>,
    shares: Vec<Share>,
    words: Vec<Word>,
    /// Erased records and who erased them: an old file brings none of them to a newcomer.
    #[serde(default)]
    erased: Vec<(String, String)>,
    inviter: String,
}

/// What is left of a practice of one device that joined another: its keys still open what labs
/// answer to it.
#[derive(Serialize, Deserialize)]
pub(super) struct Former {
    pub secret: String,
    pub keys: Vec<crate::seal::SecretKey>,
}

const FORMER: &str = "exchange/former";

/// Practices of this device alone that it has left.
pub(super) fn former(local: &(impl Local + ?Sized)) -> Result<Vec<Former>> {
    Ok(read_mark(local, FORMER)?.unwrap_or_default())
}

#[derive(Serialize, Deserialize)]
struct Request {
    card: Card,
    signature: String,
}

pub(super) fn invite(
    local: &(impl Local + ?Sized),
    member: &Member,
    target: &dyn Target,
) -> Result<Invitation> {
    withdraw_at(local, target)?;
    let code = Code::new()?;
    let practice = &member.practice;
    let welcome = Welcome {
        practice: practice.id.clone(),
        secret: practice.secret.clone(),
        keys: practice.keys.clone(),
        shares: practice.shares.clone(),
        words: practice.words.iter().cloned().collect(),
        erased: erased(local)?,
        inviter: member.own.card.name.clone(),
    };
    let json = to_json(&welcome)?;
    // First what this device must remember: a welcome without it would never be answered.
    let shown = Shown {
        secret: code.secret(),
        at_ms: now_ms(),
        target: target.describe(),
        withdrawn: false,
    };
    local.set_marks(&[json_mark(format!("{INVITES}{}", code.name()), &shown)])?;
    target.put(&code.file("welcome"), &seal_to_code(&code.secret(), &json)?)?;
    Ok(Invitation {
        text: code.text(),
        qr: format!("PLINTHSIDE-JOIN:{}", code.plain()),
        target: target.describe(),
    })
}

/// All erasures known here.
fn erased(local: &(impl Local + ?Sized)) -> Result<Vec<(String, String)>> {
    let (mut all, mut seq) = (Vec::new(), 0);
    loop {
        let changed = local.changed_since(seq, 10_000)?;
        let Some(last) = changed.last() else {
            return Ok(all);
        };
        seq = last.seq;
        let erased = changed.into_iter();
        all.extend(erased.filter_map(|change| Some((change.id, change.erased_by?))));
    }
}

/// Withdraws the codes shown at a target before that nobody has answered.
fn withdraw_at(local: &(impl Local + ?Sized), target: &dyn Target) -> Result<()> {
    for (mark, bytes) in local.marks(INVITES, 1000)? {
        let Some(shown) = Shown::read(&bytes) else {
            continue;
        };
        let Ok(code) = Code::read(&shown.secret) else {
            continue;
        };
        match target.get(&code.file("request")) {
            Ok(_) => {}
            Err(error) if error.is_not_found() => {
                target.delete(&code.file("welcome"))?;
                let elsewhere = shown.target != target.describe();
                local.set_marks(&[after(mark, shown, elsewhere)])?;
            }
            Err(error) => return Err(error.into()),
        }
    }
    Ok(())
}

/// What is kept of a withdrawn code: where its welcome lies at a target not in hand, that it is to
/// be removed.
fn after(mark: String, shown: Shown, keep: bool) -> (String, Option<Vec<u8>>) {
    if !keep || shown.is_older_than(REMEMBERED) {
        return (mark, None);
    }
    let withdrawn = true;
    json_mark(mark, &Shown { withdrawn, ..shown })
}

/// Withdraws every code shown here: the welcomes are removed with the next synchronisation.
pub(super) fn withdraw_all(local: &(impl Local + ?Sized)) -> Result<()> {
    let shown = local.marks(INVITES, 1000)?.into_iter();
    let marks: Vec<_> = shown
        .filter_map(|(mark, bytes)| Some(after(mark, Shown::read(&bytes)?, true)))
        .collect();
    local.set_marks(&marks)
}

pub(super) fn join(
    local: &(impl Local + ?Sized),
    target: &dyn Target,
    text: &str,
    name: &str,
) -> Result<String> {
    let code = Code::read(text)?;
    let mut left = former(local)?;
    if let Some(before) = Member::read(local)? {
        let roster = before.practice.roster();
        let me = &before.own.card.device;
        let alone = roster.live().count() == 1 && roster.live().all(|card| &card.device == me);
        let free = before.own.copy != local.copy_id()?
            || roster.struck.contains_key(me)
            || !roster.cards.contains_key(me);
        // A practice of this one device alone is joined to the other: nothing of it was anybody's
        // but what labs were sent.
        if !(free || alone) {
            return Err(ExchangeError::InAPractice);
        }
        if alone {
            let keys = before.practice.keys.into_values();
            left.push(Former {
                secret: before.practice.secret,
                keys: keys.map(|(_, key)| key).collect(),
            });
        }
    }
    let nothing = || ExchangeError::NoInvitation {
        target: target.describe(),
    };
    let sealed = match target.get(&code.file("welcome")) {
        Err(error) if error.is_not_found() => return Err(nothing()),
        other => other?,
    };
    let json = unseal_with_code(&code.secret(), &sealed).ok_or_else(nothing)?;
    let welcome: Welcome = serde_json::from_slice(&json).map_err(|_| nothing())?;
    let mut own = OwnKeys::new(local.copy_id()?, name)?;
    own.invited_by.clone_from(&welcome.inviter);
    let practice = Practice {
        id: welcome.practice,
        secret: welcome.secret,
        keys: welcome.keys,
        shares: welcome.shares,
        words: welcome.words.into_iter().collect(),
    };
    let card = to_json(&own.card)?;
    let request = Request {
        signature: own.signing.sign(JOIN, &card),
        card: own.card.clone(),
    };
    target.put(
        &code.file("request"),
        &seal_to_code(&code.secret(), &to_json(&request)?)?,
    )?;
    for (id, by) in &welcome.erased {
        local.erase(id, by)?;
    }
    forget_targets(local)?;
    local.set_marks(&[json_mark(FORMER, &left)])?;
    Member { own, practice }.save(local)?;
    Ok(welcome.inviter)
}

/// What this device knew of targets belongs to whichever device it was before.
pub(super) fn forget_targets(local: &(impl Local + ?Sized)) -> Result<()> {
    for what in ["at", "stream", "in", "has", "gone", "want"] {
        forget(local, &format!("exchange/{what}/"))?;
    }
    Ok(())
}

/// Lets in whoever answered a code shown here. Returns the names of the new devices.
pub(crate) fn admit_joiners(
    local: &(impl Local + ?Sized),
    member: &mut Member,
    target: &dyn Target,
) -> Result<Vec<String>> {
    let mut admitted = Vec::new();
    for (mark, bytes) in local.marks(INVITES, 1000)? {
        let Some(shown) = Shown::read(&bytes) else {
            continue;
        };
        let Ok(code) = Code::read(&shown.secret) else {
            continue;
        };
        if shown.withdrawn || shown.is_older_than(COUNTS) {
            target.delete(&code.file("welcome"))?;
            target.delete(&code.file("request"))?;
            let elsewhere = shown.target != target.describe();
            local.set_marks(&[after(mark, shown, elsewhere)])?;
            continue;
        }
        let sealed = match target.get(&code.file("request")) {
            Err(error) if error.is_not_found() => continue,
            other => other?,
        };
        let request = unseal_with_code(&code.secret(), &sealed)
            .and_then(|json| serde_json::from_slice::<Request>(&json).ok());
        // Anything else under that name is not from whoever knows the code.
        let Some(Request { card, signature }) = request else {
            continue;
        };
        if !signed(&card.verify, JOIN, &to_json(&card)?, &signature) {
            continue;
        }
        let name = card.name.clone();
        member.practice.words.insert(Word::Admit {
            card,
            by: member.own.card.device.clone(),
        });
        member.practice.settle()?;
        let practice = (super::PRACTICE_MARK, &member.practice);
        // In one go: a code that has let a device in is forgotten with it.
        local.set_marks(&[json_mark(practice.0, practice.1), (mark, None)])?;
        target.delete(&code.file("welcome"))?;
        target.delete(&code.file("request"))?;
        admitted.push(name);
    }
    Ok(admitted)
}

fn to_json(value: &impl Serialize) -> Result<Vec<u8>> {
    serde_json::to_vec(value).map_err(|e| ExchangeError::Sealing { why: e.to_string() })
}

/// 128 random bits as 26 Crockford base32 symbols and a check symbol.
struct Code([u8; CODE_SYMBOLS]);

impl Code {
    fn new() -> Result<Self> {
        let mut bits = u128::from_be_bytes(random()?);
        let mut symbols = [0; CODE_SYMBOLS];
        for symbol in symbols.iter_mut().rev() {
            *symbol = (bits & 31) as u8;
            bits >>= 5;
        }
        Ok(Self(symbols))
    }

    /// Reads a code as typed or scanned: case, spaces and dashes do not matter; O, I and L are read
    /// as the digits they look like.
    fn read(text: &str) -> Result<Self> {
        let text = text.trim();
        let text = text.strip_prefix("PLINTHSIDE-JOIN:").unwrap_or(text);
        let mut values = Vec::new();
        for c in text.chars().filter(|c| !c.is_whitespace() && *c != '-') {
            let c = match c.to_ascii_uppercase() {
                'O' => '0',
                'I' | 'L' => '1',
                c => c,
            };
            let value = SYMBOLS
                .iter()
                .position(|s| char::from(*s) == c)
                .ok_or(ExchangeError::NotACode)?;
            values.push(value as u8);
        }
        let (check, symbols) = values.split_last().ok_or(ExchangeError::NotACode)?;
        let code = Self(symbols.try_into().map_err(|_| ExchangeError::NotACode)?);
        if code.check() != *check {
            Err(ExchangeError::NotACode)
        } else {
            Ok(code)
        }
    }

    /// Finds every single wrong symbol and every exchange of two neighbours: weights that are
    /// units modulo 31, and differ by one.
    fn check(&self) -> u8 {
        let sum: u32 = self
            .0
            .iter()
            .enumerate()
            .map(|(i, v)| (i as u32 % 30 + 1) * (u32::from(*v) % 31) + u32::from(*v / 31) * 7)
            .sum();
        (sum % 31) as u8
    }

    fn plain(&self) -> String {
        self.0
            .iter()
            .chain([&self.check()])
            .map(|v| char::from(SYMBOLS[usize::from(*v)]))
            .collect()
    }

    fn text(&self) -> String {
        let plain = self.plain();
        let groups: Vec<&str> = (0..plain.len())
            .step_by(5)
            .map(|i| &plain[i..plain.len().min(i + 5)])
            .collect();
        groups.join("-")
    }

    fn secret(&self) -> String {
        self.plain()
    }

    fn name(&self) -> String {
        sha256(format!("joining\0{}", self.secret()).as_bytes())[..24].to_owned()
    }

    fn file(&self, ending: &str) -> String {
        format!("joining/{}.{ending}", self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_finds_typing_errors() {
        let code = Code::new().unwrap_or(Code([5; CODE_SYMBOLS]));
        let text = code
            .text()
            .to_lowercase()
            .replace('1', "l")
            .replace('0', "o");
        assert_eq!(Code::read(&text).map(|c| c.0).ok(), Some(code.0));
        assert_eq!(
            Code::read(&format!("PLINTHSIDE-JOIN:{}", code.plain()))
                .map(|c| c.0)
                .ok(),
            Some(code.0)
        );
        let plain: Vec<u8> = code.plain().into_bytes();
        let mut missed = 0;
        for i in 0..plain.len() {
            for symbol in SYMBOLS.iter().filter(|s| **s != plain[i]) {
                let mut wrong = plain.clone();
                wrong[i] = *symbol;
                missed += usize::from(Code::read(&String::from_utf8_lossy(&wrong)).is_ok());
            }
        }
        // 27 × 31 wrong symbols; a code of 32 symbols checked modulo 31 may pass a few of them.
        assert!(missed <= 27, "{missed} wrong symbols pass");
        assert!(Code::read("").is_err());
        assert!(Code::read("PLINTHSIDE").is_err());
        assert!(Code::read(&code.text()[2..]).is_err());
    }
}
