//! What is heard while nobody looks at the screen: the timer, and the shutter's delay.

use super::session::Session;
use super::taking::Shutter;
use super::timer;
use crate::sound::Tone;
use std::time::Instant;

/// Longer than any plaster sets on a leg, minutes.
const SETTING_MIN: i64 = 60;
impl Session {
    /// Lets the timer of the open cast be heard, on whatever screen.
    pub fn sound_timer(&mut self) {
        let Some(open) = &self.open else { return };
        let stages = timer::stages(&open.case.visit, open.case.side, &self.tables.timers);
        let now = crate::clock::now();
        let due = stages.and_then(|(_, stages)| self.cues.due(&stages, now));
        if let (Some((tone, stage)), true) = (due, self.look.sound) {
            self.voice.sound(tone);
            if let Some(stage) = stage {
                self.voice.say(stage.label(self.look.lang), self.look.lang);
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
        let record = self.open.as_ref().and_then(|open| {
            let cast = open.case.visit.cast(open.case.side)?;
            Some(&cast.record)
        });
        record.is_some_and(|record| {
            let dipped = record.dipped_at.filter(|_| record.removed_at.is_none());
            dipped.is_some_and(|at| (crate::clock::now() - at).num_minutes() < SETTING_MIN)
        })
    }
}
