//! Checking a store: the file, the records, the lists, the photographs, the labels.

use crate::chunks::joined;
use crate::error::{Result, StoreError};
use crate::files::hex;
use crate::labels::LABEL;
use crate::photos::{altered, copy};
use crate::project::{Projection, code_parts};
use crate::records::VISIT;
use crate::store::Store;
use rusqlite::{MAIN_DB, OptionalExtension};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// One thing that is not as it should be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
#[non_exhaustive]
pub enum Finding {
    /// Pages of the file that are not what was written.
    File {
        /// What the engine says.
        what: String,
    },
    /// A record that cannot be read.
    Record {
        /// Its identifier, or its number where not even that can be read.
        id: String,
        /// What is wrong.
        what: String,
    },
    /// Lists and search do not show what the record says: rebuild them.
    List {
        /// The record.
        id: String,
    },
    /// A photograph that a visit names is not here.
    PhotoMissing {
        /// Its hash.
        sha256: String,
        /// The visit.
        visit: String,
    },
    /// A photograph whose bytes are not what they were.
    PhotoAltered {
        /// Its hash.
        sha256: String,
        /// The visits that name it.
        visits: Vec<String>,
    },
    /// One label code on more than one cast.
    LabelTwice {
        /// The code.
        code: String,
        /// Each visit and side that has it.
        holders: Vec<(String, String)>,
    },
}

/// What a check found.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Report {
    /// Records read.
    pub records: usize,
    /// Photographs read.
    pub photos: usize,
    /// What is wrong; empty if nothing is.
    pub findings: Vec<Finding>,
}

impl Report {
    /// Nothing is wrong.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.findings.is_empty()
    }
}

impl std::fmt::Display for Report {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{} records and {} photographs read: ",
            self.records, self.photos
        )?;
        if self.is_clean() {
            return write!(f, "everything is in order.");
        }
        write!(f, "{} findings.", self.findings.len())?;
        for finding in &self.findings {
            match finding {
                Finding::File { what } => write!(f, "\nThe file is damaged: {what}")?,
                Finding::Record { id, what } => write!(f, "\nRecord {id} cannot be read: {what}")?,
                Finding::List { id } => {
                    write!(
                        f,
                        "\nLists and search are out of date for visit {id}: rebuild them."
                    )?;
                }
                Finding::PhotoMissing { sha256, visit } => {
                    write!(f, "\nPhotograph {sha256} of visit {visit} is missing.")?;
                }
                Finding::PhotoAltered { sha256, visits } => {
                    write!(
                        f,
                        "\nPhotograph {sha256} (visits: {}) was altered.",
                        visits.join(", ")
                    )?;
                }
                Finding::LabelTwice { code, holders } => {
                    let holders: Vec<String> =
                        holders.iter().map(|(v, s)| format!("{v} {s}")).collect();
                    write!(
                        f,
                        "\nLabel {code} is on more than one cast: {}.",
                        holders.join("; ")
                    )?;
                }
            }
        }
        Ok(())
    }
}

impl Store {
    /// Checks everything and changes nothing. Damage is a finding, not an error: what can still be
    /// read is read.
    pub fn check(&mut self) -> Result<Report> {
        let mut report = Report::default();
        self.check_file(&mut report);
        self.check_records(&mut report);
        self.check_photos(&mut report);
        self.check_labels(&mut report);
        Ok(report)
    }

    fn check_file(&self, report: &mut Report) {
        let mut ask = |sql: &str, fine: &str| {
            // A connection of its own: one that has met a damaged page answers nothing more.
            let conn = match self.reader() {
                Ok(conn) => conn,
                Err(e) => {
                    return report.findings.push(Finding::File {
                        what: e.to_string(),
                    });
                }
            };
            let said = conn.prepare(sql).and_then(|mut statement| {
                statement
                    .query_map([], |row| row.get::<_, String>(0))?
                    .collect::<rusqlite::Result<Vec<_>>>()
            });
            match said {
                Ok(lines) => {
                    let wrong = lines.into_iter().filter(|line| line != fine);
                    report
                        .findings
                        .extend(wrong.map(|what| Finding::File { what }));
                }
                Err(e) => report.findings.push(Finding::File {
                    what: e.to_string(),
                }),
            }
        };
        // The pages on the disk against their authentication codes, then the trees they make.
        ask("PRAGMA cipher_integrity_check", "");
        ask("PRAGMA integrity_check(20)", "ok");
        ask("INSERT INTO search(search) VALUES('integrity-check')", "");
    }

    fn check_records(&mut self, report: &mut Report) {
        let highest = self.healing(|store| {
            let sql = "SELECT coalesce(max(n), 0) FROM record";
            Ok(store.conn.query_row(sql, [], |row| row.get(0))?)
        });
        let highest: i64 = highest.unwrap_or_else(|e| {
            report.findings.push(Finding::File {
                what: e.to_string(),
            });
            0
        });
        // One by one: a damaged page hides its own records, not those after it.
        for n in 1..=highest {
            match self.healing(|store| store.check_record(n)) {
                Ok(None) => {}
                Ok(Some(id)) => {
                    report.records += 1;
                    if let Some(id) = id {
                        report.findings.push(Finding::List { id });
                    }
                }
                Err(error) => {
                    let named = self.healing(|store| {
                        let sql = "SELECT id FROM record WHERE n = ?";
                        Ok(store
                            .conn
                            .query_row(sql, [n], |row| row.get::<_, String>(0))?)
                    });
                    let id = named.unwrap_or_else(|_| format!("number {n}"));
                    report.findings.push(Finding::Record {
                        id,
                        what: error.to_string(),
                    });
                }
            }
        }
    }

    /// Reads a record; says whether there is one, and whether the lists disagree with it.
    fn check_record(&mut self, n: i64) -> Result<Option<Option<String>>> {
        let head: Option<(String, String, bool)> = self
            .conn
            .prepare_cached("SELECT id, kind, erased_ms IS NOT NULL FROM record WHERE n = ?")?
            .query_row([n], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
            .optional()?;
        let Some((id, kind, erased)) = head else {
            return Ok(None);
        };
        let chunks = self.chunks(n)?;
        if erased {
            let remains = !chunks.is_empty();
            return if remains {
                Err(StoreError::Damaged {
                    what: "an erased visit has remains".into(),
                })
            } else {
                Ok(None)
            };
        }
        self.assemble(&chunks.iter().collect::<Vec<_>>())?;
        let finished: Vec<_> = chunks.iter().filter(|c| c.session.is_none()).collect();
        let doc = self.assemble(&finished)?;
        let noted = self.noted_heads(n)?;
        if noted.is_some_and(|noted| noted != joined(&doc.heads())) {
            return Err(StoreError::Damaged {
                what: "its newest changes are not those it was finished with".into(),
            });
        }
        if kind == LABEL {
            return Ok(Some((!self.label_listed(n, &doc)?).then_some(id)));
        }
        if finished.is_empty() || kind != VISIT {
            return Ok(Some(None));
        }
        let should = Projection::of(&doc.value()?);
        let parts: BTreeSet<String> = (should.codes.iter())
            .flat_map(|(code, _)| code_parts(code))
            .map(str::to_owned)
            .collect();
        let right = self.listed(n)?.as_ref() == Some(&should)
            && self.conflicts_listed(n)? == doc.conflicts()?.len()
            && self.code_parts_listed(n)? == parts
            && self.indexed(n, &should.words)?;
        Ok(Some((!right).then_some(id)))
    }

    fn code_parts_listed(&self, n: i64) -> Result<BTreeSet<String>> {
        let sql = "SELECT part FROM code_part WHERE n = ?";
        let mut parts = self.conn.prepare_cached(sql)?;
        Ok(parts
            .query_map([n], |row| row.get(0))?
            .collect::<Result<_, _>>()?)
    }

    fn conflicts_listed(&self, n: i64) -> Result<usize> {
        let sql = "SELECT conflicts FROM case_list WHERE n = ?";
        let count: i64 = self
            .conn
            .prepare_cached(sql)?
            .query_row([n], |row| row.get(0))?;
        Ok(usize::try_from(count).unwrap_or(usize::MAX))
    }

    /// What the lists show of a record.
    fn listed(&self, n: i64) -> Result<Option<Projection>> {
        let sql = "SELECT patient, person_code, at, sides, lab, state, due, words FROM case_list WHERE n = ?";
        let row = self
            .conn
            .prepare_cached(sql)?
            .query_row([n], |row| {
                Ok(Projection {
                    patient: row.get(0)?,
                    person_code: row.get(1)?,
                    at: row.get(2)?,
                    sides: row.get(3)?,
                    codes: BTreeSet::new(),
                    lab: row.get(4)?,
                    state: row.get(5)?,
                    due: row.get(6)?,
                    words: row.get(7)?,
                    photos: BTreeSet::new(),
                })
            })
            .optional()?;
        let Some(mut row) = row else { return Ok(None) };
        let mut codes = self
            .conn
            .prepare_cached("SELECT code, side FROM label WHERE n = ?")?;
        row.codes = codes
            .query_map([n], |r| Ok((r.get(0)?, r.get(1)?)))?
            .collect::<Result<_, _>>()?;
        let mut photos = self
            .conn
            .prepare_cached("SELECT sha256 FROM photo_use WHERE n = ?")?;
        row.photos = photos
            .query_map([n], |r| r.get(0))?
            .collect::<Result<_, _>>()?;
        Ok(Some(row))
    }

    fn check_photos(&mut self, report: &mut Report) {
        match self.healing(|store| store.missing_photos()) {
            Ok(missing) => report.findings.extend(
                missing
                    .into_iter()
                    .map(|(sha256, visit)| Finding::PhotoMissing { sha256, visit }),
            ),
            Err(e) => report.findings.push(Finding::File {
                what: e.to_string(),
            }),
        }
        let highest = self.healing(|store| {
            let sql = "SELECT coalesce(max(n), 0) FROM photo";
            Ok(store.conn.query_row(sql, [], |row| row.get(0))?)
        });
        for n in 1..=highest.unwrap_or(0) {
            let hash = self.healing(|store| {
                let sql = "SELECT sha256 FROM photo WHERE n = ?";
                let row = store
                    .conn
                    .query_row(sql, [n], |row| row.get::<_, Vec<u8>>(0));
                Ok(row.optional()?)
            });
            let sha256 = match hash {
                Ok(None) => continue,
                Ok(Some(sha256)) => sha256,
                Err(e) => {
                    report.findings.push(Finding::File {
                        what: format!("photograph number {n}: {e}"),
                    });
                    continue;
                }
            };
            report.photos += 1;
            let intact = self.healing(|store| {
                let mut blob = store.conn.blob_open(MAIN_DB, "photo", "bytes", n, true)?;
                let read = copy(&mut blob, &mut std::io::sink());
                let (found, _) = read.map_err(|_| altered(&hex(&sha256)))?;
                Ok(found[..] == sha256)
            });
            if !matches!(intact, Ok(true)) {
                let visits = self.healing(|store| store.visits_with(&sha256));
                report.findings.push(Finding::PhotoAltered {
                    sha256: hex(&sha256),
                    visits: visits.unwrap_or_default(),
                });
            }
        }
    }

    fn visits_with(&self, sha256: &[u8]) -> Result<Vec<String>> {
        let sql = "SELECT r.id FROM photo_use u JOIN record r ON r.n = u.n WHERE u.sha256 = ? ORDER BY r.n";
        let mut statement = self.conn.prepare(sql)?;
        Ok(statement
            .query_map([sha256], |row| row.get(0))?
            .collect::<Result<_, _>>()?)
    }

    fn check_labels(&mut self, report: &mut Report) {
        let rows = |store: &mut Self| -> Result<Vec<(String, String, String)>> {
            // Casts that name a code and casts it was bound to; a void label harms nobody.
            let sql = "WITH held AS (
                         SELECT l.code AS code, r.id AS visit, l.side AS side FROM label l JOIN record r ON r.n = l.n
                         UNION SELECT substr(r.id, 7), e.visit, e.side FROM label_event e JOIN record r ON r.n = e.n
                               WHERE e.what = 'bound')
                       SELECT code, visit, side FROM held
                       WHERE code IN (SELECT code FROM held GROUP BY code HAVING count(*) > 1)
                         AND NOT EXISTS(SELECT 1 FROM label_event e JOIN record r ON r.n = e.n
                                        WHERE r.id = 'label-' || code AND e.what = 'void')
                       ORDER BY code, visit, side";
            let mut statement = store.conn.prepare(sql)?;
            let rows =
                statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
            Ok(rows.collect::<Result<_, _>>()?)
        };
        match self.healing(rows) {
            Ok(rows) => {
                let mut by_code: BTreeMap<String, Vec<(String, String)>> = BTreeMap::new();
                for (code, visit, side) in rows {
                    by_code.entry(code).or_default().push((visit, side));
                }
                let twice = by_code
                    .into_iter()
                    .map(|(code, holders)| Finding::LabelTwice { code, holders });
                report.findings.extend(twice);
            }
            Err(e) => report.findings.push(Finding::File {
                what: e.to_string(),
            }),
        }
    }
}
