//! Counts over all visits: how many, in which state, and what was made again and why.

use crate::error::Result;
use crate::store::Store;
use serde::Serialize;
use std::collections::BTreeMap;

/// Counts over all finished visits, or those of a period.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Statistics {
    /// Visits.
    pub visits: u64,
    /// Visits in each state.
    pub states: BTreeMap<String, u64>,
    /// Orders that were signed, whatever became of them.
    pub orders_signed: u64,
    /// Braces made again.
    pub remakes: u64,
    /// How often each cause was named; a remake may have several.
    pub causes: BTreeMap<String, u64>,
}

impl Store {
    /// Counts the visits that began from one day to another, both included (`YYYY-MM-DD`).
    pub fn statistics(&mut self, from: &str, to: &str) -> Result<Statistics> {
        self.healing(|store| store.count_all(from, to))
    }

    fn count_all(&self, from: &str, to: &str) -> Result<Statistics> {
        const PERIOD: &str = "substr(c.at, 1, 10) BETWEEN ?1 AND ?2";
        let one = |sql: String| -> Result<u64> {
            let count: i64 = self
                .conn
                .prepare_cached(&sql)?
                .query_row([from, to], |row| row.get(0))?;
            Ok(count.max(0) as u64)
        };
        let by_name = |sql: String| -> Result<BTreeMap<String, u64>> {
            let mut statement = self.conn.prepare_cached(&sql)?;
            let rows = statement.query_map([from, to], |row| {
                Ok((row.get(0)?, row.get::<_, i64>(1)?.max(0) as u64))
            })?;
            Ok(rows.collect::<Result<_, _>>()?)
        };
        Ok(Statistics {
            visits: one(format!("SELECT count(*) FROM case_list c WHERE {PERIOD}"))?,
            states: by_name(format!(
                "SELECT state, count(*) FROM case_list c WHERE {PERIOD} GROUP BY state"
            ))?,
            orders_signed: one(format!(
                "SELECT coalesce(sum(signed), 0) FROM case_list c WHERE {PERIOD}"
            ))?,
            remakes: one(format!(
                "SELECT count(DISTINCT m.n || ' ' || m.number) FROM remake m JOIN case_list c ON c.n = m.n WHERE {PERIOD}"
            ))?,
            causes: by_name(format!(
                "SELECT m.cause, count(*) FROM remake m JOIN case_list c ON c.n = m.n WHERE {PERIOD} AND m.cause <> '' GROUP BY m.cause"
            ))?,
        })
    }
}
