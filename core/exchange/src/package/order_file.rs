//! The order as data: every field by its path, and what changed since the last revision.

use super::About;
use plinthside_measure::marks::Side;
use plinthside_visit::{Lang, Revision, When};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// One filled field of an order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Field {
    /// Path, e.g. `motion.dorsiflexion.stop_deg`.
    pub path: String,
    /// Its name.
    pub label: String,
    /// Its value as printed on the order.
    pub value: String,
}

/// One field that differs from the revision before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Change {
    /// Path of the field.
    pub path: String,
    /// Its name.
    pub label: String,
    /// As it was; nothing where it was empty.
    #[serde(default)]
    pub before: Option<String>,
    /// As it is; nothing where it is empty now.
    #[serde(default)]
    pub after: Option<String>,
}

impl std::fmt::Display for Change {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let shown = |value: &Option<String>| value.clone().unwrap_or_else(|| "(empty)".into());
        write!(
            f,
            "{}: {} → {}",
            self.label,
            shown(&self.before),
            shown(&self.after)
        )
    }
}

/// `order.json` of a package.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OrderFile {
    /// Version of this file's shape.
    pub format: u32,
    /// The cast's code.
    pub code: String,
    /// Revision of the order, 1, 2, 3 …
    pub revision: u32,
    /// Which foot.
    pub side: Side,
    /// The patient's code.
    pub patient: String,
    /// The clinic.
    pub clinic: String,
    /// The clinic's telephone.
    pub telephone: String,
    /// The lab it was packed for.
    pub lab: String,
    /// Who signed, when.
    pub signed_by: String,
    /// When it was signed.
    pub signed_at: Option<When>,
    /// When it was packed.
    pub packed_at: When,
    /// Every filled field.
    pub fields: Vec<Field>,
    /// The prescription as stored.
    pub prescription: Value,
    /// The revision this one replaces.
    #[serde(default)]
    pub replaces: Option<u32>,
    /// Why.
    #[serde(default)]
    pub reason: String,
    /// What differs from it.
    #[serde(default)]
    pub changes: Vec<Change>,
    /// A lab that answers gives this back: it proves the answer comes from whoever opened the
    /// package.
    pub receipt_token: String,
    /// Fields of a newer version.
    #[serde(flatten)]
    pub extra: Map<String, Value>,
}

impl OrderFile {
    pub(super) fn of(about: &About<'_>) -> Self {
        let inputs = about.inputs;
        let signature = about.revision.signature.as_ref();
        let fields = fields(about.revision, inputs.lang);
        let before = about
            .before
            .map(|revision| self::fields(revision, inputs.lang));
        Self {
            format: 1,
            code: about.code.clone(),
            revision: about.revision.number,
            side: about.order.side,
            patient: inputs.visit.person.code.trim().to_owned(),
            clinic: inputs.clinic.name.clone(),
            telephone: inputs.clinic.telephone.clone(),
            lab: inputs.lab.name.clone(),
            signed_by: signature
                .map(|s| s.prescriber.name.clone())
                .unwrap_or_default(),
            signed_at: signature.map(|s| s.at),
            packed_at: inputs.at,
            changes: before
                .map(|before| changes(&before, &fields))
                .unwrap_or_default(),
            fields,
            prescription: plinthside_visit::order::json_of(&about.revision.prescription),
            replaces: about.before.map(|revision| revision.number),
            reason: about.revision.reason.clone(),
            receipt_token: inputs.sender.receipt_token(&about.name()),
            extra: Map::new(),
        }
    }

    /// What differs from an earlier revision's file.
    #[must_use]
    pub fn changes_since(&self, earlier: &Self) -> Vec<Change> {
        changes(&earlier.fields, &self.fields)
    }
}

fn fields(revision: &Revision, lang: Lang) -> Vec<Field> {
    let lines = revision.lines(lang);
    let field = |line: &plinthside_visit::order::Line<'_>| Field {
        path: line.field.path.to_owned(),
        label: line.field.label(lang).to_owned(),
        value: match &line.problem {
            Some(problem) => format!("{} ({problem})", line.value),
            None => line.value.clone(),
        },
    };
    lines.iter().map(field).collect()
}

/// Differences field by field, in the order of the newer list, then what was emptied.
fn changes(before: &[Field], after: &[Field]) -> Vec<Change> {
    let old: BTreeMap<&str, &Field> = before.iter().map(|f| (f.path.as_str(), f)).collect();
    let new: BTreeMap<&str, &Field> = after.iter().map(|f| (f.path.as_str(), f)).collect();
    let changed = after.iter().filter_map(|f| {
        let was = old.get(f.path.as_str()).map(|f| f.value.clone());
        (was.as_ref() != Some(&f.value)).then(|| Change {
            path: f.path.clone(),
            label: f.label.clone(),
            before: was,
            after: Some(f.value.clone()),
        })
    });
    let emptied = before.iter().filter(|f| !new.contains_key(f.path.as_str()));
    let emptied = emptied.map(|f| Change {
        path: f.path.clone(),
        label: f.label.clone(),
        before: Some(f.value.clone()),
        after: None,
    });
    changed.chain(emptied).collect()
}
