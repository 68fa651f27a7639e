//! What becomes of an order: lab receipt, fitting, review, remake.

mod leaflet;
mod record;

pub use leaflet::{Leaflet, LeafletFor, LeafletText, Section, Tone};

use crate::entry::Entry;
use crate::order::Spot;
use crate::person::When;
use crate::words::{Extra, words};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

words! {
    /// The lab's answer on receipt.
    ReceiptAnswer {
        Accepted = "accepted", "accepted", "angenommen";
        Question = "question", "question", "Rückfrage";
        Rejected = "rejected", "rejected", "abgelehnt";
    }
    /// Why a brace was made again.
    RemakeCause {
        Measurement = "measurement", "measurement", "Messung";
        Marking = "marking", "marking", "Markierung";
        CastShape = "cast_shape", "shape of the cast", "Form des Abdrucks";
        OrderContent = "order_content", "content of the order", "Inhalt der Bestellung";
        Lab = "lab", "lab", "Werkstatt";
        Wear = "wear", "wear", "Verschleiß";
        PatientChange = "patient_change", "change in the patient", "Veränderung beim Patienten";
    }
    /// A problem found at fitting or review.
    Problem {
        Redness = "redness", "redness that stays", "bleibende Rötung";
        Blister = "blister", "blister", "Blase";
        Sore = "sore", "sore", "offene Stelle";
        Swelling = "swelling", "swelling", "Schwellung";
        HeelLifts = "heel_lifts", "heel lifts out", "Ferse hebt ab";
        BandPistons = "band_pistons", "calf band slides", "Wadenband wandert";
        HingeBinds = "hinge_binds", "hinge binds", "Gelenk klemmt";
        Noise = "noise", "noise", "Geräusch";
        ShoeDoesNotFit = "shoe_does_not_fit", "does not fit the shoe", "passt nicht in den Schuh";
        HardToPutOn = "hard_to_put_on", "hard to put on", "schwer anzuziehen";
        NotWorn = "not_worn", "not worn", "wird nicht getragen";
        Broken = "broken", "broken", "gebrochen";
    }
}

/// Everything that happened to one order after it was handed over.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct FollowUp {
    /// The order, by its id in the visit.
    pub order: String,
    /// Answers of the lab.
    pub receipts: Vec<Receipt>,
    /// Fittings.
    pub fittings: Vec<Fitting>,
    /// Reviews.
    pub reviews: Vec<Review>,
    /// Remakes.
    pub remakes: Vec<Remake>,
    /// The next review is due.
    pub review_due: Option<NaiveDate>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// The lab's answer on receipt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Receipt {
    /// Accepted, question or rejected.
    pub answer: ReceiptAnswer,
    /// When.
    pub at: When,
    /// Who at the lab.
    #[serde(default)]
    pub by: String,
    /// The revision it was about.
    pub revision: u32,
    /// The question, or why it was rejected.
    #[serde(default)]
    pub reason: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A fitting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fitting {
    /// When.
    pub at: When,
    /// By whom.
    #[serde(default)]
    pub by: String,
    /// Comfort as the patient states it, 0 to 10.
    #[serde(default)]
    pub comfort: Option<Entry>,
    /// Places that press.
    #[serde(default)]
    pub pressure: Vec<Spot>,
    /// Problems.
    #[serde(default)]
    pub problems: Vec<Problem>,
    /// What was adjusted.
    #[serde(default)]
    pub adjustments: Vec<String>,
    /// Wear-in plan: hours on each day from the first.
    #[serde(default)]
    pub wear_in_hours: Vec<f64>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A review.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Review {
    /// When.
    pub at: When,
    /// By whom.
    #[serde(default)]
    pub by: String,
    /// Readings taken again.
    #[serde(default)]
    pub readings: Vec<crate::examination::Reading>,
    /// Pain, 0 to 10.
    #[serde(default)]
    pub pain: Option<Entry>,
    /// Hours worn a day.
    #[serde(default)]
    pub wear_hours_per_day: Option<Entry>,
    /// Problems.
    #[serde(default)]
    pub problems: Vec<Problem>,
    /// Places that press.
    #[serde(default)]
    pub pressure: Vec<Spot>,
    /// Words.
    #[serde(default)]
    pub note: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A remake and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Remake {
    /// When it was decided.
    pub at: When,
    /// Why.
    pub causes: Vec<RemakeCause>,
    /// The reason in words.
    #[serde(default)]
    pub reason: String,
    /// The order that replaces this one, if already written.
    #[serde(default)]
    pub new_order: Option<String>,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Extra,
}
