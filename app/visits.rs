//! A file of visits: a clinic and its visits, as `demo` writes and `import` takes them.

use crate::cli::SideArg;
use crate::error::AppError;
use crate::files;
use plinthside_measure::cast::Results;
use plinthside_measure::marks::Side;
use plinthside_paper::CastCode;
use plinthside_visit::{Cast, Clinic, Order, Revision, Visit};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// The file.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct VisitsFile {
    /// The clinic.
    pub clinic: Clinic,
    /// Its visits.
    pub visits: Vec<Visit>,
}

/// One foot of one visit, with what belongs to it.
#[derive(Debug, Clone, Copy)]
pub struct Foot<'a> {
    /// The clinic.
    pub clinic: &'a Clinic,
    /// The visit.
    pub visit: &'a Visit,
    /// The foot.
    pub side: Side,
}

impl VisitsFile {
    /// Reads a file of visits.
    ///
    /// # Errors
    /// When it can't be read or has another form.
    pub fn read(path: &Path) -> Result<Self, AppError> {
        files::read_json(path)
    }

    /// The foot that was asked for: by visit or by the code on the bag.
    ///
    /// # Errors
    /// No such visit, or a visit of both feet without a side named.
    pub fn foot(&self, wanted: &str, side: Option<SideArg>) -> Result<Foot<'_>, AppError> {
        let wanted = wanted.trim();
        let code: Option<CastCode> = wanted.parse().ok();
        let has_code = |cast: &&Cast| {
            code.is_some() && cast.code.as_deref().and_then(|c| c.parse().ok()) == code
        };
        let asked = side.map(|side| match side {
            SideArg::Left => Side::Left,
            SideArg::Right => Side::Right,
        });
        for visit in &self.visits {
            let by_code = visit.casts.iter().find(has_code).map(|cast| cast.side);
            if visit.id != wanted && by_code.is_none() {
                continue;
            }
            let side = match (by_code, asked, visit.sides.as_slice()) {
                (Some(bag), Some(asked), _) if bag != asked => {
                    return Err(AppError::Request(format!(
                        "the code {wanted} is on a bag of the {bag} foot, not the {asked}: stop and look at the bag"
                    )));
                }
                (Some(bag), ..) => bag,
                (None, Some(asked), sides) if sides.contains(&asked) => asked,
                (None, Some(asked), _) => {
                    return Err(AppError::Request(format!(
                        "visit {wanted} is not about the {asked} foot"
                    )));
                }
                (None, None, [only]) => *only,
                (None, None, _) => {
                    return Err(AppError::Request(format!(
                        "visit {wanted} is about both feet; name one with --side left or --side right"
                    )));
                }
            };
            return Ok(Foot {
                clinic: &self.clinic,
                visit,
                side,
            });
        }
        let known: Vec<&str> = self.visits.iter().map(|visit| visit.id.as_str()).collect();
        Err(AppError::Request(format!(
            "there is no visit or cast code “{wanted}”; this file holds: {}",
            known.join(", ")
        )))
    }
}

impl<'a> Foot<'a> {
    /// The order for this foot and its newest revision.
    ///
    /// # Errors
    /// When nothing was ordered yet.
    pub fn order(&self) -> Result<(&'a Order, &'a Revision), AppError> {
        let order = self.visit.order(self.side);
        order
            .and_then(|order| Some((order, order.newest()?)))
            .ok_or_else(|| {
                AppError::Request(format!(
                    "visit {} holds no order for the {} foot; write it first",
                    self.visit.id, self.side
                ))
            })
    }

    /// The cast the order belongs to, else the latest of this foot.
    #[must_use]
    pub fn cast(&self) -> Option<&'a Cast> {
        let ordered = self
            .visit
            .order(self.side)
            .and_then(|order| order.cast.as_deref());
        ordered
            .and_then(|id| self.visit.casts.iter().find(|cast| cast.id == id))
            .or_else(|| self.visit.cast(self.side))
    }

    /// The code bound to the cast, if any.
    ///
    /// # Errors
    /// When what is written there is no cast code.
    pub fn code(&self) -> Result<Option<CastCode>, AppError> {
        let code = self.cast().and_then(|cast| cast.code.as_deref());
        code.map(|code| Ok(code.parse()?)).transpose()
    }

    /// What was measured on the cast.
    ///
    /// # Errors
    /// When nothing was measured, or what is kept has another form.
    pub fn results(&self) -> Result<Results, AppError> {
        let kept = self
            .cast()
            .and_then(|cast| cast.measurement.as_ref())
            .and_then(|measurement| measurement.results.as_ref())
            .ok_or_else(|| {
                AppError::Request(format!(
                    "nothing was measured yet on the {} cast of visit {}; measure it first",
                    self.side, self.visit.id
                ))
            })?;
        Results::deserialize(kept).map_err(|problem| {
            AppError::Request(format!(
                "the measurement kept with visit {} can't be read ({problem}); measure the cast again",
                self.visit.id
            ))
        })
    }
}
