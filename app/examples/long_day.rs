//! A day of visits without a screen: the program's own window, drawn nowhere, does visit after visit
//! and says what was acknowledged, so that a test can pull the plug at any moment and look for it.
//!
//! ```text
//! long_day STORE FIRST LAST
//! ```
//!
//! A line a fact: `visit CODE`, `kept CODE NUMBER` once a number is on the disk, `away CODE` once the
//! visit is put away, `memory KIB`, `trouble SENTENCE` where the store refuses; it goes on when it can.
#![allow(clippy::expect_used)]
#![allow(clippy::redundant_closure_for_method_calls)] // the methods of generated code are not general enough

use i_slint_backend_testing::{TestingBackend, TestingBackendOptions};
use plinthside::records::Place;
use plinthside::window::{Window, own_session};
use plinthside_ui::{Answer, Backend, Data, QuestionList, Screen};
use slint::{ComponentHandle, Model};
use std::path::PathBuf;
use std::time::Duration;

const PASSPHRASE: &str = "a long day at the couch";
/// Every so many visits the tablet is locked and opened again.
const LOCKED_EVERY: u32 = 10;

struct Day {
    window: Window,
}

impl Day {
    fn data(&self) -> Data<'_> {
        self.window.app().global::<Data>()
    }

    fn hand(&self) -> Backend<'_> {
        self.window.app().global::<Backend>()
    }

    fn until(&self, what: &str, holds: impl Fn(&Data<'_>) -> bool) {
        for _ in 0..6000 {
            self.window.pump();
            if holds(&self.data()) {
                return;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!(
            "waited in vain for {what}: {}",
            self.data().get_door().problem
        );
    }

    /// Through the door: the store is made at the first start. What the plug interrupted is taken up.
    fn open(&self) {
        match self.data().get_door().first {
            true => self.hand().invoke_create_store(
                PASSPHRASE.into(),
                PASSPHRASE.into(),
                "Tidewater Clinic".into(),
                "01632 960 330".into(),
                "Ines Calloway".into(),
            ),
            false => self.hand().invoke_unlock(PASSPHRASE.into()),
        }
        self.until("the store", |data| data.get_screen() != Screen::Unlock);
        if self.data().get_screen() == Screen::Recover {
            self.hand().invoke_recover(0);
            println!("recovered {}", self.code());
            self.hand().invoke_close_visit();
        }
    }

    fn code(&self) -> String {
        let person = self.data().get_person();
        person.split(' ').next().unwrap_or_default().to_owned()
    }

    /// Enters a number and waits until it is on the disk.
    fn enter(&self, value: f32) {
        self.hand().invoke_set_value(value);
        while !self.data().get_problem().text.is_empty() {
            println!("trouble {}", self.data().get_problem().text);
            std::thread::sleep(Duration::from_millis(200));
            self.hand().invoke_set_value(value);
        }
        println!("kept {} {value}", self.code());
    }

    /// Answers every question of a screen that takes a number, but the last few.
    fn numbers(
        &self,
        screen: Screen,
        list: impl Fn(&Data<'_>) -> QuestionList,
        left_out: usize,
        seed: u32,
    ) {
        self.hand().invoke_go(screen);
        let count = list(&self.data()).tiles.row_count();
        for i in 0..count - left_out {
            self.hand().invoke_choose_question(i as i32);
            if list(&self.data()).question.answer == Answer::Number {
                self.enter(((seed * 7 + i as u32) % 9 + 1) as f32);
            }
        }
    }

    fn visit(&self, number: u32) {
        self.hand()
            .invoke_new_visit(number.is_multiple_of(2), number % 2 == 1);
        println!("visit {}", self.code());
        self.numbers(Screen::Examine, |data| data.get_examine(), 0, number);
        self.hand().invoke_go(Screen::Cast);
        self.hand().invoke_choose_plaster(0);
        self.hand().invoke_start_timer();
        self.hand().invoke_cast_removed();
        // A calliper would stand in place of offsets that were entered.
        self.numbers(Screen::Ruler, |data| data.get_ruler(), 2, number);
        self.hand().invoke_go(Screen::Check);
        self.hand().invoke_go(Screen::Order);
        let code = self.code();
        self.hand().invoke_close_visit();
        println!("away {code}");
        println!("memory {}", memory_kib());
    }
}

/// Memory of this process; 0 where the system does not tell.
fn memory_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let number = line.and_then(|line| line.split_whitespace().next());
    number.and_then(|kib| kib.parse().ok()).unwrap_or(0)
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [store, first, last] = arguments.try_into().expect("STORE FIRST LAST");
    let backend = TestingBackend::new(TestingBackendOptions {
        mock_time: true,
        threading: false,
        renderer_name: Some("software".into()),
    });
    slint::platform::set_platform(Box::new(backend)).expect("no screen before");
    let place = Place::new(Some(PathBuf::from(&store)), None).expect("a place");
    let papers = PathBuf::from(&store).with_file_name("papers");
    let session = own_session(place, papers).expect("the shipped tables");
    let window = Window::new(session).expect("a window");
    let day = Day { window };
    day.open();
    let numbers = first.parse::<u32>().expect("a number")..=last.parse().expect("a number");
    for number in numbers {
        day.visit(number);
        if number.is_multiple_of(LOCKED_EVERY) {
            day.hand().invoke_lock();
            day.open();
        }
        // The thread that synchronises is answered between two visits, as between two touches.
        day.window.pump();
    }
    println!("done");
}
