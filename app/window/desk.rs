//! The door before the records, and the list of visits behind it.

use crate::error::AppError;
use crate::records::{Place, Records};
use plinthside_measure::marks::Side;
use plinthside_paper::CastCode;
use plinthside_store::{Case, Filter, Unfinished};
use plinthside_ui as ui;
use plinthside_visit::person::Prescriber;
use plinthside_visit::{Clinic, Lang, Text};

/// So many visits are read for the list at a time.
pub const PAGE: usize = 64;
/// So many results of a search are shown.
const MOST_FOUND: usize = 200;

/// The records, or the door before them.
pub enum Desk {
    /// Open.
    Open(Box<Records>),
    /// Closed: a passphrase opens it, or makes a new store.
    Closed(Door),
}

/// A closed door.
#[derive(Debug, Clone, Default)]
pub struct Door {
    /// Where the store lies; none for the demonstration, which has no door.
    pub place: Option<Place>,
    /// Why the last try failed.
    pub problem: String,
    /// A try is under way.
    pub trying: bool,
}

impl Door {
    /// The door of a store.
    #[must_use]
    pub fn new(place: Place) -> Self {
        Self {
            place: Some(place),
            ..Self::default()
        }
    }

    /// Whether there is no store yet behind it.
    #[must_use]
    pub fn is_first(&self) -> bool {
        self.place
            .as_ref()
            .is_some_and(|place| !place.path.exists())
    }
}

impl Desk {
    /// Closes the store; the door to it stays.
    pub fn close(&mut self) {
        let door = match self {
            Self::Open(records) => Door::new(Place {
                path: records.store().path().to_owned(),
                passphrase_file: None,
            }),
            Self::Closed(door) => door.clone(),
        };
        *self = Self::Closed(door);
    }

    /// Whether these are the demonstration's records, which are thrown away.
    #[must_use]
    pub fn is_demo(&self) -> bool {
        matches!(self, Self::Open(records) if records.is_demo())
    }
}

/// The visits as they are listed: all of them, or what a search found.
#[derive(Default)]
pub struct List {
    /// What is looked for.
    pub query: String,
    /// How many there are in all.
    pub count: usize,
    /// Whether a search found more than are listed.
    pub more: bool,
    /// What was found; none where everything is listed.
    pub found: Option<Vec<Case>>,
    /// Work an earlier session left unfinished.
    pub unfinished: Vec<Unfinished>,
    /// Counts the refreshes.
    pub version: u64,
}

impl List {
    /// Looks anew.
    ///
    /// # Errors
    /// The store can't be read.
    pub fn refresh(&mut self, records: &mut Records) -> Result<(), AppError> {
        self.version += 1;
        let text = self.query.trim();
        if text.is_empty() {
            self.found = None;
            self.more = false;
            self.count = records.store().count(&Filter::All)?;
        } else {
            let mut found = records.find(text, MOST_FOUND + 1)?;
            self.more = found.len() > MOST_FOUND;
            found.truncate(MOST_FOUND);
            self.count = found.len();
            self.found = Some(found.into_iter().map(|found| found.case).collect());
        }
        Ok(())
    }

    /// One page of the list.
    ///
    /// # Errors
    /// The store can't be read.
    pub fn page(&self, records: &mut Records, page: usize) -> Result<Vec<Case>, AppError> {
        match &self.found {
            Some(found) => Ok(found.iter().skip(page * PAGE).take(PAGE).cloned().collect()),
            None => records.cases(&Filter::All, page * PAGE, PAGE),
        }
    }

    /// One row of the list.
    ///
    /// # Errors
    /// The store can't be read.
    pub fn row(&self, records: &mut Records, index: usize) -> Result<Option<Case>, AppError> {
        match &self.found {
            Some(found) => Ok(found.get(index).cloned()),
            None => Ok(records.cases(&Filter::All, index, 1)?.into_iter().next()),
        }
    }
}

/// A clinic as the first start knows it.
#[must_use]
pub fn new_clinic(name: &str, telephone: &str, person: &str) -> Clinic {
    let person = person.trim();
    let prescriber = (!person.is_empty()).then(|| Prescriber {
        name: person.to_owned(),
        ..Prescriber::default()
    });
    Clinic {
        name: name.trim().to_owned(),
        telephone: telephone.trim().to_owned(),
        prescribers: prescriber.into_iter().collect(),
        ..Clinic::default()
    }
}

/// What is said of two passphrases that differ.
#[must_use]
pub fn not_alike(lang: Lang) -> String {
    let text = Text::new(
        "The two passphrases are not alike. Type the same one twice.",
        "Die beiden Passphrasen sind nicht gleich. Bitte zweimal dieselbe eingeben.",
    );
    text.get(lang).to_owned()
}

/// The feet a visit is about, left first.
#[must_use]
pub fn sides(left: bool, right: bool) -> Vec<Side> {
    let mut sides = Vec::new();
    if left || !right {
        sides.push(Side::Left);
    }
    if right {
        sides.push(Side::Right);
    }
    sides
}

/// A side as core has it.
#[must_use]
pub fn side(side: ui::Side) -> Side {
    match side {
        ui::Side::Left => Side::Left,
        ui::Side::Right => Side::Right,
    }
}

/// An identifier for a new visit: nothing about the patient is in it.
#[must_use]
pub fn new_id() -> String {
    uuid::Uuid::new_v4().to_string()
}

/// A pseudonymous code for a new person, in the symbols of the cast codes.
#[must_use]
pub fn new_person_code() -> String {
    match CastCode::mint() {
        Ok(code) => format!("P-{}", &code.to_string()[..9]),
        // Without randomness of the system no code; the clinic's own can be typed.
        Err(_) => String::new(),
    }
}
