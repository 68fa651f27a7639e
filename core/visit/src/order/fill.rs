//! Fields of the order filled from measurement and examination, each with its reason.
//! Nothing that presumes a technique is filled: a balance gets its amount only once it is chosen.

use super::{
    Because, ForefootCorrection, Origin, Prescription, Revision, SetError, at, json_of,
    usable_number,
};
use crate::examination::Dimension;
use crate::format;
use crate::person::Clinic;
use crate::rules::{Case, Fired, forefoot_spans_zero};
use crate::words::{Extra, Lang};
use plinthside_measure::cast::{HingeFrom, HingePoint, ResultName, Results};
use plinthside_measure::quantity::Quantity;
use serde_json::Value;

/// A value for one field, with its reason.
#[derive(Debug, Clone, PartialEq)]
pub struct Filled {
    /// Path of the field.
    pub field: &'static str,
    /// Its value.
    pub value: Value,
    /// Where it comes from and why.
    pub because: Because,
}

/// A field whose source has changed since the prescriber confirmed it: asked, never overwritten.
#[derive(Debug, Clone, PartialEq)]
pub struct Stale {
    /// Path of the field.
    pub field: String,
    /// What it holds.
    pub holds: Value,
    /// What its source says now.
    pub now: Value,
}

/// Every field that can be filled for one foot.
#[must_use]
pub fn fillable(case: &Case<'_>, clinic: &Clinic) -> Vec<Filled> {
    let lang = clinic.lang;
    let mut filled = Vec::new();
    if let Some(results) = case.results {
        hinge_points(results, lang, &mut filled);
        hinge_line(case, results, lang, &mut filled);
        balance(case, results, lang, &mut filled);
    }
    if let Some(leg) = case.visit.leg(case.side)
        && let Some(mm) = leg.get(Dimension::FloorToBandMm)
    {
        let because = words(
            lang,
            format!(
                "because the floor to the band is {} on the leg",
                format::quantity(mm, "mm", lang)
            ),
            format!(
                "weil Boden bis Band am Bein {} misst",
                format::quantity(mm, "mm", lang)
            ),
        );
        filled.push(number(
            "shell.band_height_mm",
            mm,
            Origin::LegDimension,
            because,
        ));
    }
    bench_angle(case, lang, &mut filled);
    hinge_rating(case, clinic, lang, &mut filled);
    if !clinic.contact_hours.is_empty() {
        let because = words(
            lang,
            "as in the clinic's settings".into(),
            "laut Einstellungen der Praxis".into(),
        );
        filled.push(new(
            "identity.contact_hours",
            clinic.contact_hours.as_str().into(),
            Origin::Clinic,
            because,
        ));
    }
    filled
}

impl Revision {
    /// Fills what is empty, and what was filled before and not confirmed; confirmed fields whose
    /// source has changed are reported.
    pub fn fill(&mut self, values: &[Filled]) -> Vec<Stale> {
        let mut stale = Vec::new();
        for new in values {
            let json = json_of(&self.prescription);
            let held = at(&json, new.field).cloned();
            let by_hand = held.is_some() && !self.because.contains_key(new.field);
            let confirmed = self.because.get(new.field).is_some_and(|b| b.confirmed);
            match held {
                Some(held) if confirmed && differ(&held, &new.value) => stale.push(Stale {
                    field: new.field.to_owned(),
                    holds: held,
                    now: new.value.clone(),
                }),
                _ if by_hand || confirmed => {}
                _ => {
                    if self.prescription.set(new.field, new.value.clone()).is_ok() {
                        self.because
                            .insert(new.field.to_owned(), new.because.clone());
                    }
                }
            }
        }
        stale
    }
}

impl Revision {
    /// Takes up what a rule suggests, with the rule's reason and source.
    ///
    /// # Errors
    /// The rule suggests nothing, or a value the field does not take.
    pub fn accept(&mut self, fired: &Fired, lang: Lang) -> Result<(), SetError> {
        let suggestion = fired.suggest.as_ref().ok_or_else(|| SetError::NoField {
            path: fired.rule.clone(),
        })?;
        self.prescription
            .set(&suggestion.field, suggestion.value.clone())?;
        let because = Because {
            from: Origin::Rule,
            because: fired.text.get(lang).to_owned(),
            source: fired.source.get(lang).to_owned(),
            confirmed: true,
            extra: Extra::new(),
        };
        self.because.insert(suggestion.field.clone(), because);
        Ok(())
    }

    /// The same choices for the other foot: what was measured or taken on this foot stays behind.
    #[must_use]
    pub fn choices_only(&self) -> Prescription {
        let mut copy = self.prescription.clone();
        for (path, because) in &self.because {
            let of_this_foot = matches!(
                because.from,
                Origin::Measured | Origin::LegDimension | Origin::Examined | Origin::Computed
            );
            if of_this_foot {
                // A field that can't be emptied was never filled.
                let _ = copy.set(path, Value::Null);
            }
        }
        copy
    }
}

fn differ(a: &Value, b: &Value) -> bool {
    match (usable_number(a), usable_number(b)) {
        (Some(a), Some(b)) => (a - b).abs() > 0.05,
        _ => a != b,
    }
}

fn hinge_points(results: &Results, lang: Lang, filled: &mut Vec<Filled>) {
    let fields = [
        (
            &results.medial_hinge,
            "motion.hinge_line.medial_height_mm",
            "motion.hinge_line.medial_from_heel_mm",
        ),
        (
            &results.lateral_hinge,
            "motion.hinge_line.lateral_height_mm",
            "motion.hinge_line.lateral_from_heel_mm",
        ),
    ];
    for (point, height, from_heel) in fields {
        let Some(point) = point else { continue };
        let datum = if point.inside.height.is_some() {
            &point.inside
        } else {
            &point.outside
        };
        let face = face(point, lang);
        for (field, quantity) in [(height, datum.height), (from_heel, datum.forward)] {
            if let Some(q) = quantity {
                filled.push(measured(field, &q, q.value, lang, &face));
            }
        }
    }
}

fn face(point: &HingePoint, lang: Lang) -> String {
    match (point.inside.height.is_some(), lang) {
        (true, Lang::En) => "against the inner face".into(),
        (true, Lang::De) => "gegen die Innenfläche".into(),
        (false, Lang::En) => "against the outer face, the wall is not known".into(),
        (false, Lang::De) => "gegen die Außenfläche, die Wand ist nicht bekannt".into(),
    }
}

/// The landmark the hinge points count from; turn and tilt only of a line that is not simply the
/// patient's own marks.
fn hinge_line(case: &Case<'_>, results: &Results, lang: Lang, filled: &mut Vec<Filled>) {
    use super::{HingeDatum, HingeLineKind as Kind};
    let points = [&results.medial_hinge, &results.lateral_hinge];
    let mut from = points.into_iter().flatten().map(|point| point.from);
    if let Some(first) = from.next()
        && from.all(|other| other == first)
    {
        let (datum, en, de) = match first {
            HingeFrom::Apex => (
                HingeDatum::Apex,
                "because the apex is marked on the cast",
                "weil die Knöchelspitze am Abdruck markiert ist",
            ),
            HingeFrom::LowerPole => (
                HingeDatum::LowerPole,
                "because the lower pole is marked on the cast",
                "weil der untere Knöchelpol am Abdruck markiert ist",
            ),
        };
        let because = words(lang, en.into(), de.into());
        filled.push(new(
            "motion.hinge_line.datum",
            datum.token().into(),
            Origin::Measured,
            because,
        ));
    }
    let line = case
        .revision
        .and_then(|r| r.prescription.motion.hinge_line.kind.as_ref());
    let marks = words(
        lang,
        "through the malleolar marks".into(),
        "durch die Knöchelmarkierungen".into(),
    );
    let mut take = |field, name| {
        if let Some(q) = results.quantities.get(&name) {
            filled.push(measured(field, q, q.value, lang, &marks));
        }
    };
    if matches!(line, Some(Kind::Level | Kind::Typed)) {
        take(
            "motion.hinge_line.external_rotation_deg",
            ResultName::HingeTurnTransverse,
        );
    }
    if matches!(line, Some(Kind::Typed)) {
        take("motion.hinge_line.tilt_deg", ResultName::HingeTiltFrontal);
    }
}

/// The bench angle where one is to be stated: the angle intended for the cast.
fn bench_angle(case: &Case<'_>, lang: Lang, filled: &mut Vec<Filled>) {
    let chosen = case.revision.map(|r| &r.prescription.motion.bench_angle);
    let intended = case
        .cast
        .and_then(|c| c.record.foot_to_leg_intended_deg.as_ref())
        .and_then(crate::Entry::usable);
    if let (Some(Some(super::BenchAngle::Degrees)), Some(deg)) = (chosen, intended) {
        let shown = format::quantity(deg, "deg", lang);
        let because = words(
            lang,
            format!("because the cast was intended at {shown}"),
            format!("weil der Abdruck bei {shown} vorgesehen war"),
        );
        filled.push(number(
            "motion.bench_angle_deg",
            deg,
            Origin::Examined,
            because,
        ));
    }
}

/// The amount of a balance, only where the prescriber chose one and the measurement carries it.
fn balance(case: &Case<'_>, results: &Results, lang: Lang, filled: &mut Vec<Filled>) {
    let chosen = case.revision.map(|r| &r.prescription.correction.forefoot);
    if chosen != Some(&Some(ForefootCorrection::Balance))
        || forefoot_spans_zero(case) != Some(false)
    {
        return;
    }
    let get = |name| results.quantities.get(&name);
    let (Some(angle), Some(height), Some(width)) = (
        get(ResultName::ForefootToRearfoot),
        get(ResultName::BalanceToVertical),
        get(ResultName::BalanceWidth),
    ) else {
        return;
    };
    let under = if angle.value > 0.0 { "first" } else { "fifth" };
    let note = words(
        lang,
        "of the forefoot to the rearfoot".into(),
        "des Vorfußes zum Rückfuß".into(),
    );
    filled.push(measured(
        "correction.forefoot_deg",
        angle,
        angle.value.abs(),
        lang,
        &note,
    ));
    filled.push(measured(
        "correction.forefoot_mm",
        height,
        height.value.abs(),
        lang,
        &note,
    ));
    filled.push(measured(
        "correction.forefoot_width_mm",
        width,
        width.value,
        lang,
        &note,
    ));
    let side = words(
        lang,
        if angle.value > 0.0 {
            "because the forefoot is inverted"
        } else {
            "because the forefoot is everted"
        }
        .into(),
        if angle.value > 0.0 {
            "weil der Vorfuß invertiert ist"
        } else {
            "weil der Vorfuß evertiert ist"
        }
        .into(),
    );
    filled.push(new(
        "correction.forefoot_under",
        under.into(),
        Origin::Measured,
        side,
    ));
}

fn hinge_rating(case: &Case<'_>, clinic: &Clinic, lang: Lang, filled: &mut Vec<Filled>) {
    let Some(motion) = case.revision.map(|r| &r.prescription.motion) else {
        return;
    };
    let same = |h: &&crate::person::Hinge| {
        h.name == motion.hinge && (motion.hinge_size.is_empty() || h.size == motion.hinge_size)
    };
    let mut fitting = clinic.hinges.iter().filter(same);
    // Two sizes of one hinge: the size has to be chosen first.
    if let (Some(hinge), None) = (fitting.next(), fitting.next())
        && let Some(kg) = hinge.rated_mass_kg
    {
        let because = words(
            lang,
            format!("because the clinic lists it so ({})", hinge.rating_source),
            format!("weil die Praxis es so führt ({})", hinge.rating_source),
        );
        filled.push(number(
            "motion.hinge_rated_mass_kg",
            kg,
            Origin::Clinic,
            because,
        ));
    }
}

fn measured(field: &'static str, q: &Quantity, value: f64, lang: Lang, what: &str) -> Filled {
    let unit = if field.ends_with("_deg") { "deg" } else { "mm" };
    let shown = format::quantity(value, unit, lang);
    let plus_minus = format::plus_minus(q.plus_minus().total, unit, lang);
    let because = words(
        lang,
        format!("because the cast measures {shown} ± {plus_minus} {what}"),
        format!("weil der Abdruck {shown} ± {plus_minus} misst, {what}"),
    );
    // A tenth of a millimetre or degree is far below the marking ±.
    number(
        field,
        (value * 10.0).round() / 10.0,
        Origin::Measured,
        because,
    )
}

fn number(field: &'static str, value: f64, from: Origin, because: String) -> Filled {
    new(field, value.into(), from, because)
}

fn new(field: &'static str, value: Value, from: Origin, because: String) -> Filled {
    let source = match from {
        Origin::Measured if field.starts_with("correction.") => {
            "marks of this cast; height = width × sin of the angle (geometry)"
        }
        Origin::Measured => "marks of this cast",
        Origin::LegDimension => "calliper and tape on the leg",
        Origin::Examined => "examination and cast record of this visit",
        _ => "settings of the clinic",
    };
    let because = Because {
        from,
        because,
        source: source.to_owned(),
        confirmed: false,
        extra: Extra::new(),
    };
    Filled {
        field,
        value,
        because,
    }
}

fn words(lang: Lang, en: String, de: String) -> String {
    match lang {
        Lang::En => en,
        Lang::De => de,
    }
}
