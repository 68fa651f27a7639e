//! The same points by ruler and calliper: height over the table, distance from a board behind the
//! heel, and sideways either an offset from the heel's middle line or a calliper breadth.

use crate::cast::{CastPoints, MeasuredPoint, PointsError, Source, Wall};
use crate::dual::{Dual, jacobian};
use crate::leg::Readings;
use crate::marks::{MarkName, Side, Surface};
use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Standard deviations of one reading by hand, millimetres. Common practice, no source.
pub mod sd_mm {
    /// A height off the table.
    pub const HEIGHT: f64 = 1.0;
    /// A distance from the board behind the heel.
    pub const FORWARD: f64 = 1.5;
    /// An offset from the middle line.
    pub const OFFSET: f64 = 2.0;
    /// A calliper breadth.
    pub const BREADTH: f64 = 1.0;
    /// How far the mid-point of a breadth may lie from the middle line.
    pub const MIDDLE: f64 = 5.0;
    /// What repeating can't go below: the graduation and the table.
    pub const LEAST: f64 = 0.5;
}

/// One mark measured by hand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RulerReading {
    /// Which mark.
    pub mark: MarkName,
    /// Height over the table.
    pub height_mm: Readings,
    /// Distance forward of the board behind the heel.
    pub forward_mm: Readings,
    /// Offset from the middle line to the lateral side (to the medial side negative).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lateral_mm: Option<Readings>,
    /// Offset from the middle line to the medial side.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub medial_mm: Option<Readings>,
    /// Sd of one reading where it differs from the shipped ones.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sd_mm: Option<f64>,
    /// The face of the shell.
    #[serde(default)]
    pub surface: Surface,
}

/// A calliper breadth from a medial to a lateral mark, straight through space.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RulerBreadth {
    /// Medial mark.
    pub medial: MarkName,
    /// Lateral mark.
    pub lateral: MarkName,
    /// Breadth.
    pub breadth_mm: Readings,
    /// Sd of one reading where it differs from the shipped one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sd_mm: Option<f64>,
}

/// One line of ruler entry; a line with `breadth_mm` is a breadth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged, try_from = "serde_json::Value")]
pub enum RulerLine {
    /// A mark.
    Mark(RulerReading),
    /// A breadth.
    Breadth(RulerBreadth),
}

impl TryFrom<serde_json::Value> for RulerLine {
    type Error = serde_json::Error;

    fn try_from(line: serde_json::Value) -> Result<Self, Self::Error> {
        if line.get("breadth_mm").is_some() {
            serde_json::from_value(line).map(Self::Breadth)
        } else {
            serde_json::from_value(line).map(Self::Mark)
        }
    }
}

/// All ruler entries of one cast.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct RulerEntry(pub Vec<RulerLine>);

/// What is wrong with ruler entries.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum RulerError {
    /// A number out of range.
    #[error("{what} is {value} mm by ruler; enter millimetres from {from} to {to}")]
    OutOfRange {
        /// Which number.
        what: String,
        /// Its value.
        value: f64,
        /// Least.
        from: f64,
        /// Most.
        to: f64,
    },
    /// No reading where one is needed.
    #[error("{what} has no reading; measure it or leave the mark out")]
    Empty {
        /// Which number.
        what: String,
    },
    /// A mark entered twice.
    #[error("{0} is entered twice by ruler; keep one entry and give repeated readings as a list")]
    Twice(MarkName),
    /// Both a lateral and a medial offset.
    #[error("{0} has an offset to both sides; keep either lateral_mm or medial_mm")]
    BothSides(MarkName),
    /// Nothing says where a mark lies sideways.
    #[error("{0} has neither an offset nor a breadth to another mark; measure one of them")]
    NoOffset(MarkName),
    /// Two things say where a mark lies sideways.
    #[error(
        "{0} is in a breadth although it is fixed already by offsets or another breadth; keep one of them"
    )]
    TooMany(MarkName),
    /// A breadth to a mark without height and distance.
    #[error(
        "a breadth names {0}, whose height and distance from the heel are missing; measure them too"
    )]
    NoSuchMark(MarkName),
    /// A breadth shorter than the marks are apart in height and length.
    #[error(
        "the breadth from {medial} to {lateral} is {breadth_mm} mm, shorter than their heights and distances make them apart ({apart_mm:.1} mm); measure all three again"
    )]
    TooShort {
        /// Medial mark.
        medial: MarkName,
        /// Lateral mark.
        lateral: MarkName,
        /// Breadth entered.
        breadth_mm: f64,
        /// Distance in the sagittal plane.
        apart_mm: f64,
    },
    /// The points themselves.
    #[error(transparent)]
    Points(#[from] PointsError),
}

/// Sideways position of a mark.
enum Across {
    /// Index of the offset among the inputs, + lateral.
    Offset(usize),
    /// One end of a breadth: index of the breadth among the inputs, the other mark, and + for the
    /// lateral end; a fixed other end, or the middle line.
    Breadth {
        breadth: usize,
        partner: usize,
        end: f64,
        partner_offset: Option<usize>,
        middle: usize,
    },
}

/// Readings as inputs with their sd, and how the marks hang on them.
#[derive(Default)]
struct Plan<'a> {
    marks: Vec<&'a RulerReading>,
    /// Inputs that hold height and distance of each mark.
    height_and_forward: Vec<[usize; 2]>,
    inputs: Vec<f64>,
    variances: Vec<f64>,
    across: Vec<Across>,
}

impl RulerEntry {
    /// Whether nothing was entered.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    fn marks(&self) -> impl Iterator<Item = &RulerReading> {
        self.0.iter().filter_map(|line| match line {
            RulerLine::Mark(mark) => Some(mark),
            RulerLine::Breadth(_) => None,
        })
    }

    fn breadths(&self) -> impl Iterator<Item = &RulerBreadth> {
        self.0.iter().filter_map(|line| match line {
            RulerLine::Breadth(breadth) => Some(breadth),
            RulerLine::Mark(_) => None,
        })
    }

    /// Refuses entries that can't make points.
    ///
    /// # Errors
    /// The first one, in words.
    pub fn check(&self) -> Result<(), RulerError> {
        self.plan()
            .and_then(|plan| plan.coordinates_checked().map(|_| ()))
    }

    /// The points of the cast, in a frame whose Z is up from the table, X forward of the board
    /// behind the heel and Y to the patient's left of the middle line.
    ///
    /// # Errors
    /// Entries that can't make points, in words.
    pub fn cast_points(&self, side: Side, wall: Option<Wall>) -> Result<CastPoints, RulerError> {
        let plan = self.plan()?;
        let lateral = plan.coordinates_checked()?;
        let mut jacobian = jacobian(&plan.inputs, |inputs| {
            Ok::<_, RulerError>(plan.coordinates(inputs))
        })?;
        let s = side.sign();
        for row in 0..plan.marks.len() {
            jacobian.row_mut(3 * row + 1).scale_mut(s);
        }
        let variances =
            DMatrix::from_diagonal(&nalgebra::DVector::from_vec(plan.variances.clone()));
        let covariance = &jacobian * variances * jacobian.transpose();
        let points = plan
            .marks
            .iter()
            .zip(lateral.chunks_exact(3))
            .map(|(mark, p)| MeasuredPoint {
                mark: mark.mark.clone(),
                mm: [p[0], s * p[1], p[2]],
                surface: mark.surface,
                views: mark.height_mm.0.len(),
                worst_residual_px: None,
            });
        // The sd stand for a practice, not for a sample: no degrees of freedom are lost.
        Ok(CastPoints::new(
            points.collect(),
            covariance,
            1e9,
            0.0,
            Source::Ruler,
            wall,
        )?)
    }

    fn plan(&self) -> Result<Plan<'_>, RulerError> {
        let marks = self.marks().collect();
        let mut plan = Plan {
            marks,
            ..Plan::default()
        };
        let mut offsets: Vec<Option<usize>> = Vec::new();
        for (i, m) in plan.marks.clone().into_iter().enumerate() {
            if plan.marks[..i].iter().any(|other| other.mark == m.mark) {
                return Err(RulerError::Twice(m.mark.clone()));
            }
            let what = |number: &str| format!("the {number} of {}", m.mark);
            let height = plan.input(
                &m.height_mm,
                1.0,
                m.sd_mm.unwrap_or(sd_mm::HEIGHT),
                what("height"),
                [-50.0, 1000.0],
            )?;
            let forward = plan.input(
                &m.forward_mm,
                1.0,
                m.sd_mm.unwrap_or(sd_mm::FORWARD),
                what("distance from the heel"),
                [-200.0, 600.0],
            )?;
            plan.height_and_forward.push([height, forward]);
            let (offset, sign) = match (&m.lateral_mm, &m.medial_mm) {
                (Some(_), Some(_)) => return Err(RulerError::BothSides(m.mark.clone())),
                (Some(lateral), None) => (Some(lateral), 1.0),
                (None, Some(medial)) => (Some(medial), -1.0),
                (None, None) => (None, 1.0),
            };
            let sd = m.sd_mm.unwrap_or(sd_mm::OFFSET);
            let input = offset.map(|o| plan.input(o, sign, sd, what("offset"), [-300.0, 300.0]));
            offsets.push(input.transpose()?);
        }
        let mut across: Vec<Option<Across>> =
            offsets.iter().map(|o| o.map(Across::Offset)).collect();
        for b in self.breadths() {
            let find = |mark: &MarkName| {
                let found = plan.marks.iter().position(|m| m.mark == *mark);
                found.ok_or_else(|| RulerError::NoSuchMark(mark.clone()))
            };
            let ends = [find(&b.medial)?, find(&b.lateral)?];
            if ends[0] == ends[1] {
                return Err(RulerError::TooMany(b.medial.clone()));
            }
            let what = format!("the breadth from {} to {}", b.medial, b.lateral);
            let breadth = plan.input(
                &b.breadth_mm,
                1.0,
                b.sd_mm.unwrap_or(sd_mm::BREADTH),
                what,
                [1.0, 300.0],
            )?;
            let middle = plan.inputs.len();
            plan.inputs.push(0.0);
            plan.variances.push(sd_mm::MIDDLE * sd_mm::MIDDLE);
            if ends.iter().all(|end| across[*end].is_some()) {
                return Err(RulerError::TooMany(b.medial.clone()));
            }
            for (end, partner, sign) in [(ends[0], ends[1], -1.0), (ends[1], ends[0], 1.0)] {
                match &across[end] {
                    None => {
                        across[end] = Some(Across::Breadth {
                            breadth,
                            partner,
                            end: sign,
                            partner_offset: offsets[partner],
                            middle,
                        });
                    }
                    Some(Across::Offset(_)) => {}
                    Some(Across::Breadth { .. }) => {
                        return Err(RulerError::TooMany(plan.marks[end].mark.clone()));
                    }
                }
            }
        }
        for (m, across) in plan.marks.clone().into_iter().zip(across) {
            plan.across
                .push(across.ok_or_else(|| RulerError::NoOffset(m.mark.clone()))?);
        }
        Ok(plan)
    }
}

impl Plan<'_> {
    /// Adds the mean of `readings` as an input; its index.
    fn input(
        &mut self,
        readings: &Readings,
        sign: f64,
        sd: f64,
        what: String,
        [from, to]: [f64; 2],
    ) -> Result<usize, RulerError> {
        if let Some(&value) = readings.0.iter().find(|v| !(from..=to).contains(*v)) {
            return Err(RulerError::OutOfRange {
                what,
                value,
                from,
                to,
            });
        }
        if !(0.01..=100.0).contains(&sd) {
            return Err(RulerError::OutOfRange {
                what: format!("the sd of {what}"),
                value: sd,
                from: 0.01,
                to: 100.0,
            });
        }
        let Some(mean) = readings.mean() else {
            return Err(RulerError::Empty { what });
        };
        let n = readings.0.len() as f64;
        self.inputs.push(sign * mean);
        self.variances
            .push((sd * sd / n).max(sd_mm::LEAST.min(sd).powi(2)));
        Ok(self.inputs.len() - 1)
    }

    /// Square of what a breadth leaves sideways.
    fn sideways_squared(
        &self,
        inputs: &[Dual],
        mark: usize,
        partner: usize,
        breadth: usize,
    ) -> Dual {
        let [[h, f], [ph, pf]] = [mark, partner].map(|m| self.height_and_forward[m]);
        let (dz, dx) = (inputs[h] - inputs[ph], inputs[f] - inputs[pf]);
        inputs[breadth] * inputs[breadth] - dz * dz - dx * dx
    }

    /// Forward, lateral, up of every mark.
    fn coordinates(&self, inputs: &[Dual]) -> Vec<Dual> {
        let mut out = Vec::with_capacity(3 * self.marks.len());
        for (mark, across) in self.across.iter().enumerate() {
            let lateral = match *across {
                Across::Offset(i) => inputs[i],
                Across::Breadth {
                    breadth,
                    partner,
                    end,
                    partner_offset,
                    middle,
                } => {
                    let sideways = self.sideways_squared(inputs, mark, partner, breadth).sqrt();
                    match partner_offset {
                        Some(i) => inputs[i] + sideways * Dual::constant(end),
                        None => inputs[middle] + sideways * Dual::constant(0.5 * end),
                    }
                }
            };
            let [height, forward] = self.height_and_forward[mark];
            out.extend([inputs[forward], lateral, inputs[height]]);
        }
        out
    }

    /// The coordinates, once every breadth is known to be long enough.
    fn coordinates_checked(&self) -> Result<Vec<f64>, RulerError> {
        let inputs: Vec<Dual> = self.inputs.iter().copied().map(Dual::constant).collect();
        for (mark, across) in self.across.iter().enumerate() {
            let Across::Breadth {
                breadth,
                partner,
                end,
                ..
            } = *across
            else {
                continue;
            };
            let squared = self.sideways_squared(&inputs, mark, partner, breadth).value;
            // Under a millimetre sideways the breadth says nothing about it.
            if squared < 1.0 {
                let (medial, lateral) = if end < 0.0 {
                    (mark, partner)
                } else {
                    (partner, mark)
                };
                return Err(RulerError::TooShort {
                    medial: self.marks[medial].mark.clone(),
                    lateral: self.marks[lateral].mark.clone(),
                    breadth_mm: self.inputs[breadth],
                    apart_mm: (self.inputs[breadth].powi(2) - squared).max(0.0).sqrt(),
                });
            }
        }
        Ok(self
            .coordinates(&inputs)
            .into_iter()
            .map(|d| d.value)
            .collect())
    }
}
