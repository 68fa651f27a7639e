//! The clinician's word on the cast, which the verdict only advises: keep it, or cast again.

use super::open::Case;
use super::session::Session;
use crate::clock;
use plinthside_ui as ui;
use plinthside_visit::verdict::Call;
use plinthside_visit::{Cast, Decision};

impl Case {
    /// What was decided on the cast as it is measured now.
    #[must_use]
    pub fn decided(&self) -> Option<Call> {
        let cast = self.visit.cast(self.side)?;
        cast.decision.as_ref().map(|decision| decision.call)
    }

    fn decide(&mut self, call: Call, by: &str) {
        self.cast_mut().decision = Some(Decision::new(call, by, clock::now()));
    }

    /// Whether another cast may take this one's place: not once the order for it is signed.
    #[must_use]
    pub fn may_cast_again(&self) -> bool {
        let begun = self
            .visit
            .cast(self.side)
            .is_some_and(|cast| cast.record.removed_at.is_some() || !cast.sources.is_empty());
        begun && !self.is_signed()
    }

    fn is_signed(&self) -> bool {
        let order = self.visit.order(self.side);
        order.is_some_and(|order| order.revisions.iter().any(|r| r.signature.is_some()))
    }

    /// Whether a cast was begun anew and nothing is said of it yet.
    #[must_use]
    pub fn may_take_cast_back(&self) -> bool {
        let mut of_this_foot = self.visit.casts.iter().filter(|c| c.side == self.side);
        let newest = of_this_foot.next_back();
        let untouched = |cast: &Cast| *cast == Cast::new(cast.id.clone(), cast.side);
        newest.is_some_and(untouched) && of_this_foot.next_back().is_some()
    }

    /// Begins another cast of this foot. The one before stays in the record with the decision on
    /// it; the draft of the order goes on to the new one.
    fn cast_again(&mut self, by: &str) {
        self.decide(Call::Recast, by);
        let id = format!("cast-{}", self.visit.casts.len() + 1);
        self.visit.casts.push(Cast::new(id, self.side));
        self.take_up_cast();
    }

    fn take_cast_back(&mut self) {
        let side = self.side;
        if let Some(newest) = self.visit.casts.iter().rposition(|c| c.side == side) {
            self.visit.casts.remove(newest);
            self.cast_mut().decision = None;
            self.take_up_cast();
        }
    }

    fn take_up_cast(&mut self) {
        let id = self.visit.cast(self.side).map(|cast| cast.id.clone());
        let side = self.side;
        if let Some(order) = self.visit.orders.iter_mut().rfind(|o| o.side == side) {
            order.cast = id;
        }
        *self = Self::new(self.visit.clone(), side);
    }
}

impl Session {
    /// Keeps the cast, and on to the order.
    pub fn keep_cast(&mut self) {
        let by = self.person.clone();
        if let Some(open) = &mut self.open {
            open.case.decide(Call::Keep, &by);
            self.go(ui::Screen::Order);
        }
    }

    /// Casts this foot again, or takes that back while nothing was done.
    pub fn cast_again(&mut self) {
        let by = self.person.clone();
        let Some(open) = &mut self.open else { return };
        if open.case.may_take_cast_back() {
            open.case.take_cast_back();
            self.another_cast();
        } else if open.case.may_cast_again() {
            open.case.cast_again(&by);
            self.another_cast();
            self.go(ui::Screen::Position);
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::window::finger::Finger;
    use crate::window::tests::{case, demo_window, until};
    use plinthside_measure::marks::Side;
    use plinthside_ui::{Data, Level, Screen};
    use plinthside_visit::verdict::Call;
    use slint::ComponentHandle;

    #[test]
    fn what_was_decided_outlives_the_visit_and_other_marks_ask_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let window = demo_window(folder.path());
        let finger = Finger::new(&window);
        finger.tap("Morwenna Ashdown, Left");
        window.inner.change(|s| s.go(Screen::Check));
        until(&window, "the results", |s| case(s).results.is_some());
        finger.tap("Keep this cast");
        let id = case(&window.inner.session.borrow()).visit.id.clone();
        window.inner.change(|s| {
            assert!(s.put_away());
            s.open_visit(&id, Some(Side::Left), Screen::Mark);
        });
        assert_eq!(
            case(&window.inner.session.borrow()).decided(),
            Some(Call::Keep)
        );
        until(&window, "the photograph", |s| {
            case(s)
                .marking
                .as_ref()
                .is_some_and(|m| m.is_shown() && m.is_looked_through())
        });
        window.inner.mark(|marking| marking.nudge(40.0, 0.0));
        assert_eq!(case(&window.inner.session.borrow()).decided(), None);
        // The mark is wrong now: the earlier result stays, without its verdict.
        until(&window, "the refusal", |s| case(s).refused.is_some());
        window.inner.change(|s| s.go(Screen::Check));
        let check = window.app.global::<Data>().get_check();
        assert_eq!(check.level, Level::ReMark);
        assert!(
            check.ready && check.sentence.contains("older"),
            "{}",
            check.sentence
        );
    }

    #[test]
    fn a_cast_is_taken_again_and_taken_back_while_nothing_was_done() {
        let folder = tempfile::tempdir().expect("a folder");
        let window = demo_window(folder.path());
        let finger = Finger::new(&window);
        let data = window.app.global::<Data>();
        finger.tap("Morwenna Ashdown, Left");
        window.inner.change(|s| s.go(Screen::Order));
        window.inner.change(|s| s.go(Screen::Check));
        until(&window, "the results", |s| case(s).results.is_some());
        let casts = || {
            let session = window.inner.session.borrow();
            let visit = &case(&session).visit;
            let ordered = visit.order(Side::Left).and_then(|order| order.cast.clone());
            (
                visit.casts.len(),
                visit.cast(Side::Left).expect("a cast").id.clone(),
                ordered,
            )
        };
        let before = casts();
        finger.tap("Cast again");
        assert_eq!(data.get_screen(), Screen::Position);
        let (n, newest, ordered) = casts();
        assert_eq!(
            (n, ordered),
            (before.0 + 1, Some(newest)),
            "the draft goes on to it"
        );
        assert!(case(&window.inner.session.borrow()).results.is_none());
        // How the foot was held is offered again.
        let again = window.inner.session.borrow();
        assert!(
            again
                .open
                .as_ref()
                .is_some_and(|open| open.position_before().is_some())
        );
        drop(again);
        window.inner.change(|s| s.go(Screen::Check));
        finger.tap("Back to the cast before");
        assert_eq!(casts(), before);
        until(&window, "the results", |s| case(s).results.is_some());
    }
}
