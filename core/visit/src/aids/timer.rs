//! The timer from dip to photographs: stages from the times the clinic sets; reads no clock.

use crate::data::{DataError, DataFile};
use crate::person::When;
use crate::source::Source;
use crate::words::{Text, words};
use chrono::TimeDelta;
use serde::Deserialize;

const SHIPPED: &str = include_str!("../../data/timers.toml");

/// A timer longer than a day is a typing mistake.
const LONGEST_S: u32 = 86_400;

words! {
    /// A stage of the work.
    StageKind {
        Mould = "mould", "lay on and mould", "anlegen und anformen";
        Hold = "hold", "hold still", "stillhalten";
        Harden = "harden", "let it harden", "aushärten lassen";
        Remove = "remove", "may be taken off", "darf abgenommen werden";
        Stand = "stand", "let it stand", "stehen lassen";
        Photograph = "photograph", "may be photographed", "darf fotografiert werden";
    }
}

/// Times of each plaster and what holds for all.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Timers {
    /// Version of the file's shape; 1.
    pub schema: u32,
    /// How long it stays uncovered.
    pub heat: Heat,
    /// How long the shell stands before photographs.
    pub photographs: Wait,
    /// Plasters with their times.
    pub plaster: Vec<Plaster>,
}

/// How long the plaster stays uncovered, from the dip.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Heat {
    /// Seconds from the dip.
    pub uncovered_s: u32,
    /// Why.
    pub say: Text,
    /// Where it stands.
    pub source: Source,
}

/// How long the shell stands, from removal.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wait {
    /// Seconds from removal.
    pub wait_s: u32,
    /// Why.
    pub say: Text,
    /// Where it stands.
    pub source: Source,
}

/// One plaster's times, all from the dip.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plaster {
    /// Key.
    pub id: String,
    /// Name.
    pub label: Text,
    /// Can be moulded until.
    pub mould_s: u32,
    /// Must be held still until.
    pub hold_s: u32,
    /// Can be taken off from.
    pub remove_s: u32,
    /// Where the times come from.
    pub source: Source,
}

/// One stage with its time; the last has no end.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What is done.
    pub kind: StageKind,
    /// From when.
    pub from: When,
    /// Until when.
    pub until: Option<When>,
}

impl Timers {
    /// The times the program ships.
    ///
    /// # Errors
    /// None in a released program: a test reads them.
    pub fn shipped() -> Result<Self, DataError> {
        Self::parse("timers.toml", SHIPPED)
    }

    /// A clinic's own times.
    ///
    /// # Errors
    /// Names the line: text that is not TOML, an unknown field, times out of order or over a day.
    pub fn parse(name: &str, text: &str) -> Result<Self, DataError> {
        let file = DataFile { name, text };
        let timers: Self = file.parse()?;
        if timers.schema != 1 {
            return Err(file.error(
                0,
                None,
                format!("schema {} is not known, expected 1", timers.schema),
            ));
        }
        for (i, p) in timers.plaster.iter().enumerate() {
            let in_order = 0 < p.mould_s && p.mould_s <= p.hold_s && p.hold_s <= p.remove_s;
            if !in_order || p.remove_s > LONGEST_S {
                let at = text
                    .match_indices("[[plaster]]")
                    .nth(i)
                    .map_or(0, |(at, _)| at);
                let problem = "times must rise from mould_s over hold_s to remove_s, within a day";
                return Err(file.error(at, Some(&p.id), problem));
            }
        }
        if timers.photographs.wait_s > LONGEST_S || timers.heat.uncovered_s > LONGEST_S {
            return Err(file.error(0, None, "uncovered_s and wait_s must be within a day"));
        }
        Ok(timers)
    }

    /// A plaster by its id.
    #[must_use]
    pub fn plaster(&self, id: &str) -> Option<&Plaster> {
        self.plaster.iter().find(|p| p.id == id)
    }

    /// The stages on the leg, from the dip.
    #[must_use]
    pub fn on_the_leg(&self, plaster: &Plaster, dipped_at: When) -> Vec<Stage> {
        let ends = [
            (StageKind::Mould, Some(plaster.mould_s)),
            (StageKind::Hold, Some(plaster.hold_s)),
            (StageKind::Harden, Some(plaster.remove_s)),
            (StageKind::Remove, None),
        ];
        stages(dipped_at, &ends)
    }

    /// The stages off the leg, from removal.
    #[must_use]
    pub fn off_the_leg(&self, removed_at: When) -> Vec<Stage> {
        let ends = [
            (StageKind::Stand, Some(self.photographs.wait_s)),
            (StageKind::Photograph, None),
        ];
        stages(removed_at, &ends)
    }

    /// When the setting plaster may be covered.
    #[must_use]
    pub fn uncovered_until(&self, dipped_at: When) -> When {
        dipped_at + TimeDelta::seconds(i64::from(self.heat.uncovered_s))
    }
}

impl Stage {
    /// Which of the stages a moment falls into, and the seconds left in it.
    #[must_use]
    pub fn at(stages: &[Stage], now: When) -> Option<(&Stage, Option<i64>)> {
        let stage = stages.iter().rfind(|s| s.from <= now)?;
        Some((
            stage,
            stage.until.map(|until| (until - now).num_seconds().max(0)),
        ))
    }
}

fn stages(start: When, ends: &[(StageKind, Option<u32>)]) -> Vec<Stage> {
    let mut from = start;
    ends.iter()
        .map(|(kind, end_s)| {
            let until = end_s.map(|s| start + TimeDelta::seconds(i64::from(s)));
            let stage = Stage {
                kind: kind.clone(),
                from,
                until,
            };
            from = until.unwrap_or(from);
            stage
        })
        .collect()
}
