//! Joining: a code shown on a member, typed or scanned on the newcomer.
//!
//! 1. The member makes a code of 128 random bits and leaves a welcome (the practice, its keys, its
//!    members) at the target, sealed to the code, under a name made from it. A crash leaves a
//!    welcome nobody has the code of.
//! 2. The newcomer opens the welcome with the code and leaves its card, sealed to the code.
//! 3. The member, at its next synchronisation, lets the card in, says so in a batch, and removes
//!    both files: a code lets in one device.

use super::roster::{Card, Share, Word};
use super::{Member, OwnKeys, Practice};
use crate::error::{ExchangeError, Result};
use crate::local::{Local, json_mark};
use crate::seal::{random, seal_to_code, sha256, signed, unseal_with_code};
use crate::target::Target;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

const INVITES: &str = "exchange/invite/";
const SYMBOLS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CODE_SYMBOLS: usize = 26;
const JOIN: &str = "join";

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
    inviter: String,
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
    let code = Code::new()?;
    let practice = &member.practice;
    let welcome = Welcome {
        practice: practice.id.clone(),
        secret: practice.secret.clone(),
        keys: practice.keys.clone(),
        shares: practice.shares.clone(),
        words: practice.words.iter().cloned().collect(),
        inviter: member.own.card.name.clone(),
    };
    let json = to_json(&welcome)?;
    // First what this device must remember: a welcome without it would never be answered.
    let mark = (
        format!("{INVITES}{}", code.name()),
        Some(code.secret().into_bytes()),
    );
    local.set_marks(&[mark])?;
    target.put(&code.file("welcome"), &seal_to_code(&code.secret(), &json)?)?;
    Ok(Invitation {
        text: code.text(),
        qr: format!("PLINTHSIDE-JOIN:{}", code.plain()),
        target: target.describe(),
    })
}

pub(super) fn join(
    local: &(impl Local + ?Sized),
    target: &dyn Target,
    text: &str,
    name: &str,
) -> Result<String> {
    let code = Code::read(text)?;
    if let Some(before) = Member::read(local)? {
        let roster = before.practice.roster();
        let me = &before.own.card.device;
        let alone = roster.live().count() == 1 && roster.live().all(|card| &card.device == me);
        let free = before.own.copy != local.copy_id()?
            || roster.struck.contains_key(me)
            || !roster.cards.contains_key(me);
        // A practice of this one device alone is joined to the other: nothing of it was anybody's.
        if !(free || alone) {
            return Err(ExchangeError::InAPractice);
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
    forget_targets(local)?;
    Member { own, practice }.save(local)?;
    Ok(welcome.inviter)
}

/// What this device knew of targets belongs to whichever device it was before.
fn forget_targets(local: &(impl Local + ?Sized)) -> Result<()> {
    for prefix in [
        "exchange/at/",
        "exchange/stream/",
        "exchange/in/",
        "exchange/has/",
        "exchange/gone/",
        "exchange/want/",
    ] {
        loop {
            let rows = local.marks(prefix, 1000)?;
            if rows.is_empty() {
                break;
            }
            local.set_marks(
                &rows
                    .into_iter()
                    .map(|(name, _)| (name, None))
                    .collect::<Vec<_>>(),
            )?;
        }
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
    for (mark, secret) in local.marks(INVITES, 100)? {
        let Some(code) = String::from_utf8(secret)
            .ok()
            .and_then(|secret| Code::read(&secret).ok())
        else {
            continue;
        };
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
