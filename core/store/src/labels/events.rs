//! What happened to a label, as a record that only grows.

use super::{Binding, LABEL, symbols};
use crate::chunks::first_k;
use crate::document::Document;
use crate::error::{Result, StoreError};
use crate::files::hex;
use crate::key;
use crate::records::{from_json, to_json};
use crate::store::Store;
use rusqlite::params;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// What was done to a label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LabelAct {
    /// Printed ahead.
    Printed,
    /// Bound to a cast.
    Bound,
    /// Made void.
    Void,
    /// Scanned on a packed bag: right if the note is empty, else the note says what was wrong.
    Proved,
    /// Something a newer version knows.
    #[serde(other)]
    Other,
}

impl LabelAct {
    fn token(self) -> &'static str {
        match self {
            Self::Printed => "printed",
            Self::Bound => "bound",
            Self::Void => "void",
            Self::Proved => "proved",
            Self::Other => "other",
        }
    }

    fn from_token(token: &str) -> Self {
        [Self::Printed, Self::Bound, Self::Void, Self::Proved]
            .into_iter()
            .find(|act| act.token() == token)
            .unwrap_or(Self::Other)
    }
}

/// One thing that was done to a label.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LabelEvent {
    /// What.
    pub what: LabelAct,
    /// When, milliseconds since 1970 by that device's clock.
    pub at_ms: i64,
    /// Who.
    pub by: String,
    /// On which device.
    pub device: String,
    /// The cast concerned.
    pub to: Option<Binding>,
    /// How it was bound, why it is void, or what was wrong with the bag.
    pub note: String,
}

/// An event as the record keeps it.
#[derive(Serialize, Deserialize)]
struct Kept {
    what: LabelAct,
    at_ms: i64,
    by: String,
    device: String,
    #[serde(default)]
    visit: String,
    #[serde(default)]
    side: String,
    #[serde(default)]
    revision: u32,
    #[serde(default)]
    note: String,
}

impl From<&LabelEvent> for Kept {
    fn from(event: &LabelEvent) -> Self {
        let to = event.to.clone();
        Self {
            what: event.what,
            at_ms: event.at_ms,
            by: event.by.clone(),
            device: event.device.clone(),
            visit: to.as_ref().map(|b| b.visit.clone()).unwrap_or_default(),
            side: to.as_ref().map(|b| b.side.clone()).unwrap_or_default(),
            revision: to.map_or(0, |b| b.revision),
            note: event.note.clone(),
        }
    }
}

/// Name of the record of a label.
fn record_of(code: &str) -> String {
    format!("label-{code}")
}

impl Store {
    pub(super) fn event(&self, what: LabelAct, by: &str) -> LabelEvent {
        LabelEvent {
            what,
            at_ms: self.clock.now_ms(),
            by: by.to_owned(),
            device: self.device.clone(),
            to: None,
            note: String::new(),
        }
    }

    /// Adds an event to each label, in one transaction: all of them or none.
    pub(super) fn add_events(
        &mut self,
        events: impl IntoIterator<Item = (String, LabelEvent)>,
    ) -> Result<()> {
        self.conn.execute_batch("BEGIN IMMEDIATE")?;
        let done = events
            .into_iter()
            .try_for_each(|(code, event)| self.add_event(&code, &event));
        self.end_transaction(done)
    }

    fn add_event(&mut self, code: &str, event: &LabelEvent) -> Result<()> {
        let id = record_of(code);
        let (known, mut doc) = match self.number(&id) {
            Ok(n) => (Some(n), self.published(n)?),
            Err(StoreError::NoRecord { .. }) => (None, self.empty_document()),
            Err(error) => return Err(error),
        };
        let before = doc.value()?;
        // A name no other device can give: events unite and are never two values of one field.
        // It sorts by time, then by what was known already.
        let earlier = before.as_object().map_or(0, serde_json::Map::len);
        let random = hex(&key::random::<6>()?);
        let name = format!("{:013}-{earlier:04}-{random}", event.at_ms);
        let mut after = before.clone();
        if !after.is_object() {
            after = Value::Object(serde_json::Map::new());
        }
        after[&name] = to_json(&id, &Kept::from(event))?;
        let heads = doc.heads();
        let stamp = self.stamp(&event.by, "");
        let Some((_, bytes)) = doc.edit(&heads, &before, &after, &stamp)? else {
            return Ok(());
        };
        let (n, k, bytes) = match known {
            Some(n) => (n, self.cached(n)?.next, bytes),
            None => {
                let n = self.insert_record(&id, LABEL)?;
                (n, first_k(n), doc.save())
            }
        };
        self.insert_chunk(k, None, stamp.at_ms, &doc.heads(), &bytes)?;
        self.note_heads(n, &doc)?;
        self.project_label(n, &doc)?;
        self.forget(n);
        Ok(())
    }

    /// Brings the list of label events in line with a label's record.
    pub(crate) fn project_label(&mut self, n: i64, doc: &Document) -> Result<()> {
        self.conn
            .prepare_cached("DELETE FROM label_event WHERE n = ?")?
            .execute([n])?;
        let mut insert = self.conn.prepare_cached(
            "INSERT INTO label_event(n, name, what, at_ms, by, device, visit, side, revision, note)
             VALUES(?,?,?,?,?,?,?,?,?,?)",
        )?;
        for (name, e) in kept(doc)? {
            insert.execute(params![
                n,
                name,
                e.what.token(),
                e.at_ms,
                e.by,
                e.device,
                e.visit,
                e.side,
                e.revision,
                e.note
            ])?;
        }
        Ok(())
    }

    /// Whether the list of label events is what a label's record says.
    pub(crate) fn label_listed(&self, n: i64, doc: &Document) -> Result<bool> {
        let mut should: Vec<String> = kept(doc)?.into_iter().map(|(name, _)| name).collect();
        should.sort();
        let sql = "SELECT name FROM label_event WHERE n = ? ORDER BY name";
        let mut statement = self.conn.prepare_cached(sql)?;
        let is = statement.query_map([n], |row| row.get(0))?;
        Ok(is.collect::<Result<Vec<String>, _>>()? == should)
    }

    /// Everything that happened to a label, the first first.
    pub fn label_history(&self, code: &str) -> Result<Vec<LabelEvent>> {
        self.events(&symbols(code)?)
    }

    pub(super) fn events(&self, code: &str) -> Result<Vec<LabelEvent>> {
        let sql = "SELECT what, at_ms, by, device, visit, side, revision, note FROM label_event
                   WHERE n = (SELECT n FROM record WHERE id = ?) ORDER BY at_ms, name";
        self.read_events(sql, &record_of(code))
    }

    pub(super) fn read_events(&self, sql: &str, key: &str) -> Result<Vec<LabelEvent>> {
        let mut statement = self.conn.prepare_cached(sql)?;
        let rows = statement.query_map([key], |row| {
            let to = Binding {
                visit: row.get(4)?,
                side: row.get(5)?,
                revision: row.get(6)?,
            };
            Ok(LabelEvent {
                what: LabelAct::from_token(&row.get::<_, String>(0)?),
                at_ms: row.get(1)?,
                by: row.get(2)?,
                device: row.get(3)?,
                to: (!to.visit.is_empty()).then_some(to),
                note: row.get(7)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    pub(super) fn has_event(&self, code: &str, what: LabelAct) -> Result<bool> {
        Ok(self.events(code)?.iter().any(|e| e.what == what))
    }

    /// Casts of finished visits that name the code, without revision.
    pub(super) fn casts_with(&self, code: &str) -> Result<Vec<Binding>> {
        let sql = "SELECT r.id, l.side FROM label l JOIN record r ON r.n = l.n WHERE l.code = ? ORDER BY l.bound_ms, l.n";
        let mut statement = self.conn.prepare_cached(sql)?;
        let rows = statement.query_map([code], |row| {
            Ok(Binding {
                visit: row.get(0)?,
                side: row.get(1)?,
                revision: 0,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

/// The events of a record with their names; a member that is none is left alone.
fn kept(doc: &Document) -> Result<Vec<(String, Kept)>> {
    let Value::Object(members) = doc.value()? else {
        return Ok(Vec::new());
    };
    Ok(members
        .into_iter()
        .filter_map(|(name, event)| Some((name, from_json("", event).ok()?)))
        .collect())
}
