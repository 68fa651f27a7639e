//! What a hand wants of targets and devices.

use super::carrier::Want;
use crate::error::AppError;
use crate::files;
use crate::outbox;
use crate::records::{Records, device_name};
use crate::window::session::Session;
use plinthside_exchange::{Device, Devices, ExchangeError, TargetSpec, Targets};
use plinthside_store::Store;
use plinthside_ui::ExchangePage as Page;
use plinthside_visit::Text;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// Targets and devices, as the store has them; none of the latter without a practice.
pub(super) fn kept(
    records: &mut Records,
) -> Result<(Vec<TargetSpec>, Option<Vec<Device>>), AppError> {
    let here = Mutex::new(records.store());
    let devices = match Devices(&here).list() {
        Ok(devices) => Some(devices),
        Err(ExchangeError::NoPractice) => None,
        Err(problem) => return Err(problem.into()),
    };
    Ok((Targets(&here).list()?, devices))
}

impl Session {
    pub(super) fn targets(&mut self) -> Vec<TargetSpec> {
        let kept = self.try_records(|records| Ok(Targets(&Mutex::new(records.store())).list()?));
        kept.unwrap_or_default()
    }

    /// Names of the targets, for the line of the settings.
    pub fn target_names(&mut self) -> String {
        let names: Vec<String> = self.targets().into_iter().map(|spec| spec.name).collect();
        names.join(", ")
    }

    /// Does something with targets or devices; what stands in the way is said on the screen.
    fn exchange_try(
        &mut self,
        act: impl FnOnce(&Mutex<&mut Store>) -> Result<(), AppError>,
    ) -> bool {
        let Some(records) = self.records() else {
            return false;
        };
        let done = act(&Mutex::new(records.store()));
        self.exchange.hush();
        if let Err(problem) = &done {
            self.exchange.problem = problem.to_string();
        }
        done.is_ok()
    }

    /// Opens a page; on that of the code one is wanted.
    pub fn exchange_open(&mut self, page: Page) -> Option<Want> {
        let exchange = &mut self.exchange;
        exchange.hush();
        exchange.page = page;
        exchange.meeting = 0;
        exchange.choices.clear();
        (page == Page::Invite).then(|| self.invite()).flatten()
    }

    /// From a page to the one it was come to from.
    pub fn exchange_back(&mut self) {
        self.exchange.hush();
        self.exchange.invitation = None;
        self.exchange.page = match self.exchange.page {
            Page::Invite | Page::Strike => Page::Devices,
            _ => Page::Home,
        };
    }

    fn invite(&mut self) -> Option<Want> {
        self.exchange.invitation = None;
        let targets = self.targets();
        let target = targets.get(self.exchange.meeting)?;
        Some(Want::Invite(target.name.clone()))
    }

    /// Meets at another target; a code shown is shown there anew.
    pub(super) fn meet_at(&mut self, index: usize) -> Option<Want> {
        self.exchange.hush();
        self.exchange.meeting = index;
        (self.exchange.page == Page::Invite)
            .then(|| self.invite())
            .flatten()
    }

    pub(super) fn join(&mut self, code: &str) -> Option<Want> {
        self.exchange.hush();
        let target = self.targets().get(self.exchange.meeting)?.name.clone();
        let code = code.to_owned();
        Some(Want::Join { target, code })
    }

    /// Begins a practice on this device.
    pub(super) fn begin_practice(&mut self) {
        if self.exchange_try(|here| Ok(Devices(here).begin(&device_name())?)) {
            let text = Text::new(
                "This device is the first of the practice. Add a target, then let others in under Devices.",
                "Dieses Gerät ist das erste der Praxis. Nun ein Ziel hinzufügen, dann unter Geräte andere einlassen.",
            );
            self.exchange.say(text, self.look.lang);
        }
    }

    /// Takes a target up; a negative index adds one.
    pub(super) fn choose_target(&mut self, index: i32) {
        self.exchange.hush();
        let targets = self.targets();
        let index = usize::try_from(index).ok();
        self.exchange.target = index.and_then(|index| targets.get(index).cloned());
        self.exchange.page = Page::Target;
    }

    /// Keeps the target in hand as it was typed; `true` if it can be used.
    pub(super) fn keep_target(&mut self, [name, address, user, secret, pem]: [&str; 5]) -> bool {
        let before = self.exchange.target.clone();
        let address = address.trim();
        let name = if name.trim().is_empty() {
            address
        } else {
            name.trim()
        };
        let mut spec = TargetSpec::new(name, address);
        let kept = before.as_ref().and_then(|spec| spec.credentials.clone());
        if !user.trim().is_empty() {
            let secret = match (secret, kept) {
                // Not typed anew: the kept one stays with its address and user.
                ("", Some(kept))
                    if kept.user == user.trim()
                        && before.as_ref().is_some_and(|b| b.url == spec.url) =>
                {
                    kept.secret
                }
                _ => secret.to_owned(),
            };
            spec = spec.with_credentials(user.trim(), secret);
        }
        spec.certificate = before.as_ref().and_then(|spec| spec.certificate.clone());
        let another = self.targets().into_iter().any(|other| {
            other.name == spec.name && before.as_ref().is_none_or(|b| b.name != spec.name)
        });
        if another {
            self.exchange.hush();
            let text = Text::new(
                "There is a target of that name already. Choose another name.",
                "Ein Ziel dieses Namens gibt es schon. Bitte einen anderen Namen wählen.",
            );
            text.get(self.look.lang)
                .clone_into(&mut self.exchange.problem);
            return false;
        }
        let pem = pem.trim().to_owned();
        let done = self.exchange_try(|here| {
            if !pem.is_empty() {
                spec = spec
                    .clone()
                    .with_certificate(files::read_text(Path::new(&pem))?);
            }
            Targets(here).set(&spec)?;
            if let Some(before) = before.filter(|before| before.name != spec.name) {
                Targets(here).remove(&before.name)?;
                let mut store = here.lock().unwrap_or_else(PoisonError::into_inner);
                outbox::renamed(&mut store, &before.name, &spec.name)?;
            }
            Ok(())
        });
        if done {
            self.exchange.page = Page::Home;
        }
        done
    }

    pub(super) fn remove_target(&mut self) {
        if let Some(spec) = self.exchange.target.take()
            && self.exchange_try(|here| Ok(Targets(here).remove(&spec.name)?))
        {
            self.exchange.outcomes.remove(&spec.name);
            self.exchange.page = Page::Home;
        }
    }

    /// Gives the practice a new key.
    pub(super) fn change_key(&mut self) {
        if self.exchange_try(|here| Ok(Devices(here).change_key()?)) {
            let text = Text::new(
                "The practice has a new key. The other devices get it with the next synchronisation here and theirs after it; what lies at targets from before opens with the old one.",
                "Die Praxis hat einen neuen Schlüssel. Die anderen Geräte bekommen ihn mit dem nächsten Abgleich hier und ihrem eigenen danach; was von früher an Zielen liegt, öffnet der alte.",
            );
            self.exchange.say(text, self.look.lang);
        }
    }

    /// Asks once more before a device is struck off.
    pub(super) fn ask_strike(&mut self, row: usize) {
        let devices = self.try_records(kept).and_then(|(_, devices)| devices);
        let device = devices.and_then(|all| all.into_iter().nth(row));
        if let Some(device) = device {
            self.exchange.striking = Some((device.id, device.name));
            self.exchange.page = Page::Strike;
        }
    }

    pub(super) fn strike(&mut self) {
        let Some((id, name)) = self.exchange.striking.take() else {
            return;
        };
        self.exchange.page = Page::Devices;
        if self.exchange_try(|here| Ok(Devices(here).strike_off(&id)?)) {
            let text = Text::new(
                format!(
                    "{name} is struck off. Change the password of the target too. The others hear of it with the next synchronisation here."
                ),
                format!(
                    "{name} ist ausgeschlossen. Bitte auch das Passwort des Ziels ändern. Die anderen erfahren es mit dem nächsten Abgleich hier."
                ),
            );
            self.exchange.say(text, self.look.lang);
        }
    }
}
