//! The clinic's records: its settings and its visits in the encrypted store.
//!
//! Commands and screens go through here, so that a visit typed at the couch and one imported by a
//! command are kept alike. The clinic's settings are one record beside the visits.

mod erase;
mod place;
pub mod receipts;

pub use erase::{Going, what_stays};
pub use place::{Place, device_name, make_private_folder, new_passphrase};

use crate::error::AppError;
use crate::visits::VisitsFile;
use plinthside_paper::CastCode;
use plinthside_store::{
    Case, Conflict, Filter, Found, Kdf, Opened, Options, Saved, Store, StoreError, Unfinished,
    VISIT,
};
use plinthside_visit::{Clinic, Visit};
use serde_json::Value;
use std::io::{Read, Seek};
use std::path::Path;

/// Identifier of the record that holds the clinic's settings.
const CLINIC: &str = "clinic";
/// Its kind.
const SETTINGS: &str = "settings";
/// More places than the settings have.
const MOST_SETTLED: usize = 64;

/// An open store with the clinic it belongs to.
pub struct Records {
    store: Store,
    clinic: Opened<Clinic>,
    demo: bool,
}

/// What an import took in.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct Imported {
    /// Identifiers of the visits.
    pub visits: Vec<String>,
    /// Identifiers of visits that were here already, just as the file has them.
    pub unchanged: Vec<String>,
    /// Photographs stored.
    pub photographs: usize,
    /// Photographs that the visits name and that were not found.
    pub missing: Vec<String>,
    /// The file's clinic became this store's.
    pub clinic_taken: bool,
}

impl Records {
    /// Makes a new store for a clinic.
    ///
    /// # Errors
    /// Something is there already, the passphrase is too short, or the disk refuses.
    pub fn create(
        path: &Path,
        passphrase: &str,
        clinic: &Clinic,
        by: &str,
        cost: Option<Kdf>,
    ) -> Result<Self, AppError> {
        let mut options = Options::new(device_name());
        if let Some(cost) = cost {
            options = options.kdf(cost);
        }
        let mut store = Store::create(path, passphrase, options)?;
        store.import(CLINIC, SETTINGS, clinic, by)?;
        let clinic = store.open_record(CLINIC)?;
        Ok(Self {
            store,
            clinic,
            demo: false,
        })
    }

    /// Opens a store.
    ///
    /// # Errors
    /// No store there, another passphrase, open elsewhere, or damaged.
    pub fn open(path: &Path, passphrase: &str) -> Result<Self, AppError> {
        let mut store = Store::open(path, passphrase, Options::new(device_name()))?;
        let clinic = match store.open_record(CLINIC) {
            // Settings are saved and finished in one go; a kill in between left them saved.
            Err(StoreError::Undecided { .. }) => {
                store.recover(CLINIC)?;
                store.finish(CLINIC)?;
                store.open_record(CLINIC)
            }
            // A store that joined others and was not told of the clinic yet.
            Err(StoreError::NoRecord { .. }) => {
                store.import(CLINIC, SETTINGS, &Clinic::default(), "")?;
                store.open_record(CLINIC)
            }
            opened => opened,
        }?;
        Ok(Self {
            store,
            clinic,
            demo: false,
        })
    }

    /// Says that these records are the demonstration's and will be thrown away.
    #[must_use]
    pub fn for_demo(mut self) -> Self {
        self.demo = true;
        self
    }

    /// Whether these records are the demonstration's and will be thrown away.
    #[must_use]
    pub fn is_demo(&self) -> bool {
        self.demo
    }

    /// Work that an earlier session left unfinished.
    ///
    /// # Errors
    /// The store can't be read.
    pub fn unfinished(&mut self) -> Result<Vec<Unfinished>, AppError> {
        Ok(self.store.unfinished()?)
    }

    /// The store itself, for what needs no more than it.
    pub fn store(&mut self) -> &mut Store {
        &mut self.store
    }

    /// The store alone, for what is shared with another thread.
    #[must_use]
    pub fn into_store(self) -> Store {
        self.store
    }

    /// The clinic's settings.
    #[must_use]
    pub fn clinic(&self) -> &Clinic {
        &self.clinic.value
    }

    /// Saves changed settings.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn set_clinic(&mut self, clinic: Clinic, by: &str) -> Result<(), AppError> {
        self.clinic.value = clinic;
        self.store.save(&mut self.clinic, by, "")?;
        self.store.finish(CLINIC)?;
        Ok(())
    }

    /// Reads the settings again, after others may have changed them.
    ///
    /// # Errors
    /// The store can't be read.
    pub fn refresh(&mut self) -> Result<(), AppError> {
        self.clinic = self.store.open_record(CLINIC)?;
        Ok(())
    }

    /// Reads the settings again after other devices have changed them. Two devices that each had
    /// settings of their own before they met disagree about all of them: what was typed on one
    /// stands before what was left empty on the other.
    ///
    /// # Errors
    /// The store can't be read or written.
    pub fn settle_settings(&mut self, by: &str) -> Result<(), AppError> {
        let empty = |value: &Value| match value {
            Value::Null => true,
            Value::String(text) => text.is_empty(),
            Value::Array(all) => all.is_empty(),
            Value::Object(all) => all.is_empty(),
            _ => false,
        };
        // Each choice is a change of its own, after which the others are found anew.
        for _ in 0..MOST_SETTLED {
            let conflicts = self.store.conflicts(CLINIC)?;
            let settled = conflicts.iter().find_map(|conflict| {
                let values = &conflict.alternatives;
                let mut full = (0..values.len()).filter(|i| !empty(&values[*i].value));
                let first = full.next()?;
                full.next().is_none().then_some((conflict, first))
            });
            let Some((conflict, choice)) = settled else {
                break;
            };
            self.store.resolve(CLINIC, conflict, choice, by)?;
        }
        self.refresh()
    }

    /// Places of the settings that two devices have set differently.
    ///
    /// # Errors
    /// The store can't be read.
    pub fn settings_in_dispute(&mut self) -> Result<Vec<Conflict>, AppError> {
        let mut conflicts = self.store.conflicts(CLINIC)?;
        conflicts.retain(|conflict| {
            let values = &conflict.alternatives;
            values.windows(2).any(|two| two[0].value != two[1].value)
        });
        Ok(conflicts)
    }

    /// Settles a dispute about a setting: the chosen value counts, on all devices.
    ///
    /// # Errors
    /// The store can't be read or written.
    pub fn settle_setting(
        &mut self,
        conflict: &Conflict,
        choice: usize,
        by: &str,
    ) -> Result<(), AppError> {
        self.store.resolve(CLINIC, conflict, choice, by)?;
        self.refresh()
    }

    /// Begins a visit. It is a draft until it is put away.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn begin(&mut self, visit: &Visit, by: &str) -> Result<Opened<Visit>, AppError> {
        Ok(self.store.begin(&visit.id, VISIT, visit, by)?)
    }

    /// Opens a visit for editing.
    ///
    /// # Errors
    /// No such visit, unfinished work of an earlier session, or damage.
    pub fn visit(&mut self, id: &str) -> Result<Opened<Visit>, AppError> {
        Ok(self.store.open_record(id)?)
    }

    /// Saves what was changed; when this returns it is on the disk.
    ///
    /// # Errors
    /// The disk refuses, or something signed was about to be changed.
    pub fn save(
        &mut self,
        visit: &mut Opened<Visit>,
        by: &str,
        why: &str,
    ) -> Result<Saved, AppError> {
        Ok(self.store.save(visit, by, why)?)
    }

    /// Puts a visit away: its drafts become part of it.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn put_away(&mut self, id: &str) -> Result<(), AppError> {
        Ok(self.store.finish(id)?)
    }

    /// Visits that a text leads to, the best first.
    ///
    /// # Errors
    /// The store can't be read.
    pub fn find(&mut self, text: &str, limit: usize) -> Result<Vec<Found>, AppError> {
        Ok(self.store.find(text, limit)?)
    }

    /// One page of the list of visits.
    ///
    /// # Errors
    /// The store can't be read.
    pub fn cases(
        &mut self,
        filter: &Filter,
        offset: usize,
        limit: usize,
    ) -> Result<Vec<Case>, AppError> {
        Ok(self.store.cases(filter, offset, limit)?)
    }

    /// Identifier of the visit that was asked for: its own, or the code on one of its bags.
    ///
    /// # Errors
    /// There is none.
    pub fn visit_id(&mut self, wanted: &str) -> Result<String, AppError> {
        let wanted = wanted.trim();
        if let Ok(code) = wanted.parse::<CastCode>()
            && let Some((visit, _)) = self.store.label(&code.to_string())?
        {
            return Ok(visit);
        }
        match self.store.read(wanted) {
            Ok(_) if wanted != CLINIC => Ok(wanted.to_owned()),
            Ok(_) | Err(StoreError::NoRecord { .. }) => Err(AppError::Request(format!(
                "there is no visit or cast code “{wanted}” in this store; `plinthside find` looks for names, codes and notes"
            ))),
            Err(problem) => Err(problem.into()),
        }
    }

    /// The clinic with one visit, as papers take it.
    ///
    /// # Errors
    /// No such visit, or damage.
    pub fn with_visit(&mut self, wanted: &str) -> Result<VisitsFile, AppError> {
        let id = self.visit_id(wanted)?;
        let visit: Visit = self.visit(&id)?.value;
        Ok(VisitsFile {
            clinic: self.clinic().clone(),
            visits: vec![visit],
        })
    }

    /// Everything in the store, as `import` takes it.
    ///
    /// # Errors
    /// Damage.
    pub fn everything(&mut self) -> Result<VisitsFile, AppError> {
        let visits = self
            .store
            .visits()?
            .iter()
            .map(|id| Ok(self.visit(id)?.value))
            .collect::<Result<_, AppError>>()?;
        Ok(VisitsFile {
            clinic: self.clinic().clone(),
            visits,
        })
    }

    /// Takes in a file of visits: all of them or none. One that is here just as the file has it is
    /// left as it is. The file's clinic is taken only where this store has none yet. `photograph`
    /// opens a photograph by its name and hash.
    ///
    /// # Errors
    /// A visit is there already, or the disk refuses.
    pub fn import<R: Read + Seek>(
        &mut self,
        file: &VisitsFile,
        by: &str,
        mut photograph: impl FnMut(&str, &str) -> Option<R>,
    ) -> Result<Imported, AppError> {
        let mut imported = Imported::default();
        let photographs = file
            .visits
            .iter()
            .flat_map(|visit| &visit.casts)
            .flat_map(|cast| &cast.sources.photographs);
        for photo in photographs {
            let mut kept = self.store.has_photo(&photo.sha256)?;
            if !kept && let Some(mut source) = photograph(&photo.id, &photo.sha256) {
                // Another picture under that name is not the one the visit means.
                kept = self.store.add_photo(&mut source)?.sha256 == photo.sha256;
                imported.photographs += usize::from(kept);
            }
            if !kept {
                imported.missing.push(photo.id.clone());
            }
        }
        let (here, new): (Vec<&Visit>, Vec<&Visit>) =
            file.visits.iter().partition(|visit| self.holds(visit));
        self.store.import_all(
            VISIT,
            new.iter().map(|visit| (visit.id.as_str(), *visit)),
            by,
        )?;
        let ids = |visits: Vec<&Visit>| visits.iter().map(|visit| visit.id.clone()).collect();
        (imported.visits, imported.unchanged) = (ids(new), ids(here));
        if self.clinic().name.is_empty() && !file.clinic.name.is_empty() {
            self.set_clinic(file.clinic.clone(), by)?;
            imported.clinic_taken = true;
        }
        Ok(imported)
    }

    /// Whether a visit is here, just as it is given.
    fn holds(&mut self, visit: &Visit) -> bool {
        let kept = self.store.read(&visit.id).ok();
        kept.and_then(|value| serde_json::from_value::<Visit>(value).ok())
            .is_some_and(|kept| kept == *visit)
    }
}
