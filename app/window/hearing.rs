//! What is heard while nobody looks at the screen: the timers of casts that set, and the shutter's
//! delay.

use super::cues::{Cues, FRESH_S};
use super::session::Session;
use super::taking::Shutter;
use super::timer;
use crate::sound::Tone;
use plinthside_measure::marks::Side;
use plinthside_visit::aids::Stage;
use plinthside_visit::{Lang, Visit, When};
use std::time::Instant;

/// One cast's words are over before another's begin, seconds.
const BETWEEN_S: i64 = 3;

/// The timer of one cast. It goes on when its visit is put away or the screen is locked: somebody
/// still wears the plaster.
pub struct Clock {
    visit: String,
    side: Side,
    /// The visit has two feet.
    both: bool,
    pub(super) stages: Vec<Stage>,
    cues: Cues,
    /// When it was heard last.
    pub(super) heard: Option<When>,
}

impl Clock {
    fn is_of(&self, visit: &Visit) -> bool {
        self.visit == visit.id
    }

    fn is_speaking(&self, now: When) -> bool {
        self.heard
            .is_some_and(|at| (now - at).num_seconds() < BETWEEN_S)
    }

    /// Whether something is still to come, or has only just.
    fn runs(&self, now: When) -> bool {
        Stage::at(&self.stages, now).is_some_and(|(stage, left)| {
            left.is_some() || (now - stage.from).num_seconds() <= FRESH_S
        })
    }

    /// What it says besides the tone: whose cast, and the stage.
    fn words(&self, open: Option<&Visit>, stage: Option<&str>, lang: Lang) -> String {
        let elsewhere = !open.is_some_and(|visit| self.is_of(visit));
        let whose = elsewhere.then(|| another_cast(lang));
        let foot = self.both.then(|| timer::foot(self.side, lang));
        let words: Vec<&str> = [whose, foot, stage].into_iter().flatten().collect();
        words.join(": ")
    }
}

/// No name: the screen may be locked, or show another person's visit.
fn another_cast(lang: Lang) -> &'static str {
    match lang {
        Lang::En => "another cast",
        Lang::De => "anderer Gips",
    }
}

impl Session {
    /// Lets the timers be heard, of every cast that sets and on whatever screen. Where there are
    /// several, each is told apart, and they wait for one another.
    pub fn sound_timer(&mut self) {
        let now = crate::clock::now();
        self.wind_clocks(now);
        let (lang, open) = (self.look.lang, self.open.as_ref().map(|o| &o.case.visit));
        for i in 0..self.clocks.len() {
            let mut others = self.clocks[..i].iter().chain(&self.clocks[i + 1..]);
            if others.any(|other| other.is_speaking(now)) {
                continue;
            }
            let clock = &mut self.clocks[i];
            if let Some((tone, stage)) = clock.cues.due(&clock.stages, now)
                && self.look.sound
            {
                clock.heard = Some(now);
                self.voice.sound(tone);
                let words = clock.words(open, stage.as_ref().map(|s| s.label(lang)), lang);
                if !words.is_empty() {
                    self.voice.say(&words, lang);
                }
            }
        }
    }

    /// Sets the clocks of the open visit by what is recorded there, and drops those of others that
    /// have run down.
    fn wind_clocks(&mut self, now: When) {
        let open = self.open.as_ref().map(|open| &open.case.visit);
        self.clocks
            .retain(|clock| open.is_some_and(|visit| clock.is_of(visit)) || clock.runs(now));
        let Some(visit) = open else { return };
        for &side in &visit.sides {
            let stages = timer::stages(visit, side, &self.tables.timers);
            let stages = stages.map_or_else(Vec::new, |(_, stages)| stages);
            let mut clocks = self.clocks.iter_mut();
            match clocks.find(|clock| clock.is_of(visit) && clock.side == side) {
                Some(clock) => clock.stages = stages,
                None => self.clocks.push(Clock {
                    visit: visit.id.clone(),
                    side,
                    both: visit.sides.len() > 1,
                    stages,
                    cues: Cues::default(),
                    heard: None,
                }),
            }
        }
    }

    /// The timer, in a few words, that the screen does not show: the open visit's other foot's, or
    /// the one that ends first of those put away.
    pub fn other_timer(&self) -> String {
        let (now, lang) = (crate::clock::now(), self.look.lang);
        let open = self.open.as_ref().map(|open| &open.case);
        let foot = open.and_then(|case| {
            let other = case.visit.sides.iter().find(|side| **side != case.side)?;
            let told = timer::brief(&case.visit, *other, &self.tables.timers, now, lang);
            Some(told).filter(|told| !told.is_empty())
        });
        let away = || {
            let away = |clock: &&Clock| !open.is_some_and(|case| clock.is_of(&case.visit));
            let running = self.clocks.iter().filter(away).filter(|c| c.runs(now));
            let told = running.filter_map(|clock| {
                let (stage, left) = Stage::at(&clock.stages, now)?;
                let said = timer::said(clock.side, stage, left, lang);
                Some((left, format!("{}: {said}", another_cast(lang))))
            });
            told.min_by_key(|(left, _)| *left).map(|(_, told)| told)
        };
        foot.or_else(away).unwrap_or_default()
    }

    /// Lets the shutter's delay be heard; the visit to photograph for when it goes.
    pub fn sound_shutter(&mut self) -> Option<u64> {
        let step = self.taking.shutter(Instant::now())?;
        let case = self.open.as_ref()?.serial;
        let (tone, goes) = match step {
            Shutter::Tick => (Tone::Tick, None),
            Shutter::Goes => (Tone::Shutter, Some(case)),
        };
        if self.look.sound {
            self.voice.sound(tone);
        }
        goes
    }

    /// Whether plaster is setting under somebody's hands: nobody touches the screen then.
    pub fn is_setting(&self) -> bool {
        let now = crate::clock::now();
        self.open.as_ref().is_some_and(|open| {
            let visit = &open.case.visit;
            let mut casts = visit.sides.iter().filter_map(|side| visit.cast(*side));
            casts.any(|cast| timer::is_setting(&cast.record, now))
        })
    }
}
