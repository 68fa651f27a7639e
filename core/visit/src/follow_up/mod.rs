//! What becomes of an order: lab receipt, fitting, review, remake.

mod draft;
mod leaflet;
mod record;

pub use draft::{Draft, Event};
pub use leaflet::{Leaflet, LeafletFor, LeafletText, Section, Tone};

use crate::entry::Entry;
use crate::order::Spot;
use crate::person::When;
use crate::visit::Visit;
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
        OrderContent = "order_content", "content of the order", "Inhalt des Auftrags";
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
    /// What was adjusted at a fitting.
    Adjustment {
        Nothing = "nothing", "nothing", "nichts";
        Relieved = "relieved", "shell flared over a place", "Schale an einer Stelle ausgeweitet";
        Padded = "padded", "padded", "gepolstert";
        Trimmed = "trimmed", "trim line lowered", "Rand gekürzt";
        Straps = "straps", "strap moved or changed", "Gurt versetzt oder getauscht";
        HingeStop = "hinge_stop", "hinge stop changed", "Gelenkanschlag verändert";
        HeelLift = "heel_lift", "heel lift changed", "Fersenkeil verändert";
        Footplate = "footplate", "footplate shortened", "Fußplatte gekürzt";
        Shoe = "shoe", "shoe changed", "Schuh gewechselt";
    }
    /// Why the lab holds an order.
    HoldReason {
        CastDamaged = "cast_damaged", "plaster damaged on the way", "Gips unterwegs beschädigt";
        SidesDiffer = "sides_differ", "sides of plaster, bag and order differ", "Seiten von Gips, Beutel und Auftrag verschieden";
        MarkUnclear = "mark_unclear", "a mark is missing or unclear", "eine Markierung fehlt oder ist unklar";
        OrderIncomplete = "order_incomplete", "something is missing in the order", "im Auftrag fehlt etwas";
        OrderContradicts = "order_contradicts", "order and plaster contradict each other", "Auftrag und Gips widersprechen sich";
        PartNotToBeHad = "part_not_to_be_had", "a part cannot be had", "ein Teil ist nicht lieferbar";
    }
    /// Why an order is withdrawn.
    WithdrawalReason {
        NotWanted = "not_wanted", "the patient does not want it", "vom Patienten nicht gewünscht";
        PatientChange = "patient_change", "the patient has changed", "Zustand des Patienten verändert";
        OtherDevice = "other_device", "another device chosen", "anderes Hilfsmittel gewählt";
        Mistaken = "mistaken", "ordered by mistake", "irrtümlich bestellt";
        NotPaid = "not_paid", "not funded", "Kosten nicht übernommen";
    }
}

/// Everything that happened to one order after it was handed over.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct FollowUp {
    /// The order, by its id in the visit.
    pub order: String,
    /// Answers of the lab.
    #[serde(deserialize_with = "crate::words::once_each")]
    pub receipts: Vec<Receipt>,
    /// Fittings.
    pub fittings: Vec<Fitting>,
    /// Reviews.
    pub reviews: Vec<Review>,
    /// Remakes.
    pub remakes: Vec<Remake>,
    /// The next review is due.
    pub review_due: Option<NaiveDate>,
    /// What is being entered and not recorded yet.
    #[serde(skip_serializing_if = "Draft::is_none")]
    pub draft: Draft,
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
    pub adjustments: Vec<Adjustment>,
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

/// The follow-up of one order, begun if there is none.
fn follow_up_of<'a>(visit: &'a mut Visit, order: &str) -> &'a mut FollowUp {
    let at = visit
        .follow_up
        .iter()
        .position(|f| f.order == order)
        .unwrap_or_else(|| {
            visit.follow_up.push(FollowUp {
                order: order.to_owned(),
                ..FollowUp::default()
            });
            visit.follow_up.len() - 1
        });
    &mut visit.follow_up[at]
}
