//! What is heard while nobody looks at the screen: the timer, and the shutter's delay.

use super::session::Session;
use super::taking::Shutter;
use super::timer;
use crate::sound::Tone;
use plinthside_measure::marks::Side;
use plinthside_visit::When;
use std::time::Instant;

/// One foot's words are over before the other's begin, seconds.
const BETWEEN_FEET_S: i64 = 3;

impl Session {
    /// Lets the timers of the open visit be heard, of both feet and on whatever screen. Where there
    /// are two, each is told apart by its foot's name, and they wait for one another.
    pub fn sound_timer(&mut self) {
        let Some(open) = &self.open else { return };
        let (visit, now) = (&open.case.visit, crate::clock::now());
        let both = visit.sides.len() > 1;
        for &side in &visit.sides {
            let spoken = |(heard, at): (Side, When)| {
                heard != side && (now - at).num_seconds() < BETWEEN_FEET_S
            };
            if self.heard.is_some_and(spoken) {
                continue;
            }
            let stages = timer::stages(visit, side, &self.tables.timers);
            let cues = self.cues.entry(side).or_default();
            let due = stages.and_then(|(_, stages)| cues.due(&stages, now));
            if let (Some((tone, stage)), true) = (due, self.look.sound) {
                self.heard = Some((side, now));
                self.voice.sound(tone);
                let lang = self.look.lang;
                let foot = both.then(|| timer::foot(side, lang).to_owned());
                let stage = stage.map(|stage| stage.label(lang).to_owned());
                let words: Vec<String> = foot.into_iter().chain(stage).collect();
                if !words.is_empty() {
                    self.voice.say(&words.join(": "), lang);
                }
            }
        }
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
