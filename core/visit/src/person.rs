//! The patient, the clinic and whoever works with them.

use crate::entry::Entry;
use crate::verdict::OwnLimit;
use crate::words::{Extra, Lang, words};
use chrono::{DateTime, FixedOffset, NaiveDate};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;

/// A moment with the offset of the place where it was written down.
pub type When = DateTime<FixedOffset>;

words! {
    /// Sex, where a published band distinguishes it.
    Sex {
        Female = "female", "female", "weiblich";
        Male = "male", "male", "männlich";
    }
    /// What a consent covers.
    ConsentFor {
        Treatment = "treatment", "treatment", "Behandlung";
        Photographs = "photographs", "photographs", "Fotografien";
        SharingWithLab = "sharing_with_lab", "sharing with the lab", "Weitergabe an die Werkstatt";
    }
    /// Anatomy, bone or skin trouble that bears on the plaster or the brace.
    Condition {
        Neuropathy = "neuropathy", "neuropathy", "Neuropathie";
        Diabetes = "diabetes", "diabetes", "Diabetes";
        ArterialDisease = "arterial_disease", "arterial disease", "arterielle Durchblutungsstörung";
        AllergyToMaterial = "allergy_to_material", "allergy to a material", "Materialallergie";
    }
}

/// The patient.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Person {
    /// Pseudonymous code, the only identity a lab sees unless the clinician says otherwise.
    pub code: String,
    /// Name; stays in the store.
    pub name: String,
    /// Date of birth.
    pub born: Option<NaiveDate>,
    /// Sex, for the published bands that distinguish it.
    pub sex: Option<Sex>,
    /// Body mass, kilograms.
    pub body_mass_kg: Option<Entry>,
    /// Stature, millimetres.
    pub stature_mm: Option<Entry>,
    /// Telephone.
    pub telephone: String,
    /// Who consents for the patient (name and relation), if not the patient.
    pub proxy: String,
    /// Conditions that bear on plaster or brace.
    pub conditions: Vec<Condition>,
    /// Consents given or refused.
    pub consents: Vec<Consent>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// One consent, given or refused.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Consent {
    /// What it covers.
    pub covers: ConsentFor,
    /// Given (true) or refused.
    pub given: bool,
    /// When.
    pub at: Option<When>,
    /// By whom: empty for the patient, else the proxy.
    #[serde(default)]
    pub by: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

impl Person {
    /// Age in completed years on a day; `None` without a date of birth or before it.
    #[must_use]
    pub fn age_years(&self, on: NaiveDate) -> Option<u32> {
        self.born.and_then(|born| on.years_since(born))
    }

    /// The latest word on a consent; `None` if it was never asked.
    #[must_use]
    pub fn consents_to(&self, what: &ConsentFor) -> Option<bool> {
        self.consents
            .iter()
            .filter(|c| &c.covers == what)
            .max_by_key(|c| c.at)
            .map(|c| c.given)
    }
}

/// The clinic, as labels, orders and leaflets print it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Clinic {
    /// Name.
    pub name: String,
    /// Address, one line each.
    pub address: Vec<String>,
    /// Telephone.
    pub telephone: String,
    /// Telephone outside contact hours, for the patient's leaflet.
    pub urgent_telephone: String,
    /// Electronic mail.
    pub email: String,
    /// When the clinic can be rung.
    pub contact_hours: String,
    /// Language of its papers.
    pub lang: Lang,
    /// Those who may prescribe.
    pub prescribers: Vec<Prescriber>,
    /// Labs it works with.
    pub labs: Vec<Lab>,
    /// Hinges it orders.
    pub hinges: Vec<Hinge>,
    /// Mats it has printed. One that was measured anew is a new entry: casts name the one they
    /// stood on.
    pub mats: Vec<PrintedMat>,
    /// Printers it prints on.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub printers: Vec<ClinicPrinter>,
    /// What it usually orders of its workshops, by the order field's path. Never what is chosen for
    /// a patient.
    pub usual_order: BTreeMap<String, Value>,
    /// Words typed into fields of its orders before, by the field's path, newest first.
    pub words: BTreeMap<String, Vec<String>>,
    /// Its own limits in place of the shipped ones, by the name of what is judged.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub limits: BTreeMap<String, OwnLimit>,
    /// Rules it has switched off, by id.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rules_off: Vec<String>,
    /// Reasons given for going past a block or for an amendment, newest first, to be tapped again.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reasons: Vec<String>,
    /// Its own rule file, as it was taken in; empty for none.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub rule_file: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A printed mat: its layout with what its check bars measure.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct PrintedMat {
    /// Identifier.
    pub id: String,
    /// What the clinic calls it.
    pub name: String,
    /// Paper it was printed on.
    pub paper: String,
    /// Printer that printed it.
    pub printer: String,
    /// When its check bars were measured.
    pub measured_at: Option<When>,
    /// The mat file, as JSON text.
    pub layout: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A printer by the clinic's own word.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ClinicPrinter {
    /// What the clinic calls it.
    pub name: String,
    /// Its address in the network.
    pub address: String,
    /// Its own certificate is taken as it is: somebody of the clinic said so.
    pub trusted: bool,
    /// Dots an inch it lays, as people call them: 203, 300, 600; 0 where nobody said.
    pub dpi: u32,
    /// Size of the labels it holds, as `62x100`; empty for one that prints on sheets.
    pub label: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A person authorised to prescribe.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Prescriber {
    /// Name.
    pub name: String,
    /// Profession.
    pub profession: String,
    /// Registration number with the local body.
    pub registration: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A lab that makes the brace.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Lab {
    /// Name.
    pub name: String,
    /// Address, one line each.
    pub address: Vec<String>,
    /// Telephone.
    pub telephone: String,
    /// Whom to ask for.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub contact: String,
    /// Public key that packages are sealed to.
    pub public_key: String,
    /// Usual working days from receipt to return.
    pub turnaround_days: Option<u32>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A hinge as the clinic orders it: its own word, its size, what it is rated for.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Hinge {
    /// The clinic's own name for it.
    pub name: String,
    /// Size in the maker's words.
    pub size: String,
    /// Body mass it is rated for, kilograms.
    pub rated_mass_kg: Option<f64>,
    /// Where the rating was read.
    pub rating_source: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}
