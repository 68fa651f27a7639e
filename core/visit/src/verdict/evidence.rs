//! What a cast is judged on, wherever it comes from.

use super::Check;
use crate::cast_record::{Cast, CastRecord, DentPlace, Inspection};
use crate::entry::Entry;
use crate::examination::{Dimension, LegDimensions, Reading};
use crate::visit::Visit;
use crate::words::{Lang, Text};
use plinthside_measure::cast::{ResultName, Results};
use plinthside_measure::leg::LegDimension;
use plinthside_measure::marks::Side;

/// Everything a cast is judged on. Any part may be missing; the verdict says what that costs.
#[derive(Debug, Clone, Copy)]
pub struct Evidence<'a> {
    /// Recorded side.
    pub side: Side,
    /// What was measured on the cast.
    pub results: Option<&'a Results>,
    /// How it was taken.
    pub record: Option<&'a CastRecord>,
    /// What was checked on it by hand.
    pub inspection: Option<&'a Inspection>,
    /// The leg's own dimensions.
    pub leg: Option<&'a LegDimensions>,
    /// Readings on the patient, newest last.
    pub readings: &'a [Reading],
}

/// A value to judge, with its kinds of ± apart.
#[derive(Debug, Clone, Default)]
pub(super) struct Compared {
    pub value: f64,
    pub on_cast: Option<f64>,
    pub on_leg: Option<f64>,
    /// What `on_leg` is.
    pub against: Text,
    pub instrument_sd: Option<f64>,
    pub marking_sd: Option<f64>,
    pub patient_sd: Option<f64>,
    pub report_only: bool,
}

/// What is missing for a comparison.
pub(super) struct Missing(Text);

impl Missing {
    fn new(en: &str, de: &str) -> Self {
        Self(Text::new(en, de))
    }

    pub fn for_limit(&self, label: &Text) -> Text {
        let join = |lang: Lang| format!("{}: {}", label.get(lang), self.0.get(lang));
        Text::new(join(Lang::En), join(Lang::De))
    }
}

impl<'a> Evidence<'a> {
    /// What a visit holds about one of its casts, with the results measured on it.
    #[must_use]
    pub fn of_visit(visit: &'a Visit, cast: &'a Cast, results: Option<&'a Results>) -> Self {
        Self {
            side: cast.side,
            results,
            record: Some(&cast.record),
            inspection: Some(&cast.inspection),
            leg: visit.leg(cast.side),
            readings: &visit.readings,
        }
    }

    /// What the measurement alone holds (its results carry the leg's dimensions given with it).
    #[must_use]
    pub fn of_results(results: &'a Results) -> Self {
        Self {
            side: results.side,
            results: Some(results),
            record: None,
            inspection: None,
            leg: None,
            readings: &[],
        }
    }

    fn reading(&self, kind: &str) -> Option<&'a Reading> {
        self.readings
            .iter()
            .rfind(|r| r.kind == kind && r.side.is_none_or(|s| s == self.side))
    }

    /// Words instead of a correction that would pass the passive dorsiflexion.
    pub(super) fn past_passive_dorsiflexion(&self) -> Option<Text> {
        let intended = self.record?.foot_to_leg_intended_deg.as_ref()?.usable()?;
        let passive = self
            .reading("ankle_dorsiflexion_knee_straight_deg")?
            .mean()?;
        (intended > passive).then(|| {
            Text::new(
                "correcting it would go past the passive dorsiflexion of the patient: intend another angle or cast again",
                "die Korrektur ginge über die passive Dorsalextension hinaus: anderen Winkel vorsehen oder neu abformen",
            )
        })
    }

    pub(super) fn compared(&self, check: Check) -> Result<Compared, Missing> {
        match check {
            Check::ForefootToRearfootDifferenceDeg => self.forefoot(),
            Check::FootToLegDifferenceDeg => self.foot_to_leg(),
            Check::HeelToVerticalDeg => self.measured(ResultName::Heel, |v| v),
            Check::BimalleolarBreadthDifferenceMm => self.against_leg(
                LegDimension::BimalleolarBreadth,
                Dimension::BimalleolarBreadthMm,
            ),
            Check::HeelBreadthDifferenceMm => {
                self.against_leg(LegDimension::HeelBreadth, Dimension::HeelBreadthMm)
            }
            Check::HeelToFirstMtpDifferenceMm => {
                self.against_leg(LegDimension::HeelToFirstMtp, Dimension::HeelToFirstMtpMm)
            }
            Check::MedialMalleolusHeightDifferenceMm => self.against_leg(
                LegDimension::MedialMalleolusHeight,
                Dimension::MedialMalleolusHeightMm,
            ),
            Check::LateralMalleolusHeightDifferenceMm => self.against_leg(
                LegDimension::LateralMalleolusHeight,
                Dimension::LateralMalleolusHeightMm,
            ),
            // Tilts are signed (lateral end lower, lateral end behind +): 90° less the tilt is the
            // angle on the medial side and does not fold at 90°.
            Check::HingeFrontalDeg => self
                .measured(ResultName::HingeTiltToLeg, |v| 90.0 - v)
                .or_else(|_| self.measured(ResultName::HingeTiltFrontal, |v| 90.0 - v)),
            Check::HingeTransverseDeg => {
                self.measured(ResultName::HingeTurnTransverse, |v| 90.0 - v)
            }
            Check::RockMm => self
                .by_hand(|i| i.rock_mm.as_ref())
                .or_else(|_| self.measured(ResultName::Rock, |v| v)),
            Check::WallMinMm => self.by_hand(|i| i.wall_min_mm.as_ref()),
            Check::WallHeelAnkleMm => self.by_hand(|i| i.wall_heel_ankle_mm.as_ref()),
            Check::WallMaxMm => self.by_hand(|i| i.wall_max_mm.as_ref()),
            Check::PastMtpMm => self.by_hand(|i| i.past_mtp_mm.as_ref()),
            Check::AboveMalleolusMm => self.by_hand(|i| i.above_malleolus_mm.as_ref()),
            Check::DentElsewhereMm => self.dent(false),
            Check::DentOnHeelArchMalleolusMm => self.dent(true),
        }
    }

    fn measured(&self, name: ResultName, map: impl Fn(f64) -> f64) -> Result<Compared, Missing> {
        let results = self.results.ok_or_else(|| {
            Missing::new(
                "the cast was not measured",
                "der Abdruck wurde nicht vermessen",
            )
        })?;
        let q = results
            .quantities
            .get(&name)
            .filter(|q| q.value.is_finite())
            .ok_or_else(|| {
                Missing::new(
                    "the marks for it are missing",
                    "die Markierungen dafür fehlen",
                )
            })?;
        Ok(Compared {
            value: map(q.value),
            instrument_sd: Some(q.instrument_sd),
            marking_sd: Some(apart(q.total_sd, q.instrument_sd)),
            ..Compared::default()
        })
    }

    /// A length of the cast less the leg's own; the leg as it is recorded now, even if it was
    /// measured again after the results were computed.
    fn against_leg(&self, on_cast: LegDimension, on_leg: Dimension) -> Result<Compared, Missing> {
        let results = self.results.ok_or_else(|| {
            Missing::new(
                "the cast was not measured",
                "der Abdruck wurde nicht vermessen",
            )
        })?;
        let c = results
            .comparisons
            .iter()
            .find(|c| c.dimension == on_cast)
            .ok_or_else(|| {
                Missing::new(
                    "needs the marks and the leg's own dimension",
                    "braucht die Markierungen und das Maß am Bein",
                )
            })?;
        let leg = self.leg.and_then(|leg| leg.get(on_leg)).unwrap_or(c.leg_mm);
        Ok(Compared {
            value: c.cast.value - leg,
            on_cast: Some(c.cast.value),
            on_leg: Some(leg),
            against: Text::new("leg", "Bein"),
            instrument_sd: Some(c.cast.instrument_sd),
            marking_sd: Some(apart(c.cast.total_sd, c.cast.instrument_sd)),
            patient_sd: (c.leg_sd_mm > 0.0).then_some(c.leg_sd_mm),
            report_only: false,
        })
    }

    fn forefoot(&self) -> Result<Compared, Missing> {
        let cast = self.measured(ResultName::ForefootToRearfoot, |v| v)?;
        let missing = || Missing::new("no reading on the patient", "kein Wert am Patienten");
        let reading = self
            .reading("forefoot_to_rearfoot_deg")
            .ok_or_else(missing)?;
        let patient = reading.mean().ok_or_else(missing)?;
        let n = reading
            .repeats
            .iter()
            .filter(|e| e.usable().is_some())
            .count() as f64;
        let fixed = self
            .reading("forefoot_reducible")
            .is_some_and(|r| r.choices.iter().any(|c| c == "no"));
        Ok(Compared {
            value: cast.value - patient,
            on_cast: Some(cast.value),
            on_leg: Some(patient),
            against: Text::new("patient", "Patient"),
            patient_sd: reading.sd().map(|sd| sd / n.sqrt()),
            report_only: fixed,
            ..cast
        })
    }

    fn foot_to_leg(&self) -> Result<Compared, Missing> {
        let cast = self.measured(ResultName::FootToLeg, |v| v)?;
        let intended = self
            .record
            .and_then(|r| r.foot_to_leg_intended_deg.as_ref())
            .and_then(Entry::usable)
            .ok_or_else(|| Missing::new("no angle was intended", "kein Winkel vorgesehen"))?;
        Ok(Compared {
            value: cast.value - intended,
            on_cast: Some(cast.value),
            on_leg: Some(intended),
            against: Text::new("intended", "vorgesehen"),
            ..cast
        })
    }

    fn by_hand(&self, field: impl Fn(&Inspection) -> Option<&Entry>) -> Result<Compared, Missing> {
        let value = self.inspection.and_then(field).and_then(Entry::usable);
        let value = value.ok_or_else(|| Missing::new("not checked", "nicht geprüft"))?;
        Ok(Compared {
            value,
            ..Compared::default()
        })
    }

    fn dent(&self, on_key_place: bool) -> Result<Compared, Missing> {
        let key = self
            .inspection
            .and_then(|i| i.dent_place.as_ref())
            .is_some_and(|p| matches!(p, DentPlace::Heel | DentPlace::Arch | DentPlace::Malleolus));
        if key != on_key_place {
            return Err(Missing::new("none noted there", "dort nichts vermerkt"));
        }
        self.by_hand(|i| i.dent_mm.as_ref())
    }
}

/// The part of the total ± that the instrument does not explain.
fn apart(total_sd: f64, instrument_sd: f64) -> f64 {
    (total_sd * total_sd - instrument_sd * instrument_sd)
        .max(0.0)
        .sqrt()
}
