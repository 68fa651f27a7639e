//! The clinic's settings: what papers print of it, its people, labs, printers and mats, its limits
//! and rules. Every change is kept in the records at once, so that whatever is judged or printed
//! next uses it and the clinic's other devices learn of it.

mod entries;
mod limits;
mod mats;
mod printers;
mod rules;

use super::questions::{Ask, Asking};
use super::session::Session;
use super::text::{models, said};
use plinthside_ui::{self as ui, SettingsPage as Page};
use plinthside_visit::person::{ClinicPrinter, Lab, Prescriber};
use plinthside_visit::verdict::Tolerances;
use plinthside_visit::{Clinic, Lang, Text};
use std::rc::Rc;

/// Who works on this device is kept under this name, on this device only.
pub const PERSON: &str = "person";

/// What the settings screen stands on.
#[derive(Default)]
pub struct Settings {
    page: Page,
    /// The entry of a list that is in hand, with its questions.
    entry: Option<(usize, Asking<Clinic, usize>)>,
    /// A mat that is being printed and measured.
    draft: mats::Draft,
    measuring: Option<Asking<mats::Draft, ()>>,
    said: String,
    problem: String,
    /// Where the settings were come to from.
    from: Option<ui::Screen>,
}

impl Settings {
    /// Says what was done.
    fn say(&mut self, text: Text, lang: Lang) {
        self.said = text.get(lang).to_owned();
        self.problem.clear();
    }

    /// Says what stands in the way.
    fn refuse(&mut self, problem: String) {
        self.problem = problem;
        self.said.clear();
    }

    fn hush(&mut self) {
        self.said.clear();
        self.problem.clear();
    }
}

fn shipped() -> Rc<Tolerances> {
    // A released program reads its own table; tests do too.
    let empty = Tolerances {
        schema: 1,
        limit: Vec::new(),
        state: Vec::new(),
    };
    Rc::new(Tolerances::shipped().unwrap_or(empty))
}

impl Session {
    /// Changes the clinic's settings and saves them.
    pub fn change_clinic(&mut self, change: impl FnOnce(&mut Clinic)) {
        let by = self.person.clone();
        let mut clinic = self.clinic();
        change(&mut clinic);
        if clinic != self.clinic() {
            self.try_records(|records| records.set_clinic(clinic, &by));
        }
    }

    /// Opens a page of the settings.
    pub fn settings_open(&mut self, page: Page) {
        self.settings_leave_entry();
        self.settings.hush();
        self.settings.page = page;
        if page == Page::Clinic {
            self.settings_take_up(0);
        }
    }

    /// Goes to the settings; back from them leads to where they were come to from.
    pub fn settings_enter(&mut self) {
        self.settings_come_from();
        self.settings_open(Page::Overview);
    }

    /// Remembers where the settings and the screens behind them are come to from.
    pub fn settings_come_from(&mut self) {
        use ui::Screen::{About, Exchange, Package, Settings};
        if !matches!(self.screen, Settings | About | Exchange | Package) {
            self.settings.from = Some(self.screen);
        }
    }

    /// A row of the page was touched: its entry is taken up, or its rule switched.
    pub fn settings_choose(&mut self, row: usize) {
        self.settings.hush();
        match self.settings.page {
            Page::Rules => self.change_clinic(|clinic| rules::switch(clinic, row)),
            Page::Mats => {}
            _ => self.settings_take_up(row),
        }
    }

    fn settings_take_up(&mut self, index: usize) {
        let questions = match self.settings.page {
            Page::Clinic => entries::clinic(),
            Page::People => entries::person(),
            Page::Labs => entries::lab(),
            Page::Printers => printers::printer(),
            Page::Limits => limits::questions(&shipped(), index),
            Page::Overview | Page::Mats | Page::Rules => return,
        };
        if !questions.is_empty() {
            let asking = Asking::new(questions, &self.clinic(), index);
            self.settings.entry = Some((index, asking));
        }
    }

    /// Adds an entry to the list and takes it up.
    pub fn settings_add(&mut self) {
        self.settings.hush();
        let page = self.settings.page;
        if page == Page::Mats {
            self.settings.draft = mats::Draft::new(&self.clinic());
            let mut asking = Asking::new(mats::questions(), &self.settings.draft, ());
            // The sheet is answered beforehand, and must be the one that is printed.
            asking.choose_question(0, &self.settings.draft, ());
            self.settings.measuring = Some(asking);
            return;
        }
        self.change_clinic(|clinic| match page {
            Page::People => clinic.prescribers.push(Prescriber::default()),
            Page::Labs => clinic.labs.push(Lab::default()),
            Page::Printers => clinic.printers.push(ClinicPrinter::default()),
            _ => {}
        });
        let clinic = self.clinic();
        let count = match page {
            Page::People => clinic.prescribers.len(),
            Page::Labs => clinic.labs.len(),
            Page::Printers => clinic.printers.len(),
            _ => return,
        };
        self.settings_take_up(count.saturating_sub(1));
    }

    /// Takes the entry in hand out of its list; of a limit, goes back to the shipped one.
    pub fn settings_remove(&mut self) {
        let page = self.settings.page;
        let Some(index) = self.settings.entry.as_ref().map(|(index, _)| *index) else {
            return;
        };
        let shipped = shipped();
        self.change_clinic(|clinic| match page {
            Page::People if index < clinic.prescribers.len() => {
                clinic.prescribers.remove(index);
            }
            Page::Labs if index < clinic.labs.len() => {
                clinic.labs.remove(index);
            }
            Page::Printers if index < clinic.printers.len() => {
                clinic.printers.remove(index);
            }
            Page::Limits => {
                if let Some(limit) = shipped.limit.get(index) {
                    clinic.limits.remove(&limit.check.name());
                }
            }
            _ => {}
        });
        self.settings.entry = None;
    }

    /// From an entry to its list, from a list to the overview.
    pub fn settings_back(&mut self) {
        self.settings.hush();
        if self.settings.measuring.take().is_some() {
            return;
        }
        let listed = self.settings.entry.is_some() && self.settings.page != Page::Clinic;
        self.settings_leave_entry();
        if self.settings.page == Page::Overview {
            let from = self.settings.from.unwrap_or(ui::Screen::Cases);
            self.go(from);
        } else if !listed {
            self.settings.page = Page::Overview;
        }
    }

    /// Entries that nothing was typed into are not kept.
    fn settings_leave_entry(&mut self) {
        if self.settings.entry.take().is_some() {
            self.change_clinic(|clinic| {
                clinic.prescribers.retain(|p| *p != Prescriber::default());
                clinic.labs.retain(|l| *l != Lab::default());
                clinic.printers.retain(|p| *p != ClinicPrinter::default());
            });
        }
        self.settings.measuring = None;
    }

    /// Says who works here now.
    pub fn settings_mark(&mut self, row: usize) {
        if self.settings.page == Page::People
            && let Some(person) = self.clinic().prescribers.get(row)
        {
            self.person.clone_from(&person.name);
            self.keep_person();
        }
    }

    fn keep_person(&mut self) {
        let person = self.person.clone();
        self.try_records(|records| {
            Ok(records.store().set_local(PERSON, Some(person.as_bytes()))?)
        });
    }

    /// Whoever worked here last, if the clinic still has them; else its first.
    pub fn find_person(&mut self) {
        let kept = self
            .try_records(|records| Ok(records.store().local(PERSON)?))
            .flatten()
            .and_then(|name| String::from_utf8(name).ok());
        let people = self.clinic().prescribers;
        let known = |name: &String| people.iter().any(|p| p.name == *name);
        if let Some(name) = kept.filter(known) {
            self.person = name;
        } else if self.person.is_empty()
            && let Some(first) = people.first()
        {
            self.person.clone_from(&first.name);
        }
    }

    /// Answers about the entry in hand; behind the last question back to the list.
    pub fn settings_ask(&mut self, ask: Ask) {
        self.settings.hush();
        let next = matches!(ask, Ask::Next);
        if let Some(asking) = &mut self.settings.measuring {
            // Behind the last question the lengths are kept by their own button.
            if asking.take(ask, &mut self.settings.draft, ()) {
                asking.next(&self.settings.draft, ());
            }
            return;
        }
        let Some((index, mut asking)) = self.settings.entry.take() else {
            return;
        };
        let mut clinic = self.clinic();
        let person_at = |clinic: &Clinic| clinic.prescribers.get(index).map(|p| p.name.clone());
        let before = person_at(&clinic);
        let ended = asking.take(ask, &mut clinic, index) && !asking.next(&clinic, index);
        // Whoever works here keeps working here under the corrected name.
        if self.settings.page == Page::People
            && before.as_ref() == Some(&self.person)
            && let Some(name) = person_at(&clinic).filter(|name| *name != self.person)
        {
            self.person = name;
            self.keep_person();
        }
        self.settings.entry = Some((index, asking));
        self.change_clinic(|now| *now = clinic);
        if next && ended {
            self.settings_back();
        }
    }

    /// The tables that judge, as the clinic has set them; made anew only where it changed them.
    pub fn refresh_tables(&mut self) {
        let super::desk::Desk::Open(records) = &self.desk else {
            return;
        };
        if self.tables.are_of(records.clinic()) {
            return;
        }
        match super::advice::Tables::for_clinic(records.clinic()) {
            Ok(tables) => self.tables = tables,
            Err(problem) => self.trouble = problem.to_string(),
        }
    }
}

/// The settings screen.
pub fn view(session: &mut Session) -> ui::SettingsView {
    let targets = session.target_names();
    let session = &*session;
    let settings = &session.settings;
    let (page, lang) = (settings.page, session.look.lang);
    let clinic = session.clinic();
    let pages = overview(session, &clinic, &targets, lang);
    let title = (page as usize).checked_sub(1).and_then(|i| pages.get(i));
    let mut view = ui::SettingsView {
        page,
        title: title.map_or_else(Default::default, |row| row.title.clone()),
        said: settings.said.as_str().into(),
        problem: said(&settings.problem, lang).into(),
        rule_file: session.rule_path().display().to_string().into(),
        own_rules: !clinic.rule_file.is_empty(),
        rows: models(match page {
            Page::Overview | Page::Clinic => pages,
            _ => rows(session, &clinic, lang),
        }),
        ..Default::default()
    };
    if let Some(asking) = &settings.measuring {
        view.asks = true;
        view.list = asking.view(&settings.draft, (), Vec::new(), lang);
        view.printers = clinic
            .printers
            .iter()
            .any(|p| p.name == settings.draft.printer());
    } else if let Some((index, asking)) = &settings.entry {
        view.asks = true;
        view.list = asking.view(&clinic, *index, Vec::new(), lang);
        if page == Page::Limits
            && let Some(limit) = shipped().limit.get(*index)
        {
            view.own = clinic.limits.contains_key(&limit.check.name());
            view.problem = limits::problem(&clinic, limit, lang).into();
        }
    } else if page == Page::Rules
        && let (_, Some(problem)) = rules::switchable(&clinic)
    {
        view.problem = said(&problem.to_string(), lang).into();
    }
    view
}

fn rows(session: &Session, clinic: &Clinic, lang: Lang) -> Vec<ui::SettingsRow> {
    let row = |title: &str, detail: Vec<&str>| {
        let detail: Vec<&str> = detail.into_iter().filter(|part| !part.is_empty()).collect();
        let unnamed = Text::new("without a name", "ohne Namen");
        ui::SettingsRow {
            title: if title.is_empty() {
                unnamed.get(lang)
            } else {
                title
            }
            .into(),
            detail: detail.join(" · ").into(),
            note: Default::default(),
            tone: ui::Tone::Plain,
            mark: -1,
        }
    };
    match session.settings.page {
        Page::Overview | Page::Clinic => Vec::new(),
        Page::People => clinic
            .prescribers
            .iter()
            .map(|p| ui::SettingsRow {
                mark: i32::from(p.name == session.person),
                ..row(&p.name, vec![&p.profession, &p.registration])
            })
            .collect(),
        Page::Labs => clinic
            .labs
            .iter()
            .map(|lab| {
                let sealed = Text::new("takes sealed packages", "nimmt versiegelte Pakete");
                let sealed = if lab.public_key.is_empty() {
                    ""
                } else {
                    sealed.get(lang)
                };
                row(&lab.name, vec![&lab.contact, &lab.telephone, sealed])
            })
            .collect(),
        Page::Printers => clinic
            .printers
            .iter()
            .map(|p| {
                let labels = match p.label.is_empty() {
                    true => String::new(),
                    false => printers::labels(&p.label, lang),
                };
                row(&p.name, vec![&p.address, &labels])
            })
            .collect(),
        Page::Mats => mats::rows(clinic, lang),
        Page::Limits => {
            let limits = shipped();
            let limit = |limit: &plinthside_visit::verdict::Limit| {
                let own = clinic.limits.contains_key(&limit.check.name());
                let source = match own {
                    true => Text::new("the clinic's own value", "eigener Wert der Praxis")
                        .get(lang)
                        .to_owned(),
                    false => limit.source.line(lang),
                };
                ui::SettingsRow {
                    note: source.into(),
                    tone: if own {
                        ui::Tone::Chosen
                    } else {
                        ui::Tone::Plain
                    },
                    ..row(
                        limit.label.get(lang),
                        vec![&limits::words(clinic, limit, lang)],
                    )
                }
            };
            limits.limit.iter().map(limit).collect()
        }
        Page::Rules => rules::rows(clinic, lang),
    }
}

/// What each page holds, in the order of [`Page`] behind the overview.
fn overview(session: &Session, clinic: &Clinic, targets: &str, lang: Lang) -> Vec<ui::SettingsRow> {
    let names = |names: Vec<&str>| names.join(", ");
    let measured = clinic.mats.iter().filter(|m| m.measured_at.is_some());
    let (rules, _) = rules::switchable(clinic);
    let off = rules
        .iter()
        .filter(|r| clinic.rules_off.contains(&r.id))
        .count();
    let count = |n: usize, [en, de]: [&str; 2]| format!("{n} {}", Text::new(en, de).get(lang));
    let details = [
        names(
            [&*clinic.name, &*clinic.telephone]
                .into_iter()
                .filter(|word| !word.is_empty())
                .collect(),
        ),
        names(clinic.prescribers.iter().map(|p| p.name.as_str()).collect()),
        names(clinic.labs.iter().map(|l| l.name.as_str()).collect()),
        names(clinic.printers.iter().map(|p| p.name.as_str()).collect()),
        count(measured.count(), ["measured", "gemessen"]),
        count(
            clinic.limits.len(),
            ["of the clinic's own", "eigene der Praxis"],
        ),
        count(off, ["switched off", "abgeschaltet"]),
        targets.to_owned(),
        String::new(),
    ];
    let pages = [
        Text::new("Clinic", "Praxis"),
        Text::new("People", "Personen"),
        Text::new("Labs", "Werkstätten"),
        Text::new("Printers", "Drucker"),
        Text::new("Mats", "Matten"),
        Text::new(
            "Limits: keep or recast",
            "Grenzen: behalten oder neu abformen",
        ),
        Text::new("Rules", "Regeln"),
        Text::new("Other devices", "Andere Geräte"),
        Text::new("A sealed package", "Ein versiegeltes Paket"),
    ];
    let working = Text::new("works now", "arbeitet jetzt");
    let rows = pages.iter().zip(details).enumerate();
    rows.map(|(i, (title, detail))| ui::SettingsRow {
        title: title.get(lang).into(),
        detail: detail.into(),
        note: match i {
            1 if !session.person.is_empty() => {
                format!("{} {}", session.person, working.get(lang)).into()
            }
            _ => Default::default(),
        },
        tone: ui::Tone::Plain,
        mark: -1,
    })
    .collect()
}

#[cfg(test)]
mod tests;
