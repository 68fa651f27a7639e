//! What a hand answers, on the screen in hand: to the visit's questions or the settings', and where
//! that leads.

use super::questions::{Ask, PUT_OFF};
use super::session::Session;
use plinthside_ui as ui;
use plinthside_visit::Visit;

impl Session {
    /// Answers a question of the screen. What leads on goes to the next question, on the order to
    /// the next field that stands in the way of signing; behind the last to the next screen.
    pub fn ask(&mut self, ask: Ask) {
        if self.screen == ui::Screen::Settings {
            self.settings_ask(ask);
            return;
        }
        let (screen, after) = (self.screen, self.screen_after());
        let next = matches!(ask, Ask::Next);
        let mut measured = false;
        let asking = self.open.as_mut().and_then(|open| open.asking(screen));
        let leads_on = asking.map_or(next, |(asking, visit, side)| {
            let ruler = |visit: &Visit| visit.cast(side).map(|cast| cast.sources.ruler.clone());
            let before = ruler(visit);
            let leads_on = asking.take(ask, visit, side);
            measured = ruler(visit) != before;
            leads_on
        });
        if measured {
            self.measure_by_ruler();
        }
        if !leads_on || (screen == ui::Screen::Order && self.take_up_block()) {
            return;
        }
        let asking = self.open.as_mut().and_then(|open| open.asking(screen));
        let more = asking.is_some_and(|(asking, visit, side)| asking.next(visit, side));
        match screen {
            _ if more || !next => {}
            ui::Screen::FollowUp => self.record_act(),
            _ => self.go(after),
        }
    }

    /// From the wet plaster back to the question why it is not done today.
    pub fn put_off(&mut self) {
        self.go(ui::Screen::Position);
        if let Some(open) = &mut self.open
            && let Some(index) = open.position.index_of(PUT_OFF)
        {
            let case = &open.case;
            open.position.choose_question(index, &case.visit, case.side);
        }
    }

    /// Measures by ruler what was entered by ruler.
    fn measure_by_ruler(&mut self) {
        let (by, lang) = (self.person.clone(), self.look.lang);
        if let Some(open) = &mut self.open {
            open.by_ruler = open
                .case
                .measure_by_ruler(&by, lang)
                .err()
                .unwrap_or_default();
        }
    }
}
