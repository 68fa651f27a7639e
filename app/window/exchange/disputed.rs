//! Settings that two devices have set differently: both values with who and when, and the choice.

use crate::window::session::Session;
use crate::window::text::models;
use crate::window::versions::{or_nothing, who};
use plinthside_store::Conflict;
use plinthside_ui as ui;
use plinthside_visit::{Lang, Text};
use serde_json::Value;
use std::collections::BTreeMap;

impl Session {
    /// Takes one of two settings in hand.
    pub(super) fn choose_setting(&mut self, row: usize, choice: usize) {
        self.exchange.choices.insert(row, choice);
    }

    /// Settles a dispute about a setting with the one in hand.
    pub(super) fn settle_setting(&mut self, row: usize) {
        let by = self.person.clone();
        let Some(choice) = self.exchange.choices.get(&row).copied() else {
            return;
        };
        let settled = self.try_records(|records| {
            let disputed = records.settings_in_dispute()?;
            match disputed.get(row) {
                Some(conflict) if choice < conflict.alternatives.len() => {
                    records.settle_setting(conflict, choice, &by)
                }
                _ => Ok(()),
            }
        });
        if settled.is_some() {
            self.exchange.choices.clear();
            self.find_person();
        }
    }
}

/// The disputes as the screen shows them.
pub(super) fn rows(
    disputed: &[Conflict],
    choices: &BTreeMap<usize, usize>,
    lang: Lang,
) -> Vec<ui::ConflictRow> {
    let at_once = Text::new(
        "Set on two devices before they met.",
        "Auf zwei Geräten gesetzt, bevor sie sich trafen.",
    );
    let rows = disputed.iter().enumerate().map(|(row, conflict)| {
        let chosen = choices.get(&row).copied();
        let versions = conflict.alternatives.iter().enumerate();
        let versions = versions.map(|(i, alternative)| ui::VersionRow {
            text: or_nothing(&in_words(&alternative.value), lang).into(),
            who: who(alternative.stamp.as_ref(), lang).into(),
            chosen: chosen == Some(i),
            shown: i == 0,
        });
        ui::ConflictRow {
            title: title(&conflict.path, lang).into(),
            meaning: at_once.get(lang).into(),
            amends: false,
            versions: models(versions.collect()),
            ready: chosen.is_some(),
        }
    });
    rows.collect()
}

/// The setting a path leads to, in words.
fn title(path: &[String], lang: Lang) -> String {
    let first = path.first().map_or("", String::as_str);
    let text = match first {
        "name" => Text::new("Name of the clinic", "Name der Praxis"),
        "address" => Text::new("Address", "Anschrift"),
        "telephone" => Text::new("Telephone", "Telefon"),
        "urgent_telephone" => Text::new(
            "Telephone when it is urgent",
            "Telefon in dringenden Fällen",
        ),
        "email" => Text::new("E-mail", "E-Mail"),
        "contact_hours" => Text::new("Hours", "Sprechzeiten"),
        "lang" => Text::new("Language of the papers", "Sprache der Papiere"),
        "prescribers" => Text::new("Prescribers", "Verordnende"),
        "labs" => Text::new("Labs", "Werkstätten"),
        "hinges" => Text::new("Hinges", "Gelenke"),
        "mats" => Text::new("Mats", "Matten"),
        "printers" => Text::new("Printers", "Drucker"),
        "usual_order" => Text::new("What is usual in an order", "Übliches in Aufträgen"),
        "limits" => Text::new("Own limits", "Eigene Grenzen"),
        "rules_off" => Text::new("Rules switched off", "Ausgeschaltete Regeln"),
        "rule_file" => Text::new("Rule file", "Regeldatei"),
        "reasons" => Text::new("Reasons", "Begründungen"),
        other => Text::new(other.replace('_', " "), other.replace('_', " ")),
    };
    let mut words = vec![text.get(lang).to_owned()];
    // What stands below a list's number is a member of an entry.
    let below = path
        .iter()
        .skip(1)
        .filter(|step| step.parse::<usize>().is_err());
    words.extend(below.map(|step| step.replace('_', " ")));
    words.join(" · ")
}

/// A setting's value on a line.
fn in_words(value: &Value) -> String {
    let joined = |all: Vec<String>| -> String {
        let full = all.into_iter().filter(|text| !text.is_empty());
        full.collect::<Vec<_>>().join(", ")
    };
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(all) => joined(all.iter().map(in_words).collect()),
        Value::Object(fields) => match fields.get("name").and_then(Value::as_str) {
            Some(name) => name.to_owned(),
            None => joined(fields.values().map(in_words).collect()),
        },
        other => other.to_string(),
    }
}
