//! A sealed package for a lab: a BagIt bag (RFC 8493) with the order's papers, a FHIR R4 Bundle,
//! the measurement and the photographs; zipped; sealed with age to the lab's public key.
//!
//! A lab without this program opens it with the public `age` program and any unzip:
//! `age -d -i key.txt CODE-r1.age > bag.zip && unzip bag.zip`.
//!
//! ```text
//! CODE-rN/bagit.txt  bag-info.txt  manifest-sha256.txt  tagmanifest-sha256.txt
//!         sender.json                the practice's signature under tagmanifest-sha256.txt
//!         data/order.pdf  bench.pdf  order.fhir.json  order.json  measurement.json  photographs/
//! ```

mod bag;
mod fhir;
mod open;
mod order_file;
mod receipt;
mod zipped;

pub use open::{Opened, open};
pub use order_file::{Change, Field, OrderFile};
pub use receipt::{Answer, read_receipts, receipt_name};

use crate::error::{ExchangeError, Result};
use crate::practice::Sender;
use crate::seal::seal;
use plinthside_visit::person::{ConsentFor, Lab};
use plinthside_visit::{Cast, Clinic, Lang, Order, Revision, Visit, When};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// What a package is made from. Papers come as bytes: this crate draws nothing.
#[derive(Debug)]
pub struct PackInputs<'a> {
    /// The visit.
    pub visit: &'a Visit,
    /// The order, by its id in the visit; its revision in force is packed.
    pub order: &'a str,
    /// The clinic.
    pub clinic: &'a Clinic,
    /// The lab: its name and public key.
    pub lab: &'a Lab,
    /// Who sends: [`crate::Devices::sender`].
    pub sender: &'a Sender,
    /// The order as PDF.
    pub order_pdf: &'a [u8],
    /// The bench sheet at true scale as PDF, where the cast was measured.
    pub bench_pdf: Option<&'a [u8]>,
    /// Photographs, each as JPEG or PNG. They are given neutral names.
    pub photographs: &'a [Vec<u8>],
    /// Send the patient's name and date of birth too. Without it the lab sees the code alone.
    pub with_name: bool,
    /// Now.
    pub at: When,
    /// Language of the order's fields.
    pub lang: Lang,
}

/// A sealed package.
#[derive(Debug, Clone)]
pub struct Package {
    /// `CODE-rN.age`.
    pub name: String,
    /// The sealed bytes.
    pub bytes: Vec<u8>,
    /// What the sender should know before it goes.
    pub warnings: Vec<String>,
}

/// What one package is about, worked out once.
pub(crate) struct About<'a> {
    pub inputs: &'a PackInputs<'a>,
    pub order: &'a Order,
    pub revision: &'a Revision,
    pub before: Option<&'a Revision>,
    pub cast: Option<&'a Cast>,
    pub code: String,
}

impl<'a> About<'a> {
    fn of(inputs: &'a PackInputs<'a>) -> Result<Self> {
        let not_ready = |why: String| ExchangeError::NotReady { why };
        let visit = inputs.visit;
        let order = visit.orders.iter().find(|o| o.id == inputs.order);
        let order =
            order.ok_or_else(|| not_ready(format!("this visit has no order {}.", inputs.order)))?;
        let revision = order.in_force().ok_or_else(|| {
            not_ready("the order is not signed yet. Sign it, then pack it.".into())
        })?;
        if visit.person.consents_to(&ConsentFor::SharingWithLab) == Some(false) {
            return Err(not_ready(
                "the patient has refused sharing with a lab. Ask again and record the answer before packing.".into(),
            ));
        }
        if visit.person.code.trim().is_empty() {
            return Err(not_ready(
                "the patient has no code. Give one: it is all the lab sees of the patient.".into(),
            ));
        }
        let cast = order
            .cast
            .as_ref()
            .and_then(|id| visit.casts.iter().find(|c| &c.id == id));
        let bound = cast.and_then(|cast| cast.code.as_deref()).map(str::trim);
        let code = match (cast, bound.filter(|code| !code.is_empty())) {
            (_, Some(code)) => code.to_owned(),
            (Some(_), None) => {
                return Err(not_ready(
                    "the cast has no code yet. Bind a label to it, so that the lab can match bag and order.".into(),
                ));
            }
            (None, None) => format!("{}-{}", visit.person.code.trim(), order.id),
        };
        let before = order
            .revisions
            .iter()
            .rfind(|r| r.number < revision.number && r.signature.is_some());
        Ok(Self {
            inputs,
            order,
            revision,
            before,
            cast,
            code: file_word(&code),
        })
    }

    /// `CODE-rN`, the name of the package and of the folder in it.
    pub fn name(&self) -> String {
        format!("{}-r{}", self.code, self.revision.number)
    }

    /// Photographs go along unless the patient refused them.
    fn photographs(&self) -> &'a [Vec<u8>] {
        match self
            .inputs
            .visit
            .person
            .consents_to(&ConsentFor::Photographs)
        {
            Some(false) => &[],
            _ => self.inputs.photographs,
        }
    }
}

/// Letters, digits, `-` and `_` only: a name for files on any system.
pub(crate) fn file_word(text: &str) -> String {
    let word: String = text
        .trim()
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || c == '_' {
                c
            } else {
                '-'
            }
        })
        .collect();
    word.trim_matches('-').to_owned()
}

/// The folder of a lab on a target, and the name in it.
#[must_use]
pub fn lab_path(lab: &str, file: &str) -> String {
    let folder = file_word(&lab.to_lowercase());
    let folder = if folder.is_empty() {
        "lab".to_owned()
    } else {
        folder
    };
    format!("labs/{folder}/{file}")
}

/// Makes a sealed package.
///
/// # Errors
/// The order is not signed, the cast has no code, the patient refused, or the lab's key is none.
pub fn pack(inputs: &PackInputs<'_>) -> Result<Package> {
    let about = About::of(inputs)?;
    let mut payload: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    payload.insert("order.pdf".into(), inputs.order_pdf.to_vec());
    if let Some(pdf) = inputs.bench_pdf {
        payload.insert("bench.pdf".into(), pdf.to_vec());
    }
    for (i, photo) in about.photographs().iter().enumerate() {
        let ending = if photo.starts_with(&[0x89, b'P', b'N', b'G']) {
            "png"
        } else {
            "jpg"
        };
        payload.insert(
            format!("photographs/photo-{:02}.{ending}", i + 1),
            photo.clone(),
        );
    }
    if let Some(measurement) = measurement(&about) {
        payload.insert("measurement.json".into(), pretty(&measurement));
    }
    let order = OrderFile::of(&about);
    payload.insert(
        "order.json".into(),
        pretty(&serde_json::to_value(&order).unwrap_or_default()),
    );
    let bundle = fhir::bundle(&about, &payload);
    payload.insert("order.fhir.json".into(), pretty(&bundle));

    let warnings = name_in_words(&about, &payload);
    let files = bag::bag(&about, &payload);
    let zip = zipped::write(&about.name(), &files)?;
    Ok(Package {
        name: format!("{}.age", about.name()),
        bytes: seal(&inputs.lab.public_key, &zip)?,
        warnings,
    })
}

/// The measurement of the cast, how the cast was taken and what was found on it; nothing of the
/// patient.
fn measurement(about: &About<'_>) -> Option<Value> {
    let cast = about.cast?;
    let measured = cast.measurement.as_ref();
    Some(json!({
        "code": about.code,
        "revision": about.revision.number,
        "side": cast.side,
        "at": measured.and_then(|m| m.at),
        "results": measured.and_then(|m| m.results.clone()),
        "clearances": measured.map(|m| &m.clearances),
        "cast": cast.record,
        "inspection": cast.inspection,
    }))
}

/// Free words may name the patient though nobody asked for it: said, never changed in silence.
fn name_in_words(about: &About<'_>, payload: &BTreeMap<String, Vec<u8>>) -> Vec<String> {
    let name = &about.inputs.visit.person.name;
    if about.inputs.with_name {
        return vec!["The patient's name and date of birth go along.".into()];
    }
    let parts: Vec<String> = name
        .split(|c: char| !c.is_alphanumeric())
        .filter(|part| part.chars().count() > 2)
        .map(str::to_lowercase)
        .collect();
    let named = payload.iter().filter(|(file, bytes)| {
        let text = String::from_utf8_lossy(bytes).to_lowercase();
        let words: Vec<&str> = text.split(|c: char| !c.is_alphanumeric()).collect();
        file.ends_with(".json") && parts.iter().any(|part| words.contains(&part.as_str()))
    });
    let files: Vec<&str> = named.map(|(file, _)| file.as_str()).collect();
    if files.is_empty() {
        return Vec::new();
    }
    vec![format!(
        "A part of the patient's name occurs in {}: perhaps in a note or in who took the cast. Look before you send it.",
        files.join(", ")
    )]
}

fn pretty(value: &Value) -> Vec<u8> {
    let mut text = serde_json::to_string_pretty(value).unwrap_or_default();
    text.push('\n');
    text.into_bytes()
}
