//! Two versions: what was changed on two devices at once, each with who and when, and the choice
//! between them. Nothing is chosen by the program; what is not chosen stays in the history.

use super::account::{self, between, lines};
use super::open::Open;
use super::session::Session;
use super::text::{models, said};
use chrono::{DateTime, Local};
use plinthside_store::{Alternative, Conflict, ConflictKind, Stamp};
use plinthside_ui as ui;
use plinthside_visit::order::SignError;
use plinthside_visit::{Lang, Prescription, Text, Visit};
use serde_json::Value;

/// What the devices disagree about in the open visit, and what is chosen so far.
#[derive(Default)]
pub struct Versions {
    all: Vec<Conflict>,
    chosen: Vec<Option<usize>>,
    refusal: String,
}

impl Versions {
    /// What the devices disagree about.
    #[must_use]
    pub fn new(all: Vec<Conflict>) -> Self {
        Self {
            chosen: vec![None; all.len()],
            all,
            refusal: String::new(),
        }
    }

    /// How many disagreements there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.all.len()
    }
}

/// What settling a conflict takes.
enum Settling {
    /// The store takes the choice.
    Store(usize),
    /// An amendment of this order says what the choice says.
    Amend {
        order: String,
        prescription: Value,
        /// The store is told first that what was signed stands.
        signed_stands: bool,
    },
}

fn settling(conflict: &Conflict, choice: usize) -> Settling {
    let order = || conflict.path.get(1).cloned().unwrap_or_default();
    let prescription = || conflict.alternatives[choice].value["prescription"].clone();
    match (conflict.kind, choice) {
        (ConflictKind::SameRevisionTwice, _) => Settling::Amend {
            order: order(),
            prescription: prescription(),
            signed_stands: false,
        },
        (ConflictKind::ChangedWhileSigned, 1..) => Settling::Amend {
            order: order(),
            prescription: prescription(),
            signed_stands: true,
        },
        _ => Settling::Store(choice),
    }
}

fn amend(visit: &mut Visit, id: &str, why: &str, prescription: Value) -> Result<(), String> {
    let order = visit.orders.iter_mut().find(|o| o.id == id);
    let order = order.ok_or_else(|| SignError::NoOrder { order: id.into() }.to_string())?;
    let prescription: Prescription =
        serde_json::from_value(prescription).map_err(|e| e.to_string())?;
    let draft = order.amend(why).map_err(|e| e.to_string())?;
    draft.prescription = prescription;
    Ok(())
}

impl Session {
    /// Looks up what the devices disagree about in the open visit.
    pub fn find_versions(&mut self) {
        let Some(id) = self.open.as_ref().map(|open| open.case.visit.id.clone()) else {
            return;
        };
        let found = self.try_records(|records| Ok(records.store().conflicts(&id)?));
        if let (Some(open), Some(found)) = (&mut self.open, found) {
            open.versions = Versions::new(found);
        }
    }

    /// Takes one of the versions in hand.
    pub fn choose_version(&mut self, conflict: usize, choice: usize) {
        let Some(open) = &mut self.open else { return };
        if let Some(chosen) = open.versions.chosen.get_mut(conflict) {
            *chosen = Some(choice);
        }
    }

    /// Settles a disagreement with the version in hand.
    pub fn settle_versions(&mut self, index: usize) {
        self.save();
        let by = self.person.clone();
        let lang = self.look.lang;
        let Some(open) = &self.open else { return };
        let versions = &open.versions;
        let chosen = versions.chosen.get(index).copied().flatten();
        let (Some(conflict), Some(choice)) = (versions.all.get(index).cloned(), chosen) else {
            return;
        };
        if choice >= conflict.alternatives.len() {
            return;
        }
        let (id, side) = (open.case.visit.id.clone(), open.case.side);
        let settling = settling(&conflict, choice);
        let told = match &settling {
            Settling::Store(choice) => Some(*choice),
            Settling::Amend { signed_stands, .. } => signed_stands.then_some(0),
        };
        if let Some(choice) = told {
            let done = self
                .try_records(|records| Ok(records.store().resolve(&id, &conflict, choice, &by)?));
            if done.is_none() {
                return;
            }
            // The visit is read anew: it now says what was chosen.
            self.open = None;
            self.open_visit(&id, Some(side), ui::Screen::Conflicts);
        }
        let Settling::Amend {
            order,
            prescription,
            ..
        } = settling
        else {
            return;
        };
        let why = reason(&conflict, choice, lang);
        let Some(open) = &mut self.open else { return };
        match amend(&mut open.case.visit, &order, &why, prescription) {
            Ok(()) => {
                self.save();
                self.open_visit(&id, Some(side), ui::Screen::Order);
            }
            Err(problem) => open.versions.refusal = problem,
        }
    }
}

/// Why the amendment is made, in words the lab can read.
fn reason(conflict: &Conflict, choice: usize, lang: Lang) -> String {
    let name = |a: &Alternative| a.stamp.as_ref().map_or("?", |s| s.by.as_str()).to_owned();
    let all: Vec<String> = conflict.alternatives.iter().map(name).collect();
    let chosen = all.get(choice).cloned().unwrap_or_default();
    match lang {
        Lang::En => format!(
            "changed at the same time by {}; the version of {chosen} counts",
            all.join(" and ")
        ),
        Lang::De => format!(
            "gleichzeitig geändert von {}; es gilt die Fassung von {chosen}",
            all.join(" und ")
        ),
    }
}

/// The place of a record that a path leads to, as the store names lists' elements.
fn place<'a>(mut at: &'a mut Value, path: &[String]) -> Option<&'a mut Value> {
    let mut list = "";
    for step in path {
        at = match at {
            Value::Object(fields) => fields.get_mut(step)?,
            Value::Array(items) => {
                let index = position(items, list, step)?;
                &mut items[index]
            }
            _ => return None,
        };
        list = step;
    }
    Some(at)
}

fn position(items: &[Value], list: &str, step: &str) -> Option<usize> {
    let key = match list {
        "legs" => "side",
        "revisions" => "number",
        "follow_up" => "order",
        _ => "id",
    };
    let named = items.iter().position(|item| match &item[key] {
        Value::String(name) => name == step,
        Value::Number(number) => number.to_string() == step,
        _ => false,
    });
    named.or_else(|| step.parse().ok().filter(|i| *i < items.len()))
}

/// The visit as it would be with one of the versions.
fn with_version(visit: &Value, conflict: &Conflict, value: &Value) -> Option<Visit> {
    let mut json = visit.clone();
    if conflict.kind == ConflictKind::SameRevisionTwice {
        let revisions = place(&mut json, &conflict.path)?.as_array_mut()?;
        revisions.retain(|r| r["number"] != value["number"]);
        revisions.push(value.clone());
    } else if let Some(at) = place(&mut json, &conflict.path) {
        *at = value.clone();
    } else {
        // Removed here: it is put back where it was.
        let (last, above) = conflict.path.split_last()?;
        match place(&mut json, above)? {
            Value::Object(fields) => drop(fields.insert(last.clone(), value.clone())),
            Value::Array(items) => items.push(value.clone()),
            _ => return None,
        }
    }
    if value.is_null() {
        let (last, above) = conflict.path.split_last()?;
        match place(&mut json, above)? {
            Value::Object(fields) => drop(fields.remove(last)),
            Value::Array(items) => items.retain(|item| !item.is_null()),
            _ => {}
        }
    }
    serde_json::from_value(json).ok()
}

pub(super) fn who(stamp: Option<&Stamp>, lang: Lang) -> String {
    let Some(stamp) = stamp else {
        return String::new();
    };
    let at = DateTime::from_timestamp_millis(stamp.at_ms);
    let at = at.map(|at| account::moment(at.with_timezone(&Local).fixed_offset(), lang));
    [
        stamp.by.clone(),
        stamp.device.clone(),
        at.unwrap_or_default(),
    ]
    .into_iter()
    .filter(|part| !part.is_empty())
    .collect::<Vec<_>>()
    .join(" · ")
}

/// What one version says that the first does not, or the other way round for the first itself.
fn says(states: &[Option<Visit>], index: usize, lang: Lang) -> Vec<account::Differing> {
    let words = |visit: Option<&Visit>| visit.map_or_else(Vec::new, |v| lines(v, lang));
    let other = usize::from(index == 0);
    let (Some(own), Some(other)) = (states.get(index), states.get(other)) else {
        return Vec::new();
    };
    between(&words(other.as_ref()), &words(own.as_ref()))
}

fn row(visit: &Value, conflict: &Conflict, chosen: Option<usize>, lang: Lang) -> ui::ConflictRow {
    let states: Vec<Option<Visit>> = conflict
        .alternatives
        .iter()
        .map(|a| with_version(visit, conflict, &a.value))
        .collect();
    let of = |index: usize| says(&states, index, lang);
    let first = of(0);
    let title = match first.as_slice() {
        [one] => one.label.clone(),
        // A choice in words stands for itself; several lines name themselves.
        _ => path_words(conflict, lang),
    };
    let versions = conflict
        .alternatives
        .iter()
        .enumerate()
        .map(|(i, alternative)| {
            let differing = of(i);
            let text = match differing.as_slice() {
                [] => raw(&alternative.value, lang),
                [one] => or_nothing(&one.after, lang),
                many => many
                    .iter()
                    .map(|d| format!("{}: {}", d.label, or_nothing(&d.after, lang)))
                    .collect::<Vec<_>>()
                    .join("\n"),
            };
            ui::VersionRow {
                text: text.into(),
                who: who(alternative.stamp.as_ref(), lang).into(),
                chosen: chosen == Some(i),
                shown: i == 0,
            }
        });
    ui::ConflictRow {
        title: title.into(),
        meaning: meaning(conflict.kind).get(lang).into(),
        amends: chosen.is_some_and(|c| matches!(settling(conflict, c), Settling::Amend { .. })),
        versions: models(versions.collect()),
        ready: chosen.is_some(),
    }
}

pub(super) fn or_nothing(text: &str, lang: Lang) -> String {
    match text {
        "" => Text::new("nothing", "nichts").get(lang).to_owned(),
        text => text.to_owned(),
    }
}

fn raw(value: &Value, lang: Lang) -> String {
    match value {
        Value::Null => Text::new("removed", "entfernt").get(lang).to_owned(),
        Value::String(text) => text.clone(),
        Value::Object(fields) => match fields.get("typed").and_then(Value::as_str) {
            Some(typed) => typed.to_owned(),
            None => Text::new("kept", "behalten").get(lang).to_owned(),
        },
        other => other.to_string(),
    }
}

fn path_words(conflict: &Conflict, lang: Lang) -> String {
    if conflict.path.first().is_some_and(|step| step == "orders") {
        return Text::new("The order", "Der Auftrag").get(lang).to_owned();
    }
    let named = conflict.path.iter().rfind(|s| s.parse::<usize>().is_err());
    named.map_or_else(String::new, |step| step.replace('_', " "))
}

fn meaning(kind: ConflictKind) -> Text {
    match kind {
        ConflictKind::RemovedAndChanged => Text::new(
            "Removed on one device while it was changed on another.",
            "Auf einem Gerät entfernt, während es auf einem anderen geändert wurde.",
        ),
        ConflictKind::ChangedWhileSigned => Text::new(
            "Signed on one device while it was changed on another. What was signed stands; the change can become a new revision.",
            "Auf einem Gerät unterschrieben, während es auf einem anderen geändert wurde. Es gilt das Unterschriebene; die Änderung kann eine neue Revision werden.",
        ),
        ConflictKind::SameRevisionTwice => Text::new(
            "The order was amended on two devices at once. Both revisions are kept; a new one settles which counts.",
            "Der Auftrag wurde auf zwei Geräten zugleich geändert. Beide Revisionen bleiben; eine neue legt fest, welche gilt.",
        ),
        _ => Text::new(
            "Changed on two devices at once.",
            "Auf zwei Geräten zugleich geändert.",
        ),
    }
}

/// The screen's state.
pub fn view(open: &Open, lang: Lang) -> ui::ConflictsView {
    let versions = &open.versions;
    let visit = serde_json::to_value(&open.case.visit).unwrap_or_default();
    let rows = versions.all.iter().zip(&versions.chosen);
    ui::ConflictsView {
        refusal: said(&versions.refusal, lang).into(),
        rows: models(
            rows.map(|(c, chosen)| row(&visit, c, *chosen, lang))
                .collect(),
        ),
    }
}
