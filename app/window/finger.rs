//! A finger on the window that counts its taps, for the tests of whole visits.

use super::tests::{case, tap, until};
use super::*;
use i_slint_backend_testing::{AccessibleRole, ElementHandle};
use plinthside_measure::marks::Marks;
use plinthside_ui::{Answer, QuestionList, QuestionView, Screen, Theme};
use slint::platform::{PointerEventButton, WindowEvent};
use slint::{LogicalPosition, Model};
use std::cell::Cell;
use std::f32::consts::PI;

/// The window with a finger that counts.
pub struct Finger<'a> {
    window: &'a Window,
    taps: Cell<u32>,
}

impl<'a> Finger<'a> {
    pub fn new(window: &'a Window) -> Self {
        Self {
            window,
            taps: Cell::new(0),
        }
    }

    /// So many taps were made.
    pub fn taps(&self) -> u32 {
        self.taps.get()
    }

    pub fn tap(&self, name: &str) {
        tap(self.window, name);
        self.taps.set(self.taps.get() + 1);
    }

    pub fn data(&self) -> Data<'_> {
        self.window.app.global::<Data>()
    }

    pub fn list(&self) -> QuestionList {
        let data = self.data();
        match data.get_screen() {
            Screen::Person => data.get_person_questions(),
            Screen::Examine => data.get_examine(),
            Screen::Position => data.get_position(),
            Screen::Inspect => data.get_inspect(),
            Screen::Order => data.get_order(),
            other => panic!("{other:?} asks no questions"),
        }
    }

    /// Answers questions by their names in the list: a word, or a number on the dial.
    pub fn answer(&self, answers: &[(&str, &str)]) {
        for (label, answer) in answers {
            let list = self.list();
            let at = list.tiles.iter().position(|tile| tile.label == *label);
            let at = at.unwrap_or_else(|| panic!("no question {label}"));
            match at as i32 - list.chosen {
                0 => {}
                1 => self.next(),
                _ => self.tap_tile(label, at),
            }
            let question = self.list().question;
            if question.answer == Answer::Number {
                self.turn_dial(&question.title, answer);
            } else {
                for word in answer.split(", ") {
                    self.tap(word);
                }
            }
        }
    }

    /// Answers what stands in the way of signing, as it is asked.
    pub fn answer_blocks(&self, answers: &[(&str, &str)]) {
        for _ in 0..2 * answers.len() {
            if self.data().get_order_state().blocks.row_count() == 0 {
                return;
            }
            let question = self.list().question;
            let (_, answer) = answers
                .iter()
                .find(|(title, _)| question.title == *title)
                .unwrap_or_else(|| panic!("nobody said what to answer to {}", question.title));
            if question.answer == Answer::Number {
                self.turn_dial(&question.title, answer);
                self.next();
            } else {
                self.tap(answer);
                if question.answer == Answer::AnyOf {
                    self.next();
                }
            }
        }
        panic!(
            "{:?} still stand in the way",
            self.data().get_order_state().blocks.row_data(0)
        );
    }

    /// Takes a question in hand by its tile. Where it is scrolled out of view, or the list opens in
    /// place of the question, a swipe or a tap more is counted.
    fn tap_tile(&self, label: &str, index: usize) {
        let seen = ElementHandle::find_by_accessible_label(&self.window.app, label)
            .any(|e| e.accessible_role() == Some(AccessibleRole::RadioButton));
        if seen {
            self.tap(label);
        } else {
            let backend = self.window.app.global::<Backend>();
            backend.invoke_choose_question(index as i32);
            self.taps.set(self.taps.get() + 2);
        }
    }

    /// Sets a number as a hand does: one touch that slides to where the dial reads nearest, held to
    /// the millimetre, then the steppers for what is left. Every touch counts.
    fn turn_dial(&self, title: &str, value: &str) {
        let dial = ElementHandle::find_by_accessible_label(&self.window.app, title)
            .find(|e| e.accessible_role() == Some(AccessibleRole::Spinbox))
            .unwrap_or_else(|| panic!("no dial for {title}"));
        let wanted: f32 = value.parse().expect("a number");
        let theme = self.window.app.global::<Theme>();
        let held_px = theme.get_px_per_mm();
        let stepper_px = match self.data().get_screen() {
            Screen::Position | Screen::Inspect => theme.get_wet(),
            _ => theme.get_touch(),
        };
        // The middle of the ring, as the dial lays it out.
        let (at, size) = (dial.absolute_position(), dial.size());
        let below = (1.45 * theme.get_numeral())
            .min(150.0)
            .max(stepper_px + 28.0);
        let rim = 20.0 + 1.25 * theme.get_small();
        let radius = (size.width / 2.0 - rim - 20.0).min(size.height - rim - 4.0 - below);
        let ring = radius.max(60.0) - 13.0;
        let question = self.list().question;
        let share = (wanted - question.low) / (question.high - question.low);
        let held = held_px / ring;
        let turned = (share.clamp(0.0, 1.0) * PI / held).round() * held;
        let position = LogicalPosition::new(
            at.x + size.width / 2.0 - ring * turned.cos(),
            at.y + radius.max(60.0) + rim - ring * turned.sin(),
        );
        let (screen, button) = (self.window.app.window(), PointerEventButton::Left);
        for event in [
            WindowEvent::PointerPressed { position, button },
            WindowEvent::PointerReleased { position, button },
            WindowEvent::PointerExited,
        ] {
            screen.dispatch_event(event);
        }
        self.taps.set(self.taps.get() + 1);
        let read = |question: &QuestionView| (question.value / question.step).round();
        let wanted = (wanted / question.step).round();
        for _ in 0..8 {
            let now = read(&self.list().question);
            if now == wanted {
                return;
            }
            self.tap(if now < wanted { "More" } else { "Less" });
        }
        panic!(
            "{title} is not {value} but {}",
            self.list().question.value_text
        );
    }

    pub fn next(&self) {
        let name = match self.data().get_screen() {
            Screen::Examine => "Next reading",
            Screen::Order if self.data().get_order_state().blocks.row_count() > 0 => {
                "Next to answer"
            }
            Screen::Order => "Next field",
            _ => "Next",
        };
        self.tap(name);
    }

    /// Marks the photographs: each mark in two of them by hand, then what the program proposes,
    /// until every mark was seen three times.
    pub fn mark(&self, marks: &Marks) {
        let photos = self.data().get_mark().photos.row_count();
        for n in 0..photos {
            until(self.window, "the photograph", |s| {
                let marking = case(s).marking.as_ref();
                marking.is_some_and(Marking::is_shown)
            });
            self.mark_by_hand(marks);
            settle(self.window);
            let view = self.data().get_mark();
            if view.items.iter().all(|item| item.views >= 3) {
                return;
            }
            if view.items.iter().all(|item| item.views >= 2) {
                self.tap("Find the marks in all photographs");
                until(self.window, "the marks found", |s| {
                    let sought = case(s).marking.as_ref().is_some_and(|m| !m.is_seekable());
                    sought && !self.data().get_progress().running
                });
                settle(self.window);
                let few: Vec<_> = self.data().get_mark().items.iter().collect();
                let few = few.iter().filter(|item| item.views < 3);
                let few: Vec<_> = few.map(|item| item.name.as_str()).collect();
                assert!(few.is_empty(), "seen only twice: {few:?}");
                return;
            } else if n + 1 < photos {
                self.tap("Next photograph");
            }
        }
    }

    fn mark_by_hand(&self, marks: &Marks) {
        let view = self.data().get_mark();
        let index = usize::try_from(view.photo_index).expect("an index");
        let photo = view.photos.row_data(index).expect("a photograph").name;
        for (i, item) in view.items.iter().enumerate() {
            let here = marks
                .views
                .iter()
                .find(|v| photo == v.photo && item.name == v.mark.as_str());
            let (Some(here), true) = (here, item.views < 2) else {
                continue;
            };
            let backend = self.window.app.global::<Backend>();
            if self.data().get_mark().chosen != i as i32 {
                backend.invoke_choose_mark(i as i32);
                self.taps.set(self.taps.get() + 1);
            }
            let [x, y] = here.px;
            backend.invoke_tap_photo(x as f32, y as f32);
            self.taps.set(self.taps.get() + 1);
        }
    }
}

/// Lets the worker finish what was posted.
pub fn settle(window: &Window) {
    for _ in 0..200 {
        std::thread::sleep(std::time::Duration::from_millis(5));
        window.pump();
    }
}
