//! What is heard while the plaster sets: a tone and words at each new stage, a tone before its end.

use crate::sound::Tone;
use plinthside_visit::When;
use plinthside_visit::aids::{Stage, StageKind};

/// A stage's end is announced so many seconds before it.
const SOON_S: i64 = 15;
/// A stage that began longer ago is old news, seconds.
pub const FRESH_S: i64 = 15;

/// Keeps what was heard, so that each thing is heard once.
#[derive(Default)]
pub struct Cues {
    /// When the stage began that was heard last.
    stage: Option<When>,
    /// When the stage ends whose end was announced last.
    soon: Option<When>,
}

impl Cues {
    /// What is to be heard now: its tone, and the stage to be spoken where a new one has begun.
    /// What had begun before the program looked is not announced late.
    pub fn due(&mut self, stages: &[Stage], now: When) -> Option<(Tone, Option<StageKind>)> {
        let (stage, left_s) = Stage::at(stages, now)?;
        if self.stage != Some(stage.from) {
            let fresh = (now - stage.from).num_seconds() <= FRESH_S;
            self.stage = Some(stage.from);
            let tone = match stage.kind {
                StageKind::Remove | StageKind::Photograph => Tone::Ready,
                _ => Tone::Next,
            };
            return fresh.then(|| (tone, Some(stage.kind.clone())));
        }
        if left_s.is_some_and(|left| left <= SOON_S) && self.soon != stage.until {
            self.soon = stage.until;
            return Some((Tone::Soon, None));
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plinthside_visit::aids::Timers;

    #[test]
    fn each_stage_is_heard_once_and_its_end_before_it_comes() {
        let timers = Timers::shipped().expect("the shipped times");
        let dipped = chrono::DateTime::from_timestamp(1_800_000_000, 0)
            .expect("a time")
            .fixed_offset();
        let plaster = &timers.plaster[0];
        let stages = timers.on_the_leg(plaster, dipped);
        let mut cues = Cues::default();
        let mut heard = Vec::new();
        for s in 0..i64::from(plaster.remove_s) + 60 {
            let now = dipped + chrono::TimeDelta::seconds(s);
            heard.extend(cues.due(&stages, now).map(|(tone, said)| (s, tone, said)));
        }
        let (mould, hold, remove) = (
            i64::from(plaster.mould_s),
            i64::from(plaster.hold_s),
            i64::from(plaster.remove_s),
        );
        assert_eq!(
            heard,
            [
                (0, Tone::Next, Some(StageKind::Mould)),
                (mould - SOON_S, Tone::Soon, None),
                (mould, Tone::Next, Some(StageKind::Hold)),
                (hold - SOON_S, Tone::Soon, None),
                (hold, Tone::Next, Some(StageKind::Harden)),
                (remove - SOON_S, Tone::Soon, None),
                (remove, Tone::Ready, Some(StageKind::Remove)),
            ]
        );
        // Opened long after: silence, not old news.
        let late = dipped + chrono::TimeDelta::seconds(remove + 600);
        assert_eq!(Cues::default().due(&stages, late), None);
    }
}
