//! Devices of a practice: begin, list, invite, join, strike off, change the key.

use super::joining::{self, Invitation};
use super::roster::{Standing, Word};
use super::{Member, OwnKeys, Practice, Sender};
use crate::error::{ExchangeError, Result};
use crate::local::Local;
use crate::sync::{forget_address, stream_counters};
use crate::target::{Target, TargetSpec, answers};
use std::path::Path;

/// A device of the practice, for a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Identifier.
    pub id: String,
    /// Name among people.
    pub name: String,
    /// This very device.
    pub this: bool,
    /// The device that struck it off, if one did.
    pub struck_off_by: Option<String>,
}

/// The devices of the practice that a store belongs to.
#[derive(Debug)]
pub struct Devices<'a, L: Local + ?Sized>(pub &'a L);

impl<L: Local + ?Sized> Devices<'_, L> {
    /// Begins a practice on this device.
    ///
    /// # Errors
    /// It belongs to one already, or the store cannot be written.
    pub fn begin(&self, name: &str) -> Result<()> {
        if Member::read(self.0)?.is_some() {
            return Err(ExchangeError::InAPractice);
        }
        let own = OwnKeys::new(self.0.copy_id()?, name)?;
        let practice = Practice::found(&own)?;
        Member { own, practice }.save(self.0)
    }

    /// Begins a practice unless this device belongs to one.
    ///
    /// # Errors
    /// The store cannot be read or written.
    pub fn begin_if_none(&self, name: &str) -> Result<()> {
        match self.begin(name) {
            Err(ExchangeError::InAPractice) => Ok(()),
            other => other,
        }
    }

    /// All devices, this one first, then by name; struck ones last.
    ///
    /// # Errors
    /// This device belongs to no practice.
    pub fn list(&self) -> Result<Vec<Device>> {
        let member = Member::read(self.0)?.ok_or(ExchangeError::NoPractice)?;
        let roster = member.practice.roster();
        let mut all: Vec<Device> = roster
            .cards
            .values()
            .map(|card| Device {
                id: card.device.clone(),
                name: card.name.clone(),
                this: card.device == member.own.card.device,
                struck_off_by: roster
                    .struck
                    .get(&card.device)
                    .map(|(by, _)| roster.name(by)),
            })
            .collect();
        all.sort_by(|a, b| {
            (a.struck_off_by.is_some(), !a.this, &a.name).cmp(&(
                b.struck_off_by.is_some(),
                !b.this,
                &b.name,
            ))
        });
        Ok(all)
    }

    /// Shows a code that lets one device in. It waits at the target until that device has come and
    /// this one has synchronised again: a day at most, and only until another is shown there or a
    /// device is struck off here.
    ///
    /// # Errors
    /// This device is in no practice or struck off, or the target does not answer.
    pub fn invite(&self, target: &dyn Target) -> Result<Invitation> {
        let member = self.live_member()?;
        joining::invite(self.0, &member, target)
    }

    /// Joins with a code shown on a member; says who showed it. Everything in this store stays and
    /// is shared from then on.
    ///
    /// # Errors
    /// The code leads nowhere, this device is in a practice already, or the target does not answer.
    pub fn join(&self, target: &dyn Target, code: &str, name: &str) -> Result<String> {
        joining::join(self.0, target, code, name)
    }

    /// Strikes a lost device off: what it publishes from now on is refused, and everything from now
    /// on is sealed with a new key that it does not get. What it has on it, it keeps: change the
    /// target's password too. Others hear of it with this device's next synchronisation.
    ///
    /// # Errors
    /// No such device, or the store cannot be written.
    pub fn strike_off(&self, device: &str) -> Result<()> {
        let mut member = self.live_member()?;
        let roster = member.practice.roster();
        if roster.standing(device) == Standing::Unknown || device == member.own.card.device {
            return Err(ExchangeError::NoDevice {
                device: device.to_owned(),
            });
        }
        let upto = stream_counters(self.0, device)?;
        let by = member.own.card.device.clone();
        member.practice.words.insert(Word::Strike {
            device: device.to_owned(),
            by,
            upto,
        });
        member.practice.settle()?;
        joining::withdraw_all(self.0)?;
        member.save(self.0)
    }

    /// Makes a new practice key, for instance after an erasure: who copied the target's files and
    /// learns the old key reads nothing of what comes.
    ///
    /// # Errors
    /// This device is in no practice, or the store cannot be written.
    pub fn change_key(&self) -> Result<()> {
        let mut member = self.live_member()?;
        member.practice.new_key()?;
        member.save(self.0)
    }

    /// Who sends packages and reads receipts. A device that belongs to no practice begins one.
    ///
    /// # Errors
    /// The store cannot be read or written.
    pub fn sender(&self, name: &str) -> Result<Sender> {
        self.begin_if_none(name)?;
        let member = Member::read(self.0)?.ok_or(ExchangeError::NoPractice)?;
        let mut sender = member.sender()?;
        for former in joining::former(self.0)? {
            sender.keys.extend(former.keys);
            sender.secrets.push(former.secret);
        }
        Ok(sender)
    }

    fn live_member(&self) -> Result<Member> {
        let member = Member::require(self.0)?;
        let roster = member.practice.roster();
        match roster.standing(&member.own.card.device) {
            Standing::In => Ok(member),
            Standing::Unknown => Err(ExchangeError::NotYetIn {
                inviter: member.own.invited_by.clone(),
            }),
            Standing::Struck(by, _) => Err(ExchangeError::StruckOff {
                by: roster.name(&by),
            }),
        }
    }
}

const TARGETS: &str = "exchange/target/";

/// The targets set up on this device, by name; with their credentials in the encrypted store.
#[derive(Debug)]
pub struct Targets<'a, L: Local + ?Sized>(pub &'a L);

impl<L: Local + ?Sized> Targets<'_, L> {
    /// Adds a target or replaces the one of that name. The address is checked, nothing is sent.
    ///
    /// # Errors
    /// The address cannot be used, or the store cannot be written.
    pub fn set(&self, spec: &TargetSpec) -> Result<()> {
        spec.check()?;
        let json = serde_json::to_vec(spec).unwrap_or_default();
        self.0
            .set_marks(&[(format!("{TARGETS}{}", spec.name), Some(json))])
    }

    /// Removes a target; what lies there stays. What is remembered of its address is forgotten,
    /// unless another target has it too: added again, it is sent everything anew.
    ///
    /// # Errors
    /// The store cannot be written.
    pub fn remove(&self, name: &str) -> Result<()> {
        let all = self.list()?;
        let (gone, left): (Vec<_>, Vec<_>) = all.into_iter().partition(|spec| spec.name == name);
        for spec in gone {
            if left.iter().all(|other| other.url != spec.url) {
                forget_address(self.0, &spec.url)?;
            }
        }
        self.0.set_marks(&[(format!("{TARGETS}{name}"), None)])
    }

    /// All of them, by name.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn list(&self) -> Result<Vec<TargetSpec>> {
        let rows = self.0.marks(TARGETS, 1000)?;
        Ok(rows
            .iter()
            .filter_map(|(_, json)| serde_json::from_slice(json).ok())
            .collect())
    }

    /// Those that are there now: the folder exists, the server lists within seconds. For
    /// synchronising without being asked; nothing is written by looking.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn answering(&self) -> Result<Vec<TargetSpec>> {
        let mut all = self.list()?;
        all.retain(answers);
        Ok(all)
    }

    /// The target of a name; a text that is an address itself, or a folder that is there, is one
    /// without credentials.
    ///
    /// # Errors
    /// No such target.
    pub fn named(&self, name: &str) -> Result<TargetSpec> {
        let all = self.list()?;
        if let Some(found) = all.iter().find(|spec| spec.name == name) {
            return Ok(found.clone());
        }
        if name.contains("://")
            || name.contains('/')
            || name.contains('\\')
            || Path::new(name).is_dir()
        {
            let found = all.into_iter().find(|spec| spec.url == name);
            return Ok(found.unwrap_or_else(|| TargetSpec::new("", name)));
        }
        let known: Vec<String> = all.into_iter().map(|spec| spec.name).collect();
        let known = if known.is_empty() {
            "(none yet)".into()
        } else {
            known.join(", ")
        };
        Err(ExchangeError::NoTarget {
            name: name.to_owned(),
            known,
        })
    }
}
