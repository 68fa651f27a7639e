//! The case list, read a page at a time.

use crate::error::Result;
use crate::records::VISIT;
use crate::store::Store;
use rusqlite::{Row, params};
use serde::Serialize;

/// A row of the case list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Case {
    /// Identifier of the visit.
    pub id: String,
    /// Name of the patient.
    pub patient: String,
    /// Pseudonymous code of the patient.
    pub person_code: String,
    /// When the visit began, RFC 3339.
    pub at: String,
    /// Sides, with a space between.
    pub sides: String,
    /// Label codes without separators, with a space between.
    pub codes: String,
    /// Labs ordered from.
    pub lab: String,
    /// States of its orders, with a space between; `visit` or `deferred` without any.
    pub state: String,
    /// Earliest review due, `YYYY-MM-DD`.
    pub due: Option<String>,
    /// Number of places where devices disagree.
    pub conflicts: u32,
}

/// Columns that [`Case::from_row`] reads.
pub(crate) const CASE_COLUMNS: &str =
    "r.id, c.patient, c.person_code, c.at, c.sides, c.codes, c.lab, c.state, c.due, c.conflicts";

impl Case {
    pub(crate) fn from_row(row: &Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self {
            id: row.get(0)?,
            patient: row.get(1)?,
            person_code: row.get(2)?,
            at: row.get(3)?,
            sides: row.get(4)?,
            codes: row.get(5)?,
            lab: row.get(6)?,
            state: row.get(7)?,
            due: row.get(8)?,
            conflicts: row.get(9)?,
        })
    }
}

/// Which visits to list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Filter {
    /// All of them, the one changed last first.
    #[default]
    All,
    /// Those in one state, the one changed last first.
    State(String),
    /// Those with an order in one state, whatever their other orders are in; the one changed last first.
    Holding(String),
    /// Those with a review due up to a day (`YYYY-MM-DD`), the most urgent first.
    DueBy(String),
    /// Those where devices disagree.
    InConflict,
}

impl Filter {
    fn sql(&self) -> (&'static str, &'static str, Option<&str>) {
        match self {
            Self::All => ("?1 IS NULL", "touched DESC", None),
            Self::State(state) => ("state = ?1", "touched DESC", Some(state)),
            Self::Holding(state) => (
                "instr(' ' || state || ' ', ' ' || ?1 || ' ') > 0",
                "touched DESC",
                Some(state),
            ),
            Self::DueBy(day) => ("due IS NOT NULL AND due <= ?1", "due, n", Some(day)),
            Self::InConflict => ("?1 IS NULL AND conflicts > 0", "touched DESC", None),
        }
    }
}

impl Store {
    /// One page of the case list.
    pub fn cases(&mut self, filter: &Filter, offset: usize, limit: usize) -> Result<Vec<Case>> {
        self.healing(|store| store.page(filter, offset, limit))
    }

    fn page(&self, filter: &Filter, offset: usize, limit: usize) -> Result<Vec<Case>> {
        let (which, order, value) = filter.sql();
        let sql = format!(
            "SELECT {CASE_COLUMNS} FROM
               (SELECT n FROM case_list WHERE {which} ORDER BY {order} LIMIT ?2 OFFSET ?3) p
             JOIN case_list c ON c.n = p.n JOIN record r ON r.n = p.n ORDER BY {}",
            order
                .split(", ")
                .map(|o| format!("c.{o}"))
                .collect::<Vec<_>>()
                .join(", ")
        );
        let mut statement = self.conn.prepare_cached(&sql)?;
        let rows =
            statement.query_map(params![value, limit as i64, offset as i64], Case::from_row)?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Number of visits a filter lets through.
    pub fn count(&self, filter: &Filter) -> Result<usize> {
        let (which, _, value) = filter.sql();
        let sql = format!("SELECT count(*) FROM case_list WHERE {which}");
        let count: i64 = self
            .conn
            .prepare_cached(&sql)?
            .query_row([value], |row| row.get(0))?;
        Ok(usize::try_from(count).unwrap_or(0))
    }

    /// Identifiers of all finished visits, in the order they came into this store.
    pub fn visits(&self) -> Result<Vec<String>> {
        let all = self.live_records()?;
        Ok(all
            .into_iter()
            .filter(|(_, _, kind)| kind == VISIT)
            .map(|(_, id, _)| id)
            .collect())
    }
}
