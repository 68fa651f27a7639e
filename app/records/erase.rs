//! A visit that is to go for good: what goes with it, and what stays.

use super::{CLINIC, Records};
use crate::error::AppError;
use crate::outbox;
use plinthside_store::StoreError;
use plinthside_visit::{Text, Visit};

/// What goes with a visit.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Going {
    /// The visit.
    pub id: String,
    /// What has to be typed to erase it: the patient's code, or the visit's own where there is none.
    pub code: String,
    /// The day it began, if it can be read.
    pub day: String,
    /// Photographs it names.
    pub photographs: usize,
    /// Signed orders.
    pub signed: usize,
    /// What its packages for labs are named by.
    codes: Vec<String>,
}

impl Going {
    fn of(visit: &Visit) -> Self {
        let patient = visit.person.code.trim();
        let casts = visit.casts.iter();
        let labels = casts.filter_map(|cast| cast.code.as_deref());
        let orders = visit.orders.iter();
        let without_cast = orders
            .clone()
            .map(|order| format!("{patient}-{}", order.id));
        Self {
            id: visit.id.clone(),
            code: match patient {
                "" => visit.id.clone(),
                code => code.to_owned(),
            },
            day: visit
                .at
                .map_or_else(String::new, |at| at.format("%Y-%m-%d").to_string()),
            photographs: visit
                .casts
                .iter()
                .map(|c| c.sources.photographs.len())
                .sum(),
            signed: orders.filter(|order| order.in_force().is_some()).count(),
            codes: labels
                .map(|code| code.trim().to_owned())
                .chain(without_cast)
                .collect(),
        }
    }

    /// What goes, in a sentence.
    #[must_use]
    pub fn words(&self) -> Text {
        let Self {
            id,
            code,
            photographs,
            signed,
            ..
        } = self;
        let (day_en, day_de) = match self.day.as_str() {
            "" => Default::default(),
            day => (format!(" of {day}"), format!(" vom {day}")),
        };
        Text::new(
            format!(
                "The visit {id}{day_en}, patient {code}, goes for good: everything entered, its history, photographs: {photographs}, signed orders: {signed}. It cannot be brought back."
            ),
            format!(
                "Der Besuch {id}{day_de}, Patient {code}, wird endgültig gelöscht: alles Eingetragene, sein Verlauf, Fotos: {photographs}, unterschriebene Aufträge: {signed}. Er lässt sich nicht zurückholen."
            ),
        )
    }
}

/// What erasing a visit here does not reach, and what the law may say to it.
#[must_use]
pub fn what_stays() -> Text {
    Text::new(
        "Copies on other devices and at targets, and packages lying there for labs, go with the next synchronisation. Out of reach stay backups made before, papers and packages in folders, print jobs, and what a lab has fetched. Local law may say how long records have to be kept: check before you erase.",
        "Kopien auf anderen Geräten und an Zielen und Pakete, die dort für Werkstätten liegen, gehen mit dem nächsten Abgleich. Nicht erreicht werden frühere Sicherungen, Papiere und Pakete in Ordnern, Druckaufträge und was eine Werkstatt abgeholt hat. Das örtliche Recht kann vorschreiben, wie lange Aufzeichnungen aufzubewahren sind: vor dem Löschen prüfen.",
    )
}

impl Records {
    /// What would go with a visit, by its identifier or the code on its bag. One that is damaged can be
    /// erased by its identifier; what goes with it is not known then.
    ///
    /// # Errors
    /// No such visit, or the store can't be read.
    pub fn going(&mut self, wanted: &str) -> Result<Going, AppError> {
        let id = match self.visit_id(wanted) {
            Err(AppError::Store(StoreError::Damaged { .. } | StoreError::Document(_))) => {
                wanted.trim().to_owned()
            }
            id => id?,
        };
        let read = self.store.read(&id).ok();
        let visit = read.and_then(|value| serde_json::from_value::<Visit>(value).ok());
        Ok(match visit {
            Some(visit) => Going::of(&visit),
            None => Going {
                code: id.clone(),
                id,
                ..Going::default()
            },
        })
    }

    /// Erases a visit for good, with its packages that wait for a lab or lie for one. Returns the number
    /// of photographs that went with it; those of another visit stay.
    ///
    /// # Errors
    /// No such visit, or the disk refuses.
    pub fn erase(&mut self, going: &Going, by: &str) -> Result<usize, AppError> {
        if going.id == CLINIC || !self.store.visits()?.contains(&going.id) {
            return Err(StoreError::NoRecord {
                id: going.id.clone(),
            }
            .into());
        }
        // First: packages that are forgotten for a visit that stays can be sealed again.
        outbox::forget(&mut self.store, &going.id, &going.codes)?;
        Ok(self.store.erase(&going.id, by)?)
    }
}
