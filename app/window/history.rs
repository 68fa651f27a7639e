//! Who changed what, and when, in the words of the screens; and the visit as it was at a time.

use super::account::{self, Differing, between, lines};
use super::session::Session;
use super::text::models;
use crate::error::AppError;
use crate::records::{Going, Records, what_stays};
use chrono::{DateTime, Local};
use plinthside_store::{ChangeHash, Document, HistoryEntry, StoreError};
use plinthside_ui as ui;
use plinthside_visit::{Lang, Text, Visit};

/// Changes of one person without a pause as long as this are told together.
const PAUSE_MS: i64 = 10 * 60 * 1000;
/// So many sittings are told at a time, the newest first.
const AT_A_TIME: usize = 30;

/// One sitting: changes of one person on one device, one after another.
struct Sitting {
    by: String,
    device: String,
    why: Vec<String>,
    from_ms: i64,
    to_ms: i64,
    changes: usize,
    /// What the first of them was made on.
    before: Vec<ChangeHash>,
    /// The last of them.
    last: ChangeHash,
    /// The first and last keys of what became different, for what no screen says in words.
    touched: Vec<String>,
}

/// The history as it is told.
#[derive(Default)]
pub struct Told {
    summary: String,
    sittings: Vec<ui::HistoryRow>,
    heads: Vec<ChangeHash>,
    /// Where the visit lies beside this device.
    lies: Vec<ui::Remark>,
    earlier: usize,
    most: usize,
    /// What goes if the visit is erased, once that was asked for; with its words.
    erasing: Option<(Going, [String; 2])>,
    /// The visit as it was after one of the sittings.
    then: Option<(usize, Vec<account::Line>)>,
}

fn sittings(entries: &[HistoryEntry]) -> Vec<Sitting> {
    let mut all: Vec<Sitting> = Vec::new();
    for entry in entries {
        let stamp = entry.stamp.clone();
        let (by, device, at_ms, why) =
            stamp.map_or_else(Default::default, |s| (s.by, s.device, s.at_ms, s.why));
        let touched = entry.differences.iter().filter_map(|d| {
            let last = d.path.iter().rfind(|step| step.parse::<usize>().is_err())?;
            Some(last.replace('_', " "))
        });
        let goes_on = all.last_mut().filter(|sitting| {
            sitting.by == by
                && sitting.device == device
                && entry.deps == [sitting.last]
                && at_ms.abs_diff(sitting.to_ms) < PAUSE_MS as u64
        });
        if let Some(sitting) = goes_on {
            sitting.to_ms = at_ms;
            sitting.changes += 1;
            sitting.last = entry.change;
            sitting.touched.extend(touched);
            sitting.why.extend(Some(why).filter(|why| !why.is_empty()));
        } else {
            all.push(Sitting {
                by,
                device,
                why: Some(why)
                    .filter(|why| !why.is_empty())
                    .into_iter()
                    .collect(),
                from_ms: at_ms,
                to_ms: at_ms,
                changes: 1,
                before: entry.deps.clone(),
                last: entry.change,
                touched: touched.collect(),
            });
        }
    }
    all
}

fn visit_at(document: &Document, heads: &[ChangeHash]) -> Result<Option<Visit>, AppError> {
    if heads.is_empty() {
        return Ok(None);
    }
    let value = document.value_at(heads).map_err(StoreError::from)?;
    // A state no version of the program can read is told by the names of what it touched.
    Ok(serde_json::from_value(value).ok())
}

fn words(visit: Option<&Visit>, lang: Lang) -> Vec<account::Line> {
    visit.map_or_else(Vec::new, |visit| lines(visit, lang))
}

impl Told {
    /// Tells the history of a record anew.
    ///
    /// # Errors
    /// The store can't be read.
    pub fn read(
        records: &mut Records,
        id: &str,
        most: usize,
        lang: Lang,
    ) -> Result<Self, AppError> {
        let document = records.store().document(id)?;
        let entries = document.history();
        let sittings = sittings(&entries);
        let mut told = Self {
            summary: summary(&entries, &sittings, lang),
            earlier: sittings.len().saturating_sub(most.max(AT_A_TIME)),
            most: most.max(AT_A_TIME),
            ..Self::default()
        };
        for sitting in sittings.iter().rev().take(told.most) {
            let before = visit_at(document, &sitting.before)?;
            let after = visit_at(document, &[sitting.last])?;
            let changed = between(&words(before.as_ref(), lang), &words(after.as_ref(), lang));
            told.sittings.push(row(sitting, changed, lang));
            told.heads.push(sitting.last);
        }
        Ok(told)
    }
}

fn summary(entries: &[HistoryEntry], sittings: &[Sitting], lang: Lang) -> String {
    let mut devices: Vec<&str> = sittings.iter().map(|s| s.device.as_str()).collect();
    devices.sort_unstable();
    devices.dedup();
    let (n, on) = (entries.len(), devices.join(", "));
    match lang {
        Lang::En => format!("{n} entries on {on}"),
        Lang::De => format!("{n} Einträge auf {on}"),
    }
}

fn local(at_ms: i64) -> Option<DateTime<Local>> {
    DateTime::from_timestamp_millis(at_ms).map(|at| at.with_timezone(&Local))
}

/// From when to when, by the clock of who did it.
fn when(sitting: &Sitting, lang: Lang) -> String {
    let Some((from, to)) = local(sitting.from_ms).zip(local(sitting.to_ms)) else {
        return String::new();
    };
    let start = account::moment(from.fixed_offset(), lang);
    match to.format("%H:%M").to_string() {
        end if start.ends_with(&end) => start,
        end => format!("{start}–{end}"),
    }
}

fn row(sitting: &Sitting, changed: Vec<Differing>, lang: Lang) -> ui::HistoryRow {
    let mut lines: Vec<ui::ChangedLine> = changed
        .into_iter()
        .map(|d| ui::ChangedLine {
            label: d.label.into(),
            before: d.before.into(),
            after: d.after.into(),
        })
        .collect();
    if lines.is_empty() {
        let mut touched = sitting.touched.clone();
        touched.sort_unstable();
        touched.dedup();
        touched.truncate(6);
        let label = Text::new("Beside the questions", "Neben den Fragen");
        lines.push(ui::ChangedLine {
            label: label.get(lang).into(),
            before: Default::default(),
            after: touched.join(", ").into(),
        });
    }
    let who: Vec<&str> = [sitting.by.as_str(), sitting.device.as_str()]
        .into_iter()
        .chain(sitting.why.iter().map(String::as_str))
        .filter(|part| !part.is_empty())
        .collect();
    ui::HistoryRow {
        when: when(sitting, lang).into(),
        who: who.join(" · ").into(),
        entries: sitting.changes as i32,
        lines: models(lines),
    }
}

impl Session {
    /// Goes from the visit to its record: everything is saved, history and versions are read.
    pub fn look_at_record(&mut self) {
        if !matches!(self.screen, ui::Screen::History | ui::Screen::Conflicts) {
            self.came_from = self.screen;
        }
        self.save();
        self.find_versions();
        self.tell_history(false);
    }

    /// Goes to the screen from which history or two versions were opened.
    pub fn go_back(&mut self) {
        self.go(self.came_from);
    }

    /// Reads the history of the open visit, if its screen is shown.
    pub fn tell_history(&mut self, more: bool) {
        let lang = self.look.lang;
        let Some(open) = &self.open else { return };
        let id = open.case.visit.id.clone();
        let most = open.told.most + if more { AT_A_TIME } else { 0 };
        let told = self.try_records(|records| Told::read(records, &id, most, lang));
        let lies = self.where_it_lies();
        if let (Some(open), Some(told)) = (&mut self.open, told) {
            open.told = Told { lies, ..told };
        }
    }

    /// Asks once more before the visit is erased, or leaves it as it is.
    pub fn ask_erase(&mut self, ask: bool) {
        self.save();
        let lang = self.look.lang;
        let Some(id) = self.open.as_ref().map(|open| open.case.visit.id.clone()) else {
            return;
        };
        let going = match ask {
            true => self.try_records(|records| records.going(&id)),
            false => None,
        };
        if let Some(open) = &mut self.open {
            open.told.erasing = going.map(|going| {
                let said = [going.words(), what_stays()].map(|text| text.get(lang).to_owned());
                (going, said)
            });
        }
    }

    /// Erases the open visit for good, after that was asked once more.
    pub fn erase_visit(&mut self) {
        let by = self.person.clone();
        let going = self.open.as_mut().and_then(|open| open.told.erasing.take());
        let Some((going, _)) = going else { return };
        let erased = self.try_records(|records| records.erase(&going, &by));
        if erased.is_some() {
            // Not put away: there is nothing left to put.
            self.open = None;
            self.screen = ui::Screen::Cases;
            self.refresh_list();
        }
    }

    /// Shows the visit as it was after a sitting; a negative index goes back to the list.
    pub fn show_then(&mut self, index: i32) {
        let lang = self.look.lang;
        let Some(open) = &mut self.open else { return };
        open.told.then = None;
        let index = usize::try_from(index).ok();
        let heads = index.and_then(|i| open.told.heads.get(i).copied());
        let id = open.case.visit.id.clone();
        if let (Some(index), Some(heads)) = (index, heads) {
            let then =
                self.try_records(|records| visit_at(records.store().document(&id)?, &[heads]));
            if let (Some(open), Some(then)) = (&mut self.open, then) {
                open.told.then = Some((index, words(then.as_ref(), lang)));
            }
        }
    }
}

/// The screen's state.
pub fn view(told: &Told) -> ui::HistoryView {
    let then = told.then.as_ref();
    let facts = then.map_or_else(Vec::new, |(_, lines)| {
        let fact = |line: &account::Line| ui::Fact {
            label: line.label.as_str().into(),
            value: line.value.as_str().into(),
        };
        lines.iter().map(fact).collect()
    });
    let row = then.and_then(|(index, _)| told.sittings.get(*index));
    let asked = told.erasing.as_ref();
    let [goes, stays] = asked.map_or_else(Default::default, |(_, said)| said.clone());
    ui::HistoryView {
        summary: told.summary.as_str().into(),
        lies: models(told.lies.clone()),
        rows: models(told.sittings.clone()),
        earlier: told.earlier as i32,
        then: then.is_some(),
        then_when: row.map_or_else(Default::default, |row| row.when.clone()),
        then_who: row.map_or_else(Default::default, |row| row.who.clone()),
        then_facts: models(facts),
        erasing: asked.map_or("", |(going, _)| going.code.as_str()).into(),
        goes: goes.into(),
        stays: stays.into(),
    }
}
