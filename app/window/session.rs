//! What the window works on: the clinic's records, the visit that is open, the screen shown. No
//! screen types but enums; every change goes through here, is saved, and is then shown whole.

use super::advice::Tables;
use super::desk::{Desk, List};
use super::exchange::{Exchange, Packages};
use super::handing::Source;
use super::hearing::Clock;
use super::help::Helping;
use super::look::Look;
use super::open::Open;
use super::printing::{Prints, Want};
use super::reasons::Reasons;
use super::settings::Settings;
use super::taking::Taking;
use crate::error::AppError;
use crate::records::Records;
use crate::sound::{SystemVoice, Voice};
use plinthside_measure::marks::Side;
use plinthside_store::{IdleLock, Opened};
use plinthside_ui as ui;
use plinthside_visit::person::Prescriber;
use plinthside_visit::{Clinic, Visit};
use std::path::PathBuf;

/// The store is locked after so long without a touch.
const IDLE_MS: i64 = 15 * 60 * 1000;
/// What the look is kept under, on this device only.
const LOOK: &str = "look";

/// Everything behind the window.
pub struct Session {
    /// The records, or the door before them.
    pub desk: Desk,
    /// The visits as they are listed.
    pub list: List,
    /// The visit that is open.
    pub open: Option<Open>,
    /// Photographs that can be taken in.
    pub taking: Taking,
    /// The screen shown.
    pub screen: ui::Screen,
    /// The screen of the visit before history or two versions.
    pub came_from: ui::Screen,
    /// Look and language.
    pub look: Look,
    /// Tables of rules, norms and limits.
    pub tables: Tables,
    /// The settings screen.
    pub settings: Settings,
    /// Help on a step.
    pub help: Helping,
    /// The screen of reasons.
    pub reasons: Reasons,
    /// Print jobs, and the printers chosen.
    pub prints: Prints,
    /// The screen of other devices.
    pub exchange: Exchange,
    /// The screen of sealed packages.
    pub packages: Packages,
    /// Where papers are written.
    pub folder: PathBuf,
    /// Who works here.
    pub person: String,
    /// When the newest entry reached the disk, milliseconds since 1970.
    pub saved_ms: Option<i64>,
    /// What the timer is heard with.
    pub voice: Box<dyn Voice>,
    /// The timers of casts that set, also of visits put away.
    pub clocks: Vec<Clock>,
    /// The window was to be closed while entries were not saved: the next time it closes.
    pub close_asked: bool,
    /// Why something could not be saved or read; empty if all is well.
    pub trouble: String,
    idle: IdleLock,
    /// Counts the openings, so that what was begun for one visit never lands in another.
    opened: u64,
}

fn now_ms() -> i64 {
    crate::clock::now().timestamp_millis()
}

impl Session {
    /// A session before its store is open.
    #[must_use]
    pub fn new(desk: Desk, look: Look, tables: Tables, folder: PathBuf) -> Self {
        Self {
            screen: ui::Screen::Unlock,
            came_from: ui::Screen::Person,
            desk,
            list: List::default(),
            open: None,
            taking: Taking::default(),
            look,
            tables,
            settings: Settings::default(),
            help: Helping::default(),
            reasons: Reasons::default(),
            prints: Prints::default(),
            exchange: Exchange::default(),
            packages: Packages::default(),
            folder,
            person: String::new(),
            saved_ms: None,
            voice: Box::new(SystemVoice::default()),
            clocks: Vec::new(),
            close_asked: false,
            trouble: String::new(),
            idle: IdleLock::new(IDLE_MS, now_ms()),
            opened: 0,
        }
    }

    /// The records, where they are open.
    pub fn records(&mut self) -> Option<&mut Records> {
        match &mut self.desk {
            Desk::Open(records) => Some(records),
            Desk::Closed(_) => None,
        }
    }

    /// The clinic; an empty one while the store is closed.
    #[must_use]
    pub fn clinic(&self) -> Clinic {
        match &self.desk {
            Desk::Open(records) => records.clinic().clone(),
            Desk::Closed(_) => Clinic::default(),
        }
    }

    /// Takes the open records: on to the unfinished work of an earlier session, or to the list.
    pub fn enter(&mut self, records: Box<Records>) {
        self.desk = Desk::Open(records);
        self.touch();
        let kept = self
            .records()
            .and_then(|records| records.store().local(LOOK).ok().flatten())
            .and_then(|json| serde_json::from_slice(&json).ok());
        self.look = kept.unwrap_or(self.look);
        self.take_up_photo_folder();
        self.find_person();
        self.screen = ui::Screen::Cases;
        self.trouble.clear();
        let unfinished = self.try_records(Records::unfinished);
        if let Some(unfinished) = unfinished.filter(|all| !all.is_empty()) {
            self.list.unfinished = unfinished;
            self.screen = ui::Screen::Recover;
        }
        self.refresh_list();
    }

    /// Does something with the records; a failure becomes the session's trouble, in words.
    pub fn try_records<T>(
        &mut self,
        ask: impl FnOnce(&mut Records) -> Result<T, AppError>,
    ) -> Option<T> {
        let answer = ask(self.records()?);
        match answer {
            Ok(value) => Some(value),
            Err(problem) => {
                self.trouble = problem.to_string();
                None
            }
        }
    }

    /// Keeps the look on this device.
    pub fn keep_look(&mut self) {
        if let Ok(json) = serde_json::to_vec(&self.look) {
            self.try_records(|records| Ok(records.store().set_local(LOOK, Some(&json))?));
        }
    }

    /// Looks the visits up anew.
    pub fn refresh_list(&mut self) {
        let Desk::Open(records) = &mut self.desk else {
            return;
        };
        if let Err(problem) = self.list.refresh(records) {
            self.trouble = problem.to_string();
        }
    }

    /// Opens a visit on one of its sides.
    pub fn open_visit(&mut self, id: &str, side: Option<Side>, screen: ui::Screen) {
        if !self.put_away() {
            return;
        }
        let Some(visit) = self.try_records(|records| records.visit(id)) else {
            return;
        };
        self.take_in_hand(visit, side, screen);
        self.find_versions();
    }

    fn take_in_hand(&mut self, visit: Opened<Visit>, side: Option<Side>, screen: ui::Screen) {
        self.opened += 1;
        let sides = &visit.value.sides;
        let side = side
            .filter(|side| sides.contains(side))
            .or(sides.first().copied())
            .unwrap_or(Side::Left);
        self.saved_ms = Some(visit.saved_at_ms());
        let (clinic, papers) = (self.clinic(), self.folder.clone());
        let proven = self.is_proven(&visit.value, side);
        let mut open = Open::new(visit, side, self.opened, &clinic, papers);
        open.labelling.proven = proven;
        self.open = Some(open);
        self.taking.forget();
        self.screen = screen;
        self.trouble.clear();
    }

    /// Turns to the other foot of a visit about both.
    pub fn turn_to(&mut self, side: Side) {
        let clinic = self.clinic();
        if let Some(open) = &mut self.open {
            open.turn_to(side, &clinic);
            self.another_cast();
        }
    }

    /// Another cast is in hand: what was begun for the one before does not land in it.
    pub(super) fn another_cast(&mut self) {
        self.opened += 1;
        if let Some(open) = &mut self.open {
            open.serial = self.opened;
        }
        self.taking.forget();
    }

    /// Begins a visit of a new person, or of one seen before.
    pub fn begin_visit(&mut self, sides: Vec<Side>, earlier: Option<&Visit>) {
        if !self.put_away() {
            return;
        }
        let mut visit = Visit::new(super::desk::new_id(), crate::clock::now(), sides);
        visit.clinician = self.person.clone();
        match earlier {
            Some(earlier) => {
                visit.person = earlier.person.clone();
                visit.copy_from(earlier);
            }
            None => visit.person.code = super::desk::new_person_code(),
        }
        let by = self.person.clone();
        if let Some(begun) = self.try_records(|records| records.begin(&visit, &by)) {
            self.take_in_hand(begun, None, ui::Screen::Person);
        }
    }

    /// Saves what was changed in the open visit; it is on the disk when this returns. What the
    /// disk refused is tried again with the next change. `true` if nothing is left to save.
    pub fn save(&mut self) -> bool {
        let Some(mut open) = self.open.take() else {
            return true;
        };
        if open.is_changed() {
            let by = self.person.clone();
            let saved = self.try_records(|records| open.save(records, &by));
            if let Some(saved) = saved {
                self.saved_ms = Some(saved);
                self.trouble.clear();
            }
        }
        let saved = !open.is_changed();
        self.open = Some(open);
        saved
    }

    /// Puts the open visit away: its entries become part of it, for the lists and for others. What
    /// can't be saved or put away stays open, and is said; `false` then.
    pub fn put_away(&mut self) -> bool {
        if !self.save() {
            return false;
        }
        let Some(open) = &self.open else { return true };
        let id = open.case.visit.id.clone();
        if self.try_records(|records| records.put_away(&id)).is_none() {
            return false;
        }
        self.open = None;
        self.refresh_list();
        true
    }

    /// Whether the window may be closed: everything is saved, or it was asked for twice.
    pub fn may_close(&mut self) -> bool {
        self.put_away() || std::mem::replace(&mut self.close_asked, true)
    }

    /// Closes the store, unless an entry would be lost by that. What is to be seen again needs the
    /// passphrase again.
    pub fn lock(&mut self) {
        if !self.put_away() {
            return;
        }
        self.list = List::default();
        self.taking.forget();
        self.settings = Settings::default();
        self.reasons = Reasons::default();
        self.prints = Prints::default();
        self.exchange.close();
        self.packages = Packages::default();
        self.desk.close();
        self.saved_ms = None;
        self.screen = ui::Screen::Unlock;
    }

    /// Somebody touched the screen.
    pub fn touch(&mut self) {
        self.idle.touch(now_ms());
    }

    /// Locks where nobody has touched the screen for long; `true` if it did.
    pub fn lock_if_idle(&mut self) -> bool {
        let due = matches!(&self.desk, Desk::Open(_))
            && !self.desk.is_demo()
            && !self.is_setting()
            && self.idle.is_due(now_ms());
        if due {
            self.lock();
        }
        due && matches!(&self.desk, Desk::Closed(_))
    }

    /// What the papers of the open case are made of.
    #[must_use]
    pub fn source(&self) -> Option<Source> {
        let case = &self.open.as_ref()?.case;
        Some(Source {
            clinic: self.clinic(),
            visit: case.visit.clone(),
            side: case.side,
        })
    }

    /// A paper of the open case to be printed on the printer chosen for it.
    #[must_use]
    pub fn print(&self, paper: ui::PaperKind) -> Option<Want> {
        let source = self.source()?;
        let printer = self
            .prints
            .printer(&source.clinic, paper == ui::PaperKind::Label)?;
        Some(Want::Paper {
            source: Box::new(source),
            paper,
            printer,
            by: self.person.clone(),
        })
    }

    /// The visit that some work was begun for, if it is still open.
    pub fn opening(&mut self, serial: u64) -> Option<&mut Open> {
        self.open.as_mut().filter(|open| open.serial == serial)
    }

    /// The screen after this one on the line of steps.
    #[must_use]
    pub fn screen_after(&self) -> ui::Screen {
        match self.screen {
            ui::Screen::Person => ui::Screen::Examine,
            ui::Screen::Examine => ui::Screen::Position,
            ui::Screen::Position => ui::Screen::Cast,
            ui::Screen::Cast => ui::Screen::Photographs,
            ui::Screen::Photographs => ui::Screen::Mark,
            ui::Screen::Mark => ui::Screen::Check,
            ui::Screen::Inspect | ui::Screen::Ruler => ui::Screen::Check,
            ui::Screen::Check => ui::Screen::Order,
            ui::Screen::Order => ui::Screen::Label,
            ui::Screen::Label => ui::Screen::HandOver,
            ui::Screen::HandOver => ui::Screen::FollowUp,
            other => other,
        }
    }

    /// Goes to a screen. The list puts the open visit away; pictures are looked for where they
    /// are offered.
    pub fn go(&mut self, screen: ui::Screen) {
        let free = matches!(screen, ui::Screen::About | ui::Screen::Package);
        if matches!(self.desk, Desk::Closed(_)) && !free {
            self.screen = ui::Screen::Unlock;
            return;
        }
        match screen {
            ui::Screen::Ruler => {
                let lang = self.look.lang;
                if let Some(open) = &mut self.open {
                    open.by_ruler = open.case.awaited_by_ruler(lang);
                }
            }
            ui::Screen::Settings => self.settings_enter(),
            ui::Screen::Exchange => drop(self.exchange_open(ui::ExchangePage::Home)),
            ui::Screen::Package => self.package_enter(),
            ui::Screen::Cases => drop(self.put_away()),
            ui::Screen::Order => {
                self.fill_new_order();
                self.take_up_block();
            }
            ui::Screen::Photographs => self.look_for_photographs(),
            ui::Screen::Examine | ui::Screen::Position => self.find_before(),
            ui::Screen::History | ui::Screen::Conflicts => self.look_at_record(),
            // A cast without photographs is photographed first.
            ui::Screen::Mark => {
                let photographs = self.sources().map_or(0, |s| s.photographs.len());
                if photographs == 0 {
                    self.look_for_photographs();
                    self.screen = ui::Screen::Photographs;
                    return;
                }
            }
            _ => {}
        }
        self.screen = screen;
    }

    /// Identifier of a listed visit.
    pub fn listed(&mut self, index: usize) -> Option<String> {
        let Self { desk, list, .. } = self;
        let Desk::Open(records) = desk else {
            return None;
        };
        match list.row(records, index) {
            Ok(row) => row.map(|case| case.id),
            Err(problem) => {
                self.trouble = problem.to_string();
                None
            }
        }
    }

    /// Another visit of the person whose visit is open.
    pub fn visit_again(&mut self) {
        let Some(open) = &self.open else { return };
        let earlier = open.case.visit.clone();
        self.begin_visit(earlier.sides.clone(), Some(&earlier));
    }

    /// Takes up unfinished work of an earlier session.
    pub fn recover(&mut self, index: usize) {
        let Some(work) = self.list.unfinished.get(index).cloned() else {
            return;
        };
        if self
            .try_records(|records| Ok(records.store().recover(&work.id)?))
            .is_some()
        {
            self.list.unfinished.remove(index);
            self.open_visit(&work.id, None, ui::Screen::Person);
        }
    }

    /// Leaves a visit as it was last put away.
    pub fn discard(&mut self, index: usize) {
        let Some(work) = self.list.unfinished.get(index).cloned() else {
            return;
        };
        if self
            .try_records(|records| Ok(records.store().discard(&work.id)?))
            .is_some()
        {
            self.list.unfinished.remove(index);
            if self.list.unfinished.is_empty() {
                self.screen = ui::Screen::Cases;
            }
            self.refresh_list();
        }
    }

    /// Whoever works here, if the clinic names them among those who prescribe: nobody signs in
    /// another's name.
    #[must_use]
    pub fn prescriber(&self) -> Option<Prescriber> {
        let prescribers = self.clinic().prescribers;
        prescribers.into_iter().find(|p| p.name == self.person)
    }
}
