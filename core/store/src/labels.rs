//! Labels: printed ahead or with an order, bound to one cast, proven on the packed bag, made void.
//!
//! Each label is a record of its own (kind [`LABEL`], named by its code) that only ever gains
//! events, so that what two devices did to one label unites and nothing is overwritten. The state
//! is read from the events of all devices and from the casts that name the code; a label bound to
//! two casts shows as [`LabelState::Reused`] on both devices as soon as they have met.
//!
//! Bind first, then write the code into the visit: a crash in between leaves a label bound to the
//! cast it was meant for, and binding it again says so and changes nothing.

mod bag;
mod events;

pub use bag::{BagProblem, BagProof};
pub use events::{LabelAct, LabelEvent};

use crate::error::{Result, StoreError};
use crate::search::code_symbols;
use crate::store::Store;
use serde::Serialize;
use std::fmt;

/// Kind of a record that is a label.
pub const LABEL: &str = "label";
/// Symbols of a label code, the check symbol included.
const CODE_LENGTH: usize = 13;

/// The cast a label stands for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Binding {
    /// Identifier of the visit.
    pub visit: String,
    /// Side of the foot: `left` or `right`.
    pub side: String,
    /// Revision of the order it was bound or proven for; 0 where none was named.
    pub revision: u32,
}

impl Binding {
    /// Whether both stand for the same cast, whatever the revision.
    #[must_use]
    pub fn same_cast(&self, other: &Self) -> bool {
        self.visit == other.visit && self.side == other.side
    }
}

impl fmt::Display for Binding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "visit {}, {} side", self.visit, self.side)?;
        match self.revision {
            0 => Ok(()),
            n => write!(f, ", revision {n}"),
        }
    }
}

/// How a label was read when it was bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BoundBy {
    /// Read from a photograph.
    Photograph,
    /// Read by the camera.
    Camera,
    /// Typed.
    Typing,
    /// Printed for this cast in the first place.
    Printing,
}

impl BoundBy {
    fn token(self) -> &'static str {
        match self {
            Self::Photograph => "photograph",
            Self::Camera => "camera",
            Self::Typing => "typing",
            Self::Printing => "printing",
        }
    }
}

/// Where a label stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "state")]
pub enum LabelState {
    /// This store has never heard of it. It may have been printed on a device not met since.
    Unknown,
    /// Printed and free.
    Unbound,
    /// Stands for one cast.
    Bound {
        /// That cast; the highest revision it was bound for.
        to: Binding,
    },
    /// Stands for more than one cast: two devices bound it before they met.
    Reused {
        /// All of them.
        to: Vec<Binding>,
    },
    /// Made void; it can never be bound again.
    Void {
        /// Who made it void.
        by: String,
        /// When, milliseconds since 1970.
        at_ms: i64,
        /// Why.
        why: String,
        /// Casts it stood for before.
        was: Vec<Binding>,
    },
}

impl Store {
    /// Notes labels as printed ahead, all of them or none. Printing one again changes no state.
    ///
    /// # Errors
    /// [`StoreError::NotALabel`] for a text that is no code.
    pub fn labels_printed<S: AsRef<str>>(&mut self, codes: &[S], by: &str) -> Result<()> {
        let codes = codes
            .iter()
            .map(|c| symbols(c.as_ref()))
            .collect::<Result<Vec<_>>>()?;
        let event = self.event(LabelAct::Printed, by);
        self.add_events(codes.into_iter().map(|code| (code, event.clone())))
    }

    /// Where a label stands, from all that is known here.
    pub fn label_state(&self, code: &str) -> Result<LabelState> {
        let code = symbols(code)?;
        let events = self.events(&code)?;
        let mut casts = self.casts_with(&code)?;
        for event in events.iter().filter(|e| e.what == LabelAct::Bound) {
            if let Some(to) = &event.to {
                match casts.iter_mut().find(|c| c.same_cast(to)) {
                    Some(cast) => cast.revision = cast.revision.max(to.revision),
                    None => casts.push(to.clone()),
                }
            }
        }
        if let Some(void) = events.into_iter().find(|e| e.what == LabelAct::Void) {
            return Ok(LabelState::Void {
                by: void.by,
                at_ms: void.at_ms,
                why: void.note,
                was: casts,
            });
        }
        let printed = self.has_event(&code, LabelAct::Printed)?;
        Ok(match casts.len() {
            0 if printed => LabelState::Unbound,
            0 => LabelState::Unknown,
            1 => LabelState::Bound {
                to: casts.swap_remove(0),
            },
            _ => LabelState::Reused { to: casts },
        })
    }

    /// Binds a label to a cast, on the disk when this returns. Binding it again to the same cast,
    /// or for a later revision of its order, is allowed; everything else stops here. Says whether
    /// the label was known: one printed on a device not met since is not.
    ///
    /// # Errors
    /// [`StoreError::LabelTaken`], [`StoreError::LabelOtherSide`], [`StoreError::LabelVoid`],
    /// [`StoreError::LabelReused`], [`StoreError::NotALabel`]; none can be overridden.
    pub fn bind_label(&mut self, code: &str, to: &Binding, how: BoundBy, by: &str) -> Result<bool> {
        let state = self.label_state(code)?;
        refuse(code, &state, to)?;
        let mut event = self.event(LabelAct::Bound, by);
        event.to = Some(to.clone());
        event.note = how.token().into();
        if !matches!(&state, LabelState::Bound { to: is } if is.revision >= to.revision)
            || !self.has_event(&symbols(code)?, LabelAct::Bound)?
        {
            self.add_events([(symbols(code)?, event)])?;
        }
        Ok(state != LabelState::Unknown)
    }

    /// Makes a label void for good: torn, lost, or stuck on the wrong bag. The cast it stood for
    /// needs another.
    ///
    /// # Errors
    /// [`StoreError::NotALabel`] for a text that is no code.
    pub fn void_label(&mut self, code: &str, why: &str, by: &str) -> Result<()> {
        let code = symbols(code)?;
        let mut event = self.event(LabelAct::Void, by);
        event.note = why.into();
        self.add_events([(code, event)])
    }

    /// The visit and side a label belongs to, if it is known; the first where it is on several.
    pub fn label(&self, code: &str) -> Result<Option<(String, String)>> {
        let Ok(state) = self.label_state(code) else {
            return Ok(None);
        };
        let first = match state {
            LabelState::Bound { to } => Some(to),
            LabelState::Reused { to } | LabelState::Void { was: to, .. } => to.into_iter().next(),
            LabelState::Unknown | LabelState::Unbound => None,
        };
        Ok(first.map(|b| (b.visit, b.side)))
    }

    /// The codes of every label heard of and of every finished cast, in any order.
    pub fn label_codes(&self) -> Result<Vec<String>> {
        let sql = "SELECT substr(id, 7) FROM record WHERE kind = ? UNION SELECT code FROM label";
        let mut statement = self.conn.prepare_cached(sql)?;
        let codes = statement.query_map([LABEL], |row| row.get(0))?;
        Ok(codes.collect::<Result<_, _>>()?)
    }
}

/// What stops a label from standing for a cast.
fn refuse(code: &str, state: &LabelState, to: &Binding) -> Result<()> {
    let code = shown(code);
    match state {
        LabelState::Unknown | LabelState::Unbound => Ok(()),
        LabelState::Bound { to: is } if is.same_cast(to) => Ok(()),
        LabelState::Bound { to: is } if is.visit == to.visit => Err(StoreError::LabelOtherSide {
            code,
            side: is.side.clone(),
            wanted: to.side.clone(),
        }),
        LabelState::Bound { to: is } => Err(StoreError::LabelTaken {
            code,
            visit: is.visit.clone(),
            side: is.side.clone(),
        }),
        LabelState::Reused { to } => Err(StoreError::LabelReused {
            code,
            casts: to.iter().map(ToString::to_string).collect(),
        }),
        LabelState::Void { by, why, .. } => Err(StoreError::LabelVoid {
            code,
            by: by.clone(),
            why: why.clone(),
        }),
    }
}

/// The symbols of a code, or a refusal: the check symbol is for whoever reads the code to check.
fn symbols(code: &str) -> Result<String> {
    let symbols = code_symbols(code);
    let fits = symbols.len() == CODE_LENGTH && symbols.bytes().all(|b| b.is_ascii_alphanumeric());
    fits.then_some(symbols)
        .ok_or_else(|| StoreError::NotALabel {
            text: code.to_owned(),
        })
}

/// A code as it is printed, in groups.
fn shown(code: &str) -> String {
    let symbols: Vec<char> = code_symbols(code).chars().collect();
    let groups: Vec<String> = symbols.chunks(4).map(|g| g.iter().collect()).collect();
    groups.join("-")
}
