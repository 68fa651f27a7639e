//! What an order takes over from others: the clinic's own usual workshop matters, and the order
//! before it. Both are marked with their origin and stay unconfirmed until they are looked at.

use super::{
    Because, FIELDS, Field, FieldKind, Filled, Order, Origin, Revision, at, field, json_of,
};
use crate::person::{Clinic, When};
use crate::words::{Extra, Lang};
use serde_json::Value;
use std::collections::BTreeMap;

/// Fields a clinic may settle once for all its orders: between it and its workshop. What is chosen
/// for a patient (motion, hinge line, corrections, reliefs, shoe) is never among them.
const WORKSHOP: [&str; 15] = [
    "identity.quantity",
    "identity.lab",
    "identity.cast_afterwards",
    "identity.trial_fit",
    "motion.hinge",
    "motion.hinge_size",
    "shell.uprights",
    "shell.plastic",
    "shell.thickness_mm",
    "shell.footplate_end",
    "shell.toe_spring_mm",
    "closure.straps",
    "closure.lining",
    "closure.cover",
    "closure.colour",
];

/// Fields of one order alone, which the next one never takes over.
const OF_ONE_ORDER: [&str; 7] = [
    "identity.clinic_reference",
    "identity.purchase_number",
    "identity.package",
    "identity.packages",
    "identity.due",
    "identity.rush",
    "note",
];

/// So many words a field are remembered.
const WORDS: usize = 8;

/// Whether a field is one of the workshop matters a clinic may settle for all its orders.
#[must_use]
pub fn is_workshop_matter(path: &str) -> bool {
    WORKSHOP.contains(&path)
}

/// The workshop matters of a revision, by path: what a clinic keeps as its usual.
#[must_use]
pub fn workshop_matters(revision: &Revision) -> BTreeMap<String, Value> {
    let json = json_of(&revision.prescription);
    let held = |path: &&str| Some(((*path).to_owned(), at(&json, path)?.clone()));
    WORKSHOP.iter().filter_map(held).collect()
}

/// The clinic's usual workshop matters, for the fields of a new order.
#[must_use]
pub fn usual(clinic: &Clinic) -> Vec<Filled> {
    let because = match clinic.lang {
        Lang::En => "as this clinic usually orders it",
        Lang::De => "wie diese Praxis gewöhnlich bestellt",
    };
    let source = match clinic.lang {
        Lang::En => "settings of the clinic",
        Lang::De => "Einstellungen der Praxis",
    };
    let fields = clinic.usual_order.iter();
    fields
        .filter(|(path, _)| is_workshop_matter(path))
        .filter_map(|(path, value)| {
            Some(taken(field(path)?, value, Origin::Clinic, because, source))
        })
        .collect()
}

/// The choices of an earlier order of the same patient; what was measured on that cast or leg
/// stays behind.
#[must_use]
pub fn as_before(earlier: &Order, signed_at: Option<When>, lang: Lang) -> Vec<Filled> {
    let Some(revision) = earlier.newest() else {
        return Vec::new();
    };
    let day = signed_at.map_or_else(String::new, |at| {
        let form = match lang {
            Lang::En => " of %-d %B %Y",
            Lang::De => " vom %d.%m.%Y",
        };
        at.format(form).to_string()
    });
    let because = match lang {
        Lang::En => format!("as in the order{day}"),
        Lang::De => format!("wie im Auftrag{day}"),
    };
    let json = json_of(&revision.choices_only());
    let fields = FIELDS.iter().filter(|f| !OF_ONE_ORDER.contains(&f.path));
    fields
        .filter_map(|field| {
            let value = at(&json, field.path)?;
            Some(taken(field, value, Origin::Earlier, &because, &earlier.id))
        })
        .collect()
}

fn taken(field: &Field, value: &Value, from: Origin, because: &str, source: &str) -> Filled {
    Filled {
        field: field.path,
        value: value.clone(),
        because: Because {
            from,
            because: because.to_owned(),
            source: source.to_owned(),
            confirmed: false,
            extra: Extra::new(),
        },
    }
}

impl Revision {
    /// Whether a field was taken over from an earlier order and not looked at.
    #[must_use]
    pub fn is_unconfirmed_copy(&self, path: &str) -> bool {
        let because = self.because.get(path);
        because.is_some_and(|b| b.from == Origin::Earlier && !b.confirmed)
    }
}

impl Clinic {
    /// Remembers the words typed into an order, newest first, so that they can be tapped next time.
    pub fn remember_words(&mut self, revision: &Revision) {
        let json = json_of(&revision.prescription);
        for field in FIELDS.iter().filter(|f| is_word_field(f)) {
            let Some(word) = at(&json, field.path).and_then(Value::as_str) else {
                continue;
            };
            let words = self.words.entry(field.path.to_owned()).or_default();
            words.retain(|known| known != word);
            words.insert(0, word.to_owned());
            words.truncate(WORDS);
        }
    }

    /// Words that a typed field of the order can be answered with by a tap: the clinic's labs and
    /// hinges, and what it typed before.
    #[must_use]
    pub fn words_for(&self, path: &str) -> Vec<String> {
        let listed: Vec<&str> = match path {
            "identity.lab" => self.labs.iter().map(|lab| lab.name.as_str()).collect(),
            "motion.hinge" => self
                .hinges
                .iter()
                .map(|hinge| hinge.name.as_str())
                .collect(),
            "motion.hinge_size" => self
                .hinges
                .iter()
                .map(|hinge| hinge.size.as_str())
                .collect(),
            _ => Vec::new(),
        };
        let typed = self.words.get(path).into_iter().flatten();
        let mut words: Vec<String> = Vec::new();
        for word in listed.into_iter().chain(typed.map(String::as_str)) {
            if !word.is_empty() && !words.iter().any(|known| known == word) {
                words.push(word.to_owned());
            }
        }
        words
    }
}

/// Typed fields whose words come back from order to order.
fn is_word_field(field: &Field) -> bool {
    matches!(field.kind, FieldKind::Text) && !OF_ONE_ORDER.contains(&field.path)
}
