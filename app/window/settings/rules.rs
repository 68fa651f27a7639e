//! The rules: what each says and why, switched on or off; a clinic's own rule file taken in or
//! written out.

use crate::files;
use crate::window::session::Session;
use plinthside_ui as ui;
use plinthside_visit::data::DataError;
use plinthside_visit::knowledge::{Knowledge, OWN_RULES};
use plinthside_visit::rules::{Level, Rule, RuleSet};
use plinthside_visit::{Clinic, Lang, Text};
use std::path::{Path, PathBuf};

/// Every rule that a clinic can switch, shipped or its own, and the file's own problem.
pub fn switchable(clinic: &Clinic) -> (Vec<Rule>, Option<DataError>) {
    let all = Clinic {
        rules_off: Vec::new(),
        ..clinic.clone()
    };
    match Knowledge::for_clinic(&all) {
        Ok((all, refused)) => {
            let rules = all.rules.rules.into_iter().filter(Rule::is_switchable);
            (rules.collect(), refused.into_iter().next())
        }
        Err(problem) => (Vec::new(), Some(problem)),
    }
}

/// The rules for the screen, in printing order.
pub fn rows(clinic: &Clinic, lang: Lang) -> Vec<ui::SettingsRow> {
    let shipped = RuleSet::shipped().map(|set| set.rules).unwrap_or_default();
    let (rules, _) = switchable(clinic);
    let row = |rule: &Rule| {
        let off = clinic.rules_off.contains(&rule.id);
        let own = !shipped.contains(rule);
        let mut title = format!("{} · {}", rule.number, level(rule.level).get(lang));
        if own {
            title += Text::new(" · the clinic's own", " · eigene der Praxis").get(lang);
        }
        if off {
            title += Text::new(" · switched off", " · abgeschaltet").get(lang);
        }
        ui::SettingsRow {
            title: title.into(),
            detail: without_facts(rule.say.get(lang)).into(),
            note: rule.source.line(lang).into(),
            tone: if off {
                ui::Tone::Caution
            } else {
                ui::Tone::Plain
            },
            mark: i32::from(!off),
        }
    };
    rules.iter().map(row).collect()
}

fn level(level: Level) -> Text {
    match level {
        Level::Note => Text::new("note", "Hinweis"),
        Level::Suggest => Text::new("suggestion", "Vorschlag"),
        Level::Caution => Text::new("caution", "Vorsicht"),
        Level::Block | Level::AbsoluteBlock => Text::new("block", "Sperre"),
    }
}

/// A rule's sentence with a dash for each value it would name.
fn without_facts(say: &str) -> String {
    let mut text = String::new();
    let mut rest = say;
    while let Some((before, fact)) = rest.split_once('{') {
        let after = fact.split_once('}').map_or("", |(_, after)| after);
        text += before;
        text.push('…');
        rest = after;
    }
    text + rest
}

/// Switches a rule on or off.
pub fn switch(clinic: &mut Clinic, index: usize) {
    let (rules, _) = switchable(clinic);
    let Some(rule) = rules.get(index) else { return };
    let before = clinic.rules_off.len();
    clinic.rules_off.retain(|id| *id != rule.id);
    if clinic.rules_off.len() == before {
        clinic.rules_off.push(rule.id.clone());
    }
}

impl Session {
    /// Takes a clinic's own rule file in. One with an error is refused with line and rule, and the
    /// rules in force stay.
    pub fn load_rules(&mut self, path: &Path) {
        match crate::rules::read(path) {
            Ok((text, _)) => {
                let lang = self.look.lang;
                self.change_clinic(|clinic| clinic.rule_file = text);
                self.settings.say(
                    Text::new(
                        "The clinic's own rules are in force.",
                        "Die eigenen Regeln gelten.",
                    ),
                    lang,
                );
            }
            Err(problem) => self.settings.refuse(problem.to_string()),
        }
    }

    /// Leaves the clinic's own rule file out again.
    pub fn drop_rules(&mut self) {
        self.change_clinic(|clinic| clinic.rule_file.clear());
    }

    /// Writes the rule file in force: the clinic's own, else the shipped one to begin from.
    pub fn export_rules(&mut self) {
        let path = self.rule_path();
        let own = self.clinic().rule_file;
        let text = if own.is_empty() {
            RuleSet::shipped_text()
        } else {
            &own
        };
        let written =
            files::make_folder(&self.folder).and_then(|_| files::write(&path, text.as_bytes()));
        match written {
            Ok(()) => {
                let path = path.display();
                let said = Text::new(
                    format!("Written to {path}"),
                    format!("Geschrieben nach {path}"),
                );
                self.settings.say(said, self.look.lang);
            }
            Err(problem) => self.settings.refuse(problem.to_string()),
        }
    }

    /// Where the rule file is written to, and looked for unless somebody says otherwise.
    pub fn rule_path(&self) -> PathBuf {
        self.folder.join(OWN_RULES)
    }
}
